package buildup

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
)

func num(x float64) *float64 { return &x }
func count(n int) *int       { return &n }

var begin = time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC)

func find(t *testing.T, r Report, id string) Finding {
	t.Helper()
	for _, f := range r.Findings {
		if f.ID == id {
			return f
		}
	}
	t.Fatalf("no finding %q among %+v", id, r.Findings)
	return Finding{}
}

// Common practice, as the design names it.
func TestTheNamedPatternsOfTheDesign(t *testing.T) {
	old := time.Date(2001, 1, 1, 0, 0, 0, 0, time.UTC)
	whole := roof.Build{PitchDeg: num(30), SpanM: num(8), LengthM: num(9), Shape: "duopitch", Insulation: "ceiling",
		Fixings: "copper", EavesClear: roof.Yes, Battens: "single",
		Covering: roof.Covering{Air: "closed"},
		Underlay: roof.Underlay{Class: "LR", AirPermeable: roof.No, DrapeMM: num(15), Laps: "lapped", OverRidge: roof.No},
		Ceiling:  roof.Ceiling{Sealed: roof.Yes, Downlights: count(0), VapourControlLayer: roof.Yes},
		Openings: roof.Openings{LoftEavesMM: num(25), LoftRidgeMM: num(5), VoidEavesMM: num(25), VoidRidgeMM: num(5)}}
	check := func(change func(*roof.Build)) Report {
		b := whole
		change(&b)
		return Check(&roof.Case{Roof: b, Property: roof.Property{Completed: &old}}, begin, time.Time{})
	}
	t.Run("LR, single battens, air-closed is the fault pattern, whatever the ends show", func(t *testing.T) {
		r := check(func(*roof.Build) {})
		assert.Equal(t, Fault, r.Overall)
		f := find(t, r, "combination")
		assert.Equal(t, Fault, f.Verdict)
		assert.Contains(t, f.Cure, "counter-battens")
		assert.Contains(t, f.Cure, "HR underlay")
		assert.NotEmpty(t, r.Cautions)
		assert.Contains(t, r.Decides, "Local codes")
	})
	t.Run("HR, single battens, air-closed, loft ventilated below is sound", func(t *testing.T) {
		r := check(func(b *roof.Build) { b.Underlay.Class = "HR" })
		assert.Equal(t, Sound, r.Overall)
		for _, f := range r.Findings {
			assert.Contains(t, []Verdict{Sound, Remark}, f.Verdict, f.ID)
		}
	})
	t.Run("LR on counter-battens vented both ends is sound while the loft is ventilated", func(t *testing.T) {
		r := check(func(b *roof.Build) { b.Battens, b.CounterBattenMM = "counter", num(25) })
		assert.Equal(t, Sound, r.Overall)
		r = check(func(b *roof.Build) {
			b.Battens, b.CounterBattenMM, b.Openings.LoftEavesMM = "counter", num(25), num(0)
		})
		assert.Equal(t, Fault, r.Overall)
		r = check(func(b *roof.Build) {
			b.Battens, b.CounterBattenMM, b.Openings.LoftEavesMM, b.Underlay.AirPermeable = "counter", num(25), num(0), roof.Yes
		})
		assert.Equal(t, Sound, r.Overall)
	})
	t.Run("shallow counter-battens", func(t *testing.T) {
		r := check(func(b *roof.Build) { b.Battens, b.CounterBattenMM = "counter", num(12) })
		assert.Equal(t, Fault, find(t, r, "counter_batten_depth").Verdict)
	})
	t.Run("vents not cut through", func(t *testing.T) {
		r := check(func(b *roof.Build) {
			b.Battens, b.CounterBattenMM, b.Openings.VoidRidgeMM = "counter", num(25), num(0)
		})
		assert.Equal(t, Fault, find(t, r, "void_ridge").Verdict)
		assert.Equal(t, Fault, r.Overall)
	})
}

