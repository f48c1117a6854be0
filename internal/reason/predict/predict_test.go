package predict

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/reason/repair"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// fittedOnce is a house that every kind of question is asked of.
var fittedOnce = struct {
	l *lived
	h *House
}{}

// What can be planned is what is predicted.
func TestEveryWorkButNoneCanBePlanned(t *testing.T) {
	var all []string
	for _, w := range Works() {
		if w != Leave {
			all = append(all, string(w))
		}
	}
	assert.ElementsMatch(t, all, roof.PlannedWorks())
	wide, left := 33.0, 60.0
	assert.Equal(t, Plan{25, 10, 33, 5, 0.6}, PlanOf(&roof.Case{Planned: roof.Planned{HouseLeftPct: &left,
		Opened: roof.Openings{LoftEavesMM: &wide}}}))
}

func house(t *testing.T) (*lived, *House) {
	t.Helper()
	if fittedOnce.h == nil {
		fittedOnce.l = live(t, 4, false)
		fittedOnce.h = Fit(fittedOnce.l.set, Before(fittedOnce.l.set))
	}
	for _, f := range fittedOnce.h.Surfaces {
		require.Equal(t, words.Predicted, f.Refused.Kind, "%s: %s", f.Position.ID, f.Refused)
	}
	return fittedOnce.l, fittedOnce.h
}

func TestNoChangeIsNoChangeExactly(t *testing.T) {
	l, h := house(t)
	for _, f := range h.Surfaces {
		for _, d := range f.draws {
			for q := range quantities {
				for _, w := range Works() {
					assert.Equal(t, 0.0, d.at(q, w, strength{house: 1}))
				}
			}
		}
	}
	s, err := repair.Stand(l.set, "slate", h.Era.FromMS, h.Era.UntilMS)
	require.NoError(t, err)
	s.Fit()
	r := s.Run([]repair.Move{{}, {House: 1}})
	for i, without := range r.Without {
		assert.Equal(t, without, r.With[i][0])
		assert.InDelta(t, without.AtRiskH, r.With[i][1].AtRiskH, 0, "the same house")
	}
	for _, x := range h.Predict(DefaultPlan()).Predictions {
		if x.Work == Leave {
			assert.Equal(t, Range{}, *x.AtRisk)
		}
	}
}

func TestTheSameReadingsGiveTheSameAnswer(t *testing.T) {
	l, h := house(t)
	again := Fit(l.set, Before(l.set))
	assert.Equal(t, h.Predict(DefaultPlan()), again.Predict(DefaultPlan()))
}

func TestMillimetresAloneNeedNoFurtherRun(t *testing.T) {
	l, _ := house(t)
	begun := time.Now()
	h := Fit(l.set, Before(l.set))
	runs := time.Since(begun)
	p := DefaultPlan()
	p.LoftEavesMM, p.LoftRidgeMM = 25, 10
	quickest := runs
	for range 5 { // the machine may do something else meanwhile
		begun = time.Now()
		h.Predict(p)
		quickest = min(quickest, time.Since(begun))
	}
	assert.Less(t, quickest, runs/8)
	wide, usual := h.Predict(p), h.Predict(DefaultPlan())
	for i, x := range wide.Predictions {
		switch x.Work {
		case LoftVented:
			assert.Less(t, x.AtRisk.Mean, usual.Predictions[i].AtRisk.Mean+0.02, "wider vents do not do less")
		case VoidVented, CeilingSealed, DrierHouse:
			assert.Equal(t, usual.Predictions[i], x)
		}
	}
}

