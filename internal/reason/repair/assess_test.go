package repair

import (
	"encoding/json"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/physics/roofsim"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/roofworlds"
)

// kitted reads one simulated winter with the kit, lets the caller change case
// and readings, and gives the set.
func kitted(t testing.TB, seed uint64, rep roofsim.Repair, kit roofworlds.Kit, days int,
	change func(*roofsim.Measured)) *series.Set {
	t.Helper()
	world := roofworlds.Draw(seed, roofsim.UnventedBattenVoid)
	rep.At = world.Start.AddDate(0, 0, 40).Add(10 * time.Hour)
	w := roofsim.Run(world, roofsim.Options{Days: days, Repairs: []roofsim.Repair{rep}})
	if kit.Interval == 0 {
		kit.Interval = 15 * time.Minute
	}
	kit.CaseID = "trial"
	m := kit.Measure(w, seed)
	for i := range m.Case.Events {
		m.Case.Events[i].Changes, m.Case.Events[i].Treats = []roof.Change{roof.VoidVentilation}, []string{"void", "slate"}
	}
	if change != nil {
		change(m)
	}
	return buildSet(t, m)
}

func strongVoid() roofsim.Repair {
	e, r := 25.0, 10.0
	return roofsim.Repair{VoidEavesMM: &e, VoidRidgeMM: &r}
}

func finite(t *testing.T, r Result) {
	t.Helper()
	_, err := json.Marshal(bare(reflect.ValueOf(r)))
	require.NoError(t, err, "a number that is not one crossed the package's boundary")
	adding(t, r)
	for _, p := range []*float64{r.ReductionPct, r.LowPct, r.HighPct, r.AtRiskReductionPct, r.AtRiskLowPct,
		r.AtRiskHighPct, r.CondensateReductionPct, r.CondensateLowPct, r.CondensateHighPct} {
		if p != nil {
			assert.False(t, math.IsNaN(*p) || math.IsInf(*p, 0))
		}
	}
	if r.ReductionPct != nil {
		assert.LessOrEqual(t, *r.LowPct, *r.ReductionPct)
		assert.LessOrEqual(t, *r.ReductionPct, *r.HighPct)
		assert.LessOrEqual(t, *r.AtRiskLowPct, *r.AtRiskHighPct)
	}
}

// bare is a value without its keys, so that JSON sees every number in it.
func bare(v reflect.Value) any {
	switch v.Kind() {
	case reflect.Pointer:
		if v.IsNil() {
			return nil
		}
		return bare(v.Elem())
	case reflect.Struct:
		if t, ok := v.Interface().(time.Time); ok {
			return t
		}
		out := map[string]any{}
		for i := range v.NumField() {
			out[v.Type().Field(i).Name] = bare(v.Field(i))
		}
		return out
	case reflect.Slice, reflect.Array:
		var out []any
		for i := range v.Len() {
			out = append(out, bare(v.Index(i)))
		}
		return out
	}
	return v.Interface()
}

// adding checks what a reader with a pocket calculator would: each fall follows
// from the hours beside it, and lies within its own interval.
func adding(t *testing.T, r Result) {
	t.Helper()
	holds := func(e *Effect) {
		if e != nil {
			assert.LessOrEqual(t, e.Low, e.Pct)
			assert.LessOrEqual(t, e.Pct, e.High)
		}
	}
	for _, c := range []struct {
		of       *Comparison
		headline *float64
	}{{r.Wet, r.ReductionPct}, {r.AtRisk, r.AtRiskReductionPct}} {
		if c.headline == nil {
			continue
		}
		require.NotNil(t, c.of)
		assert.InDelta(t, 100*(1-c.of.ModelH/c.of.UnrepairedH), *c.headline, 0.0501, "the headline is the plain ratio")
		assert.Equal(t, c.of.Model.Pct, *c.headline, "one figure, rounded once")
		assert.InDelta(t, 100*(1-c.of.MeasuredH/c.of.UnrepairedH), c.of.Measured.Pct, 0.0501)
		holds(c.of.Model)
		holds(c.of.Measured)
		holds(c.of.Like)
	}
	for _, e := range r.Evenings {
		holds(&e.AtRisk)
		holds(&e.Wet)
	}
	if r.CondensateReductionPct != nil {
		holds(&Effect{*r.CondensateReductionPct, *r.CondensateLowPct, *r.CondensateHighPct})
	}
}

