package mechanism

import (
	"math"

	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/series"
)

// Bounds of the record used, in days of 24 h from the repair.
const (
	daysBefore = 60
	daysAfter  = 120 // looks go on to here
)

const dayMS = 24 * evidence.HourMS

// seenPart is how much of an hour must be observed.
const seenPart = 2.0 / 3

// bridgeHours are the longest holes that a regressor is drawn through.
const bridgeHours = 2

// record is the hours around one repair. Hour 0 begins at the repair, and slices
// begin at its first day.
type record struct {
	atMS         int64
	fromMS       int64 // of what may be used of the series
	untilMS      int64
	first, until int // days: -60..0, 0..daysAfter; until is the first day that is not whole
	doubtDays    int // around the repair, besides its own day, that count nothing
}

// newRecord bounds the days by what may be used of the series.
func newRecord(atMS, fromMS, untilMS, doubtMS int64) record {
	r := record{atMS: atMS, fromMS: fromMS, untilMS: untilMS, doubtDays: int((doubtMS + dayMS - 1) / dayMS)}
	r.first = -int(min(max((atMS-fromMS)/dayMS, 0), daysBefore))
	r.until = int(min(max((untilMS-atMS)/dayMS, 0), daysAfter))
	return r
}

func (r *record) hours() int { return (r.until - r.first) * 24 }

// column is an hourly quantity of a record: as seen, NaN where it was not, and
// with short holes bridged.
type column struct{ seen, v []float64 }

// temperature lays a place's loggers on the record's hours; none give a nil one.
func (r *record) temperature(courses []*series.Course) *column {
	var parts [][]float64
	for _, c := range courses {
		if p, any := r.hourly(c.TempC); any {
			parts = append(parts, p)
		}
	}
	if len(parts) == 0 {
		return nil
	}
	return bridged(evidence.Join(parts, 1))
}

func (r *record) hourly(t series.Track) (out []float64, any bool) {
	bins := t.Bins(r.atMS+int64(r.first)*24*evidence.HourMS, evidence.HourMS, r.hours())
	out = make([]float64, len(bins))
	for k, b := range bins {
		out[k] = math.NaN()
		if float64(b.ObservedMS) >= seenPart*float64(evidence.HourMS)-1 {
			out[k], any = b.Mean, true
		}
	}
	return out, any
}

// bridged draws holes of up to bridgeHours on a straight line.
func bridged(seen []float64) *column {
	c := &column{seen: seen, v: append([]float64(nil), seen...)}
	last := -1
	for k, x := range seen {
		if math.IsNaN(x) {
			continue
		}
		if hole := k - last - 1; last >= 0 && hole > 0 && hole <= bridgeHours {
			for i := last + 1; i < k; i++ {
				c.v[i] = seen[last] + (x-seen[last])*float64(i-last)/float64(k-last)
			}
		}
		last = k
	}
	return c
}

// mean of the seen hours of the days [from, until); NaN where there are none.
func (r *record) mean(c *column, from, until int) float64 {
	n, sum := 0.0, 0.0
	for _, x := range c.seen[(from-r.first)*24 : (until-r.first)*24] {
		if !math.IsNaN(x) {
			n, sum = n+1, sum+x
		}
	}
	return sum / n
}

// blocks are the days [from, until) in blocks of so many days.
func blocks(days []moments, from, until, size, cols int) []moments {
	var out []moments
	for d := from; d < until; d += size {
		var b moments
		for k := d; k < min(d+size, until); k++ {
			b.plus(&days[k], 1, cols)
		}
		out = append(out, b)
	}
	return out
}
