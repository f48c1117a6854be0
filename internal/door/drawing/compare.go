package drawing

import (
	"math"
	"slices"
	"time"

	"dewcase/internal/door/picture"
	"dewcase/internal/flow/curves"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/repair"
	"dewcase/internal/roof"
)

// fewNights is how many nights an hour of the clock needs to be drawn.
const fewNights = 3

// OnOneClock draws the mean course of some nights before and some after on one
// clock, noon to noon, with the middle half of the nights as a band. The column
// is hourly. Lows are the lowest points of both means, and means their means;
// NaN where there is none.
func OnOneClock(v curves.View, before, after []repair.NightUse, zone *time.Location,
	at time.Time) (c picture.CurveChart,
	lows, means [2]float64) {
	noon := evidence.Noon(at, zone)
	q := v.Columns[0].Key.Quantity
	c = picture.CurveChart{ID: "clock", Zone: zone, From: noon, Until: noon.Add(24 * time.Hour), Step: time.Hour,
		Clock: true}
	p := picture.CurvePanel{Unit: q.Unit(), Decimals: q.Shown()}
	for k, nights := range [][]repair.NightUse{before, after} {
		curve := picture.Curve{Name: [2]string{"before", "after"}[k], Look: [2]int{2, 1}[k]}
		run := []picture.Sample{}
		sum := 0.0
		lows[k], means[k] = math.NaN(), math.NaN()
		for hour := range 24 {
			var x []float64
			for _, n := range nights {
				i := (n.FromMS + int64(hour)*evidence.HourMS - v.FromMS) / v.StepMS
				if i >= 0 && int(i) < v.Len() {
					if b := v.Columns[0].Bins[i]; b.Seen > 0.5 {
						x = append(x, float64(b.Mean))
					}
				}
			}
			if len(x) < fewNights {
				continue
			}
			slices.Sort(x)
			mean := 0.0
			for _, y := range x {
				mean += y / float64(len(x))
			}
			run = append(run, picture.Sample{At: noon.Add(time.Duration(hour)*time.Hour + 30*time.Minute), Mean: mean,
				Min: evidence.Quantile(x, 0.25), Max: evidence.Quantile(x, 0.75)})
			sum += mean
			lows[k] = math.Min(mean, orInf(lows[k]))
		}
		if len(run) > 0 {
			means[k] = sum / float64(len(run))
			curve.Runs = [][]picture.Sample{run}
		}
		p.Curves = append(p.Curves, curve)
	}
	c.Panels = []picture.CurvePanel{p}
	return c, lows, means
}

func orInf(x float64) float64 {
	if math.IsNaN(x) {
		return math.Inf(1)
	}
	return x
}

// Nightly draws one figure a night of hourly columns of one unit: of margins the
// lowest, of anything else the mean. Hours of day and night would lie over one
// another as a zigzag that hides both.
func Nightly(c *roof.Case, v curves.View, from, until time.Time) picture.CurveChart {
	q := v.Columns[0].Key.Quantity
	p := picture.CurvePanel{Unit: q.Unit() + ", mean of each night", Decimals: q.Shown()}
	if q == curves.MarginK {
		p.Unit = q.Unit() + ", lowest of each night"
	}
	for i, col := range v.Columns {
		p.Curves = append(p.Curves, picture.Curve{Name: CurveName(c, col.Key), Look: i,
			Runs: nightly(v, i, c.Property.Zone)})
	}
	return picture.CurveChart{ID: "nights", Zone: c.Property.Zone, From: from, Until: until, Events: Events(c),
		Panels: []picture.CurvePanel{p}}
}

