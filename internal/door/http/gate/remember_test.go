package gate_test

import (
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"dewcase/internal/door/http/gate"
)

// remembering counts how often an answer is worked out; each is another.
type remembering struct {
	http.Handler
	state  any
	worked int
	status int
}

func newRemembering() *remembering {
	f := &remembering{state: 1, status: http.StatusOK}
	f.Handler = gate.Remember(func(*http.Request) any { return f.state })(gate.Compress("text/csv")(
		http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			f.worked++
			w.Header().Set("Content-Type", "text/csv")
			w.Header().Set("ETag", fmt.Sprintf("%q", fmt.Sprint(f.worked)))
			w.Header().Set("Set-Cookie", "of=one asker")
			w.WriteHeader(f.status)
			_, _ = io.WriteString(w, strings.Repeat(fmt.Sprint("answer ", f.worked, "\n"), 1000))
		})))
	return f
}

func (f *remembering) ask(uri string, header ...string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodGet, uri, nil)
	for i := 0; i < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	w := httptest.NewRecorder()
	f.ServeHTTP(w, r)
	return w
}

func TestAnAnswerIsGivenAgainAsItWas(t *testing.T) {
	for _, takes := range []string{"gzip", ""} {
		f := newRemembering()
		first, again := f.ask("/a?b=1", "Accept-Encoding", takes), f.ask("/a?b=1", "Accept-Encoding", takes)
		require.Equal(t, 1, f.worked)
		require.Equal(t, first.Body.String(), again.Body.String())
		require.Equal(t, http.StatusOK, again.Code)
		for _, name := range []string{"Content-Type", "Content-Encoding", "ETag", "Vary"} {
			require.Equal(t, first.Header().Values(name), again.Header().Values(name), name)
		}
		require.Empty(t, again.Header().Values("Set-Cookie"), "what was one asker's")

		same := f.ask("/a?b=1", "Accept-Encoding", takes, "If-None-Match", `"1"`)
		require.Equal(t, http.StatusNotModified, same.Code)
		require.Zero(t, same.Body.Len())
		require.Empty(t, same.Header().Get("Content-Encoding"))
		require.Equal(t, 1, f.worked)
	}
}

func TestAnAnswerIsWorkedOutAnew(t *testing.T) {
	for name, change := range map[string]func(*remembering) string{
		"of another state":        func(f *remembering) string { f.state = 2; return "/a" },
		"of a state once left":    func(f *remembering) string { f.state = 2; f.ask("/a"); f.state = 1; return "/a" },
		"to another question":     func(*remembering) string { return "/a?b=2" },
		"that may change any day": func(f *remembering) string { f.state = nil; f.ask("/a"); return "/a" },
	} {
		t.Run(name, func(t *testing.T) {
			f := newRemembering()
			f.ask("/a")
			uri := change(f)
			had := f.worked
			w := f.ask(uri)
			require.Equal(t, had+1, f.worked)
			require.Contains(t, w.Body.String(), fmt.Sprint("answer ", f.worked))
		})
	}
	t.Run("where it is packed otherwise", func(t *testing.T) {
		f := newRemembering()
		require.NotEqual(t, f.ask("/a", "Accept-Encoding", "gzip").Header(), f.ask("/a").Header())
	})
	t.Run("after a refusal", func(t *testing.T) {
		f := newRemembering()
		f.status = http.StatusTooManyRequests
		f.ask("/a")
		f.status = http.StatusOK
		require.Equal(t, http.StatusOK, f.ask("/a").Code)
	})
	t.Run("after one that its asker did not take", func(t *testing.T) {
		f := newRemembering()
		f.ServeHTTP(gone{httptest.NewRecorder()}, httptest.NewRequest(http.MethodGet, "/a", nil))
		require.Equal(t, 9000, f.ask("/a").Body.Len())
	})
	t.Run("where more were asked since than have room", func(t *testing.T) {
		f := newRemembering()
		for i := range 2000 { // of 9 kB
			f.ask(fmt.Sprint("/", i))
		}
		f.ask("/0")
		require.Equal(t, 2001, f.worked)
		f.ask("/1999")
		require.Equal(t, 2001, f.worked)
	})
}

// gone is a client that is no longer there.
type gone struct{ http.ResponseWriter }

func (gone) Write([]byte) (int, error) { return 0, io.ErrClosedPipe }
