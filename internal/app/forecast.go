package app

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"time"

	"github.com/go-chi/chi/v5"

	"dewcase/internal/gate"
	"dewcase/internal/outlook"
	"dewcase/internal/roof"
)

const kindForecast = "forecast" // the last one told, by case

// forecast is what a weather service says of the night to come, as home
// automation tells it: PUT /api/cases/{case}/forecast.
type forecast struct {
	MinC  *float64  `json:"min_c"` // lowest outdoor temperature until then
	Until time.Time `json:"until"`
}

// putForecast keeps a forecast for tonight's outlook. It is never mixed with
// readings.
func (a *App) putForecast(w http.ResponseWriter, r *http.Request) {
	id := chi.URLParam(r, "case")
	if _, err := a.book.Get(id); err != nil {
		gate.Refuse(w, http.StatusNotFound, "there is no such case")
		return
	}
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, 4<<10))
	if err != nil {
		gate.Refuse(w, http.StatusRequestEntityTooLarge, "a forecast is a small JSON object")
		return
	}
	var f forecast
	if err := json.Unmarshal(body, &f); err != nil || f.MinC == nil || *f.MinC < -90 || *f.MinC > 60 || f.Until.IsZero() {
		gate.Refuse(w, http.StatusUnprocessableEntity, `a forecast is {"min_c": -3.5, "until": "2026-12-01T12:00:00Z"}: the lowest outdoor temperature in degrees Celsius, and until when it holds`)
		return
	}
	if now := a.opt.Now(); f.Until.Before(now) || f.Until.Sub(now) > 48*time.Hour {
		gate.Refuse(w, http.StatusUnprocessableEntity, "until must lie within the next 48 hours")
		return
	}
	if err := a.store.PutState(r.Context(), kindForecast, id, body); err != nil {
		a.opt.Log.Error("a forecast could not be kept", "case", id, "error", err)
		gate.Refuse(w, http.StatusInternalServerError, "the forecast could not be kept; the log says why")
		return
	}
	w.WriteHeader(http.StatusNoContent)
}

// forecastOf is the forecast in force, nil for none.
func (a *App) forecastOf(ctx context.Context, c *roof.Case, now time.Time) (*outlook.Forecast, error) {
	kept, err := a.store.States(ctx, kindForecast)
	if err != nil {
		return nil, fmt.Errorf("reading the forecasts: %w", err)
	}
	for _, k := range kept {
		var f forecast
		if k.Key == c.ID && json.Unmarshal(k.Blob, &f) == nil && f.MinC != nil && f.Until.After(now) {
			return &outlook.Forecast{MinC: *f.MinC}, nil
		}
	}
	return nil, nil
}
