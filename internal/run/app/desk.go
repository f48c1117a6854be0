package app

import (
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"log"
	"log/slog"
	"time"

	"dewcase/internal/door/http/api"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/csvreadings"
	"dewcase/internal/flow/ingest"
	"dewcase/internal/flow/record"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/physics/psychro"
	"dewcase/internal/reason/alert"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// cases shows the case book to the API.
type cases struct{ *App }

func (c cases) List(ctx context.Context) ([]api.CaseRow, error) {
	out := []api.CaseRow{}
	for _, e := range c.book.All() {
		row := api.CaseRow{Case: e.Case.ID, Label: e.Case.Property.Label, Timezone: e.Case.Property.Timezone}
		_, last, ok, err := c.record.Span(ctx, e.Case)
		if err != nil {
			return nil, err
		}
		if ok {
			t := time.UnixMilli(last).UTC()
			row.LastReading = &t
		}
		out = append(out, row)
	}
	return out, nil
}

func (c cases) File(ctx context.Context, id string) ([]byte, string, error) {
	return c.book.File(ctx, id)
}

func (c cases) PutFile(ctx context.Context, id string, file []byte, ifMatch, by string) (bool, string, error) {
	return c.book.Put(ctx, id, file, ifMatch, by)
}

func (c cases) History(ctx context.Context, id string, limit, before int) ([]roof.CaseVersion, error) {
	return c.store.CaseHistory(ctx, id, limit, before)
}

func (c cases) Version(ctx context.Context, id, version string) (roof.CaseVersion, error) {
	return c.store.CaseVersion(ctx, id, version)
}

// readings shows the write path and the raw record to the API.
type readings struct{ *App }

func (r readings) Import(ctx context.Context, caseID string, csv io.Reader) (ingest.Report, error) {
	if _, err := r.book.Get(caseID); err != nil {
		return ingest.Report{}, err
	}
	return r.path.CSV(ctx, caseID, "readings.csv", csv)
}

// Export writes logger by logger, each in time order.
func (r readings) Export(ctx context.Context, caseID string, from, until time.Time, w io.Writer) error {
	spans, err := r.readings().Spans(ctx, caseID)
	if err != nil {
		return err
	}
	_, err = csvreadings.Write(w, iter.Seq2[roof.Reading, error](func(yield func(roof.Reading, error) bool) {
		for _, s := range spans {
			for x, err := range r.readings().Range(ctx, caseID, s.Logger, from, until) {
				if !yield(x, err) {
					return
				}
			}
		}
	}))
	return err
}

func (r readings) readings() roof.ReadingStore { return r.App.readings }

func (r readings) Rejects(ctx context.Context, caseID string, limit int, before int64) ([]roof.KeptReject, error) {
	return r.store.Rejects(ctx, caseID, limit, before)
}

func (r readings) Conflicts(ctx context.Context, caseID string, limit int) ([]roof.Conflicting, error) {
	return r.readings().Conflicts(ctx, caseID, limit)
}

func (r readings) Heard(ctx context.Context) ([]roof.HeardName, error) { return r.heard(ctx) }

// views answers the API's questions about the record.
type views struct{ *App }

func (v views) Timeline(ctx context.Context, caseID string, from, until time.Time, step time.Duration) (timeline.View,
	error) {
	e, err := v.book.Get(caseID)
	if err != nil {
		return timeline.View{}, err
	}
	fromMS, untilMS, err := v.bounds(ctx, e.Case, from, until, step)
	if err != nil {
		return timeline.View{}, err
	}
	if step > 0 {
		return v.record.Timeline(ctx, e.Case, fromMS, untilMS, step.Milliseconds())
	}
	set, err := v.record.Around(ctx, e.Case, fromMS, untilMS)
	if err != nil {
		return timeline.View{}, err
	}
	return timeline.Raw(set, fromMS, untilMS)
}

// bounds fills open ends with the record's own, on whole steps of the clock.
func (v views) bounds(ctx context.Context, c *roof.Case, from, until time.Time, step time.Duration) (fromMS,
	untilMS int64, err error) {
	fromMS, untilMS = from.UnixMilli(), until.UnixMilli()
	if !from.IsZero() && !until.IsZero() {
		return fromMS, untilMS, nil
	}
	first, last, ok, err := v.record.Span(ctx, c)
	if err != nil {
		return 0, 0, err
	}
	if !ok {
		first = v.opt.Now().UnixMilli()
		last = first - 1
	}
	if from.IsZero() {
		if fromMS = first; step > 0 {
			fromMS = record.HourAt(c, first)
		}
		if !until.IsZero() {
			fromMS = min(fromMS, untilMS)
		}
	}
	if until.IsZero() {
		if untilMS = last + 1; step > 0 && ok {
			s := step.Milliseconds()
			untilMS = fromMS + max((last-fromMS)/s+1, 0)*s
		}
		untilMS = max(untilMS, fromMS)
	}
	return fromMS, untilMS, nil
}

func (v views) Assessment(ctx context.Context, caseID string) (assessment.Assessment, error) {
	e, err := v.book.Get(caseID)
	if err != nil {
		return assessment.Assessment{}, err
	}
	a, err := v.desk.Current(ctx, e.Case)
	return a.Assessment, err
}

func (v views) Alerts(ctx context.Context, caseID string) ([]api.Alert, error) {
	if _, err := v.book.Get(caseID); err != nil {
		return nil, err
	}
	b := v.bell.Load()
	if b == nil {
		return []api.Alert{}, nil
	}
	return b.AlertsOf(ctx, caseID)
}

// Acknowledge marks an alert as seen.
func (v views) Acknowledge(ctx context.Context, caseID, alertID, by string) error {
	if _, err := v.book.Get(caseID); err != nil {
		return err
	}
	return noAlert(v.bell.Load().Acknowledge(ctx, caseID, alertID, by))
}

// Snooze keeps an alert quiet until a time.
func (v views) Snooze(ctx context.Context, caseID, alertID, by string, until time.Time) error {
	if _, err := v.book.Get(caseID); err != nil {
		return err
	}
	err := noAlert(v.bell.Load().Snooze(ctx, caseID, alertID, by, until.Sub(v.opt.Now())))
	if errors.Is(err, alert.ErrSnooze) {
		err = fmt.Errorf("%w: %w", api.ErrRequest, err)
	}
	return err
}

// noAlert says in the API's words that there is no such alert.
func noAlert(err error) error {
	if errors.Is(err, alert.ErrNoAlert) {
		return fmt.Errorf("%w: %w", roof.ErrNotFound, err)
	}
	return err
}

// tellWatchers hands stored readings to those who watch the case.
func (a *App) tellWatchers(caseID string, readings []roof.Reading, outcomes []roof.Outcome) {
	e, err := a.book.Get(caseID)
	if err != nil {
		return
	}
	for i, r := range readings {
		if outcomes[i] != roof.Stored && outcomes[i] != roof.Merged {
			continue
		}
		l, known := e.Case.Logger(r.Logger)
		if !known {
			continue
		}
		a.hub.tell(caseID, liveReading(l, r))
	}
}

func liveReading(l roof.Logger, r roof.Reading) api.LiveReading {
	values := series.Calibrated(l, r.At.UnixMilli(), r.Values)
	out := api.LiveReading{Position: series.FittedAt(l, r.At), Logger: l.ID, At: r.At, Flags: r.Flags.Names()}
	get := func(q roof.Quantity) *float64 {
		if x, ok := values.Get(q); ok {
			return &x
		}
		return nil
	}
	out.TempC, out.RHPct, out.Battery = get(roof.TempC), get(roof.RHPct), get(roof.BatteryPct)
	if out.TempC != nil && out.RHPct != nil {
		if pa, err := psychro.VapourPressurePa(*out.TempC, *out.RHPct); err == nil {
			if dew, err := psychro.DewPointC(pa); err == nil {
				out.DewPointC = &dew
			}
		}
	}
	if out.Flags == nil {
		out.Flags = []string{}
	}
	return out
}

func (a *App) gauges() {
	a.influxGauges()
	a.metrics.Counter("dewcase_rejects_unkept_total", "Rejects counted but not kept in the log, because it could not "+
		"keep up.", nil, func() float64 { return float64(a.keeper.unkept.Load()) })
	a.metrics.Counter("dewcase_store_commits_total", "Transactions of the store; many readings share one.", nil,
		func() float64 { return float64(a.store.Commits()) })
	a.metrics.Gauge("dewcase_store_failing", "1 while the last write to the store failed.", nil, func() float64 {
		if a.store.Failing() != nil {
			return 1
		}
		return 0
	})
	a.metrics.Gauge("dewcase_store_queue", "Appends waiting for the next transaction.", nil,
		func() float64 { n, _ := a.store.Queued(); return float64(n) })
	a.metrics.Gauge("dewcase_cases", "Cases in force.", nil, func() float64 { return float64(len(a.book.All())) })
}

// quiet sends what the HTTP server has to say about hostile connections to the
// debug log.
func quiet(l *slog.Logger) *log.Logger { return slog.NewLogLogger(l.Handler(), slog.LevelDebug) }
