// Package watch examines a case's record at one moment and returns the signs
// that alerts are made of: which surfaces are wet, how the last nights were,
// which loggers are silent. It reads cached hourly rows, so that many cases
// can be examined every few minutes.
//
// # How often households are told
//
// The rates were measured on 30 November 2026 on 100 winters of 120 days, drawn
// after every threshold here and in package alert was chosen:
//
//	DEWCASE_SEED=1990000 DEWCASE_TRIALS=100 go test -tags trials -run TestTrials -v ./internal/flow/watch
//
// 50 sound roofs, half of them with dew on clear nights: 27 households heard
// nothing, 22 got the one note about water that may be dew, and one, with dew, got
// three messages because it was taken for a damp roof (2 %; 0.4 to 10 %, 95 % by
// Wilson).
//
// 50 defective roofs: the households got 6 messages a winter in the median, and 9 at
// the most. 4,977 wettings lasted six hours
// or more. 206 were announced by their own message, within an hour; 4,681 fell
// under an announcement that water goes on forming; 90 (1.8 %) fell under none, 82
// of them on two leaking roofs while the leak did not yet show in the air. The rule
// before, with up to three messages and then one a week (24 in the median), missed
// the same 82 on those two roofs. On two other draws of 100 winters, with nearly
// these rules, 1.0 and 1.4 % fell under none.
//
// # When a house is looked at
//
// A [Vigil] takes every reading and says how soon the house must be looked at: at
// once where a surface crosses its limit, within 20 minutes while something is under
// way, else each hour. Measured on 30 November 2026,
//
//	DEWCASE_TRIALS=40 go test -tags trials -run TestVigilTrials -v ./internal/flow/watch
//
// gave, on 40 winters of 60 days with a reading every ten minutes, 134,163 looks in
// place of 345,400. In 37 winters all messages were the same within 65 minutes. In
// three they were not: a consultant's came 18.5 h earlier, together with another; a
// household's on melting frost 5.5 h later; and a household's second announcement
// that water goes on came 9 days later. Counted one by one, 8 of 460 messages and 4
// of 5,418 steps of alerts differ.
//
// # Limits
//
// Loggers cannot tell a roof whose water outdoor air explains from a sound
// one. Announcing those wettings too would alert most households with sound
// roofs.
package watch

import (
	"math"
	"slices"
	"time"

	"dewcase/internal/flow/timeline"
	"dewcase/internal/physics/psychro"
	"dewcase/internal/reason/alert"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/outlook"
	"dewcase/internal/roof"
)

// Days is how far back a look reaches: far enough for a fortnight on the page
// and for what is usual of this roof.
const Days = 21

const hourMS = evidence.HourMS

// Seen is how a logger was last heard.
type Seen struct {
	Logger     string
	Last       time.Time
	CatchingUp bool // readings of the past come in at this moment
	BatteryPct *float64
	BatteryAt  time.Time
	// Of the readings of the last day: how many came, and how many were doubtful
	// or carried a clock that cannot be right.
	Day, Doubtful, ClockWrong int
}

// Trouble is something of the daemon that keeps it from its work.
type Trouble struct {
	Part  string // store, disk, broker, mirror, or a channel of messages
	Words string // "" while all is well
	Since time.Time
}

// Input is everything of one case at one moment.
type Input struct {
	Case *roof.Case
	Rows []timeline.Row // by the hour; the last may be cut by now
	// FromMS is where the first row begins.
	FromMS  int64
	Now     time.Time
	Loggers []Seen
	Slow    *Slow // what the nightly work found; nil before the first
	Chance  *float64
	Trouble []Trouble
	// Forecast is what a weather service says of tonight, nil without one.
	Forecast *outlook.Forecast

	laid *record
}

// Laid lays the rows out for several questions about the same moment; case, rows
// and what the nightly work found may not change after it.
func (in Input) Laid() Input {
	in.laid = newRecord(in)
	return in
}

func (in Input) record() *record {
	if in.laid != nil {
		return in.laid
	}
	return newRecord(in)
}

// View is what a look found.
type View struct {
	Signs []alert.Sign
	// Level is whose water it is that forms, as far as the record tells.
	Level alert.Level

	guarded []guarded
	loggers []Seen
}

// Look says what the record shows at Input.Now.
func Look(in Input) View {
	w := in.record()
	v := View{loggers: in.Loggers}
	v.Level = w.evidence(in.Slow).level()
	index := positions(in.Case)
	for k, s := range in.Case.Surfaces() {
		c := w.surfaces[k]
		v.Signs = append(v.Signs, w.wetNow(c, s), w.wetNights(c, s), w.melting(c, s))
		v.guarded = append(v.guarded, w.guard(c, index))
	}
	v.Signs = append(v.Signs, w.sudden()...)
	v.Signs = append(v.Signs, slow(in)...)
	placed(v.Signs, in)
	v.Signs = append(v.Signs, loggers(in)...)
	for _, t := range in.Trouble {
		s := alert.Sign{Condition: alert.DaemonTrouble, Position: t.Part, Known: true, At: in.Now, Since: t.Since,
			Facts: alert.Facts{Detail: t.Words}}
		if t.Words != "" {
			s.Value = 1
		}
		v.Signs = append(v.Signs, s)
	}
	for i := range v.Signs {
		v.Signs[i].Facts.Chance = in.Chance
	}
	return v
}