func TestWhateverCannotBeJudgedSaysWhatItNeeds(t *testing.T) {
	day := func(m *roofsim.Measured, d int) time.Time {
		return m.Case.Events[0].At.AddDate(0, 0, d)
	}
	keep := func(m *roofsim.Measured, ok func(roof.Reading) bool) {
		var out []roof.Reading
		for _, r := range m.Readings {
			if ok(r) {
				out = append(out, r)
			}
		}
		m.Readings = out
	}
	position := func(m *roofsim.Measured, logger string) string {
		l, _ := m.Case.Logger(logger)
		return l.Fitted[0].Position
	}
	cases := map[string]struct {
		without []roof.Place
		days    int
		change  func(*roofsim.Measured)
		needs   string
		verdict Verdict
	}{
		"a repair that lies ahead": {change: func(m *roofsim.Measured) { m.Case.Events[0].At = day(m, 400) },
			needs: "readings after the repair"},
		"a record that begins after it": {change: func(m *roofsim.Measured) { m.Case.Events[0].At = day(m, -300) },
			needs: "nights before the repair, or a second roof"},
		"three nights before": {change: func(m *roofsim.Measured) {
			from := day(m, -3)
			keep(m, func(r roof.Reading) bool { return r.At.After(from) })
		}, needs: "nights before the repair"},
		"three nights after": {change: func(m *roofsim.Measured) {
			until := day(m, 8)
			keep(m, func(r roof.Reading) bool { return r.At.Before(until) })
		}, needs: "more well-observed nights after the repair"},
		"no outdoor logger":     {without: []roof.Place{roof.OutdoorAir}, needs: "outdoor air"},
		"no logger in the void": {without: []roof.Place{roof.BattenVoidAir}, needs: ""},
		"no surface at all":     {without: []roof.Place{roof.CoveringUnderside, roof.UnderlayUnderside}, needs: ""},
		"no readings at all": {change: func(m *roofsim.Measured) { m.Readings = nil },
			needs: "readings of fitted loggers"},
		"a surface that meets nothing": {change: func(m *roofsim.Measured) { setMeets(m, "slate", "") },
			needs: "key meets"},
		"a surface that meets the house": {change: func(
			m *roofsim.Measured) {
			setMeets(m, "slate", m.Case.At(roof.IndoorAir)[0].ID)
		}, needs: "neither loft nor batten void"},
		"an underlay replaced": {change: func(
			m *roofsim.Measured) {
			m.Case.Events[0].Changes = []roof.Change{roof.UnderlayChange}
		}, needs: "cannot be judged from these loggers"},
		"a household that changed": {change: func(
			m *roofsim.Measured) {
			m.Case.Events[0].Changes = []roof.Change{roof.Household}
		}, needs: "cannot be judged from these loggers"},
		"nothing but gaps": {change: func(
			m *roofsim.Measured) {
			n := 0
			keep(m, func(roof.Reading) bool { n++; return n%50 == 0 })
		}, needs: ""},
		"a void that never moves": {change: func(m *roofsim.Measured) {
			for i := range m.Readings {
				if position(m, m.Readings[i].Logger) == "void" {
					m.Readings[i].Values.Set(roof.RHPct, 80)
				}
			}
		}, needs: "not stuck or broken"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			days := c.days
			if days == 0 {
				days = 70
			}
			set := kitted(t, 11, strongVoid(), roofworlds.Kit{Without: c.without, Interval: 30 * time.Minute}, days, c.change)
			for _, r := range Assess(set, Options{Draws: 40}) {
				finite(t, r)
				assert.Equal(t, TooEarly, r.Verdict)
				assert.NotEmpty(t, r.Needs, "needs in words")
				assert.Contains(t, r.Needs, c.needs)
				assert.Nil(t, r.ReductionPct, "no figure where there is no answer")
			}
		})
	}
}

// Loggers of air cannot tell whether a leak was stopped; looks after heavy rain can.
func TestALeakIsJudgedByItsOwnEvidence(t *testing.T) {
	look := func(m *roofsim.Measured, day int, wet roof.Answer) {
		m.Case.Events = append(m.Case.Events, roof.Event{At: m.Case.Events[0].At.AddDate(0, 0, day), Kind: roof.Inspection,
			AfterRain: roof.Yes, Wet: wet})
	}
	for name, c := range map[string]struct {
		changes []roof.Change
		looked  bool
		ofLeak  bool
		want    Verdict
	}{
		"water entry alone":      {changes: []roof.Change{roof.WaterEntry}, ofLeak: true, want: TooEarly},
		"water entry, looked at": {changes: []roof.Change{roof.WaterEntry}, looked: true, ofLeak: true, want: Worked},
		"with an underlay, which air does not tell": {changes: []roof.Change{roof.WaterEntry, roof.UnderlayChange},
			looked: true, want: TooEarly},
	} {
		t.Run(name, func(t *testing.T) {
			set := kitted(t, 11, strongVoid(), roofworlds.Kit{Interval: 30 * time.Minute}, 70, func(m *roofsim.Measured) {
				m.Case.Events[0].Changes = c.changes
				if c.looked {
					look(m, -3, roof.Yes)
					look(m, 6, roof.No)
					look(m, 15, roof.No)
				}
			})
			rs := Assess(set, Options{Draws: 20})
			require.NotEmpty(t, rs)
			for _, r := range rs {
				require.NotNil(t, r.Leak)
				assert.Equal(t, c.ofLeak, r.OfLeak())
				assert.Equal(t, c.want, r.Verdict, r.Reason)
				if c.looked {
					assert.Len(t, r.Leak.Looks, 2)
					continue
				}
				assert.Contains(t, r.Reason, "loggers of air cannot tell whether a leak was stopped")
				assert.Contains(t, r.Needs, "wood-moisture readings (wood_pct) at the wet spot")
				assert.NotContains(t, r.Needs, "another kind of evidence")
			}
		})
	}
}

