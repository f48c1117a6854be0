package words_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/words"
)

func TestEveryNeedOfAVerdictHasItsWords(t *testing.T) {
	said := map[string]bool{}
	for _, c := range []struct {
		n    words.Need
		want string
	}{
		{words.Need{Kind: words.NightsAfter}, "nights after the repair"},
		{words.Need{Kind: words.OtherEvidence}, "another kind of evidence: this kind of work cannot be judged from these " +
			"loggers; measured hours are shown"},
		{words.Need{Kind: words.FittedLoggers}, "readings of fitted loggers"},
		{words.Need{Kind: words.ReadingsAfter, Day: "2026-10-01"},
			"readings after the repair: the record ends on 2026-10-01, before it"},
		{words.Need{Kind: words.ReadingsBefore, Day: "2026-10-03"},
			"nights before the repair, or a second roof or bay left " +
				"untouched: the record begins on 2026-10-03, after it"},
		{words.Need{Kind: words.NoNightsBefore}, "nights before the repair, or a second roof or bay left untouched"},
		{words.Need{Kind: words.MoreBefore, Least: 14, Have: 9}, "at least 14 well-observed nights before the repair (9 " +
			"nights are usable); without them a second roof or bay left untouched"},
		{words.Need{Kind: words.MoreBefore, Least: 14, Have: 1}, "at least 14 well-observed nights before the repair (1 " +
			"night is usable); without them a second roof or bay left untouched"},
		{words.Need{Kind: words.MoreAfter, Least: 14, Have: 13, Left: 3}, "1 more well-observed night after the repair (13 " +
			"of 14 so far; the first 3 after the work are left out)"},
		{words.Need{Kind: words.AnyWeather}, "cold, clear nights: there was no weather " +
			"for water to form since the repair; unrepaired, the roof would have been dry as well"},
		{words.Need{Kind: words.ColdWeather, Least: 20, MeanH: 6.2, LowH: 0.4, HighH: 18}, "more cold, clear nights: since " +
			"the repair the unrepaired roof would have been wet for 6.2 h (0.4 to 18.0 h with 95 % certainty), and the " +
			"verdict asks for 20 h"},
		{words.Need{Kind: words.UsualPhysics},
			"the readings do not follow the usual physics of this roof: check logger places"},
		{words.Need{Kind: words.LikeWeather}, "nights after the repair as cold and as clear as those before it: the two " +
			"periods hardly overlap"},
		{words.Need{Kind: words.LargerChange}, "no change of a size that more nights would make certain shows so far"},
		{words.Need{Kind: words.SecondWinter}, "more nights of this winter will not make it firm; a second winter, an " +
			"untouched bay with loggers, or loggers checked against a salt would"},
		{words.Need{Kind: words.MoreEvenings},
			"the same answer on more evenings running, with the counted hours agreeing"},
		{words.Need{Kind: words.NextWinter}, "the nights of next winter"},
		{words.Need{Kind: words.ColdNights, Least: 15}, "about 15 more cold nights"},
		{words.Need{Kind: words.ColderLoft}, "the same answer by the loft’s temperature: humidity shows a change of the " +
			"ceiling, and the warmth that comes through it does not yet"},
		{words.Need{Kind: words.ColdNights, Least: 15, Exchanged: true},
			"about 15 more cold nights; check the old and new logger side by side"},
	} {
		assert.Equal(t, c.want, c.n.String())
		assert.False(t, said[c.n.String()], "each says something of its own")
		said[c.n.String()] = true
	}
}

func TestAVerdictSaysWhatItRestsOn(t *testing.T) {
	assert.Equal(t, "hours at risk fell by 78 % in like weather; with 95 % certainty between 39 and 93 %; this came "+
		"out on "+
		"the last 3 evenings on which it was worked out", risk(78, 39, 93).Moved(3))
	assert.Equal(t, "hours at risk rose by 20 % in like weather; with 95 % certainty between 9 and 30 %; this came "+
		"out on "+
		"the last 2 evenings on which it was worked out", risk(-20, -30, -9).Moved(2))
	assert.Equal(t, "hours at risk fell by 8 % in like weather; with 95 % certainty between a rise of 20 % and a fall of "+
		"31 %, which takes in no change", risk(8, -20, 31).Untold())
	assert.Equal(t, "hours at risk fell by 8 % in like weather; with 95 % certainty between 2 and 31 %; the rule "+
		"asks for "+
		"more than that", risk(8, 2, 31).Untold())
}

