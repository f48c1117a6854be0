package record

import (
	"bytes"
	"container/list"
	"context"
	"crypto/rand"
	"slices"
	"sync"
	"time"

	"dewcase/internal/flow/kept"
	"dewcase/internal/flow/qc"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/roof"
)

const (
	// maxHours bounds the hours at hand over all cases, about 25 MiB: five winters. One
	// case alone may have more.
	maxHours = 25_000
	// maxTailBytes bounds the tails at hand over all cases: of 10,000 houses of six
	// loggers they take up to 120 MiB, by the time of day.
	maxTailBytes = 192 << 20
	// maxTail is how many hours a tail has: the shelf takes the days that are over.
	maxTail = 25
	// maxKnown is for how many days sheets are known: some more than a look needs.
	maxKnown = 32
)

// held is what is at hand of one case.
type held struct {
	work    sync.Mutex // one at a time works a case's hours out
	c       *roof.Case // the case the hours were worked out for
	rows    map[int64]timeline.Row
	tail    tail
	known   []knownSheet     // of those on the shelf
	usual   map[string]int64 // ms, of loggers whose file does not say
	fresh   map[string]int   // of the same loggers: readings until the usual interval is found anew
	version int64            // rises with every change of readings or file
	// calm follows the readings that come, so that one touches the hours of its own
	// time alone; nil where it may touch more.
	calm   *qc.Calm
	calmMS int64      // that is so of the hours from then on
	noted  []*Changes // that are not closed
	// Where the case stands among those with rows, or a tail, at hand.
	byRows, byTail *list.Element
}

// knownSheet is a sheet on the shelf that is right as long as nothing bears on it that
// comes: its digest was compared, or it was kept early, before it could have one.
type knownSheet struct {
	atMS  int64
	rests kept.Digest
	early bool
}

// tail is a case's hours of the running day, packed: they are needed at every
// look, and of many houses at a time.
type tail struct {
	fromMS int64
	data   []byte
	valid  [maxTail]bool
}

// queue holds cases in the order of their last use, and bounds what they hold.
type queue struct {
	list.List
	sum, most int
}

// use notes that a case was used, which holds so much more.
func (q *queue) use(k *held, at **list.Element, more int) {
	if q.sum += more; *at == nil {
		*at = q.PushBack(k)
		return
	}
	q.MoveToBack(*at)
}

// leave takes a case out that held so much.
func (q *queue) leave(at **list.Element, less int) {
	if q.sum -= less; *at != nil {
		q.Remove(*at)
		*at = nil
	}
}

func (r *Reader) dropRows(k *held) {
	r.byRows.leave(&k.byRows, len(k.rows))
	k.rows = nil
}

func (r *Reader) dropTail(k *held) {
	r.byTail.leave(&k.byTail, len(k.tail.data))
	k.tail = tail{}
}

// drop takes away everything that was worked out.
func (r *Reader) drop(k *held) {
	r.dropRows(k)
	r.dropTail(k)
	k.usual, k.fresh, k.calm, k.known = nil, nil, nil, nil
}

// held is what is at hand of a case; r.mu is held.
func (r *Reader) held(caseID string) *held {
	k := r.cases[caseID]
	if k == nil {
		k = &held{}
		r.cases[caseID] = k
	}
	return k
}

// of is what is at hand of a case as its file is now.
func (r *Reader) of(c *roof.Case) *held {
	r.mu.Lock()
	defer r.mu.Unlock()
	k := r.held(c.ID)
	if k.c != c {
		r.drop(k)
		k.c = c
	}
	return k
}

// forgetHours takes the hours from one to another away, in Unix ms.
func (r *Reader) forgetHours(k *held, fromMS, untilMS int64) {
	k.known = slices.DeleteFunc(k.known, func(s knownSheet) bool { return fromMS < s.atMS+sheetMS && s.atMS <= untilMS })
	for h := fromMS; h <= untilMS; h += hourMS {
		if _, ok := k.rows[h]; ok {
			delete(k.rows, h)
			r.byRows.sum--
		}
		if i := (h - k.tail.fromMS) / hourMS; h >= k.tail.fromMS && i < maxTail {
			k.tail.valid[i] = false
		}
	}
}

