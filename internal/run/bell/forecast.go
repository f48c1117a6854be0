package bell

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

// PutForecast keeps what a weather service says of the night to come, as home
// automation tells it. It is never mixed with readings.
func (b *Bell) PutForecast(ctx context.Context, caseID string, body []byte) error {
	if _, err := b.Cases.Case(ctx, caseID); err != nil {
		return err
	}
	f, err := readForecast(body, b.now())
	if err != nil {
		return fmt.Errorf("%w: %w", ingest.ErrUnusable, err)
	}
	return b.keepForecast(ctx, caseID, f)
}

func (b *Bell) keepForecast(ctx context.Context, caseID string, f api.Forecast) error {
	blob, err := json.Marshal(f)
	if err != nil {
		return fmt.Errorf("writing a forecast of %s: %w", caseID, err)
	}
	if old, err := b.State.State(ctx, kindForecast, caseID); err == nil && string(old) == string(blob) {
		return nil // home automation repeats itself
	}
	if err := b.State.PutState(ctx, kindForecast, caseID, blob); err != nil {
		return fmt.Errorf("keeping the forecast of %s: %w", caseID, err)
	}
	return b.forecastChanged(ctx, caseID)
}

// forecastChanged has the case looked at again soon.
func (b *Bell) forecastChanged(ctx context.Context, caseID string) error {
	h, err := b.hold(ctx, caseID)
	if err != nil {
		return err
	}
	h.at = time.Time{}
	h.mu.Unlock()
	b.stir(caseID)
	return nil
}

// Forecast returns the forecast in force for a case; the error wraps
// roof.ErrNotFound where there is none.
func (b *Bell) Forecast(ctx context.Context, caseID string) (f api.Forecast, err error) {
	if _, err := b.Cases.Case(ctx, caseID); err != nil {
		return f, err
	}
	blob, err := b.State.State(ctx, kindForecast, caseID)
	if err != nil && !errors.Is(err, roof.ErrNotFound) {
		return f, fmt.Errorf("reading the forecast of %s: %w", caseID, err)
	}
	if err != nil || json.Unmarshal(blob, &f) != nil || !f.Until.After(b.now()) {
		return f, fmt.Errorf("no forecast is in force for case %s: %w", caseID, roof.ErrNotFound)
	}
	return f, nil
}

// forecastOf is the forecast in force, nil for none.
func (b *Bell) forecastOf(ctx context.Context, caseID string) (*outlook.Forecast, error) {
	f, err := b.Forecast(ctx, caseID)
	if errors.Is(err, roof.ErrNotFound) {
		return nil, nil
	}
	return &outlook.Forecast{MinC: f.MinC}, err
}

// DeleteForecast takes a case's forecast back.
func (b *Bell) DeleteForecast(ctx context.Context, caseID string) error {
	if _, err := b.Cases.Case(ctx, caseID); err != nil {
		return err
	}
	if err := b.State.DeleteState(ctx, kindForecast, caseID); err != nil {
		return fmt.Errorf("dropping the forecast of %s: %w", caseID, err)
	}
	return b.forecastChanged(ctx, caseID)
}

// ForecastOn names the case whose forecasts come on a topic.
func ForecastOn(topic string) (caseID string, ok bool) {
	return strings.CutPrefix(topic, forecastPrefix)
}

// ForecastMessage keeps a forecast, or says why it cannot be used. Only a
// forecast that could not be kept is an error, and comes again.
func (b *Bell) ForecastMessage(ctx context.Context, m payload.Message) (*roof.Reject, error) {
	caseID, _ := ForecastOn(m.Topic)
	reject := func(reason roof.Reason, detail string) (*roof.Reject, error) {
		if !roof.ValidCaseID(caseID) {
			caseID = ""
		}
		source := strings.ToValidUTF8(m.Topic[:min(len(m.Topic), 300)], "\uFFFD")
		return &roof.Reject{At: m.Arrived.UTC(), Case: caseID, Source: source, Reason: reason,
			Detail: detail, Payload: m.Payload[:min(len(m.Payload), maxForecastBytes)]}, nil
	}
	switch _, err := b.Cases.Case(ctx, caseID); {
	case !roof.ValidCaseID(caseID):
		return reject(roof.BadTopic, "forecasts come on dewcase-forecast/CASE")
	case err != nil:
		return reject(roof.UnknownCase, "a forecast for a case that no case file has; create the case or correct the topic")
	case m.TooLarge > 0:
		return reject(roof.TooLarge, fmt.Sprintf("a forecast of %d bytes; it is a small JSON object", m.TooLarge))
	case len(m.Payload) == 0: // a retained forecast was taken back
		return nil, b.DeleteForecast(ctx, caseID)
	}
	f, err := readForecast(m.Payload, m.Arrived)
	if errors.Is(err, errPastForecast) && m.Retained {
		return nil, nil // the broker still holds last night's
	}
	if err != nil {
		return reject(roof.BadPayload, err.Error())
	}
	return nil, b.keepForecast(ctx, caseID, f)
}
