package words_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/words"
)

func TestALeakIsSpokenOfByWhatCanTell(t *testing.T) {
	at := time.Date(2026, 10, 2, 9, 0, 0, 0, time.UTC)
	seen := at.AddDate(0, 0, 20)
	n := func(x float64) *float64 { return &x }
	wood := words.WetSpot{Position: "rafter", BeforePct: 31, NowPct: 17.5, AirPct: n(16.9), AirLow: n(14.1),
		AirHigh: n(20)}
	share := func(l words.Leak, best, low, high float64) words.Leak {
		l.At, l.Share, l.Low, l.High, l.Spots = at, n(best), n(low), n(high), []words.WetSpot{wood}
		l.WetBefore = true
		return l
	}
	for name, c := range map[string]struct {
		l    words.Leak
		want string
	}{
		"nothing that can tell": {words.Leak{Kind: words.TooEarly, At: at},
			"It is too early to say whether the work of 2 October 2026 stopped the leak: loggers of air cannot tell whether a " +
				"leak was stopped: in trials on two simulators, with rain measured and without, roofs whose leak was stopped " +
				"looked like those where it ran on. Needed: wood-moisture readings (wood_pct) at the wet spot before and after " +
				"the work, or a look after heavy rain, entered in the case file as an inspection with after_rain and wet."},
		"dried": {share(words.Leak{Kind: words.Worked, RainFell: true}, 0.05, 0, 0.31),
			"The work of 2 October 2026 stopped the leak: the wood dried as its air alone would dry it; by the wood’s " +
				"moisture 0 to 31 % of the water may still come in (95 %)."},
		"still wet": {share(words.Leak{Kind: words.NoChangeShown, RainFell: true}, 0.9, 0.6, 1.3),
			"The work of 2 October 2026 has not been shown to stop the leak: the wood stayed wetter than its air alone would " +
				"leave it; by the wood’s moisture 60 to 130 % of the water still comes in (95 %)."},
		"long unclear": {share(words.Leak{Kind: words.NoChangeShown, RainFell: true, DaysSince: 63}, 0.5, 0.2, 0.8),
			"The work of 2 October 2026 has not been shown to stop the leak: by the wood’s moisture 20 to 80 % of the water " +
				"still comes in (95 %), and that after 63 days."},
		"two dry looks": {words.Leak{Kind: words.Worked, At: at, DryLooks: 2, WetBefore: true},
			"The work of 2 October 2026 stopped the leak: the spot was dry at two looks after heavy rain, and wet before the " +
				"work."},
		"a wet look": {words.Leak{Kind: words.NoChangeShown, At: at, WetLook: &seen},
			"The work of 2 October 2026 has not been shown to stop the leak: water was seen at the spot after heavy rain, on " +
				"22 October 2026."},
	} {
		assert.Equal(t, c.want, c.l.Sentence(), name)
		c.l.At = at
		head := words.Verdict{Kind: c.l.Kind, At: at, Zone: time.UTC, Where: "under the underlay", Leak: &c.l}.Headline()
		assert.Contains(t, head, "the leak", "%s: what stopped is the leak, wherever it is measured", name)
		assert.NotContains(t, head, "worked", name)
		home := words.Verdict{Kind: c.l.Kind, At: at, Zone: time.UTC, Leak: &c.l}.Home()
		if c.l.Kind != words.TooEarly {
			assert.Contains(t, home, "the leak", name)
		}
	}
	for want, l := range map[string]words.Leak{
		"heavy rain since the work, told by a rain gauge (rain_mm, 20 mm or more) or by a look entered as an inspection " +
			"with after_rain": share(words.Leak{Kind: words.TooEarly}, 0.1, 0, 0.3),
		"a second look after heavy rain, three days or more after the first": {Kind: words.TooEarly, DryLooks: 1,
			WetBefore: true, RainFell: true},
		"wood-moisture readings over some more weeks, or two looks after heavy rain: so far by the wood’s moisture 0 to " +
			"70 % of the water still comes in (95 %)": share(words.Leak{Kind: words.TooEarly, RainFell: true}, 0.3, 0, 0.7),
		"a note that the spot was wet before the work: an inspection with wet: yes, dated before it": {
			Kind: words.TooEarly, DryLooks: 2, RainFell: true},
		"wood-moisture readings (wood_pct) at rafter on two days or more since the work, or a look after heavy rain, " +
			"entered as an inspection": {Kind: words.TooEarly, Spots: []words.WetSpot{{Position: "rafter",
			Why: words.NoWoodAfter}}},
		"a look after heavy rain, entered as an inspection (after_rain, wet): at rafter before the work the wood was " +
			"hardly wetter than its air alone would make it": {Kind: words.TooEarly,
			Spots: []words.WetSpot{{Position: "rafter", Why: words.NotWetBefore}}},
		"the leak found and mended, then a look after heavy rain": {Kind: words.NoChangeShown, WetLook: &seen},
		"": {Kind: words.Worked},
	} {
		assert.Equal(t, want, l.Need())
	}
	told := share(words.Leak{Zone: time.UTC, RainMM: n(41.2), Looks: []words.LeakLook{{At: seen, AfterRain: true,
		What: "boards, torch"}, {At: seen, Wet: true}}}, 0.05, 0, 0.31)
	told.Spots = append(told.Spots, words.WetSpot{Position: "purlin", Why: words.NoAirAtWood})
	assert.Equal(t, []string{"wood at rafter: 31.0 % before the work, 17.5 % now; its air alone would have made that " +
		"16.9 % (14.1 to 20.0 %)", "wood at purlin: " + words.NoAirAtWood,
		"by the wood’s moisture 0 to 31 % of the water still comes in (95 %)",
		"looked on 22 October 2026 after heavy rain: dry (boards, torch)", "looked on 22 October 2026: wet",
		"rain measured since the work: 41 mm"}, told.Lines())
}

// A verdict on a leak speaks of the leak, not of wet hours.
func TestAVerdictOnALeakSpeaksOfTheLeak(t *testing.T) {
	l := words.Leak{Kind: words.Worked, At: time.Date(2026, 10, 2, 9, 0, 0, 0, time.UTC), DryLooks: 2, WetBefore: true}
	v := words.Verdict{Kind: words.Worked, At: l.At, Where: "on the timber", Leak: &l}
	assert.Equal(t, l.Sentence(), v.Sentence().String())
	x := words.Exchange{What: "water_entry", Kind: words.Changed, Leak: &l}
	assert.Equal(t, l.Sentence(), x.Sentence().String())
}

func TestWhatAProbeTellsIsSaidWithItsTrials(t *testing.T) {
	p := words.Probes{Boards: 400, Shown: words.Rate{N: 362, Pct: 90, Low: 87, High: 93}, DryShown: 3, Dry: 800,
		Stopped: words.Rate{N: 268, Pct: 67, Low: 62, High: 71}, ByHand: words.Rate{N: 238, Pct: 60, Low: 55, High: 64},
		Days: 60}
	assert.Equal(t, "A wood-moisture probe at the wet spot: of 400 simulated wet boards 90 % (95 %: 87 to 93) showed "+
		"more water than the air gives, and 3 of 800 dry ones. It tells water that gets in from moist air, not rain from "+
		"plumbing; the needles must sit in the wet spot.", p.Cause().String())
	assert.Equal(t, "A wood-moisture probe at the wet spot, read before the work and since: of 400 simulated leaks that "+
		"were stopped it said so within 60 days in 67 % (95 %: 62 to 71), weekly readings by hand in 60 % (95 %: 55 to "+
		"64). Two dry looks after heavy rain do it as well.", p.Worked().String())
}
