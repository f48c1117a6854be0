package assessment_test

import (
	"iter"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/assessment"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// A covering at 5 °C over a void whose air is wet from 22 to midnight on chosen
// nights; nothing outdoors.
func withoutOutdoors(t *testing.T, wet map[int]bool, nights, workNight int) *series.Set {
	t.Helper()
	noon := time.Date(2026, 12, 1, 12, 0, 0, 0, time.UTC)
	c := &roof.Case{ID: "blind", Property: roof.Property{Timezone: "UTC", Zone: time.UTC},
		Events: []roof.Event{{At: noon.AddDate(0, 0, workNight), Kind: roof.Repair, What: "void opened",
			Treats: []string{"slate"}, Changes: []roof.Change{roof.VoidVentilation}}}}
	for _, p := range []roof.Position{{ID: "slate", Place: roof.CoveringUnderside, Meets: "void"},
		{ID: "void", Place: roof.BattenVoidAir}, {ID: "loft", Place: roof.LoftAir}, {ID: "room", Place: roof.IndoorAir}} {
		c.Positions = append(c.Positions, p)
		c.Loggers = append(c.Loggers, roof.Logger{ID: p.ID, Interval: time.Hour,
			Fitted: []roof.Fitting{{Position: p.ID, From: noon}}})
	}
	at := func(position string, h int) roof.Values {
		tempC, rh := 5.0, 0.0
		switch position {
		case "void":
			if tempC, rh = 6, 80; wet[h/24] && (h%24 >= 10 && h%24 <= 12) {
				rh = 100
			}
		case "loft":
			tempC, rh = 6, 70
		case "room":
			tempC, rh = 20, 40
		}
		var v roof.Values
		v.Set(roof.TempC, tempC)
		if rh > 0 {
			v.Set(roof.RHPct, rh)
		}
		return v
	}
	set, err := series.Build(c, 0, func(logger string) iter.Seq2[roof.Reading, error] {
		return func(yield func(roof.Reading, error) bool) {
			for h := range nights*24 + 1 {
				if !yield(roof.Reading{Logger: logger, At: noon.Add(time.Duration(h) * time.Hour), Values: at(logger, h)}, nil) {
					return
				}
			}
		}
	})
	require.NoError(t, err)
	return set
}

func TestWithoutOutdoorAirWhatWasMeasuredIsSaidAndNoVerdict(t *testing.T) {
	set := withoutOutdoors(t, map[int]bool{0: true, 3: true, 4: true, 9: true, 14: true}, 22, 10)
	a := assessment.Of(set)
	require.Len(t, a.Repairs, 1)
	r := a.Repairs[0]
	assert.EqualValues(t, "too_early", r.Verdict)
	assert.Contains(t, r.Needs, "page Files")
	assert.Nil(t, r.ReductionPct)
	s := r.OnlySeen
	require.NotNil(t, s)
	assert.Equal(t, []int{4, 10, 1, 12}, []int{s.Before.WetNights, s.Before.NightsObserved, s.Since.WetNights,
		s.Since.NightsObserved})
	assert.Equal(t, []int{10, 12}, []int{r.NightsBefore, r.NightsAfter})
	require.NotNil(t, s.Before.LoftPa)
	assert.InDelta(t, 0.70*935, *s.Before.LoftPa, 2) // 70 % of saturation at 6 °C, 935 Pa
	assert.InDelta(t, 0.40*2337, *s.Before.IndoorPa, 4)
	assert.InDelta(t, 5-2.8, s.Since.MarginMidK, 0.1) // dew point of 80 % at 6 °C: 2.8 °C
	text := strings.Join(s.Text, "\n")
	assert.Contains(t, text, "no verdict: under the covering it was wet on 4 of 10 nights observed before the work of "+
		"11 December 2026, and wet on 1 of 12 nights observed since")
	assert.Contains(t, text, "70 % of the vapour of the house’s air")
	assert.Contains(t, text, "cannot say what the work did")
	var out strings.Builder
	assessment.WriteText(&out, a.Assessment, set.Case)
	for _, line := range s.Text {
		assert.Contains(t, out.String(), line)
	}
}

func TestWithOutdoorAirTheVerdictStandsAlone(t *testing.T) {
	a := assessment.Of(simulated(t, 7, 60, func(*roof.Values) {}))
	assert.False(t, slices.ContainsFunc(a.Repairs, func(r assessment.Repair) bool { return r.OnlySeen != nil }))
}
