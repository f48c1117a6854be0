package repair

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/physics/roofsim"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/roofworlds"
)

func TestNightsAreCountedWhereNothingCanBeJudgedYet(t *testing.T) {
	const days = 70
	shift := func(d int) func(*roofsim.Measured) {
		return func(m *roofsim.Measured) { m.Case.Events[0].At = m.Case.Events[0].At.AddDate(0, 0, d) }
	}
	for name, c := range map[string]struct {
		change        func(*roofsim.Measured)
		before, after int // at least
		needs         string
	}{
		"the repair lies ahead":           {shift(100), days - 3, 0, "readings after the repair"},
		"it lies a year and more ahead":   {shift(500), days - 3, 0, "readings after the repair"},
		"the record begins after it":      {shift(-300), 0, days - 3, "the record begins on"},
		"the record begins just after it": {shift(-41), 0, days - 6, "nights before the repair"},
		"it was done an hour ago": {func(
			m *roofsim.Measured) {
			m.Case.Events[0].At = m.Readings[len(m.Readings)-1].At.Add(-time.Hour)
		}, days - 4, 0, "nights after the repair"},
		"work that the method has not got": {func(
			m *roofsim.Measured) {
			m.Case.Events[0].Changes = []roof.Change{roof.UnderlayChange}
		}, 37, 24, "cannot be judged from these loggers"},
	} {
		t.Run(name, func(t *testing.T) {
			rs := Assess(kitted(t, 11, strongVoid(), roofworlds.Kit{Interval: 30 * time.Minute}, days, c.change),
				Options{Draws: 20, NoSensitivity: true})
			require.Len(t, rs, 1)
			assert.Equal(t, TooEarly, rs[0].Verdict)
			assert.Contains(t, rs[0].Needs, c.needs)
			assert.GreaterOrEqual(t, rs[0].NightsBefore, c.before)
			assert.GreaterOrEqual(t, rs[0].NightsAfter, c.after)
			assert.LessOrEqual(t, rs[0].NightsBefore, c.before+3)
			assert.LessOrEqual(t, rs[0].NightsAfter, c.after+5)
		})
	}
}

func TestARepairOfAPlaceThatIsNoSurfaceIsJudgedEverywhereAndSaysSo(t *testing.T) {
	outdoors := func(m *roofsim.Measured) {
		m.Case.Events[0].Treats = []string{m.Case.At(roof.OutdoorAir)[0].ID}
	}
	said := func(rs []Result) bool {
		require.NotEmpty(t, rs)
		return strings.Contains(strings.Join(rs[0].Notes, " "), "neither a surface nor the air that meets one")
	}
	kit := roofworlds.Kit{Interval: 30 * time.Minute}
	opts := Options{Draws: 20, NoSensitivity: true}
	assert.True(t, said(Assess(kitted(t, 11, strongVoid(), kit, 50, outdoors), opts)))
	assert.False(t, said(Assess(kitted(t, 11, strongVoid(), kit, 50, nil), opts)))
}

func TestRepairsWithoutASurfaceAreNamed(t *testing.T) {
	air := roof.Position{ID: "void", Place: roof.BattenVoidAir}
	slate := roof.Position{ID: "slate", Place: roof.CoveringUnderside, Meets: "void"}
	alone := slate
	alone.Untouched = true
	e := roof.Event{At: time.Unix(0, 0), Kind: roof.Repair, What: "vents"}
	named := e
	named.Treats = []string{"slate"}
	for name, c := range map[string]struct {
		positions []roof.Position
		event     roof.Event
		unjudged  int
	}{
		"a surface":                    {[]roof.Position{air, slate}, e, 0},
		"no surface":                   {[]roof.Position{air}, e, 1},
		"all left alone":               {[]roof.Position{air, alone}, e, 1},
		"left alone and yet treated":   {[]roof.Position{air, alone}, named, 0},
		"no repair, only a note of it": {[]roof.Position{air}, roof.Event{Kind: roof.Note}, 0},
	} {
		t.Run(name, func(t *testing.T) {
			assert.Len(t, Unjudged(&roof.Case{Positions: c.positions, Events: []roof.Event{c.event}}), c.unjudged)
		})
	}
}
