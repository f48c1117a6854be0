package app

import (
	"context"
	"io"
	"iter"
	"log"
	"log/slog"
	"time"

	"dewcase/internal/door/exportfile"
	"dewcase/internal/door/http/api"
	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/casebook"
	"dewcase/internal/flow/csvreadings"
	"dewcase/internal/flow/ingest"
	"dewcase/internal/flow/record"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/physics/psychro"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// intake gives the API and the pages the write path and the raw record.
type intake struct {
	*sqlite.Store
	book    *casebook.Book
	path    *ingest.Path
	kept    roof.ReadingStore
	unknown func(ctx context.Context) ([]roof.HeardName, error)
}

func (a *App) intake() intake { return intake{a.store, a.book, a.path, a.readings, a.heard} }

func (r intake) Import(ctx context.Context, caseID string, csv io.Reader) (ingest.Report, error) {
	if _, err := r.book.Get(caseID); err != nil {
		return ingest.Report{}, err
	}
	const name = "readings.csv"
	rows := func(now time.Time, each func(roof.Reading, int) error) (csvreadings.Summary, error) {
		return csvreadings.Read(name, csv, now, each)
	}
	return r.path.File(ctx, caseID, name, exportfile.Ahead(rows))
}

// Export writes logger by logger, each in time order.
func (r intake) Export(ctx context.Context, caseID string, from, until time.Time, w io.Writer) error {
	spans, err := r.kept.Spans(ctx, caseID)
	if err != nil {
		return err
	}
	_, err = csvreadings.Write(w, iter.Seq2[roof.Reading, error](func(yield func(roof.Reading, error) bool) {
		for _, s := range spans {
			for x, err := range r.kept.Range(ctx, caseID, s.Logger, from, until) {
				if !yield(x, err) {
					return
				}
			}
		}
	}))
	return err
}

func (r intake) Conflicts(ctx context.Context, caseID string, limit int) ([]roof.Conflicting, error) {
	return r.kept.Conflicts(ctx, caseID, limit)
}

func (r intake) Heard(ctx context.Context) ([]roof.HeardName, error) { return r.unknown(ctx) }

// views answers questions about the record by the id of a case.
type views struct {
	book     *casebook.Book
	record   *record.Reader
	assessor *assessor
	now      func() time.Time
}

func (a *App) views() views { return views{a.book, a.record, a.assessor, a.opt.Now} }

func (v views) List(ctx context.Context) ([]api.CaseRow, error) {
	out := []api.CaseRow{}
	for _, c := range v.book.All() {
		row := api.CaseRow{Case: c.ID, Label: c.Property.Label, Timezone: c.Property.Timezone}
		_, last, ok, err := v.record.Span(ctx, c)
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

func (v views) Timeline(ctx context.Context, caseID string, from, until time.Time, step time.Duration) (timeline.View,
	error) {
	c, err := v.book.Case(ctx, caseID)
	if err != nil {
		return timeline.View{}, err
	}
	fromMS, untilMS, err := v.bounds(ctx, c, from, until, step)
	if err != nil {
		return timeline.View{}, err
	}
	if step > 0 {
		return v.record.Timeline(ctx, c, fromMS, untilMS, step.Milliseconds())
	}
	set, err := v.record.Around(ctx, c, fromMS, untilMS)
	if err != nil {
		return timeline.View{}, err
	}
	return timeline.Raw(set, fromMS, untilMS)
}

// State is the case file in force and the version of the record.
func (v views) State(ctx context.Context, caseID string) any {
	type state struct {
		file    *roof.Case
		version int64
	}
	c, err := v.book.Case(ctx, caseID)
	if err != nil {
		return nil
	}
	return state{c, v.record.Version(caseID)}
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
		first = v.now().UnixMilli()
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
	c, err := v.book.Case(ctx, caseID)
	if err != nil {
		return assessment.Assessment{}, err
	}
	a, _, err := v.assessor.Foreseen(ctx, c)
	return a.Assessment, err
}

// tellWatchers sends stored readings to the live streams of the case.
func (a *App) tellWatchers(caseID string, readings []roof.Reading, outcomes []roof.Outcome) {
	c, err := a.book.Case(a.base, caseID)
	if err != nil {
		return
	}
	for i, r := range readings {
		if outcomes[i] != roof.Stored && outcomes[i] != roof.Merged {
			continue
		}
		l, known := c.Logger(r.Logger)
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
	a.metrics.Counter("dewcase_live_refused_total", "Live streams refused because all were taken.", nil,
		func() float64 { return float64(a.hub.refused.Load()) })
	a.metrics.Counter("dewcase_store_commits_total", "Transactions of the store; many readings share one.", nil,
		func() float64 { return float64(a.store.Commits()) })
	a.metrics.Gauge("dewcase_store_failing", "1 while the last write to the store failed.", nil, func() float64 {
		if a.store.Failing() != nil {
			return 1
		}
		return 0
	})
	a.metrics.Gauge("dewcase_store_incidents", "Incidents of the store (an older copy, a lost end) that nobody has "+
		"confirmed.", nil, func() float64 { return float64(len(a.openIncidents())) })
	a.metrics.Gauge("dewcase_store_queue", "Appends waiting for the next transaction.", nil,
		func() float64 { n, _ := a.store.Queued(); return float64(n) })
	a.metrics.Gauge("dewcase_cases", "Cases in force.", nil, func() float64 { return float64(len(a.book.All())) })
}

// quiet sends what the HTTP server has to say about hostile connections to the
// debug log.
func quiet(l *slog.Logger) *log.Logger { return slog.NewLogLogger(l.Handler(), slog.LevelDebug) }