func TestIntervalsNestAndTheRankingIsInOrder(t *testing.T) {
	_, h := house(t)
	o := h.Predict(DefaultPlan())
	require.Len(t, o.Predictions, 12)
	for _, x := range o.Predictions {
		for _, r := range []*Range{x.AtRisk, x.Wet, x.Water} {
			if r != nil && x.Work != Leave {
				assert.True(t, r.Low95 < r.Low80 && r.Low80 < r.Pct && r.Pct < r.High80 && r.High80 < r.High95, "%+v",
					r)
				assert.GreaterOrEqual(t, r.Low95, -100.0)
			}
		}
	}
	require.Len(t, o.Ranks, 6)
	for i, r := range o.Ranks[1:] {
		assert.LessOrEqual(t, r.FallPct, o.Ranks[i].FallPct)
		assert.Equal(t, o.Ranks[0].FallPct-r.FallPct < alikePct, r.Alike)
	}
}

func TestTheVoidUnderAnUnderlayIsUncertain(t *testing.T) {
	_, h := house(t)
	for _, x := range h.Predict(DefaultPlan()).Predictions {
		if x.Work != VoidVented {
			assert.False(t, x.Uncertain)
			continue
		}
		assert.Equal(t, x.Surface == "underlay", x.Uncertain)
		assert.Equal(t, x.Surface == "underlay", x.Wet == nil)
	}
}

// Work on leaks and underlays is no candidate: nothing predicts or scores it.
func TestLeakStopsAndUnderlayWorkAreRefused(t *testing.T) {
	c := &roof.Case{Positions: []roof.Position{{ID: "loft", Place: roof.LoftAir},
		{ID: "void", Place: roof.BattenVoidAir}, {ID: "slate", Place: roof.CoveringUnderside, Meets: "void"}}}
	for _, x := range []struct {
		e    roof.Event
		work Work
		why  words.NoScoreKind
	}{
		{roof.Event{Changes: []roof.Change{roof.WaterEntry}}, "", words.NotACandidate},
		{roof.Event{Changes: []roof.Change{roof.UnderlayChange}}, "", words.NotACandidate},
		{roof.Event{Changes: []roof.Change{roof.LoftVentilation, roof.VoidVentilation}}, "", words.NotACandidate},
		{roof.Event{}, "", words.NotDeclared},
		{roof.Event{Treats: []string{"slate"}}, VoidVented, words.Scored},
		{roof.Event{Changes: []roof.Change{roof.LoftVentilation}}, LoftVented, words.Scored},
		{roof.Event{Changes: []roof.Change{roof.CeilingChange}}, CeilingSealed, words.Scored},
		{roof.Event{Changes: []roof.Change{roof.LoftVentilation, roof.CeilingChange}}, VentsAndCeiling, words.Scored},
	} {
		w, why := Done(c, x.e)
		assert.Equal(t, x.work, w, "%v", x.e.Changes)
		assert.Equal(t, x.why, why, "%v", x.e.Changes)
	}
	for _, w := range Works() {
		assert.NotContains(t, []Work{"leak_stopped", "underlay_replaced"}, w)
	}
}

func TestWhatWasNotTriedIsRefused(t *testing.T) {
	l, h := house(t)
	for _, c := range []struct {
		name string
		roof func(*roof.Build)
		era  func(*Era)
		want words.NoPredictionKind
	}{
		{"rafters", func(b *roof.Build) { b.Insulation = "rafter" }, nil, words.RafterInsulation},
		{"no underlay", func(b *roof.Build) { b.Underlay.Class = "none" }, nil, words.NoUnderlay},
		{"flat", func(b *roof.Build) { b.PitchDeg = mm(8) }, nil, words.LowPitch},
		{"thirteen nights", nil, func(e *Era) { e.FromMS = e.UntilMS - 13*dayMS }, words.FewNights},
		{"one night", nil, func(e *Era) { e.FromMS = e.UntilMS - dayMS }, words.FewNights},
	} {
		e := h.Era
		if c.roof != nil {
			c.roof(&e.Roof)
		}
		if c.era != nil {
			c.era(&e)
		}
		for _, f := range Fit(l.set, e).Surfaces {
			assert.Equal(t, c.want, f.Refused.Kind, "%s: %s", c.name, f.Refused)
		}
	}
	untouched := *l.set
	file := *l.set.Case
	file.Positions = append([]roof.Position(nil), file.Positions...)
	for i := range file.Positions {
		file.Positions[i].Untouched = true
	}
	untouched.Case = &file
	for _, f := range Fit(&untouched, h.Era).Surfaces {
		assert.Equal(t, words.LeftUntouched, f.Refused.Kind)
	}
}