// A station of the place stands in for outdoor air, and the answer says so and is
// wider.
func TestAStationStandsInForOutdoorAir(t *testing.T) {
	km, up := 12.0, 40.0
	for name, c := range map[string]struct {
		without []roof.Place
		change  func(*roofsim.Measured)
		note    string
		needs   string
	}{
		"nothing outdoors": {without: []roof.Place{roof.OutdoorAir}, needs: "nearest weather station"},
		"a station": {change: func(m *roofsim.Measured) {
			for i := range m.Case.Loggers {
				if m.Case.Loggers[i].Fitted[0].Position == m.Case.At(roof.OutdoorAir)[0].ID {
					m.Case.Loggers[i].Station = &roof.Station{DistanceKM: &km, HeightDifferenceM: &up}
				}
			}
		}, note: "a weather station 12 km away, 40 m above the house stands in for outdoor air"},
	} {
		t.Run(name, func(t *testing.T) {
			kit := roofworlds.Kit{Interval: 30 * time.Minute, Without: c.without}
			rs := Assess(kitted(t, 13, strongVoid(), kit, 80, c.change), Options{Draws: 80, NoSensitivity: true})
			require.NotEmpty(t, rs)
			if c.needs != "" {
				assert.Equal(t, TooEarly, rs[0].Verdict)
				assert.Contains(t, rs[0].Needs, c.needs)
				return
			}
			require.NotNil(t, rs[0].AtRiskLowPct)
			s := &site{hasIn: true, hasLoft: true}
			j := &judge{s: s, terms: defaultTerms([3]bool{false, false, true})}
			own, strict := j.spread(), j.strict()
			s.station = &roof.Station{}
			assert.Greater(t, j.spread().change[2], own.change[2], "wider")
			assert.True(t, !strict && j.strict(), "and the bar is higher")
			assert.Contains(t, strings.Join(rs[0].Notes, "\n"), c.note)
		})
	}
}

func setMeets(m *roofsim.Measured, surface, air string) {
	for i := range m.Case.Positions {
		if m.Case.Positions[i].ID == surface {
			m.Case.Positions[i].Meets = air
		}
	}
}

func TestKitsWithALoggerMissingStillAnswerAndSayWhatTheyAreBlindTo(t *testing.T) {
	for name, c := range map[string]struct {
		without []roof.Place
		note    string
	}{
		"no indoor logger":        {[]roof.Place{roof.IndoorAir}, "no indoor logger"},
		"no loft logger":          {[]roof.Place{roof.LoftAir}, "no loft logger"},
		"neither loft nor indoor": {[]roof.Place{roof.LoftAir, roof.IndoorAir}, "no loft logger"},
	} {
		t.Run(name, func(t *testing.T) {
			set := kitted(t, 12, strongVoid(), roofworlds.Kit{Without: c.without, Interval: 30 * time.Minute}, 75, nil)
			rs := Assess(set, Options{Draws: 60})
			require.NotEmpty(t, rs)
			found := false
			for _, r := range rs {
				finite(t, r)
				require.NotNil(t, r.Companion, r.Needs)
				for _, n := range r.Notes {
					found = found || len(n) >= len(c.note) && n[:len(c.note)] == c.note
				}
			}
			assert.True(t, found)
		})
	}
}

