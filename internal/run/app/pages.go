package app

import (
	"context"
	"errors"
	"time"

	"github.com/go-chi/chi/v5"

	"dewcase/dashboards"
	"dewcase/internal/door/http/gate"
	"dewcase/internal/door/http/web"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// pages puts the pages on the router.
func (a *App) pages(r chi.Router, g *gate.Gate) error {
	p, err := web.New(web.Options{Cases: pageCases{cases{a}}, Record: pageRecord{views{a}}, Rejects: pageRejects{a},
		LogIn: g, Who: gate.Who,
		Bundle: dashboards.Bundle(), Version: a.opt.Version, Now: a.opt.Now, Log: a.opt.Log, Reports: true, Demo: a.opt.Demo})
	if err != nil {
		return err
	}
	r.Group(func(r chi.Router) {
		r.Use(gate.Costly(16, 5*time.Second, 30*time.Second))
		p.Mount(r)
		err = errors.Join(a.reports(r, p.Style(), p.Fail), a.alertPages(r, p))
	})
	if err != nil {
		return err
	}
	r.NotFound(p.NotFound)
	return nil
}

// pageCases shows the case book to the pages.
type pageCases struct{ cases }

func (c pageCases) IDs(context.Context) ([]string, error) {
	out := []string{}
	for _, e := range c.book.All() {
		out = append(out, e.Case.ID)
	}
	return out, nil
}

func (c pageCases) Case(_ context.Context, id string) (*roof.Case, error) {
	e, err := c.book.Get(id)
	return e.Case, err
}

// pageRecord shows the record to the pages.
type pageRecord struct{ views }

func (p pageRecord) Span(ctx context.Context, id string) (from, until time.Time, ok bool, err error) {
	e, err := p.book.Get(id)
	if err != nil {
		return from, until, false, err
	}
	f, u, ok, err := p.record.Span(ctx, e.Case)
	return time.UnixMilli(f).UTC(), time.UnixMilli(u).UTC(), ok, err
}

// Timeline has the API's words; the pages ask for whole spans only.
func (p pageRecord) Timeline(ctx context.Context, id string, from, until time.Time, step time.Duration) (timeline.View,
	error) {
	return p.views.Timeline(ctx, id, from, until, step)
}

func (p pageRecord) Answer(ctx context.Context, id string) (assessment.Answer, error) {
	e, err := p.book.Get(id)
	if err != nil {
		return assessment.Answer{}, err
	}
	return p.desk.Recent(ctx, e.Case)
}

// latestWithin is how far back of a logger's last record its values are looked
// for: temperature and humidity may have come in different records.
const latestWithin = 2 * time.Hour

func (p pageRecord) Latest(ctx context.Context, id string) ([]web.Latest, error) {
	e, err := p.book.Get(id)
	if err != nil {
		return nil, err
	}
	spans, err := p.App.readings.Spans(ctx, id)
	if err != nil {
		return nil, err
	}
	out := []web.Latest{}
	for _, s := range spans {
		l, known := e.Case.Logger(s.Logger)
		if !known {
			l.ID = s.Logger
		}
		x := web.Latest{Logger: s.Logger, At: s.Last, Position: series.FittedAt(l, s.Last), Usual: l.Interval}
		if pos, ok := e.Case.Position(x.Position); ok {
			x.Place = pos.Place
		}
		for r, err := range p.App.readings.Range(ctx, id, s.Logger, s.Last.Add(-latestWithin), time.Time{}) {
			if err != nil {
				return nil, err
			}
			live := liveReading(l, r)
			keep(&x.TempC, live.TempC)
			keep(&x.RHPct, live.RHPct)
			keep(&x.DewPointC, live.DewPointC)
			keep(&x.BatteryPct, live.Battery)
			x.Flags = live.Flags
		}
		out = append(out, x)
	}
	return out, nil
}

func keep(into **float64, x *float64) {
	if x != nil {
		*into = x
	}
}

// pageRejects shows the reject log to the pages.
type pageRejects struct{ *App }

func (p pageRejects) Rejects(ctx context.Context, caseID string, limit int, before int64) ([]roof.KeptReject, error) {
	return p.store.Rejects(ctx, caseID, limit, before)
}

func (p pageRejects) RejectCounts(ctx context.Context) (map[roof.Reason]int64, error) {
	return p.store.RejectCounts(ctx)
}

func (p pageRejects) Heard(ctx context.Context) ([]roof.HeardName, error) { return p.heard(ctx) }