// The last evening before the work keeps its prediction: what is scored later
// runs on its very parameters and draws, whatever was measured since.
func TestPredictedAndScoredRunsShareParametersBitForBit(t *testing.T) {
	l := live(t, 3, false)
	at := time.UnixMilli(l.set.FromMS).Add(27*24*time.Hour + 10*time.Hour)
	e := roof.Event{At: at, Kind: roof.Repair, Changes: []roof.Change{roof.VoidVentilation}}
	file := *l.set.Case
	file.Events = []roof.Event{e}
	set := *l.set
	set.Case = &file
	never := func(roof.Event) bool { return false }
	evening := set.Before(at.UnixMilli()) // all that was known then
	then, now := Fit(evening, Before(evening)), Fit(&set, BeforeWork(&set, e, never))
	require.Equal(t, then.Era, now.Era)
	require.Equal(t, then.Predict(DefaultPlan()), now.Predict(DefaultPlan()))
	for i, f := range then.Surfaces {
		require.Equal(t, words.Predicted, f.Refused.Kind, f.Refused)
		require.Equal(t, f.draws, now.Surfaces[i].draws)
		require.Equal(t, f.standing, now.Surfaces[i].standing, "parameters and draws")
	}
	a, why := then.Score(&set, e, "slate", DefaultPlan())
	require.Equal(t, words.Scored, why)
	b, _ := now.Score(&set, e, "slate", DefaultPlan())
	assert.Equal(t, a, b)
	assert.Positive(t, a.Nights)
	assert.True(t, a.AtRisk.Low80 < a.AtRisk.Pct && a.AtRisk.Pct < a.AtRisk.High80)
	assert.True(t, a.AtRisk.Hit(-a.AtRisk.Pct))
	assert.False(t, a.AtRisk.Hit(-a.AtRisk.High95-1))
	_, why = now.Score(&set, roof.Event{At: at, Changes: []roof.Change{roof.WaterEntry}}, "slate", DefaultPlan())
	assert.Equal(t, words.NotACandidate, why)
}

func TestAWarningIsDueWhenHarmIsLikelierThanNot(t *testing.T) {
	assert.InDelta(t, 0.5, rangeOf(harmLn, 0.3).chanceOver(harmLn), 1e-9)
	assert.Greater(t, rangeOf(math.Log(1.3), 0.1).chanceOver(harmLn), 0.9)
	assert.Less(t, rangeOf(math.Log(0.7), 0.1).chanceOver(harmLn), 0.01)
}

func TestAnEraEndsAtTheLastNoonBeforeAWork(t *testing.T) {
	l, _ := house(t)
	zone := l.set.Case.Property.Zone
	for _, ms := range []int64{Before(l.set).UntilMS} {
		assert.Equal(t, 12, time.UnixMilli(ms).In(zone).Hour())
	}
	file := *l.set.Case
	early, late := time.UnixMilli(l.set.FromMS+20*dayMS), time.UnixMilli(l.set.FromMS+30*dayMS)
	file.Events = []roof.Event{{At: early, Kind: roof.Repair}, {At: late, Kind: roof.Repair}}
	set := *l.set
	set.Case = &file
	assert.LessOrEqual(t, Before(&set).UntilMS, early.UnixMilli())
	none := func(roof.Event) bool { return false }
	e, ok := Since(&set, none)
	require.True(t, ok)
	assert.Greater(t, e.FromMS, late.UnixMilli())
	e, ok = Since(&set, func(x roof.Event) bool { return x.At.Equal(late) })
	require.True(t, ok, "work known to have changed nothing does not begin a new roof")
	assert.Less(t, e.FromMS, late.UnixMilli())
	assert.Equal(t, early, e.After.At)
	_, ok = Since(l.set, none)
	assert.False(t, ok)
}