// nightly are a column's figures night by night, at the middle of each, in runs of
// nights of which most was observed.
func nightly(v curves.View, column int, zone *time.Location) (out [][]picture.Sample) {
	value, open := OfNight(v, column, v.Columns[column].Key.Quantity == curves.MarginK), false
	for noon := evidence.Noon(instant(v.FromMS), zone); noon.UnixMilli() < v.UntilMS; {
		x, ok := value(repair.NightUse{FromMS: noon.UnixMilli()})
		if ok && !open {
			out = append(out, nil)
		}
		if open = ok; ok {
			out[len(out)-1] = append(out[len(out)-1], picture.Sample{At: noon.Add(12 * time.Hour), Mean: x, Min: x, Max: x})
		}
		noon = evidence.NoonAfter(noon, 1, zone)
	}
	return out
}

// TwoWinters lays the nights of a stretch over those of the year before.
func TwoWinters(c *roof.Case, now, past curves.View, from, until time.Time) picture.CurveChart {
	shift := from.Sub(from.AddDate(-1, 0, 0))
	out := Nightly(c, now, from, until)
	out.ID = "winters"
	p := &out.Panels[0]
	p.Curves[0].Name, p.Curves[0].Look = "this winter", 1
	before := picture.Curve{Name: "a year before", Look: 2, Runs: nightly(past, 0, c.Property.Zone)}
	for _, run := range before.Runs {
		for n := range run {
			run[n].At = run[n].At.Add(shift)
		}
	}
	p.Curves = append(p.Curves, before)
	return out
}

// AddedUp is the wet hours since a repair as they added up, measured and as they
// would have been without it: what the two runs of the model differ by is added
// to what was measured, as for the nights in pairs.
func AddedUp(r repair.Result, zone *time.Location) (c picture.CurveChart, with, without float64) {
	c = picture.CurveChart{ID: "added", Zone: zone, Step: 0,
		Panels: []picture.CurvePanel{{Unit: "wet hours, added up", Curves: []picture.Curve{
			{Name: "without the repair", Look: 2}, {Name: "measured", Look: 1}}}}}
	var runs [2][]picture.Sample
	for i, pt := range r.Course {
		at := instant(pt.AtMS)
		if i == 0 {
			c.From = at
		}
		c.Until = at.Add(30 * time.Minute)
		if pt.MeasuredK != nil {
			if *pt.MeasuredK <= 0 {
				with += 0.5
			}
			if *pt.MeasuredK+pt.WithoutK-pt.WithK <= 0 {
				without += 0.5
			}
		}
		if i%6 == 0 || i == len(r.Course)-1 {
			for k, h := range []float64{without, with} {
				runs[k] = append(runs[k], picture.Sample{At: at, Mean: h, Min: h, Max: h})
			}
		}
	}
	for k := range runs {
		c.Panels[0].Curves[k].Runs = [][]picture.Sample{runs[k]}
	}
	return c, with, without
}

// NightDots sets one figure of each night against another: of the nights of a
// repair's result, a value of each of two hourly columns.
func NightDots(nights []repair.NightUse, x, y func(n repair.NightUse) (float64, bool)) (out []picture.Dot) {
	for _, n := range nights {
		a, okX := x(n)
		b, okY := y(n)
		if okX && okY && (n.Period == "before" || n.Period == "after") {
			out = append(out, picture.Dot{X: a, Y: b, After: n.Period == "after"})
		}
	}
	return out
}

// OfNight is a night's mean of an hourly column, or its lowest value, where most
// of the night was observed.
func OfNight(v curves.View, column int, lowest bool) func(n repair.NightUse) (float64, bool) {
	return func(n repair.NightUse) (float64, bool) {
		sum, seen, low := 0.0, 0.0, math.Inf(1)
		for hour := range int64(24) {
			i := (n.FromMS + hour*evidence.HourMS - v.FromMS) / v.StepMS
			if i < 0 || int(i) >= v.Len() {
				continue
			}
			if b := v.Columns[column].Bins[i]; b.Seen > 0 {
				sum, seen = sum+float64(b.Mean)*float64(b.Seen), seen+float64(b.Seen)
				low = math.Min(low, float64(b.Min))
			}
		}
		if lowest {
			return low, seen >= 18
		}
		return sum / seen, seen >= 18
	}
}
