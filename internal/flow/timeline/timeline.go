// Package timeline lays one case's record out along a time axis. For each step
// or reading it gives the values at each position, each surface's margin, and
// the minutes it was wet or at risk. Gaps remain gaps.
package timeline

import (
	"fmt"
	"slices"
	"time"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/reason/risk"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// maxSteps bounds what one view may hold, so that a request has a known cost.
const maxSteps = 50_000

// ErrTooLong is wrapped when a view would hold more than maxSteps.
var ErrTooLong = roof.NewError(roof.Request, "too many steps")

// View is a case along the time axis. Times are UTC.
type View struct {
	Case      string      `json:"case"`
	From      time.Time   `json:"from"`
	Until     time.Time   `json:"until"`
	StepS     *int64      `json:"step_s" nullable:"true" doc:"seconds a step; null where each time is a reading's"`
	Time      []time.Time `json:"time"`
	Positions []Position  `json:"positions"`
	Surfaces  []Surface   `json:"surfaces"`
	Events    []Event     `json:"events"`
}

// Position is one position's figures along the axis.
type Position struct {
	Position    string     `json:"position"`
	Place       roof.Place `json:"place"`
	Coverage    Column     `json:"coverage"`
	TempC       Band       `json:"temp_c"`
	RHPct       Band       `json:"rh_pct"`
	DewPointC   Band       `json:"dew_point_c"`
	FrostPointC Band       `json:"frost_point_c"`
}

// Surface is one surface's margin along the axis.
type Surface struct {
	Surface       string `json:"surface"`
	Air           string `json:"air"`
	Coverage      Column `json:"coverage"`
	MarginK       Band   `json:"margin_k"`
	CondensingMin Column `json:"condensing_min"`
	AtRiskMin     Column `json:"at_risk_min"`
	FrostMin      Column `json:"frost_min"`
	Note          string `json:"note,omitempty"`
}

// Event is a dated remark.
type Event struct {
	At   time.Time      `json:"at"`
	Kind roof.EventKind `json:"kind"`
	What string         `json:"what"`
	// Of an inspection; empty where it was not said.
	AfterRain roof.Answer `json:"after_rain,omitempty" doc:"yes or no: heavy rain had fallen"`
	Wet       roof.Answer `json:"wet,omitempty" doc:"yes or no: the spot was wet"`
}

// axis is the steps of a view.
type axis struct {
	fromMS, untilMS, stepMS int64
	n                       int
}

// lengthMS is a step's length; the last may be cut by the view's end.
func (a axis) lengthMS(i int) float64 {
	return float64(min(a.stepMS, a.untilMS-a.fromMS-int64(i)*a.stepMS))
}

// Steps checks a stepped request and says how many steps it has. An error wraps
// ErrTooLong where they are too many.
func Steps(caseID string, fromMS, untilMS, stepMS int64) (int, error) {
	if stepMS < 1000 || untilMS < fromMS {
		return 0, fmt.Errorf("timeline of case %s: a step is at least 1 s and a span runs forward", caseID)
	}
	n := (untilMS - fromMS + stepMS - 1) / stepMS
	if n > maxSteps {
		return 0, fmt.Errorf("timeline of case %s: %d steps of %d s: %w (at most %d; take a longer step or a shorter span)",
			caseID, n, stepMS/1000, ErrTooLong, maxSteps)
	}
	return int(n), nil
}

// Stepped sums a set up in steps of whole seconds over [fromMS, untilMS). An
// error wraps ErrTooLong.
func Stepped(set *series.Set, fromMS, untilMS, stepMS int64) (View, error) {
	if _, err := Steps(set.Case.ID, fromMS, untilMS, stepMS); err != nil {
		return View{}, err
	}
	rows := Rows(roof.InTurn, set, fromMS, untilMS, stepMS)
	return Laid(set.Case, rows, fromMS, untilMS, stepMS), nil
}

func (a axis) empty(c *roof.Case) View {
	step := a.stepMS / 1000
	v := View{Case: c.ID, From: utc(a.fromMS), Until: utc(a.untilMS), StepS: &step, Time: make([]time.Time, a.n),
		Positions: []Position{}, Surfaces: []Surface{}, Events: events(c, a.fromMS, a.untilMS)}
	for i := range v.Time {
		v.Time[i] = utc(a.fromMS + int64(i)*a.stepMS)
	}
	return v
}

// frostPointC is over ice at every vapour pressure, so that a step which
// straddles 0 C has one like its dew point; above 0 C no frost forms and the
// figure is the formula's continuation.
func frostPointC(pa float64) (float64, bool) {
	t, err := psychro.FrostPointC(pa)
	return t, err == nil
}

// Raw lays a set out at the union of its readings' times: a position has a
// figure only where it was read, a surface where both it and its air were
// observed; coverage and minutes run to the next time. An error wraps ErrTooLong.
func Raw(set *series.Set, fromMS, untilMS int64) (View, error) {
	var at []int64
	for i := range set.Courses {
		for _, t := range []series.Track{set.Courses[i].TempC, set.Courses[i].RHPct} {
			lo, _ := slices.BinarySearch(t.AtMS, fromMS)
			hi, _ := slices.BinarySearch(t.AtMS, untilMS)
			at = append(at, t.AtMS[lo:hi]...)
		}
	}
	slices.Sort(at)
	at = slices.Compact(at)
	if len(at) > maxSteps {
		return View{}, fmt.Errorf("timeline of case %s: %d reading times: %w (at most %d; take a shorter span or a step)",
			set.Case.ID, len(at), ErrTooLong, maxSteps)
	}
	v := View{Case: set.Case.ID, From: utc(fromMS), Until: utc(untilMS), Time: make([]time.Time, len(at)),
		Events: events(set.Case, fromMS, untilMS), Positions: []Position{}, Surfaces: []Surface{}}
	for i, ms := range at {
		v.Time[i] = utc(ms)
	}
	for i := range set.Courses {
		v.Positions = append(v.Positions, rawPosition(&set.Courses[i], at, untilMS))
	}
	for _, p := range set.Case.Surfaces() {
		v.Surfaces = append(v.Surfaces, rawSurface(set, p, at, untilMS))
	}
	return v, nil
}

func rawPosition(c *series.Course, at []int64, untilMS int64) Position {
	n := len(at)
	p := Position{Position: c.Position.ID, Place: c.Position.Place, Coverage: NewColumn(n)}
	// Between two of its own readings a position is observed at the times of
	// other loggers too: it has no figure there, but no gap either.
	for i, ms := range at {
		next := untilMS
		if i+1 < n {
			next = at[i+1]
		}
		p.Coverage.Set(i, float64(observed(c).ObservedMS(ms, next))/float64(next-ms))
	}
	same := func(x float64) (float64, bool) { return x, true }
	fill := func(t series.Track, f func(float64) (float64, bool)) Band {
		b := newBand(n)
		for i, ms := range at {
			k, found := slices.BinarySearch(t.AtMS, ms)
			if !found {
				continue
			}
			if x, ok := f(t.Value[k]); ok {
				b.set(i, x, x, x)
			}
		}
		return b
	}
	p.TempC, p.RHPct = fill(c.TempC, same), fill(c.RHPct, same)
	p.DewPointC, p.FrostPointC = fill(c.VapourPa, dewPointC), fill(c.VapourPa, frostPointC)
	return p
}

func rawSurface(set *series.Set, p roof.Position, at []int64, untilMS int64) Surface {
	n := len(at)
	s := Surface{Surface: p.ID, Air: p.Meets, Coverage: NewColumn(n), MarginK: newBand(n),
		CondensingMin: NewColumn(n), AtRiskMin: NewColumn(n), FrostMin: NewColumn(n)}
	for i := range n {
		s.Coverage.Set(i, 0)
	}
	c, err := risk.Margin(set, p.ID)
	if err != nil {
		s.Note = err.Error()
		return s
	}
	for i, ms := range at {
		next := untilMS
		if i+1 < n {
			next = at[i+1]
		}
		if m, ok := c.At(ms); ok {
			s.MarginK.set(i, m, m, m)
		}
		sum := c.Sum(ms, next)
		if sum.ObservedMS == 0 {
			continue
		}
		s.Coverage.Set(i, sum.ObservedMS/float64(next-ms))
		s.CondensingMin.Set(i, sum.CondensingMS/60e3)
		s.AtRiskMin.Set(i, sum.AtRiskMS/60e3)
		s.FrostMin.Set(i, sum.FrostMS/60e3)
	}
	return s
}

// observed is the track by which a position counts as observed: an air position
// needs temperature and humidity together, everything else its temperature; a
// position that never had humidity is judged by temperature alone.
func observed(c *series.Course) series.Track {
	if !c.Position.Place.IsSurface() && c.VapourPa.Len() > 0 || c.TempC.Len() == 0 {
		return c.VapourPa
	}
	return c.TempC
}

func mapped(t series.Track, f func(float64) (float64, bool)) series.Track {
	out := series.Track{AtMS: t.AtMS, Value: make([]float64, len(t.Value)), Joined: slices.Clone(t.Joined)}
	for i, x := range t.Value {
		y, ok := f(x)
		out.Value[i] = y
		if !ok {
			out.Joined[i] = false
			if i > 0 {
				out.Joined[i-1] = false
			}
		}
	}
	return out
}

func events(c *roof.Case, fromMS, untilMS int64) []Event {
	out := []Event{}
	for _, e := range c.Events {
		if ms := e.At.UnixMilli(); ms >= fromMS && ms < untilMS {
			out = append(out, Event{e.At.UTC(), e.Kind, e.What, e.AfterRain, e.Wet})
		}
	}
	slices.SortStableFunc(out, func(a, b Event) int { return a.At.Compare(b.At) })
	return out
}

func utc(ms int64) time.Time { return time.UnixMilli(ms).UTC() }