// fill takes what is at hand, and says what is missing then.
func (r *Reader) fill(out hours, c *roof.Case, k *held) []span {
	r.mu.Lock()
	var t tail
	if k.c == c {
		for i := range out.rows {
			if row, ok := k.rows[out.at(i)]; ok {
				out.rows[i] = row
			}
		}
		if k.byRows != nil {
			r.byRows.use(k, &k.byRows, 0)
		}
		if t = k.tail; k.byTail != nil {
			r.byTail.use(k, &k.byTail, 0)
		}
	}
	r.mu.Unlock()
	missing := out.missing()
	if len(missing) == 0 || t.data == nil {
		return missing
	}
	rows, err := unpackRows(t.data, len(c.Positions), len(c.Surfaces()))
	if err != nil {
		return missing
	}
	for i, row := range rows {
		if t.valid[i] {
			out.put(t.fromMS+int64(i)*hourMS, row)
		}
	}
	return out.missing()
}

// workOut fills the hours of a stretch and holds them, unless a reading came in
// between: those are right for this answer but not for the next. With all, it reads
// every reading that can bear on them: a reading that the store has, and that this
// reader was not told of yet, must not be missing from what is kept for good.
func (r *Reader) workOut(ctx context.Context, c *roof.Case, k *held, out hours, m span, all bool) error {
	usual, err := r.usualOf(ctx, c)
	if err != nil {
		return err
	}
	version, calm := r.calmFrom(k, c, m.fromMS)
	// An interval that is cut where the stretch begins or ends may give its hour
	// another last digit: what is cut lies outside.
	edge := int64(0)
	for _, l := range c.Loggers {
		edge = max(edge, spanMS(c, usual, l.ID))
	}
	pad := edge
	if calm = calm && !all; !calm {
		pad = padMS(c, usual)
	}
	edge = (edge + hourMS - 1) / hourMS * hourMS
	from, until := m.fromMS-edge, m.untilMS+edge
	of := r.readings(ctx, c, time.UnixMilli(from-pad), time.UnixMilli(until+pad))
	by := r.workers(until - from + 2*pad)
	set, err := r.gather(c, usual, of, by)
	if err != nil {
		return err
	}
	rows := timeline.Rows(by, set, from, until, hourMS)
	worked := hours{m.fromMS, rows[edge/hourMS : int64(len(rows))-edge/hourMS]}
	out.putAll(worked)
	r.hold(c, k, version, worked)
	if !calm {
		r.follow(ctx, c, k, version, of, from-pad, until+pad)
	}
	return nil
}

// calmFrom gives the version of a case's record, and whether its hours from one on
// rest on nothing but the readings of their own time.
func (r *Reader) calmFrom(k *held, c *roof.Case, fromMS int64) (version int64, calm bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return k.version, k.c == c && k.calm != nil && fromMS >= k.calmMS
}

// follow begins to follow a case's readings, where those of [fromMS, untilMS) are
// its newest and all is calm.
func (r *Reader) follow(ctx context.Context, c *roof.Case, k *held, version int64, of readings, fromMS, untilMS int64) {
	if !kept.Local(c) {
		return
	}
	spans, err := r.store.Spans(ctx, c.ID)
	if err != nil {
		return
	}
	for _, s := range spans {
		if _, known := c.Logger(s.Logger); known && s.Last.UnixMilli() >= untilMS {
			return
		}
	}
	if last := untilMS - maxRemembered.Milliseconds(); fromMS < last { // a winter need not be read again for it
		fromMS = last
		of = r.readings(ctx, c, time.UnixMilli(fromMS), time.UnixMilli(untilMS))
	}
	calm := qc.NewCalm(len(c.Loggers))
	for i, l := range c.Loggers {
		for x, err := range of(l.ID) {
			if err != nil || !calm.Take(i, x) {
				return
			}
		}
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if k.c == c && k.version == version {
		k.calm, k.calmMS = calm, fromMS+quietMS
	}
}

// hold has rows at hand for the next time, of a record as it was at a version.
func (r *Reader) hold(c *roof.Case, k *held, version int64, rows ...hours) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if k.c != c || k.version != version {
		return
	}
	if k.rows == nil {
		k.rows = map[int64]timeline.Row{}
	}
	had := len(k.rows)
	for _, h := range rows {
		for i, row := range h.rows {
			k.rows[h.at(i)] = row
		}
	}
	r.byRows.use(k, &k.byRows, len(k.rows)-had)
	for r.byRows.sum > r.byRows.most && r.byRows.Len() > 1 { // those longest unused go, and never the one in use
		r.dropRows(r.byRows.Front().Value.(*held))
	}
}

