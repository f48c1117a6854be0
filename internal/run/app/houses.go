package app

import (
	"cmp"
	"context"
	"log/slog"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"dewcase/internal/door/http/api"
	"dewcase/internal/door/http/web"
	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/casebook"
	"dewcase/internal/flow/houses"
	"dewcase/internal/flow/kept"
	"dewcase/internal/roof"
)

// housekeeper keeps the list of houses: a summary of each, made anew in the
// background when what it rests on has changed. It works on one at a time, and
// rests between them, so that the list takes a small part of one processor however
// many houses there are.
type housekeeper struct {
	book      *casebook.Book
	list      *sqlite.Derived
	record    *sqlite.Store
	readings  roof.ReadingStore
	summarise func(ctx context.Context, id string, answer func(string) (assessment.Answer, bool)) (web.HouseSummary, error)
	answer    func(ctx context.Context, c *roof.Case) (answer, bool) // the last at hand
	alerts    func(ctx context.Context, id string) ([]web.AlertRow, error)
	method    string
	now       func() time.Time
	log       *slog.Logger

	relist atomic.Bool // the list holds nothing, or what was before

	mu     sync.Mutex
	due    map[string]dueHouse
	news   chan struct{}
	served chan struct{} // closed, and made anew, whenever a house was summed up
}

// dueHouse is a house whose summary may be out of date.
type dueHouse struct {
	since time.Time
	how   urgency
}

// urgency is how a summary is made anew.
type urgency int

const (
	inTurn urgency = iota // after summaryLasts
	early                 // as soon as its turn comes: much came at once, or somebody looks
	atOnce                // without resting before: the list waits for it
)

const (
	// summaryLasts is how long a summary of a house whose readings go on coming
	// stands while nobody looks; with many houses it may be longer.
	summaryLasts = 30 * time.Minute
	// behindAfter is from when the list says how old a summary is.
	behindAfter = time.Hour
	// restShare is how many times as long as it worked the housekeeper rests.
	restShare = 20
	// listWaits is how long the list waits for houses that were never summed up, unless
	// more than fewDue are to be summed up: of thousands, as after a first start, it
	// shows what there is.
	listWaits = 4 * time.Second
	fewDue    = 500
)

// changed notes that what a summary rests on has changed.
func (k *housekeeper) changed(caseID string, how urgency) {
	k.mu.Lock()
	d, ok := k.due[caseID]
	if !ok {
		d.since = k.now()
	}
	wake := !ok || how > d.how
	d.how = max(d.how, how)
	k.due[caseID] = d
	k.mu.Unlock()
	if wake {
		select {
		case k.news <- struct{}{}:
		default:
		}
	}
}

// muchAtOnce is how many readings in one go, as of an import, are summed up early.
const muchAtOnce = 64

// took notes readings that were stored.
func (k *housekeeper) took(caseID string, readings []roof.Reading) {
	how := inTurn
	if len(readings) >= muchAtOnce {
		how = early
	}
	k.changed(caseID, how)
}

// run sums houses up until the context ends.
func (k *housekeeper) run(ctx context.Context) {
	k.relist.Store(true)
	for {
		if k.relist.Swap(false) {
			if err := k.begin(ctx); err != nil && ctx.Err() == nil {
				k.log.Error("the list of houses could not be begun", "error", err)
			}
		}
		id, wait := k.next()
		if id != "" {
			began := time.Now()
			if err := k.sumUp(ctx, id); err != nil && ctx.Err() == nil {
				k.log.Error("a house could not be summed up", "case", id, "error", err)
			}
			k.mu.Lock()
			close(k.served)
			k.served = make(chan struct{})
			k.mu.Unlock()
			if wait = restShare * time.Since(began); k.someoneWaits() {
				wait = 0
			}
		}
		if !pause(ctx, wait, k.news, id != "") {
			return
		}
	}
}

// again has the list begun anew.
func (k *housekeeper) again() {
	k.relist.Store(true)
	select {
	case k.news <- struct{}{}:
	default:
	}
}

// pause waits; news end it only where nothing was just done. It reports whether
// work goes on.
func pause(ctx context.Context, d time.Duration, news <-chan struct{}, worked bool) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	if worked {
		news = nil
	}
	select {
	case <-ctx.Done():
		return false
	case <-t.C:
	case <-news:
	}
	return ctx.Err() == nil
}

func (k *housekeeper) someoneWaits() bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	for _, d := range k.due {
		if d.how == atOnce {
			return true
		}
	}
	return false
}

// next takes the house that is most due, and else says how long nothing is.
func (k *housekeeper) next() (id string, wait time.Duration) {
	k.mu.Lock()
	defer k.mu.Unlock()
	now := k.now()
	var best dueHouse
	for c, d := range k.due {
		if id == "" || d.how > best.how || d.how == best.how && d.since.Before(best.since) {
			id, best = c, d
		}
	}
	if id == "" {
		return "", time.Hour
	}
	if left := summaryLasts - now.Sub(best.since); best.how == inTurn && left > 0 {
		return "", min(left, summaryLasts) // also where the clock was put back
	}
	delete(k.due, id)
	return id, 0
}

