package repair

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

// What is said of an effect has its sign, its interval and no minus nothing.
func TestAnEffectIsWordedWithItsSignAndInterval(t *testing.T) {
	for want, e := range map[string]effect{
		"fell by 41 % (95 % interval 13 to 62 %)":   {41.2, 12.9, 62.4},
		"fell by 1 % (95 % interval 0 to 5 %)":      {1.1, -0.2, 5.3},
		"did not change (95 % interval -3 to 4 %)":  {-0.3, -3, 4},
		"did not change (95 % interval -4 to 3 %)":  {0.49, -4, 3},
		"rose by 12 % (95 % interval -5 to 30 %)":   {-12, -30, 5},
		"fell by 45 % (95 % interval -453 to 94 %)": {45, -453, 94},
	} {
		assert.Equal(t, want, e.sentence())
	}
}

// Work may move the water more than the hours or the other way round; what the
// interval of the water does not carry is not claimed.
func TestWaterAndHoursAreToldApartNoMoreSurelyThanTheyAreKnown(t *testing.T) {
	said := func(water, hours effect) string {
		return strings.Join(waterWords(&look{water: water, reduction: hours}), " ")
	}
	assert.Empty(t, said(effect{50, 30, 70}, effect{45, 20, 60}))
	less := said(effect{80, 70, 90}, effect{40, 20, 60})
	assert.Contains(t, less, "less water more than fewer hours")
	assert.NotContains(t, less, "too wide")
	fewer := said(effect{10, 0, 20}, effect{40, 20, 60})
	assert.Contains(t, fewer, "fewer hours more than less water")
	assert.NotContains(t, fewer, "too wide")
	wide := said(effect{24, -248, 84}, effect{41, -1, 65})
	assert.Contains(t, wide, "fewer hours more than less water")
	assert.Contains(t, wide, "the interval of the water, -84 to 248 %, is too wide to make sure of that")
}
