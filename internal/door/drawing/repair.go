package drawing

import (
	"math"
	"time"

	"dewcase/internal/door/picture"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/repair"
)

// Paired sums the course after a repair up by night: hours measured, and hours
// that the unrepaired roof would have had in the same weather. As on the
// timeline, what the repair did is added to what was measured, so that an error
// that both runs of the model share does not look like an effect.
func Paired(r repair.Result, id string, zone *time.Location) (wet, risk picture.PairedNights) {
	wet = picture.PairedNights{ID: "wet-" + id, Words: "wet hours", Zone: zone}
	risk = picture.PairedNights{ID: "risk-" + id, Words: "hours at risk", Zone: zone}
	const half = 0.5 // h a point
	type sum struct{ wet, wet0, risk, risk0, seen float64 }
	var nights []time.Time
	sums := map[time.Time]*sum{}
	for _, pt := range r.Course {
		noon := evidence.Noon(time.UnixMilli(pt.AtMS), zone)
		s, ok := sums[noon]
		if !ok {
			s = &sum{}
			sums[noon] = s
			nights = append(nights, noon)
		}
		if pt.MeasuredK == nil {
			continue
		}
		s.seen += half
		m, m0 := *pt.MeasuredK, *pt.MeasuredK+pt.WithoutK-pt.WithK
		add := func(into *float64, margin, limit float64) {
			if margin <= limit {
				*into += half
			}
		}
		add(&s.wet, m, 0)
		add(&s.wet0, m0, 0)
		add(&s.risk, m, 1)
		add(&s.risk0, m0, 1)
	}
	for _, noon := range nights {
		s := sums[noon]
		a, b := picture.PairedNight{From: noon}, picture.PairedNight{From: noon}
		if s.seen >= 0.8*evidence.NoonAfter(noon, 1, zone).Sub(noon).Hours() {
			a.Measured, a.Without = &s.wet, &s.wet0
			b.Measured, b.Without = &s.risk, &s.risk0
		}
		wet.Nights, risk.Nights = append(wet.Nights, a), append(risk.Nights, b)
	}
	return wet, risk
}

// Change is what the last repair of a surface did to its margin, half hour by
// half hour.
type Change struct {
	Surface string
	At      time.Time
	FromMS  int64
	StepS   int
	ChangeK []*float64
}

const halfHourMS = 30 * 60 * 1000

// ChangeOf finds the last judged repair of a surface that has a course.
func ChangeOf(results []assessment.Repair, surface string) (Change, bool) {
	var last *repair.Result
	for i, r := range results {
		if r.Surface == surface && len(r.Course) > 1 && (last == nil || r.At.After(last.At)) {
			last = &results[i].Result
		}
	}
	if last == nil {
		return Change{}, false
	}
	first, end := last.Course[0].AtMS, last.Course[len(last.Course)-1].AtMS
	e := Change{Surface: surface, At: last.At.UTC(), FromMS: first, StepS: halfHourMS / 1000,
		ChangeK: make([]*float64, (end-first)/halfHourMS+1)}
	for _, pt := range last.Course {
		x := math.Round((pt.WithoutK-pt.WithK)*100) / 100
		if i := (pt.AtMS - first) / halfHourMS; i >= 0 && int(i) < len(e.ChangeK) {
			e.ChangeK[i] = &x
		}
	}
	return e, true
}

// over is the mean change over [fromMS, untilMS); ok is false where none is
// known.
func (e Change) over(fromMS, untilMS int64) (float64, bool) {
	if untilMS <= e.FromMS {
		return 0, false
	}
	first := max(fromMS-e.FromMS, 0) / halfHourMS
	end := min((untilMS-e.FromMS+halfHourMS-1)/halfHourMS, int64(len(e.ChangeK)))
	sum, n := 0.0, 0
	for i := first; i < end; i++ {
		if x := e.ChangeK[i]; x != nil {
			sum, n = sum+*x, n+1
		}
	}
	if n == 0 {
		return 0, false
	}
	return sum / float64(n), true
}

// Unrepaired is the margin that the roof would have had without the
// repair: what was measured, and the change between the model's two runs.
func Unrepaired(m picture.MarginChart, e Change) picture.Column {
	f := picture.NewFigures(len(m.Time))
	any := false
	for i, t := range m.Time {
		if m.MarginMean == nil {
			break
		}
		x, ok := m.MarginMean.Get(i)
		if !ok {
			continue
		}
		from := t.UnixMilli()
		until := from + max(m.Step.Milliseconds(), 1)
		if d, ok := e.over(from, until); ok {
			f.Set(i, x+d)
			any = true
		}
	}
	if !any {
		return nil
	}
	return f
}
