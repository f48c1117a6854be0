package curves

import (
	"context"
	"slices"
	"sync"
	"time"

	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

const (
	// maxBins bounds what is kept over all cases, about 48 MiB.
	maxBins = 3_000_000
	// atOnce bounds the days that are worked out together, so that the readings
	// of a long record are never all in memory.
	atOnce = 32
	// renewAfter is after how many new readings a case's days are all worked out
	// anew, where a logger's usual interval is found from what it sent: a day may
	// have been judged by too few.
	renewAfter = 5000
)

// Keeper makes columns and keeps the days behind wide ones. It is safe for
// concurrent use.
type Keeper struct {
	record Record
	shelf  Shelf // nil: nothing outlives this keeper
	rests  Rests

	mu    sync.Mutex
	cases map[string]*held
	bins  int
	tick  int64
}

// held is what is at hand of one case.
type held struct {
	work    sync.Mutex // one at a time works a case's days out
	c       *roof.Case
	days    map[dayKey]day
	bins    int
	version int64 // rises with every change
	fresh   int   // readings since everything was begun anew
	used    int64
}

// dayKey is a day in steps of one length.
type dayKey struct{ number, stepMS int64 } // number since 1970, UTC

// day holds what was observed of one day; a key that is not in it was not.
type day map[Key][]Bin

// New makes a keeper of a record, with nothing kept.
func New(r Record) *Keeper { return &Keeper{record: r, cases: map[string]*held{}} }

func (k *Keeper) drop(x *held) {
	k.bins -= x.bins
	x.days, x.bins, x.fresh = map[dayKey]day{}, 0, 0
	x.version++
}

// CaseChanged drops what is kept of a case: fittings, offsets or surfaces may be
// others now.
func (k *Keeper) CaseChanged(caseID string) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if x := k.cases[caseID]; x != nil {
		k.drop(x)
		x.c = nil
	}
}

// Appended drops the days that new readings can change.
func (k *Keeper) Appended(caseID string, readings []roof.Reading, outcomes []roof.Outcome) {
	k.mu.Lock()
	defer k.mu.Unlock()
	x := k.cases[caseID]
	if x == nil || x.c == nil {
		return
	}
	for i, r := range readings {
		if outcomes[i] != roof.Stored && outcomes[i] != roof.Merged {
			continue
		}
		x.version++
		l, _ := x.c.Logger(r.Logger)
		usual := l.Interval
		if usual == 0 {
			usual = 24 * time.Hour
			if x.fresh++; x.fresh > renewAfter {
				k.drop(x)
				return
			}
		}
		pad := evidence.Reach.Milliseconds() + series.LongestSpanMS(usual.Milliseconds())
		ms := r.At.UnixMilli()
		for d := floor(ms-pad, dayMS) / dayMS; d*dayMS <= ms+pad; d++ {
			k.remove(x, d)
		}
	}
}

func (k *Keeper) remove(x *held, number int64) {
	for _, step := range []int64{BaseMS, hourMS} {
		key := dayKey{number, step}
		for _, b := range x.days[key] {
			x.bins -= len(b)
			k.bins -= len(b)
		}
		delete(x.days, key)
	}
}

// of is what is at hand of a case.
func (k *Keeper) of(c *roof.Case) *held {
	k.mu.Lock()
	defer k.mu.Unlock()
	x := k.cases[c.ID]
	if x == nil {
		x = &held{days: map[dayKey]day{}}
		k.cases[c.ID] = x
	}
	if x.c != c {
		k.drop(x)
		x.c = c
	}
	k.tick++
	x.used = k.tick
	return x
}

// base returns the columns of keys over [fromMS, untilMS) in steps of BaseMS or of
// an hour, on which both bounds lie.
func (k *Keeper) base(ctx context.Context, c *roof.Case, keys []Key, fromMS, untilMS, stepMS int64) ([][]Bin, error) {
	out := make([][]Bin, len(keys))
	for i := range out {
		out[i] = make([]Bin, (untilMS-fromMS)/stepMS)
	}
	x := k.of(c)
	x.work.Lock()
	defer x.work.Unlock()
	lay := func(number int64, d day) {
		start := (number*dayMS - fromMS) / stepMS
		for i, key := range keys {
			if b := d[key]; b != nil {
				copy(out[i][max(start, 0):], b[max(-start, 0):])
			}
		}
	}
	first, last := floor(fromMS, dayMS)/dayMS, floor(untilMS-1, dayMS)/dayMS
	var missing []int64
	for number := first; number <= last; number++ {
		if d, ok := k.at(x, c, dayKey{number, stepMS}); ok {
			lay(number, d)
		} else {
			missing = append(missing, number)
		}
	}
	if stepMS == hourMS && len(missing) > 0 {
		var err error
		if missing, err = k.takeDown(ctx, c, x, missing, lay); err != nil {
			return nil, err
		}
	}
	for len(missing) > 0 {
		n := 1
		for n < min(len(missing), atOnce) && missing[n] == missing[0]+int64(n) {
			n++
		}
		days, err := k.workOut(ctx, c, x, missing[0], n, stepMS)
		if err != nil {
			return nil, err
		}
		for i, d := range days {
			lay(missing[i], d)
		}
		missing = missing[n:]
	}
	return out, nil
}

func (k *Keeper) at(x *held, c *roof.Case, key dayKey) (day, bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	d, ok := x.days[key]
	return d, ok && x.c == c
}

// workOut makes n days and keeps them, unless a reading came in between: then
// they are right for this answer but not for the next.
func (k *Keeper) workOut(ctx context.Context, c *roof.Case, x *held, number int64, n int, stepMS int64) ([]day,
	error) {
	before := k.version(x)
	dayLen := int(dayMS / stepMS)
	fromMS, untilMS := number*dayMS, (number+int64(n))*dayMS
	set, err := k.record.Around(ctx, c, fromMS, untilMS)
	if err != nil {
		return nil, err
	}
	days := make([]day, n)
	for i := range days {
		days[i] = day{}
	}
	for _, p := range c.Positions {
		for _, q := range Offered(c, p) {
			if q == UnrepairedK {
				continue // made of margins for each answer: the model's runs change
			}
			key := Key{p.ID, q}
			all := bins(track(set, key), q, fromMS, stepMS, n*dayLen)
			for i := range days {
				part := all[i*dayLen : (i+1)*dayLen]
				if slices.ContainsFunc(part, func(b Bin) bool { return b.Seen > 0 }) {
					days[i][key] = slices.Clone(part)
				}
			}
		}
	}
	for i, d := range days {
		k.hold(c, x, before, dayKey{number + int64(i), stepMS}, d)
	}
	return days, nil
}

func (k *Keeper) version(x *held) int64 {
	k.mu.Lock()
	defer k.mu.Unlock()
	return x.version
}

// hold has a day at hand for the next time, of a record as it was at a version.
func (k *Keeper) hold(c *roof.Case, x *held, version int64, key dayKey, d day) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if x.c != c || x.version != version {
		return
	}
	x.days[key] = d
	for _, b := range d {
		x.bins += len(b)
		k.bins += len(b)
	}
	k.forget(x)
}

// forget drops the days of the cases longest unused until the bound holds.
func (k *Keeper) forget(using *held) {
	for k.bins > maxBins {
		var oldest *held
		for _, x := range k.cases {
			if x != using && x.bins > 0 && (oldest == nil || x.used < oldest.used) {
				oldest = x
			}
		}
		if oldest == nil {
			oldest = using
		}
		k.drop(oldest)
		if oldest == using {
			return
		}
	}
}