func TestAStrongRepairIsFoundAndExplained(t *testing.T) {
	set := kitted(t, 13, strongVoid(), roofworlds.Kit{}, 95, nil)
	rs := Assess(set, Options{})
	require.Len(t, rs, 1)
	r := rs[0]
	finite(t, r)
	require.Equal(t, Worked, r.Verdict, r.Reason+r.Needs)
	assert.Greater(t, *r.AtRiskLowPct, 0.0)
	assert.GreaterOrEqual(t, *r.ReductionPct, 20.0)
	assert.NotEmpty(t, r.Mechanism)
	assert.NotEmpty(t, r.Sensitivity)
	assert.GreaterOrEqual(t, len(r.Evenings), runWorked)
	require.NotNil(t, r.CrossCheck)
	assert.NotEmpty(t, r.CrossCheck.Text)
	require.NotNil(t, r.AtRisk.Like)
	require.NotNil(t, r.Correction)
	assert.Greater(t, r.Correction.WetPct, *r.ReductionPct, "what roofs do beyond the model is told beside the headline")
	assert.Greater(t, *r.HighPct, r.Correction.WetPct, "and widens its interval")
	assert.NotEmpty(t, r.Weather)
	for i := 1; i < len(r.Course); i++ {
		require.Equal(t, int64(stepMS), r.Course[i].AtMS-r.Course[i-1].AtMS, "the drawing has no hole")
	}
	used, before := 0, 0
	for _, n := range r.Nights {
		if n.Used {
			used++
			if n.Period == "before" {
				before++
			}
		} else {
			assert.NotEmpty(t, n.Why)
		}
	}
	assert.Equal(t, r.NightsBefore+r.NightsAfter, used)
	assert.Equal(t, r.NightsBefore, before)
}

func TestSameReadingsSameAnswer(t *testing.T) {
	set := kitted(t, 14, strongVoid(), roofworlds.Kit{Interval: 30 * time.Minute}, 75, nil)
	assert.Equal(t, Assess(set, Options{Draws: 60}), Assess(set, Options{Draws: 60}))
}

func TestAnExchangeOfLoggersAtTheRepairIsSaidAndRaisesTheBar(t *testing.T) {
	declare := func(m *roofsim.Measured) {
		at := m.Case.Events[0].At.Add(20 * time.Hour)
		for i, l := range m.Case.Loggers {
			if l.Fitted[0].Position != "void" {
				continue
			}
			m.Case.Loggers[i].Fitted[0].To = at
			next := l
			next.ID = l.ID + "-new"
			next.Fitted = []roof.Fitting{{Position: "void", From: at}}
			m.Case.Loggers = append(m.Case.Loggers, next)
			for k := range m.Readings {
				if m.Readings[k].Logger == l.ID && !m.Readings[k].At.Before(at) {
					m.Readings[k].Logger = next.ID
				}
			}
			return
		}
	}
	plain := kitted(t, 13, strongVoid(), roofworlds.Kit{Interval: 30 * time.Minute}, 80, nil)
	swapped := kitted(t, 13, strongVoid(), roofworlds.Kit{Interval: 30 * time.Minute}, 80, declare)
	many := Options{Draws: 960, NoSensitivity: true} // the widening is less than the noise of few draws
	a, b := Assess(plain, many), Assess(swapped, many)
	require.Len(t, b, 1)
	require.NotNil(t, b[0].AtRiskLowPct)
	width := func(r Result) float64 { return math.Log((100 - *r.AtRiskLowPct) / (100 - *r.AtRiskHighPct)) }
	assert.Greater(t, width(b[0]), width(a[0]), "the interval of the logarithm is wider")
	said := false
	for _, n := range b[0].Notes {
		said = said || n == swapNote
	}
	assert.True(t, said, b[0].Notes)
}

func TestTheUntouchedSlopeCanOnlyTakeAVerdictAway(t *testing.T) {
	rep := strongVoid()
	rep.Slopes = roofsim.OnlyA
	a := roofsim.SlopeA
	set := kitted(t, 16, rep, roofworlds.Kit{SecondSlope: true, MainSlope: &a, Interval: 30 * time.Minute}, 80, nil)
	rs := Assess(set, Options{Draws: 120})
	require.Len(t, rs, 1, "the untouched slope is no answer of its own")
	require.NotNil(t, rs[0].Control)
	assert.Equal(t, "slate-2", rs[0].Control.Surface)
	assert.Contains(t, rs[0].Control.Text, "slate-2")
}

// BenchmarkAssess is a winter of six loggers at five minutes with a repair that
// worked: the dearest answer, with three evenings and the sensitivity list.
func BenchmarkAssess(b *testing.B) {
	set := kitted(b, 13, strongVoid(), roofworlds.Kit{Interval: 5 * time.Minute}, 150, nil)
	b.ReportAllocs()
	for b.Loop() {
		rs := Assess(set, Options{})
		b.ReportMetric(float64(len(rs)), "answers")
	}
}
