package drawing

import (
	"math"
	"time"

	"dewcase/internal/door/picture"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/curves"
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

const halfHourMS = evidence.HourMS / 2

// Changes are what the last judged repair of each surface changed of its margin.
func Changes(results []assessment.Repair) (out []curves.Change) {
	last := map[string]*repair.Result{}
	for i, r := range results {
		if l := last[r.Surface]; len(r.Course) > 1 && (l == nil || r.At.After(l.At)) {
			last[r.Surface] = &results[i].Result
		}
	}
	for surface, r := range last {
		c := curves.Change{Surface: surface, FromMS: r.Course[0].AtMS}
		for _, pt := range r.Course {
			for at := c.FromMS + int64(len(c.ByK))*halfHourMS; at < pt.AtMS; at += halfHourMS {
				c.ByK = append(c.ByK, math.NaN())
			}
			c.ByK = append(c.ByK, pt.WithoutK-pt.WithK)
		}
		out = append(out, c)
	}
	return out
}

// Unrepaired is the margin that the roof would have had without the
// repair: what was measured, and the change between the model's two runs.
func Unrepaired(m picture.MarginChart, e curves.Change) picture.Column {
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
		if d, ok := e.Over(from, until); ok {
			f.Set(i, x+d)
			any = true
		}
	}
	if !any {
		return nil
	}
	return f
}
