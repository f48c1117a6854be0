package notify

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/patience"
)

var secret = []byte("0123456789abcdef0123")

// Faults, row 49: a webhook reaches no address that is not on the open internet,
// however it is written or looked up.
func TestAWebhookReachesNothingInside(t *testing.T) {
	var reached atomic.Int64
	inside := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { reached.Add(1) }))
	defer inside.Close()
	_, port, err := net.SplitHostPort(inside.Listener.Addr().String())
	require.NoError(t, err)
	for _, host := range []string{"127.0.0.1", "127.8.9.10", "localhost", "[::1]", "[::ffff:127.0.0.1]", "[::127.0.0.1]",
		"0.0.0.0", "[::]", "2130706433", "0x7f000001", "017700000001", "127.1"} {
		w, err := NewWebhook("http://"+host+":"+port+"/hook", secret, false, time.Now)
		require.NoError(t, err)
		ctx, cancel := context.WithTimeout(t.Context(), patience.Long)
		err = w.Send(ctx, alert.Message{Key: "k"}, "")
		cancel()
		assert.Error(t, err, host)
	}
	require.Zero(t, reached.Load())
	for _, ip := range []string{"10.1.2.3", "172.16.0.1", "172.31.255.255", "192.168.1.1", "169.254.169.254", "100.64.0.1",
		"0.1.2.3", "198.18.0.1", "192.0.2.1", "203.0.113.9", "224.0.0.1", "240.0.0.1", "255.255.255.255",
		"fe80::1", "fe80::1%eth0", "fc00::1", "fd12::1", "fec0::1", "ff02::1", "::", "::ffff:10.0.0.1",
		"::ffff:169.254.169.254", "64:ff9b::a00:1", "2002:a00:1::", "2001:db8::1", "2001::1"} {
		assert.ErrorIs(t, open(net.JoinHostPort(ip, "443")), ErrPrivate, ip)
	}
	for _, ip := range []string{"1.1.1.1", "172.15.0.1", "172.32.0.1", "100.63.0.1", "100.128.0.1", "2606:4700::1",
		"2a00:1450::1"} {
		assert.NoError(t, open(net.JoinHostPort(ip, "443")), ip)
	}
}

// Row 49: an answer that sends elsewhere is not followed, an endless one not read
// to its end, and no error repeats the URL, which may hold a secret.
func TestAWebhooksAnswerLeadsNowhere(t *testing.T) {
	var elsewhere atomic.Int64
	other := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { elsewhere.Add(1) }))
	defer other.Close()
	target := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		_, _ = io.Copy(io.Discard, r.Body) // or the server would not notice that the caller left
		switch r.URL.Path {
		case "/redirect":
			http.Redirect(w, r, other.URL, http.StatusTemporaryRedirect)
		case "/endless":
			for {
				if _, err := w.Write(make([]byte, 32<<10)); err != nil {
					return
				}
			}
		case "/headers":
			w.Header().Set("X-Large", strings.Repeat("x", 1<<20))
		case "/silent":
			<-r.Context().Done()
		case "/broken":
			panic(http.ErrAbortHandler)
		}
	}))
	defer target.Close()
	for path, want := range map[string]string{"/redirect": "307", "/endless": "", "/headers": "calling the webhook",
		"/silent": "calling the webhook", "/broken": "calling the webhook"} {
		w, err := NewWebhook(target.URL+path+"?token=rutabaga", secret, true, time.Now)
		require.NoError(t, err)
		limit := patience.Long
		if path == "/silent" {
			limit = time.Second
		}
		ctx, cancel := context.WithTimeout(t.Context(), limit)
		err = w.Send(ctx, alert.Message{Key: "k"}, "")
		cancel()
		if want == "" {
			require.NoError(t, err, path)
			continue
		}
		require.ErrorContains(t, err, want, path)
		require.NotContains(t, err.Error(), "rutabaga", path)
	}
	require.Zero(t, elsewhere.Load())
	_, err := NewWebhook(target.URL, []byte("short"), true, time.Now)
	require.ErrorContains(t, err, "at least 16 characters")
}

// states keeps the outbox in memory.
type states struct {
	mu sync.Mutex
	by map[string][]byte
}

func (s *states) PutState(_ context.Context, _, key string, blob []byte) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.by[key] = blob
	return nil
}

func (s *states) States(context.Context, string) (out []roof.KeptState, _ error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for k, b := range s.by {
		out = append(out, roof.KeptState{Key: k, Blob: b})
	}
	return out, nil
}

func (s *states) DeleteState(_ context.Context, _, key string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.by, key)
	return nil
}

// Row 50: a receiver that fails for days holds nobody up: letters wait, bounded;
// tries grow rarer; the trouble is said once; what is still news goes out when it
// works again, once each.
func TestAFailingWebhookIsTriedEverMoreRarelyAndSaidOnce(t *testing.T) {
	var down atomic.Bool
	var tries atomic.Int64
	var mu sync.Mutex
	got := map[string]int{}
	target := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		tries.Add(1)
		if down.Load() {
			w.WriteHeader(http.StatusInternalServerError)
			return
		}
		mu.Lock()
		got[r.Header.Get(headerKey)]++
		mu.Unlock()
		_, _ = io.Copy(io.Discard, r.Body)
	}))
	defer target.Close()
	now := time.Date(2026, 12, 1, 12, 0, 0, 0, time.UTC)
	clock := func() time.Time { return now }
	w, err := NewWebhook(target.URL, secret, true, clock)
	require.NoError(t, err)
	kept := &states{by: map[string][]byte{}}
	var logged bytes.Buffer
	o, err := Open(t.Context(), kept, []Channel{w}, clock, slog.New(slog.NewTextHandler(&logged, nil)))
	require.NoError(t, err)

	down.Store(true)
	for range 2 * 24 * 60 { // two days, looked at every minute
		o.Deliver(t.Context())
		if now.Minute() == 0 {
			require.NoError(t, o.Post(t.Context(), "webhook", "",
				alert.Message{Key: fmt.Sprint("m", now.Unix()), At: now, After: now}))
		}
		now = now.Add(time.Minute)
	}
	require.Less(t, tries.Load(), int64(2*24*60), "what stands behind a failing letter waits with it")
	require.Equal(t, 1, strings.Count(logged.String(), "level=WARN"), logged.String())
	require.Equal(t, 48, o.Health()[0].Waiting)
	require.NotEmpty(t, o.Health()[0].Failing)

	down.Store(false)
	for range 120 {
		o.Deliver(t.Context())
		now = now.Add(time.Minute)
	}
	require.Zero(t, o.Health()[0].Waiting)
	require.Empty(t, o.Health()[0].Failing)
	require.Len(t, got, 48)
	for k, n := range got {
		require.Equal(t, 1, n, k)
	}

	down.Store(true) // and never more than so many
	for i := range maxLetters + 50 {
		require.NoError(t, o.Post(t.Context(), "webhook", "",
			alert.Message{Key: fmt.Sprint("n", i), At: now.Add(time.Duration(i) * time.Second), After: now.Add(time.Hour)}))
	}
	o.Deliver(t.Context())
	require.LessOrEqual(t, o.Health()[0].Waiting, maxLetters)
}
