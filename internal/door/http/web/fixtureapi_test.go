package web_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"time"

	"github.com/go-chi/chi/v5"

	"dewcase/internal/door/http/gate"
	"dewcase/internal/flow/casebook"
	"dewcase/internal/roof"
)

// withAPI adds the few JSON routes that the script reads, under the headers
// that the daemon sends.
func withAPI(pages http.Handler, f *fixture) http.Handler {
	r := chi.NewRouter()
	r.Use(gate.Headers)
	r.Get("/api/cases/{case}/timeline", func(w http.ResponseWriter, r *http.Request) {
		q := r.URL.Query()
		from, err1 := time.Parse(time.RFC3339, q.Get("from"))
		until, err2 := time.Parse(time.RFC3339, q.Get("to"))
		step := time.Duration(0)
		if q.Get("step") != "raw" {
			s, err := strconv.Atoi(q.Get("step"))
			if err != nil {
				gate.Refuse(w, http.StatusBadRequest, "step")
				return
			}
			step = time.Duration(s) * time.Second
		}
		if err1 != nil || err2 != nil {
			gate.Refuse(w, http.StatusBadRequest, "from and to")
			return
		}
		v, err := f.Timeline(r.Context(), chi.URLParam(r, "case"), from, until, step)
		if err != nil {
			gate.Refuse(w, http.StatusBadRequest, err.Error())
			return
		}
		w.Header().Set("Content-Type", "application/json")
		_ = json.NewEncoder(w).Encode(v)
	})
	r.Get("/api/cases/{case}/live", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/event-stream")
		out := http.NewResponseController(w)
		for i := 0; ; i++ {
			_, _ = fmt.Fprintf(w, "event: reading\ndata: "+
				"{\"position\":\"loft\","+
				"\"logger\":\"k7-loft\","+
				"\"at\":%q,\"temp_c\":%.2f,"+
				"\"rh_pct\":71.4,\"dew_point_c\":1.25,\"battery_pct\":80,\"flags\":[\"arrival_time\"]}\n\n",
				f.now.Add(time.Duration(i)*time.Second).Format(time.RFC3339), 5.5+float64(i%10)/10)
			_ = out.Flush()
			select {
			case <-r.Context().Done():
				return
			case <-time.After(time.Second):
			}
		}
	})
	r.Put("/api/cases/{case}/file", func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		if err == nil {
			_, _, err = f.Put(r.Context(), chi.URLParam(r, "case"), body, casebook.If{}, "")
		}
		var faults roof.Faults
		switch {
		case errors.As(err, &faults):
			gate.Refuse(w, http.StatusUnprocessableEntity, faults.Error())
		case err != nil:
			gate.Refuse(w, http.StatusInternalServerError, err.Error())
		default:
			w.WriteHeader(http.StatusNoContent)
		}
	})
	r.Mount("/", pages)
	return r
}