// Work may move the water more than the hours or the other way round; what the
// interval of the water does not carry is not claimed.
func TestWaterAndHoursAreToldApartNoMoreSurelyThanTheyAreKnown(t *testing.T) {
	water := func(pct, low, high float64) words.Change { return change(words.Water, pct, low, high) }
	for want, c := range map[string][2]words.Change{
		"": {water(50, 30, 70), wet(45, 20, 60)},
		"condensed water fell by 80 %, wet hours fell by 40 %: less water more than fewer hours": {water(80, 70, 90),
			wet(40, 20, 60)},
		"wet hours fell by 40 %, condensed water fell by 10 %: fewer hours more than less water (a better ventilated void " +
			"also brings outdoor moisture on clear nights)": {water(10, 0, 20), wet(40, 20, 60)},
		"wet hours fell by 41 %, condensed water fell by 24 %: fewer hours more than less water (a better ventilated void " +
			"also brings outdoor moisture on clear nights); the interval of the water, between a rise of 248 % and a fall of " +
			"84 %, is too wide to make sure of that": {water(24, -248, 84), wet(41, -1, 65)},
		"condensed water rose by 966 %, wet hours rose by 277 %: the water rose by more than the hours; the interval of " +
			"the water, between 115 and 3,225 %, is too wide to make sure of that": {water(-966, -3225, -115),
			wet(-277, -3947, -28)},
		"wet hours rose by 90 %, condensed water rose by 20 %: the hours rose by more than the water": {water(-20, -40, -5),
			wet(-90, -120, -60)},
	} {
		assert.Equal(t, want, words.WaterAgainstHours(c[0], c[1]))
	}
}

func TestTheChecksBesideTheModelAreSaid(t *testing.T) {
	assert.Equal(t, "of every 100 hours at risk that the unrepaired roof was expected to have, 101 were counted before "+
		"the "+
		"repair and 42 after it", words.Companion(1.01, 0.42))
	assert.Equal(t, "the nights cannot be compared directly: 1 night after the repair had a like before it",
		words.LikeNights(1, words.Change{}, risk(60, 40, 70), false))
	assert.Equal(t, "each of 26 nights after the repair, set against the nights before most like it in temperature, sky, "+
		"outdoor and indoor vapour: measured hours at risk fell by 63 % in like "+
		"weather; with "+
		"95 % certainty between 40 and 80 %; the two intervals overlap",
		words.LikeNights(26, risk(63, 40, 80), risk(60, 40, 70), true))
	assert.Equal(t, "each of 26 nights after the repair, set against the nights before most like it in temperature, sky, "+
		"outdoor and indoor vapour: measured hours at risk fell by 10 % in like "+
		"weather; with "+
		"95 % certainty between 2 and 20 %; the two disagree: by the model, which follows the drying of timber and the "+
		"films too, they fell by 60 %", words.LikeNights(26, risk(10, 2, 20), risk(60, 40, 70), false))
	assert.Equal(t, "unrepaired, the roof would have been wet for only 5.4 h since the repair: no fall of the wet hours "+
		"or of the water is given under 20 h, only that of the hours at risk", words.FewWet(5.4, 20))
	assert.Equal(t, "the household’s air carried 368 Pa more vapour than outdoor air before the repair and 301 Pa after "+
		"(18 % less); both runs of the model carry that", words.HouseholdAir(368, 301))
	assert.Equal(t, "the household’s air carried 300 Pa more vapour than outdoor air before the repair and 301 Pa after; "+
		"both runs of the model carry that", words.HouseholdAir(300, 301))
	assert.Equal(t, "the household’s air carried −3 Pa more vapour than outdoor air before the repair and 301 Pa after; "+
		"both runs of the model carry that", words.HouseholdAir(-3, 301))
}