// placed says in the trade's words where each sign of a position is, and keeps
// from the household what is found at surfaces that a repair left alone.
func placed(signs []alert.Sign, in Input) {
	speaking := HouseholdSurfaces(in.Case, in.Now)
	for i, s := range signs {
		p, ok := in.Case.Position(s.Position)
		if !ok {
			continue
		}
		spot := p.ID
		if p.Place.IsSurface() && !slices.ContainsFunc(speaking, func(x roof.Position) bool { return x.ID == p.ID }) {
			signs[i].Quiet, spot = true, p.ID+", untouched by the repair"
		}
		signs[i].Facts.Spot = p.Place.Words() + " (" + spot + ")"
	}
}

// record is the rows in the figures that a look needs.
type record struct {
	in       Input
	n        int
	surfaces []surface
	outPa    []float64 // of the outdoor loggers together, NaN where not observed; nil without one
	outC     []float64
	airs     []air
	zone     *time.Location
}

// surface is one surface by the hour.
type surface struct {
	pos              roof.Position
	observed         []float64 // h
	wet, frost       []float64 // h
	marginMin        []float64 // K; meaningless where observed is 0
	tempC, airPa     []float64 // NaN where not observed
	lastObserved     int       // row of the newest observation, -1 for none
	lastObservedTime time.Time
}

type air struct {
	pos   roof.Position
	pa    []float64
	tempC []float64
}

func newRecord(in Input) *record {
	w := &record{in: in, n: len(in.Rows), zone: in.Case.Property.Zone}
	index := positions(in.Case)
	pa := func(p int) (pa, temp []float64) {
		pa, temp = missing(w.n), missing(w.n)
		if in.Slow.doubts(in.Case.Positions[p].ID) {
			return pa, temp
		}
		for i, r := range in.Rows {
			if p >= len(r.Positions) {
				continue
			}
			b := r.Positions[p]
			if b.DewPointC.ObservedMS > 0 {
				pa[i] = psychro.SatWaterPa(b.DewPointC.Mean)
			}
			if b.TempC.ObservedMS > 0 {
				temp[i] = b.TempC.Mean
			}
		}
		return pa, temp
	}
	var outPa, outC [][]float64
	for i, p := range in.Case.Positions {
		switch p.Place {
		case roof.OutdoorAir:
			one, temp := pa(i)
			outPa, outC = append(outPa, one), append(outC, temp)
		case roof.LoftAir, roof.BattenVoidAir:
			x, t := pa(i)
			w.airs = append(w.airs, air{p, x, t})
		}
	}
	w.outPa, w.outC = evidence.Join(outPa, 1), evidence.Join(outC, 1)
	for k, p := range in.Case.Surfaces() {
		w.surfaces = append(w.surfaces, w.surface(k, p, index, pa))
	}
	return w
}

// positions are where each position stands in the case.
func positions(c *roof.Case) map[string]int {
	index := map[string]int{}
	for i, p := range c.Positions {
		index[p.ID] = i
	}
	return index
}

// missing is a column of hours of which none was observed.
func missing(n int) []float64 { return slices.Repeat([]float64{math.NaN()}, n) }

func (w *record) surface(k int, p roof.Position, index map[string]int, pa func(int) (a, b []float64)) surface {
	s := surface{pos: p, lastObserved: -1}
	s.observed, s.wet, s.frost, s.marginMin = make([]float64, w.n), make([]float64, w.n), make([]float64, w.n),
		make([]float64, w.n)
	_, s.tempC = pa(index[p.ID])
	s.airPa = missing(w.n)
	if i, ok := index[p.Meets]; ok {
		s.airPa, _ = pa(i)
	}
	if w.in.Slow.doubts(p.ID) || w.in.Slow.doubts(p.Meets) {
		return s // what it would show is not of this roof
	}
	for i, r := range w.in.Rows {
		x := r.Surfaces[k]
		if x.ObservedMS <= 0 {
			continue
		}
		s.observed[i], s.wet[i], s.frost[i], s.marginMin[i] = x.ObservedMS/3.6e6, x.CondensingMS/3.6e6, x.FrostMS/3.6e6,
			x.MarginMin
		s.lastObserved = i
		end := w.in.FromMS + int64(i)*hourMS + int64(x.ObservedMS)
		if i < w.n-1 { // a whole hour, or a gap within it: its end bounds the time
			end = w.in.FromMS + int64(i+1)*hourMS
		}
		s.lastObservedTime = time.UnixMilli(min(end, w.in.Now.UnixMilli())).UTC()
	}
	return s
}

func (w *record) at(i int) time.Time { return time.UnixMilli(w.in.FromMS + int64(i)*hourMS).UTC() }