// Faults seen on sight, from the design's list; common practice.
func TestFaultsSeenOnSight(t *testing.T) {
	cases := []struct {
		name, id string
		change   func(*roof.Case)
		want     Verdict
	}{
		{"insulation against the underlay at the eaves", "eaves_insulation",
			func(c *roof.Case) { c.Roof.EavesClear = roof.No }, Fault},
		{"eaves not looked at", "eaves_insulation", func(c *roof.Case) {}, Ask},
		{"underlay over the ridge under a vent", "over_ridge",
			func(c *roof.Case) { c.Roof.Underlay.OverRidge, c.Roof.Openings.LoftRidgeMM = roof.Yes, num(5) }, Fault},
		{"underlay over the ridge where nothing is to leave", "over_ridge",
			func(c *roof.Case) { c.Roof.Underlay.OverRidge = roof.Yes }, Remark},
		{"unsealed ceiling", "ceiling_sealed", func(c *roof.Case) { c.Roof.Ceiling.Sealed = roof.No }, Fault},
		{"ceiling not looked at", "ceiling_sealed", func(c *roof.Case) {}, Ask},
		{"downlights", "downlights", func(c *roof.Case) { c.Roof.Ceiling.Downlights = count(8) }, Fault},
		{"downlights under a sealed ceiling", "downlights",
			func(c *roof.Case) { c.Roof.Ceiling.Downlights, c.Roof.Ceiling.Sealed = count(8), roof.Yes }, Sound},
		{"no vapour control layer, leaky ceiling", "vapour_control_layer", func(c *roof.Case) {
			c.Roof.Ceiling.VapourControlLayer, c.Roof.Ceiling.Sealed = roof.No, roof.No
		}, Fault},
		{"underlay pulled tight", "drape", func(c *roof.Case) { c.Roof.Underlay.DrapeMM = num(0) }, Fault},
		{"underlay sagging", "drape", func(c *roof.Case) { c.Roof.Underlay.DrapeMM = num(40) }, Fault},
		{"underlay draped a third of what is wanted", "drape", func(c *roof.Case) { c.Roof.Underlay.DrapeMM = num(5) },
			Remark},
		{"underlay draped about as wanted", "drape", func(c *roof.Case) { c.Roof.Underlay.DrapeMM = num(12) }, Sound},
		{"underlay draped as wanted", "drape", func(c *roof.Case) { c.Roof.Underlay.DrapeMM = num(15) }, Sound},
		{"galvanised fixings", "fixings", func(c *roof.Case) { c.Roof.Fixings = "galvanised" }, Remark},
		{"fixings not looked at", "fixings", func(c *roof.Case) {}, Ask},
		{"rafter insulation without control layer", "rafter_vcl", func(c *roof.Case) {
			c.Roof.Insulation, c.Roof.Ceiling.VapourControlLayer = "rafter", roof.No
		}, Fault},
		{"new house", "handover", func(c *roof.Case) { d := begin.AddDate(0, -6, 0); c.Property.Completed = &d }, Remark},
		{"old house", "handover", func(c *roof.Case) { d := begin.AddDate(-9, 0, 0); c.Property.Completed = &d }, Sound},
		{"age not known", "handover", func(c *roof.Case) {}, Ask},
		{"class and sd disagree", "sd", func(c *roof.Case) { c.Roof.Underlay.Class, c.Roof.Underlay.SdM = "LR", num(0.3) },
			Remark},
		{"an unknown rule set falls back and says so", "rule_set", func(c *roof.Case) { c.Roof.RuleSet = "mars" }, Remark},
	}
	for _, x := range cases {
		t.Run(x.name, func(t *testing.T) {
			c := &roof.Case{Roof: roof.Build{PitchDeg: num(30), SpanM: num(8)}}
			x.change(c)
			assert.Equal(t, x.want, find(t, Check(c, begin, time.Time{}), x.id).Verdict)
		})
	}
}

func TestAnEmptySurveyIsAllQuestions(t *testing.T) {
	r := Check(&roof.Case{}, begin, time.Time{})
	assert.Equal(t, Ask, r.Overall)
	for _, f := range r.Findings {
		assert.Equal(t, Ask, f.Verdict, f.ID)
		assert.NotEmpty(t, f.Why, f.ID)
		assert.NotEmpty(t, f.Cure, f.ID)
	}
}

func TestEveryFaultSaysWhyAndWhatCuresItAndWhoSaysSo(t *testing.T) {
	seen := map[string]bool{}
	every(func(x combo) {
		if x.pitch != 40 && x.sealed != "?" {
			return
		}
		r := Check(&roof.Case{Roof: x.build()}, begin, time.Time{})
		ids := map[string]bool{}
		for _, f := range r.Findings {
			require.NotEmpty(t, f.Source, f.ID)
			require.NotEmpty(t, f.What, f.ID)
			require.False(t, ids[f.ID], "%s twice for %+v", f.ID, x)
			ids[f.ID] = true
			if f.Verdict == Fault || f.Verdict == Ask {
				require.NotEmpty(t, f.Why, f.ID)
				require.NotEmpty(t, f.Cure, f.ID)
			}
			require.False(t, strings.Contains(f.What, "%!"), f.What)
			seen[f.ID] = true
		}
	})
	for _, id := range []string{"combination", "loft_eaves", "loft_ridge", "void_eaves", "void_ridge", "battens",
		"covering", "underlay", "air_permeable"} {
		assert.True(t, seen[id], id)
	}
}

// What is wrong is said as surely as it is known, and a roof that lets vapour
// out is not called sound while other things are wrong.
func TestOtherFaultsAreSaidBesideAWayOut(t *testing.T) {
	b := roof.Build{PitchDeg: num(35), SpanM: num(8), Covering: roof.Covering{Air: "open"},
		Underlay: roof.Underlay{Class: "HR"}, Battens: "single",
		Openings: roof.Openings{LoftEavesMM: num(12)},
		Ceiling:  roof.Ceiling{Sealed: roof.No, Downlights: count(6), VapourControlLayer: roof.Yes}}
	r := Check(&roof.Case{Roof: b}, time.Time{}, time.Time{})
	assert.Equal(t, Sound, r.Overall)
	assert.Equal(t, "On paper vapour has a way out of this roof; 2 other things are wrong by the rules.", r.Sentence)
	assert.Equal(t, "6 downlights in a ceiling that is not sealed.", find(t, r, "downlights").What)
	b.Ceiling.Sealed = roof.Unknown
	r = Check(&roof.Case{Roof: b}, time.Time{}, time.Time{})
	assert.Equal(t, "On paper vapour has a way out of this roof; one other thing is wrong by the rules.", r.Sentence)
	assert.Equal(t, "6 downlights in a ceiling that is not known to be sealed.", find(t, r, "downlights").What)
	b.Ceiling.Sealed = roof.Yes
	assert.Equal(t, "On paper this build is sound: vapour has a way out.",
		Check(&roof.Case{Roof: b}, time.Time{}, time.Time{}).Sentence)
}
