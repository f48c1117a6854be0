package words_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/roof"
	"dewcase/internal/words"
)

func TestFiguresAreWrittenOneWay(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{words.Fixed(0.004, 2), "under 0.01"}, {words.Fixed(-0.004, 2), "under 0.01"}, {words.Fixed(0, 2), "0"},
		{words.Fixed(0.27, 2), "0.27"}, {words.Fixed(-1.25, 1), "−1.2"}, {words.Fixed(0.3, 0), "0"},
		{words.Fixed(-0.3, 0), "0"},
		{words.Signed(-1.84), "−1.8"}, {words.Signed(-0.01), "0.0"}, {words.Signed(0), "0.0"},
		{words.Whole(-19.4), "−19"}, {words.Whole(-0.4), "0"},
		{words.Hours(1234.4), "1,234"}, {words.Hours(99.96), "100"}, {words.Hours(42.25), "42.2"},
		{words.Hours(0.02), "under 0.1"}, {words.Hours(0), "0"},
		{words.Size(25), "25"}, {words.Size(7.5), "7.5"}, {words.Size(16.67), "16.7"}, {words.Size(1250), "1,250"},
		{words.Size(0.05), "0.05"}, {words.Size(0), "0"}, {words.Size(40), "40"}, {words.Size(0.0213), "0.0213"},
		{words.Percent(0.705), "70"}, {words.Percent(0.9971), "over 99"}, {words.Percent(0.0004), "under 0.1"},
		{words.Percent(0.004), "0.4"}, {words.Percent(1), "100"}, {words.Percent(0), "0"},
		{words.Share(0.704), "70 of 100"}, {words.Share(0.004), "under 1 of 100"}, {words.Share(0.9971), "over 99 of 100"},
		{words.Interval(39.4, 93), "39 to 93"}, {words.Interval(-19, 100), "−19 to 100"},
		{words.HoursInterval(31.04, 1750), "31.0 to 1,750"},
		{words.Figure(0.0004), "under 0.001"}, {words.Figure(12.6), "13"}, {words.Figure(3.14159), "3.1"},
		{words.Figure(0.314), "0.31"}, {words.Figure(-0.0312), "−0.031"},
		{words.Whole(-1234567.4), "−1,234,567"}, {words.Fixed(123456.78, 1), "123,456.8"}, {words.Fixed(999.96, 1),
			"1,000.0"},
		{words.Give(0.31, 1, " K"), "±0.3 K"}, {words.Give(0.2, 0, ""), "± under 1"}, {words.Give(0, 2, ""), "± under 0.01"},
		{words.Int(27500), "27,500"}, {words.Int(-999), "−999"}, {words.Count(2400, "night"), "2,400 nights"},
		{words.Plus(0.7, 2), "+0.70"}, {words.Plus(-0.7, 2), "−0.70"}, {words.Plus(0, 1), "0"},
		{words.Plus(0.001, 2), "under 0.01"},
		{words.Count(1, "night"), "1 night"}, {words.Count(0, "night"), "0 nights"},
	} {
		assert.Equal(t, c.want, c.got)
	}
}

func TestUnderHalfAPerCentEitherWayNothingChanged(t *testing.T) {
	for pct, want := range map[float64]string{0.3: "did not change", -0.3: "did not change", 0: "did not change",
		0.49: "did not change", 0.5: "fell", -0.5: "rose", 71: "fell", -12: "rose"} {
		assert.Equal(t, want, words.WayOf(pct).String(), "%g", pct)
	}
}

func TestTimesAreWrittenAsPeopleSayThem(t *testing.T) {
	zone := time.FixedZone("east", 3600)
	at := time.Date(2026, 10, 1, 23, 30, 0, 0, time.UTC)
	assert.Equal(t, "2 October", words.Day(at, zone))
	assert.Equal(t, "2 October 2026", words.Date(at, zone))
	assert.Equal(t, "1 October 2026", words.Date(at, nil))
	assert.Equal(t, "2 Oct 2026", words.ShortDate(at, zone))
	assert.Equal(t, "2 October 2026 00:30", words.Moment(at, zone))
	assert.Equal(t, "2 Oct 2026", words.DateOf("2026-10-02"))
	assert.Equal(t, "October 2026", words.Month("2026-10"))
	assert.Equal(t, "soon", words.Month(words.DateOf("soon")))
	for h, want := range map[float64]string{0.7: "42 minutes", 1: "1 hour", 0.99: "59 minutes", 0.995: "1 hour",
		3.4: "3 hours", 0.005: "under a minute", 1.0 / 60: "1 minute", 47: "47 hours", 50: "2 days"} {
		assert.Equal(t, want, words.DurationHours(h), "%g h", h)
	}
	for d, want := range map[time.Duration]string{-time.Hour: "ahead of the clock", 3 * time.Second: "3 s ago",
		5 * time.Minute: "5 min ago", 5 * time.Hour: "5 h ago", 72 * time.Hour: "3 days ago"} {
		assert.Equal(t, want, words.Ago(at, at.Add(-d)))
	}
	assert.Equal(t, "never", words.Ago(at, time.Time{}))
}

