package exports

import (
	"slices"
	"sort"
	"strings"
	"time"
)

// Fold says which of the two passes of an hour that clocks show twice is meant.
type Fold string

// The passes.
const (
	First  Fold = "first"
	Second Fold = "second"
)

// shift is one change of a zone's clocks.
type shift struct {
	// The wall times from fromMS to before untilMS are there twice, or with
	// missing not at all.
	fromMS, untilMS int64
	missing         bool
	beforeMS        int64 // offset before the change
	afterMS         int64
}

// clock turns wall times of a zone into UTC.
type clock struct {
	name   string
	shifts []shift
	// the stretch of wall times that the last answer holds for
	lo, hi, offsetMS int64
}

// Zone finds a zone by its IANA name, UTC, or an offset such as +01:00.
func Zone(name string) (*time.Location, bool) {
	_, clock := clockNames[name] // as a zone CET is changed in summer, as a clock it is not
	if seconds, ok := offsetOf(strings.TrimSpace(name)); ok && !clock {
		if seconds == 0 {
			return time.UTC, true
		}
		return time.FixedZone(name, seconds), true
	}
	if name == "" || name == "Local" {
		return nil, false
	}
	z, err := time.LoadLocation(name)
	return z, err == nil
}

// The years that readings can have; before and after, the zone's first and last
// offset stand.
var (
	clockFrom  = time.Date(1999, 1, 1, 0, 0, 0, 0, time.UTC)
	clockUntil = time.Date(2102, 1, 1, 0, 0, 0, 0, time.UTC)
)

func newClock(zone *time.Location) *clock {
	c := &clock{name: zone.String(), lo: 1}
	offset := func(s int64) int {
		_, o := time.Unix(s, 0).In(zone).Zone()
		return o
	}
	// Week by week, then to the second within the week of a change.
	const week = 7 * 86400
	last := clockFrom.Unix()
	before := offset(last)
	for at := last + week; at < clockUntil.Unix(); at += week {
		after := offset(at)
		if after != before {
			t := (last + int64(sort.Search(week, func(i int) bool { return offset(last+int64(i)) != before }))) * 1000
			b, a := int64(before)*1000, int64(after)*1000
			c.shifts = append(c.shifts, shift{t + min(a, b), t + max(a, b), a > b, b, a})
		}
		last, before = at, after
	}
	if len(c.shifts) == 0 {
		_, offset := clockFrom.In(zone).Zone()
		c.lo, c.hi, c.offsetMS = -1<<62, 1<<62, int64(offset)*1000
	}
	return c
}

// moved reports whether clocks in the zone are ever changed.
func (c *clock) moved() bool { return len(c.shifts) > 0 }

// utc gives the time of a wall time that is there once. Where it is there twice
// or not at all, at is the number of that shift, else -1.
func (c *clock) utc(wallMS int64) (ms int64, at int) {
	if wallMS >= c.lo && wallMS < c.hi {
		return wallMS - c.offsetMS, -1
	}
	i := sort.Search(len(c.shifts), func(i int) bool { return c.shifts[i].untilMS > wallMS })
	if i < len(c.shifts) && wallMS >= c.shifts[i].fromMS {
		return 0, i
	}
	c.lo, c.hi = -1<<62, 1<<62
	if i > 0 {
		c.lo, c.offsetMS = c.shifts[i-1].untilMS, c.shifts[i-1].afterMS
	}
	if i < len(c.shifts) {
		c.hi, c.offsetMS = c.shifts[i].fromMS, c.shifts[i].beforeMS
	}
	return wallMS - c.offsetMS, -1
}

// course follows the wall times of one series of rows in the file's order, to
// tell the two passes of an hour apart.
type course struct {
	begun    bool
	lastMS   int64
	lastAt   int // number of the shift in whose hour the last one lay, -1
	up, down int // steps outside such hours
	same     int // repeated times outside
	passes   map[int]*pass
}

// pass is what was seen of one hour that is there twice.
type pass struct {
	rows int
	back int // steps back, repeated times among them
	fore int // steps forwards, repeated times among them: either way of running sees its turn in one
	same int // repeated times
	line int // where the first row stands
	cell string
	// what stood beside each wall time, to tell a second pass from rows that were
	// exported twice
	seen          map[int64]uint64
	alike, differ int
}

// maxSeen bounds what is remembered of one such hour.
const maxSeen = 8000

// step takes the next wall time, with a digest of its row; at as from clock.utc.
// It returns what was seen of the hour so far, nil outside.
func (c *course) step(wallMS int64, at int, row uint64) *pass {
	var p *pass
	if at >= 0 {
		if p = c.passes[at]; p == nil {
			if c.passes == nil {
				c.passes = map[int]*pass{}
			}
			p = &pass{seen: map[int64]uint64{}}
			c.passes[at] = p
		}
		p.rows++
		switch before, known := p.seen[wallMS]; {
		case known && before == row:
			p.alike++
		case known:
			p.differ++
		case len(p.seen) < maxSeen:
			p.seen[wallMS] = row
		}
	}
	if c.begun {
		inside := p != nil && c.lastAt == at
		switch {
		case inside && wallMS > c.lastMS:
			p.fore++
		case inside:
			p.back++
			if wallMS == c.lastMS {
				p.fore++
				p.same++
			}
		case wallMS > c.lastMS:
			c.up++
		case wallMS < c.lastMS:
			c.down++
		default:
			c.same++
		}
	}
	c.begun, c.lastMS, c.lastAt = true, wallMS, at
	return p
}

// turn says whether the series' own order tells the passes of an hour apart:
// outside its rows run strictly one way, inside they turn exactly once, and what
// is repeated is no row that was exported twice.
func (c *course) turn(at int) (settled, falling bool) {
	p := c.passes[at]
	falling = c.down > 0
	turns := p.back
	if falling {
		turns = p.fore
	}
	settled = c.same == 0 && (c.up > 0) != (c.down > 0) && turns == 1 && (p.alike == 0 || p.differ > 0) &&
		(p.same == 0 || p.rows == 2)
	return settled, falling
}

// seriesShift is one such hour of one series.
type seriesShift struct {
	series string
	at     int
}

// sortedShifts lists shifts in time order.
func sortedShifts(m map[int]*pass) []int {
	out := make([]int, 0, len(m))
	for at := range m {
		out = append(out, at)
	}
	slices.Sort(out)
	return out
}
