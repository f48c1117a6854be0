package words_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/words"
)

func TestWhatWasOnlyMeasuredIsSaidAsThat(t *testing.T) {
	pa := func(x float64) *float64 { return &x }
	s := words.OnlySeen{At: time.Date(2026, 12, 11, 9, 0, 0, 0, time.UTC), Zone: time.UTC, Where: "under the covering",
		Before: words.SeenPart{Nights: words.Nights{Wet: 21, Observed: 45}, MarginLowK: -0.6, MarginMidK: 0.4,
			MarginHighK: 3.1, SurfaceC: 4.2, LoftPct: pa(71), LoftPa: pa(781), IndoorPa: pa(1100)},
		OtherWeather: true,
		Since: words.SeenPart{Nights: words.Nights{Wet: 1, Observed: 30}, MarginLowK: -0.1, MarginMidK: 1.1,
			MarginHighK: 4, SurfaceC: -1.3, LoftPct: pa(64), LoftPa: pa(640), IndoorPa: pa(1000)}}
	assert.Equal(t, []string{
		"Only measured, and no verdict: under the covering it was wet on 21 of 45 nights observed before the work of 11 " +
			"December 2026, and wet on 1 of 30 nights observed since.",
		"The margin stood at 0.4 K in the middle of those nights’ hours before (a tenth of them under −0.6 K, a tenth " +
			"over 3.1 K) and at 1.1 K since (under −0.1 K, over 4.0 K).",
		"The loft’s air carried 71 % of the vapour of the house’s air before (781 of 1,100 Pa) and 64 % since (640 of " +
			"1,000 Pa).",
		"They cannot say what the work did: without outdoor air, other weather or another household reads the same (the " +
			"surface itself averaged 4.2 °C on the nights before and −1.3 °C on those since, so that the weather was not " +
			"alike)."}, s.Lines())
	s.Since.Nights.Observed = 0
	assert.Nil(t, s.Lines(), "one side only is no comparison")
}
