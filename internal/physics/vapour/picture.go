package vapour

import (
	"fmt"
	"math"

	"dewcase/internal/physics/psychro"
)

// Air is one position's hourly means on a common grid: index i is the i-th
// hour; Seen says that at least two thirds of it was
// observed. Values where it was not do not matter.
type Air struct {
	TempC, VapourPa []float64
	Seen            []bool
	UncPa           float64 // standard uncertainty of the mean vapour pressure from the logger's accuracy; 0 unknown
}

// Input is the house's air. House and Loft may be nil.
type Input struct {
	PressurePa float64 // 0: sea level
	Outdoor    *Air
	House      *Air // several indoor loggers: their mean
	Others     []Named
	Loft       *Air
}

// Named is a further position.
type Named struct {
	ID  string
	Air *Air
}

// Excess is how far an air position lies above outdoors.
type Excess struct {
	ID        string
	Hours     int     // hours seen in both
	MeanPa    float64 // excess over outdoors; meaningless where Hours is 0
	SupplyGM3 float64 // the same in g/m3 of the position's own air
	UncPa     float64 // standard uncertainty by the loggers' accuracy; 0 unknown
	Weeks     []Week
}

// Week is the mean of seven days from the grid's start, where at least 84 hours
// were seen.
type Week struct {
	Hours    int
	MeanPa   float64
	OutdoorC float64
}

// Class is the house's humidity class. It is judged on weekly means with
// outdoors under 15 C, each referred to 0 C by the shape of the class limits.
type Class struct {
	Known      bool
	Class      int
	AtZeroPa   float64 // mean excess referred to 0 C outdoors
	Borderline bool    // the loggers' accuracy (95 %) reaches into a neighbour
	Use        string
}

// Share is how much house air the loft's moisture stands for.
type Share struct {
	Known     bool
	Mean      float64 // over weeks, weighted by the house's excess
	Low, High float64 // 95 %: spread of the weeks and the loggers' accuracy
	Why       string  // where it is not known
}

// Picture is the whole.
type Picture struct {
	Excesses []Excess // house, loft, then the others
	Class    Class
	Loft     Share
	Notes    []string
}

// Draw makes the picture. It needs outdoors; without it there is no excess to
// speak of, and an error. Everything else is as much as the data allow.
func Draw(in Input) (*Picture, error) {
	if in.Outdoor == nil {
		return nil, fmt.Errorf("%w: there is no outdoor position to compare with", ErrInput)
	}
	if in.PressurePa == 0 {
		in.PressurePa = psychro.StandardPressurePa
	}
	if !(in.PressurePa >= 50e3 && in.PressurePa <= 110e3) {
		return nil, fmt.Errorf("%w: air pressure of %g Pa, want 50..110 kPa", ErrInput, in.PressurePa)
	}
	airs := []Named{{"house", in.House}, {"loft", in.Loft}}
	airs = append(airs, in.Others...)
	if err := in.Outdoor.check("outdoors", len(in.Outdoor.Seen)); err != nil {
		return nil, err
	}
	p := &Picture{}
	for _, a := range airs {
		if a.Air == nil {
			continue
		}
		if err := a.Air.check(a.ID, len(in.Outdoor.Seen)); err != nil {
			return nil, err
		}
		p.Excesses = append(p.Excesses, excess(in, a))
	}
	if in.House != nil {
		p.Class = class(p.Excesses[0])
	}
	p.Loft = loftShare(in)
	if len(p.Excesses) > 0 {
		p.Notes = append(p.Notes, "an offset of 3 %RH at 5 °C is 26 Pa: an excess of that size can be the loggers")
	}
	for _, e := range p.Excesses {
		if e.Hours >= 24*14 && e.MeanPa < -10 {
			p.Notes = append(p.Notes, fmt.Sprintf("%s reads %.0f Pa drier than outdoors on average, which air in a house "+
				"cannot be for weeks: check its logger and the outdoor one side by side", e.ID, -e.MeanPa))
		}
	}
	return p, nil
}

func (a *Air) check(name string, n int) error {
	if len(a.TempC) != n || len(a.VapourPa) != n || len(a.Seen) != n {
		return fmt.Errorf("%w: %s has %d temperatures, %d pressures and %d marks for %d hours", ErrInput, name, len(a.TempC),
			len(a.VapourPa), len(a.Seen), n)
	}
	for i, seen := range a.Seen {
		if seen && !(a.TempC[i] >= -90 && a.TempC[i] <= 100 && a.VapourPa[i] >= 0 && a.VapourPa[i] <= 2e5) {
			return fmt.Errorf("%w: %s in hour %d: %g C and %g Pa", ErrInput, name, i, a.TempC[i], a.VapourPa[i])
		}
	}
	if !(a.UncPa >= 0 && a.UncPa < 1e4) {
		return fmt.Errorf("%w: %s has an uncertainty of %g Pa", ErrInput, name, a.UncPa)
	}
	return nil
}

