package app

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	strict "github.com/go-json-experiment/json"

	"dewcase/internal/door/http/api"
	"dewcase/internal/flow/ingest"
	"dewcase/internal/flow/payload"
	"dewcase/internal/reason/outlook"
	"dewcase/internal/roof"
)

const (
	kindForecast = "forecast" // the last one told, by case
	// forecastPrefix begins the topics on which forecasts come: not the loggers'
	// prefix, so that none is ever taken for a reading.
	forecastPrefix   = "dewcase-forecast/"
	maxForecastBytes = 4 << 10
	// forecastReach is how far ahead a forecast may reach: it is of the night to come.
	forecastReach = 48 * time.Hour
)

var errPastForecast = errors.New("until lies in the past")

// readForecast reads {"min_c": ..., "until": ...} strictly: on loopback anybody
// may publish, and half a forecast is none.
func readForecast(body []byte, now time.Time) (api.Forecast, error) {
	var f struct {
		MinC  *float64   `json:"min_c"`
		Until *time.Time `json:"until"`
	}
	if len(body) > maxForecastBytes {
		return api.Forecast{}, errors.New("a forecast is a small JSON object")
	}
	err := strict.Unmarshal(body, &f, strict.RejectUnknownMembers(true))
	switch {
	case err != nil || f.MinC == nil || f.Until == nil:
		return api.Forecast{}, errors.New(`a forecast is {"min_c": -3.5, "until": "2026-12-01T12:00:00Z"} and nothing else: the lowest outdoor temperature in degrees Celsius, and until when it holds`)
	case *f.MinC < -90 || *f.MinC > 60:
		return api.Forecast{}, fmt.Errorf("min_c %g is no outdoor temperature in degrees Celsius", *f.MinC)
	case !f.Until.After(now):
		return api.Forecast{}, errPastForecast
	case f.Until.Sub(now) > forecastReach:
		return api.Forecast{}, errors.New("until must lie within the next 48 hours")
	}
	return api.Forecast{MinC: *f.MinC, Until: f.Until.UTC()}, nil
}

// forecasts keeps what a weather service says of the night to come, as home
// automation tells it. It is never mixed with readings.
type forecasts struct{ *App }

func (a forecasts) PutForecast(ctx context.Context, caseID string, body []byte) error {
	if _, err := a.book.Get(caseID); err != nil {
		return err
	}
	f, err := readForecast(body, a.opt.Now())
	if err != nil {
		return fmt.Errorf("%w: %w", ingest.ErrUnusable, err)
	}
	return a.keepForecast(ctx, caseID, f)
}

func (a *App) keepForecast(ctx context.Context, caseID string, f api.Forecast) error {
	blob, err := json.Marshal(f)
	if err != nil {
		return fmt.Errorf("writing a forecast of %s: %w", caseID, err)
	}
	if old, err := a.store.State(ctx, kindForecast, caseID); err == nil && string(old) == string(blob) {
		return nil // home automation repeats itself
	}
	if err := a.store.PutState(ctx, kindForecast, caseID, blob); err != nil {
		return fmt.Errorf("keeping the forecast of %s: %w", caseID, err)
	}
	a.forecastChanged(caseID)
	return nil
}

// Forecast is the one in force; the error wraps roof.ErrNotFound for none.
func (a forecasts) Forecast(ctx context.Context, caseID string) (api.Forecast, error) {
	var f api.Forecast
	if _, err := a.book.Get(caseID); err != nil {
		return f, err
	}
	blob, err := a.store.State(ctx, kindForecast, caseID)
	if err != nil && !errors.Is(err, roof.ErrNotFound) {
		return f, fmt.Errorf("reading the forecast of %s: %w", caseID, err)
	}
	if err != nil || json.Unmarshal(blob, &f) != nil || !f.Until.After(a.opt.Now()) {
		return f, fmt.Errorf("no forecast is in force for case %s: %w", caseID, roof.ErrNotFound)
	}
	return f, nil
}

