package gate_test

import (
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/klauspost/compress/gzip"
	"github.com/stretchr/testify/require"

	"dewcase/internal/door/http/gate"
)

func TestAnswersArePackedForWhoTakesIt(t *testing.T) {
	whole := strings.Repeat("4.31,92.4\n", 5000)
	for name, c := range map[string]struct {
		takes, media string
		packed       bool
	}{
		"who takes gzip":      {"gzip", "text/csv", true},
		"who takes others":    {"gzip, deflate, br", "text/csv", true},
		"who takes none":      {"", "text/csv", false},
		"what is packed once": {"gzip", "application/pdf", false},
	} {
		t.Run(name, func(t *testing.T) {
			w := httptest.NewRecorder()
			r := httptest.NewRequest(http.MethodGet, "/", nil)
			r.Header.Set("Accept-Encoding", c.takes)
			gate.Compress("text/csv")(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
				w.Header().Set("Content-Type", c.media)
				_, _ = io.WriteString(w, whole)
			})).ServeHTTP(w, r)
			if !c.packed {
				require.Empty(t, w.Header().Get("Content-Encoding"))
				require.Equal(t, whole, w.Body.String())
				return
			}
			require.Equal(t, "gzip", w.Header().Get("Content-Encoding"))
			require.Less(t, w.Body.Len(), len(whole)/10)
			zr, err := gzip.NewReader(w.Body)
			require.NoError(t, err)
			got, err := io.ReadAll(zr)
			require.NoError(t, err)
			require.Equal(t, whole, string(got))
		})
	}
}
