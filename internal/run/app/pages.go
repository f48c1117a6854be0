package app

import (
	"context"
	"time"

	"github.com/go-chi/chi/v5"

	"dewcase/dashboards"
	"dewcase/internal/door/http/gate"
	"dewcase/internal/door/http/homepage"
	"dewcase/internal/door/http/web"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/curves"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// pages puts the pages on the router: the consultant's, the report and the
// household's.
func (a *App) pages(r chi.Router, g *gate.Gate) error {
	p, err := web.New(web.Options{Cases: a.book, Record: pageRecord{a.views(), a.readings, a.curves}, Rejects: a.intake(),
		LogIn: g, Who: gate.Who,
		Bundle: dashboards.Bundle(), Version: a.opt.Version, Now: a.opt.Now, Log: a.opt.Log, Reports: true, Demo: a.opt.Demo,
		Away: a.movedAway, Pooled: a.pooledPage()})
	if err != nil {
		return err
	}
	a.notHere = p.Elsewhere
	a.keepHouses(p)
	a.list = p.HouseList()
	home, err := homepage.New(a.bell, a.opt.Log)
	if err != nil {
		return err
	}
	r.Group(func(r chi.Router) {
		r.Use(gate.Costly(16, 5*time.Second, 30*time.Second))
		p.Mount(r)
		p.MountAlerts(r, a.bell, a.store)
		p.MountInbox(r, a.inbox())
		home.Mount(r)
		err = a.reports(r, p)
	})
	if err != nil {
		return err
	}
	// A file is looked through as a whole: these have seats of their own.
	p.MountFiles(r.With(gate.Costly(4, 10*time.Second, 10*time.Minute)), a.fileDesk(),
		int64(a.opt.Config.HTTP.MaxBodyMB)<<20)
	r.NotFound(p.NotFound)
	return nil
}

// pageRecord shows the record to the pages.
type pageRecord struct {
	views
	readings roof.ReadingStore
	curves   *curves.Keeper
}

func (p pageRecord) Curves(ctx context.Context, id string, keys []curves.Key, from, until time.Time,
	stepMS int64, changes ...curves.Change) (curves.View, error) {
	c, err := p.book.Case(ctx, id)
	if err != nil {
		return curves.View{}, err
	}
	return p.curves.Columns(ctx, c, keys, from.UnixMilli(), until.UnixMilli(), stepMS, changes...)
}

func (p pageRecord) Span(ctx context.Context, id string) (from, until time.Time, ok bool, err error) {
	c, err := p.book.Case(ctx, id)
	if err != nil {
		return from, until, false, err
	}
	f, u, ok, err := p.record.Span(ctx, c)
	return time.UnixMilli(f).UTC(), time.UnixMilli(u).UTC(), ok, err
}

func (p pageRecord) Answer(ctx context.Context, id string) (assessment.Answer, error) {
	c, err := p.book.Case(ctx, id)
	if err != nil {
		return assessment.Answer{}, err
	}
	return p.assessor.Recent(ctx, c)
}

func (p pageRecord) AnswerSoon(ctx context.Context, id string) (assessment.Answer, bool) {
	e, err := p.book.Get(id)
	if err != nil {
		return assessment.Answer{}, false
	}
	return p.assessor.Soon(ctx, e.Case)
}

func (p pageRecord) Ahead(ctx context.Context, id string) (*assessment.Foresight, error) {
	c, err := p.book.Case(ctx, id)
	if err != nil {
		return nil, err
	}
	return p.assessor.Ahead(ctx, c)
}

func (p pageRecord) AheadSoon(id string) (*assessment.Foresight, bool) {
	e, err := p.book.Get(id)
	if err != nil {
		return nil, false
	}
	return p.assessor.AheadSoon(e.Case)
}

// latestWithin is how far back of a logger's last record its values are looked
// for: temperature and humidity may have come in different records.
const latestWithin = 2 * time.Hour

func (p pageRecord) Latest(ctx context.Context, id string) ([]web.Latest, error) {
	c, err := p.book.Case(ctx, id)
	if err != nil {
		return nil, err
	}
	spans, err := p.readings.Spans(ctx, id)
	if err != nil {
		return nil, err
	}
	out := []web.Latest{}
	for _, s := range spans {
		l, known := c.Logger(s.Logger)
		if !known {
			l.ID = s.Logger
		}
		x := web.Latest{Logger: s.Logger, First: s.First, At: s.Last, Position: series.FittedAt(l, s.Last), Usual: l.Interval}
		if pos, ok := c.Position(x.Position); ok {
			x.Place = pos.Place
		}
		for r, err := range p.readings.Range(ctx, id, s.Logger, s.Last.Add(-latestWithin), time.Time{}) {
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
