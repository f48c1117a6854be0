package api

import (
	"encoding/json"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"

	"github.com/go-chi/chi/v5"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A route that the document leaves out is one that nobody may rely on; one that
// it names and nobody answers is a lie.
func TestTheDocumentNamesEveryRouteAndNoOther(t *testing.T) {
	router := chi.NewRouter()
	Mount(router, Options{Version: "test", Log: slog.New(slog.DiscardHandler)})
	answer := httptest.NewRecorder()
	router.ServeHTTP(answer, httptest.NewRequest(http.MethodGet, "/api/openapi.json", nil))
	require.Equal(t, http.StatusOK, answer.Code)
	var document struct {
		Paths map[string]map[string]json.RawMessage
	}
	require.NoError(t, json.Unmarshal(answer.Body.Bytes(), &document))
	var described, answered []string
	for path, methods := range document.Paths {
		for method := range methods {
			described = append(described, strings.ToUpper(method)+" "+path)
		}
	}
	require.NoError(t, chi.Walk(router, func(method, route string, _ http.Handler,
		_ ...func(http.Handler) http.Handler) error {
		if route != elsewhere && !strings.HasPrefix(route, "/api/openapi") {
			// A topic has levels of its own, which the router cannot name.
			answered = append(answered, method+" "+strings.Replace(route, PushPath+"*", PushPath+"{topic}", 1))
		}
		return nil
	}))
	slices.Sort(described)
	slices.Sort(answered)
	require.NotEmpty(t, answered)
	assert.Equal(t, answered, described)
}