// settledMS is until when hours can be on the shelf: a sheet that ends later may
// still get the readings of its own time, and rests on whole days, of which the
// running one changes with every reading.
func (r *Reader) settledMS(c *roof.Case, usual map[string]int64) int64 {
	return kept.DayOf(r.now().UnixMilli())*dayMS - padMS(c, usual)
}

// holdTail has the hours that cannot be on the shelf at hand, where out holds them up
// to the present: those of the running day, and on the shelf before their time
// those of the days before it.
func (r *Reader) holdTail(ctx context.Context, c *roof.Case, k *held, version int64, out hours) {
	usual, err := r.usualOf(ctx, c)
	if err != nil {
		return
	}
	now := r.now().UnixMilli()
	t := tail{fromMS: floorTo(now, phaseMS(c), sheetMS)}
	first, end := (t.fromMS-out.fromMS)/hourMS, (HourAt(c, now)-out.fromMS)/hourMS+1
	if first < 0 || end > int64(len(out.rows)) {
		return
	}
	r.keepEarly(ctx, c, k, version, hours{out.fromMS, out.rows[:first]}, r.settledMS(c, usual))
	t.data = bytes.Clone(packRows(out.rows[first:end])) // without the room to grow
	for i := range end - first {
		t.valid[i] = true
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if k.c != c || k.version != version {
		return
	}
	r.dropTail(k)
	k.tail = t
	r.byTail.use(k, &k.byTail, len(t.data))
	for r.byTail.sum > r.byTail.most {
		r.dropTail(r.byTail.Front().Value.(*held))
	}
}

// keepEarly keeps the sheets at the end of some hours that are over and not settled.
// What they rest on still changes with every reading, so that their digests are
// none: they are known by a number, as long as nothing bears on them that comes,
// and are lost to the next reader.
func (r *Reader) keepEarly(ctx context.Context, c *roof.Case, k *held, version int64, out hours, settledMS int64) {
	if !kept.Local(c) {
		return
	}
	has := r.knownOf(k)
	var made []roof.Derived
	var known []knownSheet
	for end := len(out.rows); end >= sheetHours && out.at(end) > settledMS; end -= sheetHours {
		x := knownSheet{atMS: out.at(end - sheetHours), early: true}
		if slices.ContainsFunc(has, func(s knownSheet) bool { return s.atMS == x.atMS }) {
			continue
		}
		_, _ = rand.Read(x.rests[:])
		known = append(known, x)
		made = append(made, roof.Derived{AtMS: x.atMS, Rests: x.rests, Data: packRows(out.rows[end-sheetHours : end])})
	}
	if len(made) > 0 {
		r.keep(ctx, kindHours, c.ID, made)
		r.know(c, k, version, known)
	}
}

// knownOf lists the known sheets of a case.
func (r *Reader) knownOf(k *held) []knownSheet {
	r.mu.Lock()
	defer r.mu.Unlock()
	return slices.Clone(k.known)
}

// know notes known sheets of a record as it was at a version, in place of those of
// the same time, and forgets those that no look asks for any more.
func (r *Reader) know(c *roof.Case, k *held, version int64, sheets []knownSheet) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if k.c != c || k.version != version {
		return
	}
	oldest := r.now().UnixMilli() - maxKnown*sheetMS
	k.known = slices.DeleteFunc(k.known, func(s knownSheet) bool {
		return s.atMS < oldest || slices.ContainsFunc(sheets, func(x knownSheet) bool { return x.atMS == s.atMS })
	})
	for _, s := range sheets {
		if s.atMS >= oldest {
			k.known = append(k.known, s)
		}
	}
}
