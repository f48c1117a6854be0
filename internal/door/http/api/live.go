package api

import (
	"encoding/json"
	"fmt"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/go-chi/chi/v5"
)

// live streams readings as server-sent events; a slow reader misses some
// rather than holding anything up.
func (s *server) live(r chi.Router) {
	op := &huma.Operation{OperationID: "live", Method: http.MethodGet, Path: "/api/cases/{case}/live",
		Summary:    "Readings as they arrive (server-sent events named reading)",
		Parameters: []*huma.Param{caseInPath}, Responses: refusals("404", "503")}
	op.Responses["200"] = &huma.Response{Description: "A stream of events",
		Content: map[string]*huma.MediaType{"text/event-stream": {Schema: &huma.Schema{Type: "string"}}}}
	s.api.OpenAPI().AddOperation(op)
	r.Get(op.Path, func(w http.ResponseWriter, r *http.Request) {
		id := chi.URLParam(r, "case")
		if _, _, err := s.Cases.File(r.Context(), id); err != nil {
			s.refuse(w, r, err)
			return
		}
		events, cancel, err := s.Live.Subscribe(id)
		if err != nil {
			w.Header().Set("Retry-After", "30")
			s.refuse(w, r, err)
			return
		}
		defer cancel()
		out := http.NewResponseController(w)
		_ = out.SetWriteDeadline(time.Time{})
		w.Header().Set("Content-Type", "text/event-stream")
		w.Header().Set("Cache-Control", "no-store")
		w.Header().Set("X-Accel-Buffering", "no")
		_, _ = fmt.Fprint(w, "retry: 5000\n\n")
		if out.Flush() != nil {
			return
		}
		beat := time.NewTicker(s.Heartbeat)
		defer beat.Stop()
		for {
			select {
			case <-r.Context().Done():
				return
			case <-beat.C:
				if _, err := fmt.Fprint(w, ": still here\n\n"); err != nil || out.Flush() != nil {
					return
				}
			case e, ok := <-events:
				if !ok {
					return
				}
				data, err := json.Marshal(e)
				if err != nil {
					s.Log.Error("a live reading could not be written", "case", id, "error", err)
					continue
				}
				if _, err := fmt.Fprintf(w, "event: reading\ndata: %s\n\n", data); err != nil || out.Flush() != nil {
					return
				}
			}
		}
	})
}
