package api

import (
	"context"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"
)

// Forecast is what a weather service says of the night to come.
type Forecast struct {
	MinC  float64   `json:"min_c" minimum:"-90" maximum:"60" doc:"lowest outdoor temperature until then, degrees Celsius"`
	Until time.Time `json:"until" doc:"until when it holds, within the next 48 hours"`
}

// Forecasts keeps one forecast a case.
type Forecasts interface {
	// Forecast is the one in force; the error wraps roof.ErrNotFound for none.
	Forecast(ctx context.Context, caseID string) (Forecast, error)
	// PutForecast reads a Forecast strictly; one that cannot be used wraps
	// ingest.ErrUnusable.
	PutForecast(ctx context.Context, caseID string, body []byte) error
	DeleteForecast(ctx context.Context, caseID string) error
}

const maxForecast = 4 << 10

func (s *server) forecasts() {
	const path = "/api/cases/{case}/forecast"
	schema := s.api.OpenAPI().Components.Schemas.Schema(forecastType, true, "Forecast")
	register(s, huma.Operation{OperationID: "get-forecast", Method: http.MethodGet, Path: path,
		Summary: "The outdoor forecast in force for tonight's outlook", Errors: []int{404}},
		func(ctx context.Context, in *struct{ CaseID }) (*struct{ Body Forecast }, error) {
			f, err := s.Forecasts.Forecast(ctx, in.Case)
			return &struct{ Body Forecast }{f}, err
		})
	register(s, huma.Operation{OperationID: "put-forecast", Method: http.MethodPut, Path: path,
		Summary: "Tell an outdoor forecast, which sharpens tonight's outlook; the same comes by MQTT on " +
			"dewcase-forecast/{case}",
		MaxBodyBytes: maxForecast, SkipValidateBody: true, Errors: []int{404, 413, 422},
		Responses: map[string]*huma.Response{"204": {Description: "Kept, in place of an earlier one"}},
		RequestBody: &huma.RequestBody{Required: true,
			Content: map[string]*huma.MediaType{"application/json": {Schema: schema}}}},
		func(ctx context.Context, in *struct {
			CaseID
			RawBody []byte `contentType:"application/json"`
		}) (*struct{}, error) {
			return nil, s.Forecasts.PutForecast(ctx, in.Case, in.RawBody)
		})
	register(s, huma.Operation{OperationID: "delete-forecast", Method: http.MethodDelete, Path: path,
		Summary: "Take the forecast back", Errors: []int{404},
		Responses: map[string]*huma.Response{"204": {Description: "None is in force"}}},
		func(ctx context.Context, in *struct{ CaseID }) (*struct{}, error) {
			return nil, s.Forecasts.DeleteForecast(ctx, in.Case)
		})
}