// begin brings the list in line with the cases in force. What each summary rests
// on is looked at in turn.
func (k *housekeeper) begin(ctx context.Context) error {
	listed, err := k.list.ListedHouses(ctx)
	if err != nil {
		return err
	}
	long := k.now().Add(-summaryLasts)
	for _, c := range k.book.All() {
		h, ok := listed[c.ID]
		delete(listed, c.ID)
		if name := nameOf(c); !ok || h.Name != name {
			if err := k.list.NameHouse(ctx, c.ID, name); err != nil {
				return err
			}
		}
		k.mu.Lock()
		k.due[c.ID] = dueHouse{since: long}
		k.mu.Unlock()
	}
	for id := range listed {
		if err := k.list.DropHouse(ctx, id); err != nil {
			return err
		}
	}
	return nil
}

func nameOf(c *roof.Case) string { return cmp.Or(c.Property.Label, c.ID) }

// caseChanged lists a house under the name that it has now, or takes it from the
// list.
func (k *housekeeper) caseChanged(ctx context.Context, caseID string) {
	e, err := k.book.Get(caseID)
	if err == nil {
		err = k.list.NameHouse(ctx, caseID, nameOf(e.Case))
	} else {
		err = k.list.DropHouse(ctx, caseID)
	}
	if err != nil && ctx.Err() == nil {
		k.log.Error("the list of houses could not be changed", "case", caseID, "error", err)
	}
	k.changed(caseID, atOnce)
}

// alertsChanged notes that alerts of a house were raised, seen or cleared.
func (a *App) alertsChanged(caseID string, byHand bool) {
	how := early
	if byHand {
		how = atOnce
	}
	if a.houses != nil {
		a.houses.changed(caseID, how)
	}
}

// sumUp makes a house's summary where what it rests on has changed.
func (k *housekeeper) sumUp(ctx context.Context, id string) error {
	e, err := k.book.Get(id)
	if err != nil { // it is no longer in force
		return k.list.DropHouse(ctx, id)
	}
	a, answered := k.answer(ctx, e.Case)
	alerts, err := k.alerts(ctx, id)
	if err != nil {
		return err
	}
	rests, err := k.restsOn(ctx, e, a, answered, alerts)
	if err != nil {
		return err
	}
	if was, err := k.list.Kept(ctx, sqlite.KindHouse, id, 0, 1); err == nil && len(was) == 1 && was[0].Rests == rests {
		return nil
	}
	h, err := k.summed(ctx, id, a, answered, alerts)
	if err != nil {
		return err
	}
	data, err := kept.Pack(h)
	if err != nil {
		return err
	}
	l := h.Listed()
	l.Rests, l.Data = rests, data
	return k.list.KeepHouse(ctx, l)
}

func (k *housekeeper) summed(ctx context.Context, id string, a answer, answered bool, alerts []web.AlertRow) (
	web.HouseSummary, error) {
	h, err := k.summarise(ctx, id, func(string) (assessment.Answer, bool) { return a.answer, answered })
	h.Notice(alerts)
	return h, err
}

// summaryDays is how many days before the newest reading bear on a summary: its
// nights, and what is around them.
const summaryDays = 34

// restsOn is the digest of what a summary rests on.
func (k *housekeeper) restsOn(ctx context.Context, e casebook.Entry, a answer, answered bool,
	alerts []web.AlertRow) (kept.Digest, error) {
	until := kept.DayOf(k.now().UnixMilli())
	spans, err := k.readings.Spans(ctx, e.Case.ID)
	if err != nil {
		return kept.Digest{}, err
	}
	last := int64(0)
	for _, s := range spans {
		last = max(last, kept.DayOf(s.Last.UnixMilli()))
	}
	from := min(last, until) - summaryDays
	days, err := k.record.DaySums(ctx, e.Case.ID, from, max(last, until))
	if err != nil {
		return kept.Digest{}, err
	}
	rest := "not assessed"
	if answered {
		rest = a.at.Format(time.RFC3339Nano)
	}
	for _, x := range alerts {
		rest += " " + x.ID + " " + string(x.State)
	}
	return kept.Of(days, "house", k.method, e.ETag, rest), nil
}

// Houses implements web.HouseList. Where houses of the page were never summed up,
// it waits for them a little.
func (k *housekeeper) Houses(ctx context.Context, q roof.HouseQuery) ([]web.HouseSummary, int, int, int, error) {
	soon, enough := context.WithTimeout(ctx, listWaits)
	defer enough()
	for {
		k.mu.Lock()
		served, many := k.served, len(k.due) > fewDue
		k.mu.Unlock()
		p, err := k.list.Houses(ctx, q)
		if err != nil {
			return nil, 0, 0, 0, err
		}
		rows, waits, err := k.rows(ctx, p.Rows)
		if err != nil || !waits || many || soon.Err() != nil {
			return rows, p.All, p.Found, p.Need, err
		}
		select {
		case <-served:
		case <-soon.Done():
		}
	}
}