func TestPlacesAreNamedForTheirReader(t *testing.T) {
	north := roof.Position{ID: "n", Place: roof.CoveringUnderside}
	south := roof.Position{ID: "s", Place: roof.CoveringUnderside, Untouched: true}
	one := &roof.Case{Positions: []roof.Position{north}}
	two := &roof.Case{Positions: []roof.Position{north, south}}
	assert.Equal(t, "under the covering", words.Surface(one, north))
	assert.Equal(t, "under the covering (n)", words.Surface(two, north))
	assert.Equal(t, "under the covering (s, untouched)", words.Surface(two, south))
	assert.Equal(t, "under the covering (n)", words.SurfaceOf(two, "n"))
	for material, want := range map[string]string{"natural slate": "under the slates", "Plain Tile": "under the tiles",
		"steel sheet": "under the sheets", "": "under the roof covering", "thatch": "under the roof covering"} {
		one.Roof.Covering.Material = material
		assert.Equal(t, want, words.HomeSurface(one, north), material)
	}
	assert.Equal(t, "on the underlay in the loft", words.HomeSurface(one, roof.Position{Place: roof.UnderlayUnderside}))
	assert.Equal(t, "on the roof timber", words.HomeSurface(one, roof.Position{Place: roof.Timber}))
	assert.Equal(t, "in the roof", words.HomeSurface(one, roof.Position{Place: roof.Other}))
}

func TestACountOfNightsSaysWhatItIsOf(t *testing.T) {
	for want, n := range map[string]words.Nights{
		"wet on 33 of 58 nights observed":            {Wet: 33, Observed: 58},
		"wet on 0 of 1 night observed":               {Observed: 1},
		"no night was observed well enough to count": {Missed: 3},
	} {
		assert.Equal(t, want, n.String())
	}
	assert.Equal(t, "", words.Nights{Wet: 3, Observed: 9}.More())
	assert.Equal(t, "briefly wet on 4 more", words.Nights{Wet: 1, Briefly: 4}.More())
	assert.Equal(t, "briefly wet on 7", words.Nights{Briefly: 7, Observed: 7}.More(), "more than none is no more")
	assert.Equal(t, "briefly wet on 4 more; 1 night not observed", words.Nights{Wet: 2, Briefly: 4, Missed: 1}.More())
	assert.Equal(t, "2 nights not observed", words.Nights{Missed: 2}.More())
}

func TestAClauseBecomesASentenceAndNothingInItIsTouched(t *testing.T) {
	for clause, want := range map[string]string{
		"the loft holds −109 Pa more":  "The loft holds −109 Pa more.",
		"temp_c is text":               "temp_c is text.",
		"Is light visible?":            "Is light visible?",
		"“house air” leads":            "“House air” leads.",
		" ":                            "",
		"he said “it is dry.”":         "He said “it is dry.”",
		"readings at x - y kept: 3 C.": "Readings at x - y kept: 3 C.",
	} {
		assert.Equal(t, want, words.Sentence(clause))
	}
	assert.Equal(t, "a, b and c", words.List([]string{"a", "b", "c"}))
	assert.Equal(t, "a", words.List([]string{"a"}))
	assert.Equal(t, "", words.List(nil))
	assert.Equal(t, "no change shown", words.Key("no_change_shown"))
}

func TestATextRemembersWhereItsFiguresStand(t *testing.T) {
	text := words.Say("%s: %s h of %s.", words.Bold("Wet"), words.Run{Words: "12", From: "a.b", Scale: 1}, "24 h")
	assert.Equal(t, "Wet: 12 h of 24 h.", text.String())
	assert.Equal(t, "a.b", text[2].From)
	assert.True(t, text[0].Bold)
	assert.Equal(t, "x y", words.Say("%s %s", words.Text{{Words: "x"}}, words.Mono("y")).String())
}

func TestAStepOfAChartHasItsName(t *testing.T) {
	for step, want := range map[time.Duration]string{0: "every reading", 10 * time.Minute: "10 min a step",
		3 * time.Hour: "3 h a step", 24 * time.Hour: "a day a step", 7 * 24 * time.Hour: "7 days a step"} {
		assert.Equal(t, want, words.Step(step))
	}
}

func TestSignsAreSetAsInPrint(t *testing.T) {
	assert.Equal(t, "the house’s air follows −4.8 % (−9 to 2.1) of 2026-11-03’s t-value",
		words.Typeset("the house's air follows -4.8 % (-9 to 2.1) of 2026-11-03's t-value"))
}
