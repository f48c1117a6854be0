package words

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestTheHouseIsToldBesideItsSurfaces(t *testing.T) {
	fell := func(pct, low, high float64) Change {
		return Change{What: RiskHours, Pct: &pct, Low: &low, High: &high}
	}
	for want, h := range map[string]House{
		"slate and underlay together: hours at risk fell by 24 % in like weather; with 95 % certainty between 3 and 65 %; " +
			"this came out on the last 3 evenings on which it was worked out": {Worked: true, Risk: fell(24, 3, 65),
			Evenings: 3},
		"slate and underlay together: hours at risk fell by 24 % in like weather; with 95 % certainty between a rise of " +
			"2 % and a fall of 65 %, which takes in no change": {Risk: fell(24, -2, 65)},
		"slate and underlay together: hours at risk fell by 24 % in like weather; with 95 % certainty between 3 and 65 %; " +
			"the rule asks for more than that": {Risk: fell(24, 3, 65)},
		"slate and underlay together: hours at risk fell by 24 % in like weather; with 95 % certainty between 3 and 65 %, " +
			"but the untouched place changed as well": {Risk: fell(24, 3, 65), Taken: "the untouched place changed as well"},
	} {
		h.Surfaces = []string{"slate", "underlay"}
		assert.Equal(t, want, h.String())
	}
}
