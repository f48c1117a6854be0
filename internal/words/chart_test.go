package words

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestFiguresStandInAChartWithTheirAccuracy(t *testing.T) {
	u := 0.05
	for _, c := range []struct {
		feature  string
		figure   float64
		accuracy *float64
		want     string
	}{
		{"wo", 0.16, &u, "the loft follows 16 % (±5) of a quick change outdoors"},
		{"El", 25.3, nil, "mean: 25 Pa over outdoors"},
		{"rh90", 412.4, nil, "above 90 %RH: 412 h a month"},
		{"uc", 4.21, &u, "on clear nights 4.2 K (±0.1) below outdoor air"},
		{"none", 1, nil, ""},
	} {
		assert.Equal(t, c.want, Marked(c.feature, c.figure, c.accuracy), c.feature)
	}
}

func TestLikeNightsAreToldWithTheirNumber(t *testing.T) {
	assert.Equal(t, "On nights of like weather, 40 before and 16 after, the lowest mean margin (under the covering) was "+
		"−0.4 K before and 0.6 K after.", NightCourse{Quantity: "margin", Where: "under the covering", Unit: "K",
		Lowest: true,
		Before: -0.4, After: 0.6, Nights: [2]int{40, 16}, Decimals: 1}.String())
}
