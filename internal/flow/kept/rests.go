// Package kept says what a worked-out value rests on, and writes such values
// into bytes and back.
//
// A value that was worked out from a record may be used again as long as nothing
// has changed of what it rests on: the readings, the part of the case file that
// bears on it, and the method. A digest (SHA-256) over these three names it; a
// value is used again only under the digest that would be its own if it were
// worked out now. So nothing has to be told that a reading came late or that an
// offset was corrected: what that touches has another digest, and everything
// else has not.
//
// The method is a name that changes with every change of a formula. Nobody has to
// remember to change it: the daemon takes a digest over the sources of the rooms
// that a value comes from and of every room that they import, which its binary
// carries, over the compiler, the processor it compiled for and the libraries. A
// change of a page or of a store leaves it, and what is kept with it; a value whose
// sources are not all carried has the whole program for its method.
package kept

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"math"
	"time"

	"dewcase/internal/roof"
)

// Digest names what a value rests on.
type Digest = [sha256.Size]byte

// digester gathers what a value rests on, each part with its length.
type digester struct{ b []byte }

func (d *digester) text(s string) { d.b = append(binary.AppendUvarint(d.b, uint64(len(s))), s...) }
func (d *digester) int(x int64)   { d.b = binary.AppendVarint(d.b, x) }
func (d *digester) float(x float64) {
	d.b = binary.LittleEndian.AppendUint64(d.b, math.Float64bits(x))
}

// number takes a figure that may be unknown.
func (d *digester) number(x *float64) {
	if x == nil {
		d.text("unknown")
		return
	}
	d.text("known")
	d.float(*x)
}

func (d *digester) sum() Digest { return sha256.Sum256(d.b) }

// Hours are the digests of the hourly rows of one case.
type Hours struct {
	c     *roof.Case
	head  []byte
	usual map[string]int64
	padMS int64
	sums  map[int64]map[string]roof.DaySum // by day and logger
}

const dayMS = 24 * 3600_000

// DayOf is the UTC day of a time in Unix ms, counted from 1970-01-01.
func DayOf(ms int64) int64 { return floorDiv(ms, dayMS) }

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

// NewHours prepares the digests of a case's hours by a method: usual are the usual intervals
// of loggers whose file does not say, padMS is how far beyond an hour the
// readings lie that bear on it, days what the store holds of each logger and day.
func NewHours(method string, c *roof.Case, usual map[string]int64, padMS int64, days []roof.DaySum) Hours {
	var d digester
	d.text("hours")
	d.text(method)
	d.text(c.Property.Timezone)
	d.number(c.Property.AltitudeM)
	for _, p := range c.Positions {
		d.text(p.ID)
		d.text(string(p.Place))
		d.text(p.Meets)
	}
	h := Hours{c: c, head: d.b, usual: usual, padMS: padMS, sums: map[int64]map[string]roof.DaySum{}}
	for _, s := range days {
		if h.sums[s.Day] == nil {
			h.sums[s.Day] = map[string]roof.DaySum{}
		}
		h.sums[s.Day][s.Logger] = s
	}
	return h
}

// Of is the digest of the rows of [fromMS, untilMS), in Unix ms: of the fittings
// and offsets only those count that reach into it.
func (h Hours) Of(fromMS, untilMS int64) Digest {
	d := digester{b: append(make([]byte, 0, 1024), h.head...)}
	d.int(fromMS)
	d.int(untilMS)
	lo, hi := fromMS-h.padMS, untilMS+h.padMS
	for _, x := range h.c.Excluded {
		if from, to := x.From.UnixMilli(), x.To.UnixMilli(); from < hi && to > lo {
			d.text("left out")
			d.text(x.Position)
			d.int(max(from, lo))
			d.int(min(to, hi))
		}
	}
	for _, l := range h.c.Loggers {
		d.logger(l, h.usual[l.ID], lo, hi)
		for day := DayOf(lo); day <= DayOf(hi-1); day++ {
			if s, ok := h.sums[day][l.ID]; ok {
				d.int(day)
				d.int(s.Count)
				d.b = append(d.b, s.Sum[:]...)
			}
		}
	}
	return d.sum()
}