const (
	weekHours    = 168
	weekSeen     = 84
	classUnder   = 15.0 // C outdoors: warmer, the limits are too close to tell
	z95          = 1.96
	shareMinimum = 2 // weeks
)

func excess(in Input, a Named) Excess {
	out := in.Outdoor
	e := Excess{ID: a.ID}
	var sum, temp float64
	var week Week
	flush := func() {
		if week.Hours >= weekSeen {
			week.MeanPa /= float64(week.Hours)
			week.OutdoorC /= float64(week.Hours)
			e.Weeks = append(e.Weeks, week)
		}
	}
	for i := range out.Seen {
		if i%weekHours == 0 {
			flush()
			week = Week{}
		}
		if !out.Seen[i] || !a.Air.Seen[i] {
			continue
		}
		d := a.Air.VapourPa[i] - out.VapourPa[i]
		sum, temp = sum+d, temp+a.Air.TempC[i]
		week.MeanPa += d
		week.OutdoorC += out.TempC[i]
		week.Hours++
		e.Hours++
	}
	flush()
	if e.Hours == 0 {
		return e
	}
	e.MeanPa = sum / float64(e.Hours)
	e.SupplyGM3 = 1000 * e.MeanPa / (psychro.GasVapour * (temp/float64(e.Hours) + psychro.KelvinC))
	if a.Air.UncPa > 0 && out.UncPa > 0 {
		e.UncPa = math.Hypot(a.Air.UncPa, out.UncPa)
	}
	return e
}

func class(house Excess) (c Class) {
	var zero []float64
	for _, w := range house.Weeks {
		if w.OutdoorC < classUnder {
			zero = append(zero, w.MeanPa/relief(w.OutdoorC))
		}
	}
	if len(zero) == 0 {
		return c
	}
	for _, x := range zero {
		c.AtZeroPa += x / float64(len(zero))
	}
	k, err := ClassOf(c.AtZeroPa, 0)
	if err != nil {
		return c
	}
	c.Known, c.Class, c.Use = true, k, ClassUse(k)
	if house.UncPa > 0 {
		low, errL := ClassOf(c.AtZeroPa-z95*house.UncPa, 0)
		high, errH := ClassOf(c.AtZeroPa+z95*house.UncPa, 0)
		c.Borderline = errL == nil && errH == nil && (low != k || high != k)
	}
	return c
}

// loftShare takes weekly means, because wood stores water for days, and weighs
// each week by the house's excess.
func loftShare(in Input) Share {
	if in.House == nil || in.Loft == nil {
		return Share{Why: "needs a logger indoors and one in the loft"}
	}
	ratio := func(e float64) float64 { return psychro.MassRatio * e / (in.PressurePa - e) }
	type week struct{ loft, house float64 } // above outdoors, kg/kg
	var weeks []week
	for from := 0; from < len(in.Outdoor.Seen); from += weekHours {
		var w week
		n := 0.0
		for i := from; i < min(from+weekHours, len(in.Outdoor.Seen)); i++ {
			if !in.Outdoor.Seen[i] || !in.House.Seen[i] || !in.Loft.Seen[i] {
				continue
			}
			o := ratio(in.Outdoor.VapourPa[i])
			w.loft += ratio(in.Loft.VapourPa[i]) - o
			w.house += ratio(in.House.VapourPa[i]) - o
			n++
		}
		if n >= weekSeen && w.house/n >= minRatioGap {
			weeks = append(weeks, week{w.loft / n, w.house / n})
		}
	}
	var s Share
	if len(weeks) < shareMinimum {
		s.Why = fmt.Sprintf("only %d weeks in which the house held at least %.1f g/kg more than outdoors, of %d needed",
			len(weeks), 1000*minRatioGap, shareMinimum)
		return s
	}
	var loft, house float64
	for _, w := range weeks {
		loft, house = loft+w.loft, house+w.house
	}
	s.Known, s.Mean = true, loft/house
	// Ratio estimator: spread of the weeks' residuals about the common share.
	var spread float64
	for _, w := range weeks {
		d := w.loft - s.Mean*w.house
		spread += d * d
	}
	n := float64(len(weeks))
	u := math.Sqrt(spread*n/(n-1)) / house
	if in.House.UncPa > 0 && in.Loft.UncPa > 0 && in.Outdoor.UncPa > 0 {
		perPa := psychro.MassRatio / in.PressurePa
		d := house / n
		f := s.Mean
		u = math.Sqrt(u*u + (perPa*perPa/(d*d))*(square(in.Loft.UncPa)+square((1-f)*in.Outdoor.UncPa)+
			square(f*in.House.UncPa)))
	}
	s.Low, s.High = s.Mean-z95*u, s.Mean+z95*u
	return s
}

func square(x float64) float64 { return x * x }
