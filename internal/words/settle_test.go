package words_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/roof"
	"dewcase/internal/words"
)

func TestWhatWouldSettleACauseIsSaidForEveryCheck(t *testing.T) {
	for want, s := range map[string]words.Settle{
		"A logger in the batten void: the cause would be named, and rightly, in 7 in 10 such houses over nights like " +
			"these; as it stands in under 1 in 10.": {Places: []roof.Place{roof.BattenVoidAir}, Then: 0.7},
		"Loggers in the batten void and under the covering: the cause would be named, and rightly, in 6 in 10 " +
			"such houses over nights like these; as it stands in 1 in 10.": {
			Places: []roof.Place{roof.BattenVoidAir, roof.CoveringUnderside}, Now: 0.1, Then: 0.6},
		"A logger in an upstairs room: the cause would be named, and rightly, in over 9 in 10 such houses " +
			"over nights like these; as it stands in 4 in 10.": {Places: []roof.Place{roof.IndoorAir}, Now: 0.4, Then: 0.97},
		"How far the loft is open at the eaves, seen from inside: the cause would be named, and rightly, in 8 in 10 such " +
			"houses; as it stands in under 1 in 10.": {Look: "openings_mm.loft_eaves", Then: 0.8},
		"The underlay’s class, from its label or a maker’s sheet: the cause would be named, and rightly, in 6 in 10 such " +
			"houses; as it stands in 5 in 10.": {Look: "underlay.class", Now: 0.5, Then: 0.6},
		"Whether the covering lets air through: the cause would be named, and rightly, in 6 in 10 such houses; as it " +
			"stands in 5 in 10.": {Look: "covering.air", Now: 0.5, Then: 0.6},
		"The day the building was handed over: the cause would be named, and rightly, in 6 in 10 such houses; as it " +
			"stands in 5 in 10.": {Look: "completed", Now: 0.5, Then: 0.6},
	} {
		assert.Equal(t, want, s.Sentence().String())
	}
	for _, p := range []roof.Place{roof.OutdoorAir, roof.IndoorAir, roof.LoftAir, roof.BattenVoidAir,
		roof.CoveringUnderside, roof.UnderlayUnderside} {
		assert.NotEmpty(t, words.SettlePlaces([]roof.Place{p}), p)
	}
	assert.Equal(t, "Loggers outdoors in the shade and in the loft: the cause would be named, and rightly, in 2 in 10 "+
		"houses.", words.Kit([]roof.Place{roof.OutdoorAir, roof.LoftAir}, 0.21))
	assert.Equal(t, "A logger in the batten void as well: the cause would be named, and rightly, in 6 in 10 houses.",
		words.KitBeside([]roof.Place{roof.BattenVoidAir}, 0.6))
}

func TestWhatACheckDoesForTheHoursIsSaidByWhatIsLeftOfTheInterval(t *testing.T) {
	n := words.Narrower{Surface: "under the slates", Logger: "k4-void", Humidity: true, FromLow: 100, FromHigh: 300,
		CheckedLow: 150, CheckedHigh: 250}
	const head = "would narrow the 95 % interval of the wet hours under the slates from 100 to 300 h to "
	assert.Equal(t, "A salt check of k4-void "+head+"150 to 250 h: half of it is left.", n.Sentence().String())
	n.Humidity, n.CheckedLow, n.CheckedHigh = false, 120, 270
	assert.Equal(t, "A check of k4-void in ice water "+head+"120 to 270 h: about 75 % of it is left.",
		n.Sentence().String())
	n.CheckedLow, n.CheckedHigh = 200, 250
	assert.Contains(t, n.Sentence().String(), "a third of it or less is left")
	n.CheckedLow, n.CheckedHigh = 100, 290
	assert.Contains(t, n.Sentence().String(), "little is gained")
}