// logger takes the part of a logger's entry that bears on [lo, hi).
func (d *digester) logger(l roof.Logger, usualMS int64, lo, hi int64) {
	d.text("logger")
	d.text(l.ID)
	if l.Interval > 0 {
		usualMS = l.Interval.Milliseconds()
	}
	d.int(usualMS)
	if s := l.Station; s != nil {
		d.text("station")
		d.number(s.DistanceKM)
		d.number(s.HeightDifferenceM)
	}
	first := int64(math.MaxInt64)
	for _, f := range l.Fitted {
		from := f.From.UnixMilli()
		first = min(first, from)
		if from >= hi || !f.To.IsZero() && f.To.UnixMilli() <= lo {
			continue
		}
		d.text(f.Position)
		d.int(max(from, lo))
		until := hi
		if !f.To.IsZero() {
			until = min(f.To.UnixMilli(), hi)
		}
		d.int(until)
	}
	d.int(min(max(first, lo), hi)) // readings before it are flagged
	var before time.Time
	var at roof.Offset
	for _, o := range l.Offsets {
		switch ms := o.From.UnixMilli(); {
		case ms >= hi:
		case ms > lo:
			d.offset(ms, o)
		case before.IsZero() || !o.From.Before(before): // the last of those in force
			before, at = o.From, o
		}
	}
	d.offset(lo, at)
}

func (d *digester) offset(fromMS int64, o roof.Offset) {
	d.int(fromMS)
	d.float(o.TempC)
	d.float(o.RHPct)
}

// Local reports whether the hours of a case rest on what lies near them alone.
// Where two loggers are fitted at one position at the same time, the one fitted
// first counts until its last reading, however far that is.
func Local(c *roof.Case) bool {
	type stint struct{ fromMS, untilMS int64 }
	by := map[string][]stint{}
	for _, l := range c.Loggers {
		for i, f := range l.Fitted {
			s := stint{f.From.UnixMilli(), math.MaxInt64}
			if !f.To.IsZero() {
				s.untilMS = f.To.UnixMilli()
			}
			for k, g := range l.Fitted { // each ends where the logger's next begins
				if ms := g.From.UnixMilli(); k != i && ms >= s.fromMS {
					s.untilMS = min(s.untilMS, ms)
				}
			}
			for _, o := range by[f.Position] {
				if s.fromMS < o.untilMS && o.fromMS < s.untilMS {
					return false
				}
			}
			by[f.Position] = append(by[f.Position], s)
		}
	}
	return true
}

// OfCase is the digest of a method, of everything in a case file that an
// assessment can rest on, which is all of it but the label, the people and the
// limits of their alerts, and of the usual intervals in ms of loggers whose entry
// does not say.
func OfCase(method string, c *roof.Case, usual map[string]int64) (Digest, error) {
	x := *c
	x.Property.Label, x.Contacts, x.Alerts, x.Views = "", roof.Contacts{}, roof.AlertSettings{}, nil
	text, err := json.Marshal(x)
	var d digester
	d.text("case")
	d.text(method)
	d.b = append(d.b, text...)
	for _, l := range c.Loggers {
		if l.Interval == 0 {
			d.text(l.ID)
			d.int(usual[l.ID])
		}
	}
	return d.sum(), err
}

// OfRecord is the digest of everything that was measured by the loggers of a
// case.
func OfRecord(c *roof.Case, days []roof.DaySum) Digest {
	var d digester
	d.text("record")
	d.days(days, func(logger string) bool { _, known := c.Logger(logger); return known })
	return d.sum()
}

// Of is the digest of what is measured on some days, and of some texts beside it.
func Of(days []roof.DaySum, texts ...string) Digest {
	var d digester
	for _, t := range texts {
		d.text(t)
	}
	d.days(days, func(string) bool { return true })
	return d.sum()
}

func (d *digester) days(days []roof.DaySum, counts func(logger string) bool) {
	for _, s := range days {
		if counts(s.Logger) {
			d.text(s.Logger)
			d.int(s.Day)
			d.int(s.Count)
			d.b = append(d.b, s.Sum[:]...)
		}
	}
}
