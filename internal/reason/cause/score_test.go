package cause

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
)

func num(x float64) *float64 { return &x }

// workedValues are the features of the method's worked check, section 5.
func workedValues() (v [features]float64) {
	for f, x := range map[feature]float64{fEl: 120, fLflux: 2.5, fSrc: 0.15, fLHu: 5.4, fRH90: 560, fElB: 90, fWo: 0.15,
		fSb: 0.55, fHeat: 0.05, fWiZ: 2, fVo: 0.4, fLHc: 4, fWhere: -2, fUc: 2.8, fRt: 0.4, fDecay: 0.15, fDecayI: 0} {
		v[f] = x
	}
	return v
}

func TestGroupScoresMatchTheWorkedCheck(t *testing.T) {
	s := published.score(workedValues(), [features]float64{}, 120)
	want := map[group][states]float64{
		groupLoad:     {-0.05, -0.95, -0.87, -3, -1.32, -1.16, 0, -3},
		groupExchange: {-0.28, -0.17, -0.27, -1.90, -1.33, -1.51, 0, -1.97},
		groupHouse:    {-0.17, -0.19, 0, -1.49, -1.32, -1.40, -0.25, -1.28},
		groupVoid:     {-0.20, -2, -2, -1.25, -0.96, -0.96, 0, -0.27},
		groupCovering: {-0.09, -2.25, -2.19, -0.48, -0.39, -0.36, 0, -1.20},
		groupSky:      {0, -0.28, -0.17, -1.85, -0.24, -0.18, -0.09, -1.87},
		groupTime:     {-0.16, -0.58, 0, -0.15, -0.14, -2, -0.10, -0.41},
	}
	for g, row := range want {
		for st := range states {
			assert.InDelta(t, row[st], s.group[g][st], 0.0051, "%s %s", groupNames[g], stateNames[st])
		}
	}
}

func TestSupportMatchesTheWorkedCheck(t *testing.T) {
	base := func() roof.Case {
		return roof.Case{Roof: roof.Build{PitchDeg: num(30), Battens: "single",
			Covering: roof.Covering{Air: "open"}, Underlay: roof.Underlay{Class: "HR"},
			Openings: roof.Openings{LoftEavesMM: num(3)}}}
	}
	support := func(c roof.Case, v [features]float64) (map[Cause]float64, map[Cause]float64, [states]float64, survey) {
		s := published.priors.read(&c, 0)
		p := posterior(published.score(v, [features]float64{}, 120), s.prior)
		sup, mem := division{published.mixing, s.ceilingShare}.shares(p)
		return sup, mem, p, s
	}
	t.Run("short openings", func(t *testing.T) {
		sup, _, p, _ := support(base(), workedValues())
		assert.InDelta(t, 0.65, p[stateU], 0.01)
		assert.InDelta(t, 0.35, p[stateWU], 0.01)
		assert.InDelta(t, 0.726, sup[CeilingLeakage], 0.001)
		assert.InDelta(t, 0.176, sup[WaterIngress], 0.001)
		assert.InDelta(t, 0.098, sup[BlockedVentilation], 0.001)
	})
	t.Run("openings adequate on paper", func(t *testing.T) {
		c := base()
		c.Roof.Openings.LoftEavesMM = num(10)
		sup, _, _, _ := support(c, workedValues())
		assert.InDelta(t, 0.671, sup[BlockedVentilation], 0.001)
		assert.InDelta(t, 0.238, sup[WaterIngress], 0.001)
		assert.InDelta(t, 0.091, sup[CeilingLeakage], 0.001)
	})
	t.Run("openings unknown", func(t *testing.T) {
		c := base()
		c.Roof.Openings.LoftEavesMM = nil
		sup, _, _, s := support(c, workedValues())
		assert.InDelta(t, 0.382, sup[CeilingLeakage], 0.001)
		assert.InDelta(t, 0.382, sup[BlockedVentilation], 0.001)
		assert.InDelta(t, 0.236, sup[WaterIngress], 0.001)
		assert.False(t, s.openingsKnown)
	})
	lr := base()
	lr.Roof.Underlay.Class, lr.Roof.Covering.Air = "LR", "closed"
	v := workedValues()
	v[fVo], v[fLHc], v[fWhere], v[fElB] = 0, 5.7, 0.3, 10
	t.Run("shut void over a permeable underlay", func(t *testing.T) {
		sup, mem, p, _ := support(lr, v)
		assert.InDelta(t, 0.44, p[stateV], 0.01)
		assert.InDelta(t, 0.54, p[stateVC], 0.01)
		assert.InDelta(t, 0.712, sup[UnventedBattenVoid], 0.001)
		assert.InDelta(t, 0.98, mem[UnventedBattenVoid], 0.01)
		assert.InDelta(t, 0.282, sup[CeilingLeakage], 0.001)
	})
	t.Run("the same without the void logger", func(t *testing.T) {
		for _, f := range []feature{fVo, fLHc, fWhere, fElB} {
			v[f] = missing
		}
		sup, _, _, _ := support(lr, v)
		assert.InDelta(t, 0.458, sup[CeilingLeakage], 0.001)
		assert.InDelta(t, 0.436, sup[UnventedBattenVoid], 0.001)
	})
}

func TestSupportSumsToOneForEveryPosteriorAndSplit(t *testing.T) {
	for st := range states {
		for _, f := range []float64{0, 0.119, 0.5, 0.881, 1} {
			var p [states]float64
			p[st] = 1
			sup, mem := division{ours.mixing, f}.shares(p)
			sum := 0.0
			for _, c := range Named() {
				sum += sup[c]
				require.GreaterOrEqual(t, mem[c], sup[c]-1e-12)
			}
			require.InDelta(t, 1, sum, 1e-12)
			capped(sup, cappedSupport)
			sum = 0
			for _, c := range Named() {
				sum += sup[c]
				require.LessOrEqual(t, sup[c], cappedSupport+1e-12)
			}
			require.InDelta(t, 1, sum, 1e-12)
		}
	}
}

func TestNothingMeasuredLeavesTheSurveyAlone(t *testing.T) {
	var v [features]float64
	for i := range v {
		v[i] = missing
	}
	p := posterior(published.score(v, [features]float64{}, 1), [states]float64{})
	for st := range states {
		assert.InDelta(t, 1.0/8, p[st], 1e-12)
		assert.False(t, math.IsNaN(p[st]))
	}
}

// An open covering and a loft that is open on paper speak against a void that traps
// what the loft gives it; neither speaks against blocked openings.
func TestWhatIsOpenSpeaksAgainstATrappedVoid(t *testing.T) {
	ratio := func(edit func(*roof.Case), x, y state) float64 {
		c := &roof.Case{}
		c.Roof.PitchDeg = num(30)
		if edit != nil {
			edit(c)
		}
		s := inUse.read(c, 0)
		return s.prior[x] - s.prior[y]
	}
	open := map[string]func(*roof.Case){
		"covering": func(c *roof.Case) { c.Roof.Covering.Air = "open" },
		"loft":     func(c *roof.Case) { c.Roof.Openings.LoftEavesMM = num(12) },
	}
	for name, edit := range open {
		for _, void := range []state{stateV, stateVC} {
			assert.LessOrEqual(t, ratio(edit, void, stateU)-ratio(nil, void, stateU), -1.0, name)
		}
		assert.Equal(t, ratio(nil, stateU, stateW), ratio(edit, stateU, stateW), name)
	}
}