func (a forecasts) DeleteForecast(ctx context.Context, caseID string) error {
	if _, err := a.book.Get(caseID); err != nil {
		return err
	}
	if err := a.store.DeleteState(ctx, kindForecast, caseID); err != nil {
		return fmt.Errorf("dropping the forecast of %s: %w", caseID, err)
	}
	a.forecastChanged(caseID)
	return nil
}

// forecastChanged has the case looked at again soon.
func (a *App) forecastChanged(caseID string) {
	b := a.bell.Load()
	if b == nil {
		return
	}
	b.step.Lock()
	if w := b.cases[caseID]; w != nil {
		w.at = time.Time{}
	}
	b.step.Unlock()
	select {
	case b.news <- struct{}{}:
	default:
	}
}

// forecastOf is the forecast in force, nil for none.
func (a *App) forecastOf(ctx context.Context, c *roof.Case, now time.Time) (*outlook.Forecast, error) {
	blob, err := a.store.State(ctx, kindForecast, c.ID)
	if errors.Is(err, roof.ErrNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("reading the forecast of %s: %w", c.ID, err)
	}
	var f api.Forecast
	if json.Unmarshal(blob, &f) != nil || !f.Until.After(now) {
		return nil, nil
	}
	return &outlook.Forecast{MinC: f.MinC}, nil
}

// arrived takes in what either broker brought: forecasts here, all else by the write
// path, each message answered in its place.
func (a *App) arrived(ctx context.Context, in []payload.Message) []error {
	readings, at := make([]payload.Message, 0, len(in)), make([]int, 0, len(in))
	out := make([]error, len(in))
	for i, m := range in {
		if caseID, ok := strings.CutPrefix(m.Topic, forecastPrefix); ok {
			out[i] = a.forecastMessage(ctx, caseID, m)
			continue
		}
		readings, at = append(readings, m), append(at, i)
	}
	if len(readings) == 0 {
		return out
	}
	for i, err := range a.path.Messages(ctx, readings) {
		out[at[i]] = err
	}
	return out
}

// forecastMessage keeps a forecast, or counts and lists why it cannot be used.
// Only a forecast that could not be kept is an error, and comes again.
func (a *App) forecastMessage(ctx context.Context, caseID string, m payload.Message) error {
	reject := func(reason roof.Reason, detail string) error {
		a.metrics.Rejected(reason, 1)
		if !roof.ValidCaseID(caseID) {
			caseID = ""
		}
		a.keeper.Keep(ctx, []roof.Reject{{At: m.Arrived.UTC(), Case: caseID, Source: short(m.Topic, 300), Reason: reason,
			Detail: detail, Payload: m.Payload[:min(len(m.Payload), maxForecastBytes)]}})
		return nil
	}
	switch _, err := a.book.Get(caseID); {
	case !roof.ValidCaseID(caseID):
		return reject(roof.BadTopic, "forecasts come on dewcase-forecast/CASE")
	case err != nil:
		return reject(roof.UnknownCase, "a forecast for a case that no case file has; create the case or correct the topic")
	case m.TooLarge > 0:
		return reject(roof.TooLarge, fmt.Sprintf("a forecast of %d bytes; it is a small JSON object", m.TooLarge))
	case len(m.Payload) == 0: // a retained forecast was taken back
		return forecasts{a}.DeleteForecast(ctx, caseID)
	}
	f, err := readForecast(m.Payload, m.Arrived)
	if errors.Is(err, errPastForecast) && m.Retained {
		return nil // the broker still holds last night's
	}
	if err != nil {
		return reject(roof.BadPayload, err.Error())
	}
	return a.keepForecast(ctx, caseID, f)
}

// short cuts a stranger's words and takes what is no text out of them.
func short(s string, most int) string {
	return strings.ToValidUTF8(s[:min(len(s), most)], "\uFFFD")
}
