package words_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/words"
)

func TestUnitsThatCannotBeRightAreToldWithWhatToDo(t *testing.T) {
	for kind, c := range map[string]struct {
		value      float64
		said, step string
	}{
		"humidity_as_fraction": {0.853, "Logger k4 reported no humidity over 0.85 %RH: the air of a house is never so " +
			"dry. Nothing is concluded from this logger.",
			"send the humidity of logger k4 in per cent; if these are fractions (0 to 1), say so in the mapping"},
		"temperature_in_fahrenheit": {41.23, "Logger k4 reported a mean of 41.2 °C over weeks: no air about a house is " +
			"so warm. Nothing is concluded from this logger.",
			"send the temperature of logger k4 in Celsius; if this is Fahrenheit, say so in the mapping"},
		"indoor_air_too_dry": {5, "Logger k4 reported indoor air under 5 %RH for days: rooms that people live in are " +
			"not so dry. Nothing is concluded from this logger.", "check the unit and the probe of logger k4"},
	} {
		said, step := words.UnitDoubt(kind, "k4", c.value)
		assert.Equal(t, c.said, said)
		assert.Equal(t, c.step, step)
	}
	assert.Equal(t, "Whether water formed under the covering cannot be told: the figures of a logger cannot be right.",
		words.Untold("under the covering"))
}
