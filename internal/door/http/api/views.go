package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"reflect"
	"strconv"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/go-chi/chi/v5"

	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/ingest"
	"dewcase/internal/flow/timeline"
)

var (
	reportType   = reflect.TypeFor[ingest.Report]()
	forecastType = reflect.TypeFor[Forecast]()
)

// views are the costly questions: their own, shorter row of seats keeps them
// from starving everything else.
func (s *server) views(r chi.Router) {
	schemas := s.api.OpenAPI().Components.Schemas
	describe := func(op *huma.Operation, answer reflect.Type, name string) {
		op.Method = http.MethodGet
		op.Parameters = append([]*huma.Param{caseInPath}, op.Parameters...)
		op.Responses = refusals("400", "404", "429")
		op.Responses["200"] = &huma.Response{Description: "The answer",
			Content: map[string]*huma.MediaType{"application/json": {Schema: schemas.Schema(answer, true, name)}}}
		s.api.OpenAPI().AddOperation(op)
	}
	describe(&huma.Operation{OperationID: "get-timeline", Path: timelinePath,
		Summary: "The record along the time axis",
		Parameters: []*huma.Param{timeParam("from"), timeParam("to"),
			{Name: "step", In: "query", Description: "whole seconds, or raw for the readings' own times",
				Schema: &huma.Schema{Type: "string", Pattern: "^(raw|[1-9][0-9]{0,8})$"}},
			{Name: "columns", In: "query", Schema: &huma.Schema{Type: "string"}, Description: "some columns alone, with " +
				"commas between them, as temp_c.mean,rh_pct.mean,coverage; the others are left out"}}},
		reflect.TypeFor[timeline.View](), "View")
	r.Get(timelinePath, s.timeline)
	describe(&huma.Operation{OperationID: "get-assessment", Path: "/api/cases/{case}/assessment",
		Summary: "The whole analysis"}, reflect.TypeFor[assessment.Assessment](), "Assessment")
	r.Get("/api/cases/{case}/assessment", s.answer(
		func(ctx context.Context, id string) (any, error) { return s.Views.Assessment(ctx, id) }))
	describe(&huma.Operation{OperationID: "list-alerts", Path: "/api/cases/{case}/alerts",
		Summary: "Alerts, raised ones first"}, reflect.TypeFor[[]Alert](), "Alerts")
	r.Get("/api/cases/{case}/alerts", s.answer(func(ctx context.Context, id string) (any, error) {
		alerts, err := s.Alerts.AlertsOf(ctx, id)
		if alerts == nil {
			alerts = []Alert{}
		}
		return alerts, err
	}))
}

const timelinePath = "/api/cases/{case}/timeline"

// unchanging is what the answer to a request rests on, nil where that is not only
// the state of a record: without both bounds it may be the time of day.
func (s *server) unchanging(r *http.Request) any {
	q := r.URL.Query()
	if chi.RouteContext(r.Context()).RoutePattern() != timelinePath || q.Get("from") == "" || q.Get("to") == "" {
		return nil
	}
	return s.Views.State(r.Context(), chi.URLParam(r, "case"))
}

func (s *server) answer(ask func(context.Context, string) (any, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		out, err := ask(r.Context(), chi.URLParam(r, "case"))
		if err != nil {
			s.refuse(w, r, err)
			return
		}
		w.Header().Set("Content-Type", "application/json")
		_ = json.NewEncoder(w).Encode(out)
	}
}

func (s *server) timeline(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	from, until, err := span(q.Get("from"), q.Get("to"))
	if err != nil {
		s.refuse(w, r, err)
		return
	}
	step, err := stepOf(q.Get("step"))
	if err != nil {
		s.refuse(w, r, err)
		return
	}
	only, err := timeline.ParseColumns(q.Get("columns"))
	if err != nil {
		s.refuse(w, r, fmt.Errorf("%w: %w", err, ErrRequest))
		return
	}
	view, err := s.Views.Timeline(r.Context(), chi.URLParam(r, "case"), from, until, step)
	if err != nil {
		s.refuse(w, r, err)
		return
	}
	body, err := view.AppendColumns(nil, only)
	if err != nil {
		s.refuse(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	whole(w, append(body, '\n'))
}

func stepOf(s string) (time.Duration, error) {
	switch s {
	case "":
		return time.Hour, nil
	case "raw":
		return 0, nil
	}
	n, err := strconv.ParseInt(s, 10, 32)
	if err != nil || n < 1 {
		return 0, fmt.Errorf("step is whole seconds from 1, or raw: %w", ErrRequest)
	}
	return time.Duration(n) * time.Second, nil
}
