package cause

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/roof"
)

// A cause whose places are logged is named although others could not be
// examined, but needs more of the support the fewer places there are.
func TestAMissingPlaceWithholdsOnlyTheCausesThatNeedIt(t *testing.T) {
	all := []roof.Place{roof.OutdoorAir, roof.IndoorAir, roof.LoftAir, roof.BattenVoidAir, roof.CoveringUnderside}
	without := func(p roof.Place) []roof.Place {
		return slices.DeleteFunc(slices.Clone(all), func(x roof.Place) bool { return x == p })
	}
	for name, c := range map[string]struct {
		logged []roof.Place
		state  state
		share  float64
		want   Cause
	}{
		"every place":                      {all, stateV, 0.6, UnventedBattenVoid},
		"every place, too little":          {all, stateV, 0.4, Undetermined},
		"no indoor air, enough":            {without(roof.IndoorAir), stateV, 0.65, UnventedBattenVoid},
		"no indoor air, too little":        {without(roof.IndoorAir), stateV, 0.55, Undetermined},
		"no indoor air, and needs it":      {without(roof.IndoorAir), stateW, 0.9, Undetermined},
		"no void, and needs it":            {without(roof.BattenVoidAir), stateV, 0.9, Undetermined},
		"no loft, which every cause needs": {without(roof.LoftAir), stateS, 0.9, Undetermined},
	} {
		t.Run(name, func(t *testing.T) {
			a := &assessment{c: &roof.Case{}, g: grid{n: 100 * 24}, cold: 50}
			seen := &air{tempC: []float64{1}, vapourPa: []float64{600}}
			for _, p := range c.logged {
				*map[roof.Place]**air{roof.OutdoorAir: &a.p.outdoor, roof.IndoorAir: &a.p.indoor, roof.LoftAir: &a.p.loft,
					roof.BattenVoidAir: &a.p.void, roof.CoveringUnderside: &a.p.covering}[p] = seen
			}
			for st := range states {
				a.post[st] = (1 - c.share) / float64(states-1)
			}
			a.post[c.state] = c.share
			a.survey = inUse.read(a.c, 0)
			a.division = division{ours.mixing, a.survey.ceilingShare}
			f := Finding{Finding: Undetermined, Window: Window{Places: c.logged}}
			a.decide(&f)
			assert.Equal(t, c.want, f.Finding, "%v", f.Reasons)
		})
	}
}
