package glaser

import (
	"fmt"
	"math"
)

// Month is the mean climate of one month, and its length.
type Month struct {
	Name string
	Days float64
	Climate
}

// Days of the months, January first, in a year of 365 days (EN ISO 13788:2012
// takes calendar months).
var Days = [12]float64{31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31}

// MonthResult is what a month does to the build-up. Masses in g/m².
type MonthResult struct {
	Name         string
	PlaneTempC   float64 // at the wettest plane of the year
	PlaneSatPa   float64
	RateKgM2     float64 // kg/(m2 s) at that plane, at the month's start
	GainedGM2    float64 // all planes; below 0 it dried
	HeldGM2      float64 // all planes at the month's end
	HeldByPlane  []float64
	PlanesActive int
}

// Year is a run of twelve months from the first that condenses.
type Year struct {
	Months   []MonthResult // in the order run; empty where nothing condenses
	Planes   []string      // where water lay in any month, from outdoors in
	PeakGM2  float64
	PeakName string
	LeftGM2  float64 // still there at the end of the twelfth month
	Verdict  string
	Caveat   string
}

// RunYear starts in the first month in which a dry build-up condenses after one
// in which it does not, and carries the water for twelve months (EN ISO
// 13788:2012, clauses 6.4 and 6.5). A plane that holds water stays at saturation
// while any is left; the moment it dries out the month goes on without it. If
// every month condenses the run begins with the first given.
func RunYear(b BuildUp, months []Month) (*Year, error) {
	if len(months) != 12 {
		return nil, fmt.Errorf("%w: %d months, want twelve", ErrInput, len(months))
	}
	s, err := b.section()
	if err != nil {
		return nil, err
	}
	y := &yearRun{s: s, held: make([]float64, len(s.sd))}
	condenses := make([]bool, 12)
	for i, m := range months {
		if !(m.Days > 0 && m.Days <= 31) {
			return nil, fmt.Errorf("%w: %s has %g days", ErrInput, m.Name, m.Days)
		}
		_, sat, err := s.temps(m.Climate)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", m.Name, err)
		}
		fixed, _ := s.taut(m.Climate, sat, make([]bool, len(sat)))
		condenses[i] = len(fixed) > 2
	}
	start := -1
	for i := range months {
		if condenses[i] && (start < 0 || !condenses[(i+11)%12]) {
			start = i
			if !condenses[(i+11)%12] {
				break
			}
		}
	}
	out := &Year{Caveat: Caveat}
	if start < 0 {
		out.Verdict = "no condensation in any month on monthly means"
		return out, nil
	}
	for k := range 12 {
		if err := y.month(months[(start+k)%12]); err != nil {
			return nil, err
		}
	}
	y.report(out)
	return out, nil
}

// yearRun is the state of a run: kg/m² held at each node.
type yearRun struct {
	s       *section
	held    []float64
	records []record
}

type record struct {
	month       Month
	temp, sat   []float64
	start       map[int]float64 // rates at the month's start
	before, now []float64
}

// month runs one month, cut at each moment a plane dries out.
func (y *yearRun) month(m Month) error {
	temp, sat, err := y.s.temps(m.Climate)
	if err != nil {
		return fmt.Errorf("%s: %w", m.Name, err)
	}
	rec := record{month: m, temp: temp, sat: sat, before: append([]float64(nil), y.held...)}
	left := m.Days * 86400
	for turn := 0; left > 0 && turn < 4*len(y.held); turn++ {
		wet := make([]bool, len(y.held))
		for k, w := range y.held {
			wet[k] = w > 0
		}
		fixed, pressure := y.s.taut(m.Climate, sat, wet)
		rates := y.s.rates(fixed, pressure)
		if turn == 0 {
			rec.start = rates
		}
		dt := left
		for k, g := range rates {
			if g < 0 && y.held[k] > 0 {
				dt = math.Min(dt, y.held[k]/-g)
			}
		}
		for k, g := range rates {
			y.held[k] += g * dt
			if y.held[k] < 1e-12 {
				y.held[k] = 0
			}
		}
		left -= dt
	}
	rec.now = append([]float64(nil), y.held...)
	y.records = append(y.records, rec)
	return nil
}

func (y *yearRun) report(out *Year) {
	var planes []int
	wettest, most := -1, 0.0
	for k := range y.held {
		peak := 0.0
		for _, r := range y.records {
			peak = math.Max(peak, r.now[k])
		}
		if peak > 0 {
			planes = append(planes, k)
			out.Planes = append(out.Planes, y.s.names[k])
			if peak > most {
				wettest, most = k, peak
			}
		}
	}
	if wettest < 0 {
		out.Verdict = "no condensation in any month on monthly means"
		return
	}
	for _, r := range y.records {
		m := MonthResult{Name: r.month.Name, PlaneTempC: r.temp[wettest], PlaneSatPa: r.sat[wettest],
			RateKgM2: r.start[wettest]}
		before := 0.0
		for _, k := range planes {
			m.HeldByPlane = append(m.HeldByPlane, 1000*r.now[k])
			m.HeldGM2 += 1000 * r.now[k]
			before += 1000 * r.before[k]
			if r.now[k] > 0 {
				m.PlanesActive++
			}
		}
		m.GainedGM2 = m.HeldGM2 - before
		if m.HeldGM2 > out.PeakGM2 {
			out.PeakGM2, out.PeakName = m.HeldGM2, m.Name
		}
		out.Months = append(out.Months, m)
	}
	out.LeftGM2 = out.Months[len(out.Months)-1].HeldGM2
	if out.LeftGM2 > 0.5 {
		out.Verdict = fmt.Sprintf("water collects to %.0f g/m² in %s and %.0f g/m² is still there after twelve months: it "+
			"builds up from year to year", out.PeakGM2, out.PeakName, out.LeftGM2)
	} else {
		out.Verdict = fmt.Sprintf("water collects to %.0f g/m² in %s and dries out within the year", out.PeakGM2,
			out.PeakName)
	}
}
