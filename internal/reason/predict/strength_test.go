package predict

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/roof"
)

func mm(x float64) *float64 { return &x }

func surveyed(air string, o roof.Openings) roof.Build {
	return roof.Build{PitchDeg: mm(30), SpanM: mm(8), Covering: roof.Covering{Air: air}, Openings: o}
}

// Check values of the method, worked by hand from its formulae for a roof of 30
// degrees and 8 m span.
func TestStrengthFollowsFromMillimetres(t *testing.T) {
	shut := roof.Openings{VoidEavesMM: mm(0), VoidRidgeMM: mm(0), LoftEavesMM: mm(3), LoftRidgeMM: mm(0)}
	for air, want := range map[string]float64{"closed": 3.089, "open": 1.501, "": 2.407} {
		v := VoidStrength(surveyed(air, shut), 25, 10)
		assert.InDelta(t, want, v.Mean, 0.001, air)
		assert.Equal(t, 0.9, v.SD)
	}
	g := sizes(surveyed("", shut))
	assert.InDelta(t, 0.397, g.loftAirChange(3, 0), 0.001)
	assert.InDelta(t, 1.341, g.loftAirChange(10, 5), 0.001)
	d := LoftStrength(surveyed("", shut), 10, 5, Seen{LoftTime: &Estimate{-0.36, 0.5}, Ceiling: &Estimate{0, 0.4},
		Timber: &Estimate{1.5, 0.6}, AirChangePerHour: mm(0.4)})
	assert.InDelta(t, 0.891, d.Mean, 0.001)
	assert.InDelta(t, 0.621, d.SD, 0.001)
}

func TestOpeningsAreNeverTakenToShrink(t *testing.T) {
	wide := roof.Openings{VoidEavesMM: mm(30), VoidRidgeMM: mm(12), LoftEavesMM: mm(25), LoftRidgeMM: mm(5)}
	v := VoidStrength(surveyed("closed", wide), 25, 10)
	assert.Equal(t, Estimate{0, 0.15}, v)
	assert.Equal(t, LoftStrength(surveyed("", wide), 25, 5, Seen{}), LoftStrength(surveyed("", wide), 10, 0, Seen{}))
}

func TestUnknownSlotsAreWider(t *testing.T) {
	known := LoftStrength(surveyed("", roof.Openings{LoftEavesMM: mm(4), LoftRidgeMM: mm(0)}), 10, 5, Seen{})
	unknown := LoftStrength(surveyed("", roof.Openings{}), 10, 5, Seen{})
	assert.InDelta(t, known.Mean, unknown.Mean, 1e-12)
	assert.Greater(t, unknown.SD, known.SD)
	counter := surveyed("closed", roof.Openings{})
	counter.Battens = "counter"
	assert.Less(t, VoidStrength(counter, 25, 10).Mean, VoidStrength(surveyed("closed", roof.Openings{}), 25, 10).Mean,
		"a counter-battened void is taken to be open already")
}

func TestSealingLeavesDiffusion(t *testing.T) {
	assert.Equal(t, 0.0, ceilingChange(9), "a ceiling never leaks more by sealing")
	assert.InDelta(t, -0.713, ceilingChange(0), 0.001)
	assert.Greater(t, ceilingChange(-40), -1.9, "0.15 of the vapour goes by diffusion")
}
