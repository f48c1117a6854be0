package curves

import (
	"math"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/reason/risk"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// track derives one quantity at the times at which it was read. Between two
// neighbouring times it runs linearly where the interval was observed.
func track(set *series.Set, k Key) series.Track {
	c := set.Course(k.Position)
	if c == nil {
		return series.Track{}
	}
	switch k.Quantity {
	case TempC:
		return c.TempC
	case RHPct:
		return c.RHPct
	case VapourPa:
		return c.VapourPa
	case DewPointC:
		return mapped(c.VapourPa, psychro.DewPointC)
	case FrostPointC:
		return mapped(c.VapourPa, psychro.FrostPointC)
	case AbsoluteGM3:
		return joined(c.VapourPa, c.TempC, func(pa, tempC float64) float64 {
			return 1000 * pa / (psychro.GasVapour * (tempC + psychro.KelvinC))
		})
	case MarginK:
		m, err := risk.Margin(set, k.Position)
		if err != nil {
			return series.Track{}
		}
		return used(series.Track{AtMS: m.AtMS, Value: m.MarginK, Joined: m.Joined})
	case ExcessPa:
		return joined(c.VapourPa, outdoors(set), func(pa, outdoorPa float64) float64 { return pa - outdoorPa })
	case WoodPct:
		return c.WoodPct
	case RainMM:
		return c.RainMM
	case WindMS:
		return c.WindMS
	case SunWM2:
		return c.SunWM2
	}
	return series.Track{}
}

// used leaves out the nodes that neither neighbouring interval uses, which hold
// no value.
func used(t series.Track) series.Track {
	var out nodes
	for i, ms := range t.AtMS {
		before := i > 0 && t.Joined[i-1]
		if before || t.Joined[i] {
			out.add(ms, t.Value[i], before)
		}
	}
	return out.Track
}

// outdoors is the vapour pressure of the first outdoor position that was read; a
// logger of the house goes before a weather station.
func outdoors(set *series.Set) (t series.Track) {
	for _, c := range set.At(roof.OutdoorAir) {
		switch {
		case c.VapourPa.Len() == 0:
		case c.Stints[0].Station == nil:
			return c.VapourPa
		case t.Len() == 0:
			t = c.VapourPa
		}
	}
	return t
}

// nodes gathers a track's readings; open says whether the interval up to a
// reading was observed.
type nodes struct{ series.Track }

func (n *nodes) add(ms int64, value float64, open bool) {
	if k := len(n.Joined); k > 0 {
		n.Joined[k-1] = open
	}
	n.AtMS, n.Value, n.Joined = append(n.AtMS, ms), append(n.Value, value), append(n.Joined, false)
}

// mapped applies a formula at each reading and leaves out those where it has no
// value.
func mapped(t series.Track, f func(float64) (float64, error)) series.Track {
	var out nodes
	open := false
	for i, x := range t.Value {
		y, err := f(x)
		if err == nil {
			out.add(t.AtMS[i], y, open)
		}
		open = err == nil && t.Joined[i]
	}
	return out.Track
}

// joined applies a formula of two tracks at the union of their times, where both
// were observed.
func joined(a, b series.Track, f func(a, b float64) float64) series.Track {
	var out nodes
	open := false
	for i, j := 0, 0; i < a.Len() || j < b.Len(); { // i and j are the next reading of each
		ms := int64(math.MaxInt64)
		if i < a.Len() {
			ms = a.AtMS[i]
		}
		if j < b.Len() {
			ms = min(ms, b.AtMS[j])
		}
		if i < a.Len() && a.AtMS[i] == ms {
			i++
		}
		if j < b.Len() && b.AtMS[j] == ms {
			j++
		}
		x, okA := at(a, i-1, ms)
		y, okB := at(b, j-1, ms)
		if okA && okB {
			out.add(ms, f(x, y), open)
		}
		open = i > 0 && a.Joined[i-1] && j > 0 && b.Joined[j-1]
	}
	return out.Track
}

// at is a track's value at ms, of which i is the last reading not later.
func at(t series.Track, i int, ms int64) (float64, bool) {
	switch {
	case i < 0:
		return 0, false
	case t.AtMS[i] == ms:
		return t.Value[i], true
	case !t.Joined[i]:
		return 0, false
	}
	f := float64(ms-t.AtMS[i]) / float64(t.AtMS[i+1]-t.AtMS[i])
	return t.Value[i] + f*(t.Value[i+1]-t.Value[i]), true
}
