package leak

import (
	"math"
	"math/rand/v2"
	"time"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/physics/timber"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// board is a piece of wood under a leak: one-dimensional diffusion through its
// thickness, a face wetted whenever it rains. It shares no formula with the
// judged first-order drying but the air's equilibrium.
type board struct {
	thicknessM, diffusion float64
	excessPct             float64 // of its mean over its air's level, about
	depth                 int     // of the needles, cell
	hysteresisPct         float64 // of the air's level
	rainy                 float64 // share of the days
	plumbing              bool
	left                  float64 // of the water, since the repair
	byHand                bool
	oneFace               bool // a board under the underlay dries from one face only
	biasPct               float64
}

const (
	cells    = 12
	leadDays = 70
	runDays  = 62
)

var repairAt = time.Date(2026, 11, 20, 10, 0, 0, 0, time.UTC)

// lived is the record of a board: the loft's air, wood readings and rain.
func (b board) lived(r *rand.Rand) *series.Set {
	from := repairAt.Add(-leadDays * 24 * time.Hour)
	n := (leadDays + runDays) * 24
	var air, wood, out series.Course
	put := func(t *series.Track, ms int64, x float64, joined bool) {
		t.AtMS, t.Value, t.Joined = append(t.AtMS, ms), append(t.Value, x), append(t.Joined, joined)
	}
	dx := b.thicknessM / cells
	m := make([]float64, cells)
	for i := range m {
		m[i] = 17 + b.excessPct
	}
	// A steady flux at one face of a board that dries from the other lifts its mean by
	// half of what it lifts the face; spread through a board that dries from both,
	// by a sixth of what one face would.
	flux := 2 * b.excessPct / b.thicknessM * b.diffusion
	if !b.oneFace {
		flux *= 6
	}
	if !b.plumbing {
		flux /= b.rainy
	}
	slow, weather, raining, fallen := 0.0, 0.0, false, 0.0
	next := make([]float64, cells)
	for h := range n {
		at := from.Add(time.Duration(h) * time.Hour)
		ms := at.UnixMilli()
		slow += -slow/120 + r.NormFloat64()*0.12
		weather += -weather/20 + r.NormFloat64()*0.3
		if h%24 == 0 {
			raining = r.Float64() < b.rainy
		}
		tempC := 7 + 2*slow + weather - 3*math.Sin(float64(h)/24/160*math.Pi)
		rh := math.Min(math.Max(78+5*slow-1.5*weather, 45), 97)
		emc, err := timber.EMCPct(tempC, rh)
		if err != nil {
			panic(err)
		}
		face := emc + b.hysteresisPct
		in := flux
		if !b.plumbing && !raining {
			in = 0
		}
		if !at.Before(repairAt) {
			in *= b.left
		}
		const steps = 6
		dt := 3600.0 / steps
		for range steps {
			for i := range m {
				left, right := m[max(i-1, 0)], face
				k := b.diffusion / dx / dx
				d := 0.0
				switch {
				case i > 0:
					d += k * (left - m[i])
				case !b.oneFace:
					d += 2 * k * (right - m[i])
				}
				if i < cells-1 {
					d += k * (m[i+1] - m[i])
				} else {
					d += 2 * k * (right - m[i])
				}
				if !b.oneFace {
					d += in / b.thicknessM
				} else if i == 0 {
					d += in / dx
				}
				next[i] = m[i] + d*dt
			}
			copy(m, next)
		}
		put(&air.TempC, ms, tempC, true)
		put(&air.VapourPa, ms, rh/100*psychro.SatWaterPa(tempC), true)
		if raining {
			fallen += 0.35
		}
		if h%24 == 0 {
			put(&out.RainMM, ms, fallen, false)
			fallen = 0
		}
		every, noise := 6, 0.3
		if b.byHand {
			every, noise = 7*24, 1.2
		}
		if h%every == 9%every {
			put(&wood.WoodPct, ms, math.Max(m[b.depth]+b.biasPct+noise*r.NormFloat64(), 4), !b.byHand)
		}
	}
	leak := roof.RainLeak
	if b.plumbing {
		leak = roof.PlumbingLeak
	}
	c := &roof.Case{ID: "board", Positions: []roof.Position{{ID: "loft", Place: roof.LoftAir},
		{ID: "rafter", Place: roof.Timber, Meets: "loft"}, {ID: "station", Place: roof.OutdoorAir}},
		Events: []roof.Event{{At: repairAt, Kind: roof.Repair, What: "flashing renewed",
			Changes: []roof.Change{roof.WaterEntry}, Leak: leak}}}
	c.Property.Zone = time.UTC
	air.Position, wood.Position, out.Position = c.Positions[0], c.Positions[1], c.Positions[2]
	return &series.Set{Case: c, FromMS: from.UnixMilli(), UntilMS: from.Add(time.Duration(n) * time.Hour).UnixMilli(),
		Courses: []series.Course{air, wood, out}}
}

// asOf is the record up to so many days after the repair.
func asOf(set *series.Set, days float64) *series.Set {
	until := repairAt.Add(time.Duration(days * 24 * float64(time.Hour))).UnixMilli()
	out := &series.Set{Case: set.Case, FromMS: set.FromMS, UntilMS: until}
	for _, c := range set.Courses {
		c.TempC, c.VapourPa, c.WoodPct, c.RainMM = c.TempC.Until(until), c.VapourPa.Until(until), c.WoodPct.Until(until),
			c.RainMM.Until(until)
		out.Courses = append(out.Courses, c)
	}
	return out
}
