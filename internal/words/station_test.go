package words_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/words"
)

func TestAStationThatStandsInIsNamed(t *testing.T) {
	n := func(x float64) *float64 { return &x }
	for want, at := range map[string][2]*float64{
		"a weather station 12 km away, 80 m above the house stands in for outdoor air: the interval is wider and the bar " +
			"higher for it": {n(12), n(80)},
		"a weather station 3.5 km away, 40 m below the house stands in for outdoor air: the interval is wider and the bar " +
			"higher for it": {n(3.5), n(-40)},
		"a weather station (its height is not noted, so its temperature is used as it is) stands in for outdoor air: the " +
			"interval is wider and the bar higher for it; note its distance (key station.distance_km)": {},
	} {
		assert.Equal(t, want, words.StationStandsIn("", at[0], at[1]))
	}
	assert.Equal(t, "a weather station (airport, hourly) 12 km away, 80 m above the house stands in for outdoor air: the "+
		"interval is wider and the bar higher for it", words.StationStandsIn("airport, hourly", n(12), n(80)))
	assert.Equal(t, "logger met stands in the case file as a weather station (airport) 12 km away, at the position "+
		"outside from its first reading on", words.StationNoted("met", "outside", "airport", n(12), nil))
	assert.Equal(t, "logger met counts here as a weather station (airport) 12 km away, at the position outside from its "+
		"first reading on; the case file is left as it is: write station: {distance_km: 12} at met into it, or give the "+
		"same flags again", words.StationOnce("met", "outside", "airport", n(12), nil, "{distance_km: 12}"))
}