// rows unpacks summaries, with their loggers as last heard; waits says that one is
// about to be made.
func (k *housekeeper) rows(ctx context.Context, listed []roof.ListedHouse) (rows []web.HouseSummary, waits bool,
	err error) {
	for _, l := range listed {
		h := summaryOf(l)
		k.mu.Lock()
		due, isDue := k.due[l.Case]
		k.mu.Unlock()
		switch age := k.now().Sub(h.Made); {
		case h.Made.IsZero() || isDue && h.Last.IsZero():
			k.changed(l.Case, atOnce)
			waits = true
		case isDue && due.how == atOnce:
			waits = true
		case isDue && age > time.Minute:
			k.changed(l.Case, early)
			h.Behind = age > behindAfter
		}
		if len(h.Loggers) > 0 {
			spans, err := k.readings.Spans(ctx, l.Case)
			if err != nil {
				return nil, false, err
			}
			for _, s := range spans {
				i := slices.IndexFunc(h.Loggers, func(x web.HouseLogger) bool { return x.ID == s.Logger })
				if i >= 0 && s.Last.After(h.Loggers[i].Last) {
					h.Loggers[i].Last = s.Last
				}
				if i >= 0 && s.Last.After(h.Last) {
					h.Last = s.Last
				}
			}
		}
		rows = append(rows, h)
	}
	return rows, waits, nil
}

// summaryOf unpacks a house's summary.
func summaryOf(l roof.ListedHouse) web.HouseSummary {
	var h web.HouseSummary
	if l.Data == nil || kept.Unpack(l.Data, &h) != nil {
		h = web.HouseSummary{ID: l.Case, Label: l.Name, Zone: time.UTC}
	}
	h.Made = l.Made
	return h
}

// Figures implements web.HouseList.
func (k *housekeeper) Figures(ctx context.Context) (houses.Figures, map[string]web.HouseSummary, error) {
	c := houses.NewCounter(k.now())
	if err := k.list.EachHouse(ctx, c.Add); err != nil {
		return houses.Figures{}, nil, err
	}
	f := c.Figures()
	first, err := k.list.HousesOf(ctx, slices.Concat(f.Wettest, f.Unhelped, f.LongestSilent))
	of := map[string]web.HouseSummary{}
	for id, l := range first {
		of[id] = summaryOf(l)
	}
	return f, of, err
}

// keepHouses starts the housekeeper, where what is worked out can be kept.
func (a *App) keepHouses(p *web.Pages) {
	if a.derived == nil {
		return
	}
	a.houses = &housekeeper{book: a.book, list: a.derived, record: a.store, readings: a.readings, summarise: p.Summarise,
		answer: a.assessor.kept, alerts: a.bell.Alerts, method: program(), now: a.opt.Now, log: a.opt.Log,
		due: map[string]dueHouse{}, news: make(chan struct{}, 1), served: make(chan struct{})}
	a.book.OnChange(func(id string) { a.houses.caseChanged(a.base, id) })
	a.assessor.made = func(id string) { a.houses.changed(id, early) }
	a.derived.OnAnew(a.houses.again)
	p.Houses = a.houses
	var running sync.WaitGroup
	running.Go(func() { a.houses.run(a.base) })
	a.onStop("the list of houses", waitFor(&running))
}

// houseRows answers programs from the list of houses.
type houseRows struct {
	list   func() web.HouseList
	others *otherInstances
	now    func() time.Time
}

func (a *App) houseRows() houseRows {
	return houseRows{func() web.HouseList { return a.list }, a.others, a.opt.Now}
}

// pooledPage is what the page of all instances stands on; nil where there is one.
func (a *App) pooledPage() func(context.Context) (houses.Pooled, error) {
	if len(a.others.all) == 0 {
		return nil
	}
	return a.houseRows().Pooled
}

// Pooled counts over this instance and the others.
func (r houseRows) Pooled(ctx context.Context) (houses.Pooled, error) {
	f, err := r.Figures(ctx)
	return houses.Pool(append([]houses.Instance{{Name: "this instance", Figures: &f}}, r.others.figures(ctx)...)), err
}

func (r houseRows) Figures(ctx context.Context) (houses.Figures, error) {
	f, _, err := r.list().Figures(ctx)
	return f, err
}

func (r houseRows) List(ctx context.Context, q roof.HouseQuery) (rows []api.HouseRow, found int, err error) {
	q.Now = r.now()
	part, _, found, _, err := r.list().Houses(ctx, q)
	for _, h := range part {
		l := h.Listed()
		row := api.HouseRow{Case: h.ID, Label: h.Label, Need: l.Needs(q.Now), WetNights: h.WetNights, SeenWeek: h.SeenWeek,
			WetMonth: h.WetMonth, SeenMonth: h.SeenMonth, Finding: string(h.Finding), Verdict: string(h.Result),
			Silent: h.Silent(q.Now)}
		if row.Silent == nil {
			row.Silent = []string{}
		}
		if !h.Last.IsZero() {
			row.LastReading = &l.Last
		}
		if !h.Made.IsZero() {
			row.SummedUp = &l.Made
		}
		rows = append(rows, row)
	}
	return rows, found, err
}
