package mechanism

import (
	"iter"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/measuredroofs"
)

// fitting maps a sensor of a measured roof to a position of a case.
type fitting struct {
	sensor   string
	position roof.Position
}

// asCase is a measured roof's whole record as a case.
func asCase(t testing.TB, name string, fits []fitting) *series.Set {
	t.Helper()
	m := measuredroofs.Load(t, name)
	c := &roof.Case{ID: "measured-" + name, Property: roof.Property{Timezone: "UTC", Zone: time.UTC}}
	for _, f := range fits {
		c.Positions = append(c.Positions, f.position)
		c.Loggers = append(c.Loggers, roof.Logger{ID: f.sensor, Interval: time.Hour,
			Fitted: []roof.Fitting{{Position: f.position.ID, From: m.At[0]}}})
	}
	set, err := series.Build(c, 0, func(logger string) iter.Seq2[roof.Reading, error] {
		return m.Readings(logger, logger, m.At[0], measuredroofs.End)
	})
	require.NoError(t, err)
	return set
}

// each calls f with the set as if a repair had been made every so many days from
// January 2011 to May 2012, with 50 days before: two winters and the summer
// between.
func each(set *series.Set, days int, change roof.Change, f func(e roof.Event, set *series.Set)) {
	for at := time.Date(2011, 1, 12, 9, 0, 0, 0, time.UTC); at.Before(time.Date(2012, 5, 15, 0, 0, 0, 0, time.UTC)); {
		e := roof.Event{At: at, Kind: roof.Repair, What: "pretended", Changes: []roof.Change{change}}
		c := *set.Case
		c.Events = []roof.Event{e}
		s := *set
		s.Case, s.FromMS = &c, max(set.FromMS, at.AddDate(0, 0, -50).UnixMilli())
		f(e, &s)
		at = at.AddDate(0, 0, days)
	}
}

// highPoint maps a point high in the roof to the covering and one below to the
// void: no measured void has a thermometer on its covering.
var highPoint = map[string][]fitting{
	"R2": {{"station", roof.Position{ID: "out", Place: roof.OutdoorAir}},
		{"indoor1", roof.Position{ID: "room", Place: roof.IndoorAir}},
		{"roofmiddle_insulationtop", roof.Position{ID: "loft", Place: roof.LoftAir}},
		{"roofmiddle_airmiddle", roof.Position{ID: "void", Place: roof.BattenVoidAir}},
		{"roofmiddle_airtop", roof.Position{ID: "deck", Place: roof.CoveringUnderside, Meets: "void"}}},
	"R3": {{"station", roof.Position{ID: "out", Place: roof.OutdoorAir}},
		{"indoor1", roof.Position{ID: "room", Place: roof.IndoorAir}},
		{"roofmiddle_airmiddle", roof.Position{ID: "loft", Place: roof.LoftAir}},
		{"roofleft_insulationtop", roof.Position{ID: "void", Place: roof.BattenVoidAir}},
		{"roofmiddle_airtop", roof.Position{ID: "deck", Place: roof.CoveringUnderside, Meets: "void"}}},
}

// deckOfLoft maps the same point to the underside of an underlay over the loft.
var deckOfLoft = map[string][]fitting{"R2": loftFittings, "R3": loftFittings}

var loftFittings = []fitting{{"station", roof.Position{ID: "out", Place: roof.OutdoorAir}},
	{"indoor1", roof.Position{ID: "room", Place: roof.IndoorAir}},
	{"roofmiddle_airmiddle", roof.Position{ID: "loft", Place: roof.LoftAir}},
	{"roofmiddle_airtop", roof.Position{ID: "deck", Place: roof.UnderlayUnderside, Meets: "loft"}}}

// Nobody repaired these roofs: whatever evening is looked at, a change of the void
// is a false one.
func TestNoVoidOfAMeasuredRoofIsEverSaidToHaveChanged(t *testing.T) {
	looked := 0
	for name, fits := range highPoint {
		each(asCase(t, name, fits), 10, roof.VoidVentilation, func(e roof.Event, set *series.Set) {
			a := newAssessor(set)
			surface, _ := set.Case.Position("deck")
			cover, air := a.voidOf(e, surface)
			var r Result
			v := a.lookAtVoid(e, cover, air, &r)
			if v == nil || len(v.evenings) == 0 {
				return
			}
			looked++
			assert.Zero(t, firstRun(len(v.evenings), v.holds), "%s, %s", name, e.At)
			rec := v.r
			one := func(c *series.Course) *column { return rec.temperature([]*series.Course{c}) }
			b := newBlindLooks(rec, one(air), one(cover), one(set.At(roof.LoftAir)[0]))
			assert.Zero(t, firstRun(len(b.evenings), b.holds), "%s, %s, nothing outdoors", name, e.At)
		})
	}
	assert.Greater(t, looked, 90)
}

// firstRun is the number of the look at which a condition held for the third time
// running, counted from 1; 0 for never.
func firstRun(looks int, holds func(int) bool) int {
	run := 0
	for i := range looks {
		if !holds(i) {
			run = 0
		} else if run++; run == looksRunning {
			return i + 1
		}
	}
	return 0
}

// The same of loft and ceiling, at the dates of the hard frost after a mild
// autumn and of the summer; TestTrialsOnMeasuredRoofs asks every ten days.
func TestNoLoftOfAMeasuredRoofIsSaidToHaveChanged(t *testing.T) {
	if testing.Short() {
		t.Skip("some fits; run without -short")
	}
	for name, fits := range deckOfLoft {
		lofts(t, name, asCase(t, name, fits), 60)
	}
}

func lofts(t *testing.T, name string, set *series.Set, days int) (looked, changed int) {
	for part, change := range []roof.Change{roof.LoftVentilation, roof.CeilingChange} {
		each(set, days, change, func(e roof.Event, set *series.Set) {
			p := newAssessor(set).pairOf(e)
			if p.looks == nil {
				return
			}
			looked++
			at := firstRun(len(p.looks.looks), func(i int) bool { return math.Abs(p.looks.z(i, part)) > pairZ })
			if !assert.Zero(t, at, "%s, %s of %s", name, change, e.At) {
				changed++
			}
		})
	}
	return looked, changed
}
