package cause

import (
	"encoding/json"
	"iter"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/flow/qc"
	"dewcase/internal/physics/psychro"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/roof/caution"
)

// sketch draws a plain roof by hand: daily and synoptic waves, an excess over
// outdoors for each air position. It is no physics, only input.
type sketch struct {
	days      int
	step      time.Duration
	meanC     float64
	positions []roof.Position
	change    func(*roof.Case)
	// keep decides whether a reading exists; nil keeps all
	keep func(position string, at time.Time) bool
	// alter changes a reading; nil leaves it
	alter func(position string, at time.Time, t, rh *float64)
}

var sketchStart = time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC)

func sixPositions() []roof.Position {
	return []roof.Position{{ID: "outside", Place: roof.OutdoorAir}, {ID: "landing", Place: roof.IndoorAir},
		{ID: "loft", Place: roof.LoftAir},
		{ID: "void", Place: roof.BattenVoidAir}, {ID: "slate", Place: roof.CoveringUnderside, Meets: "void"},
		{ID: "underlay", Place: roof.UnderlayUnderside, Meets: "loft"}}
}

func (s sketch) set(t require.TestingT) *series.Set {
	if s.step == 0 {
		s.step = 10 * time.Minute
	}
	if s.positions == nil {
		s.positions = sixPositions()
	}
	acc, rha := 0.3, 2.0
	c := &roof.Case{ID: "sketch", Positions: s.positions,
		Property: roof.Property{Timezone: "Europe/London", Zone: time.UTC},
		Roof: roof.Build{PitchDeg: num(32), SpanM: num(8), Insulation: "ceiling", Battens: "single",
			Covering: roof.Covering{Air: "open"},
			Underlay: roof.Underlay{Class: "HR"}, Openings: roof.Openings{LoftEavesMM: num(3)}}}
	for _, p := range s.positions {
		c.Loggers = append(c.Loggers, roof.Logger{ID: "k-" + p.ID, Interval: s.step,
			Accuracy: roof.Accuracy{TempC: &acc, RHPct: &rha},
			Fitted:   []roof.Fitting{{Position: p.ID, From: sketchStart}}})
	}
	if s.change != nil {
		s.change(c)
	}
	place := map[string]roof.Place{}
	for _, p := range s.positions {
		place["k-"+p.ID] = p.Place
	}
	flagged, err := qc.Flag(c, func(logger string) iter.Seq2[roof.Reading, error] {
		return func(yield func(roof.Reading, error) bool) {
			for at := sketchStart; at.Before(sketchStart.AddDate(0, 0, s.days)); at = at.Add(s.step) {
				id := strings.TrimPrefix(logger, "k-")
				if s.keep != nil && !s.keep(id, at) {
					continue
				}
				h := at.Sub(sketchStart).Hours()
				night := math.Cos(2 * math.Pi * (h - 4) / 24)
				out := s.meanC - 3*night + 4*math.Sin(2*math.Pi*h/190) + math.Sin(2*math.Pi*h/61)
				pa := psychro.SatWaterPa(out) * (0.82 + 0.06*math.Sin(2*math.Pi*h/37))
				temp, p := out, pa
				busy := math.Max(0, math.Sin(2*math.Pi*(h-7)/24)) * (1 + 0.3*math.Sin(2*math.Pi*h/53))
				switch place[logger] {
				case roof.IndoorAir:
					temp, p = 19+busy, pa+450+150*busy
				case roof.LoftAir:
					temp, p = out+2.5, pa+100+30*busy+20*math.Sin(2*math.Pi*h/29)
				case roof.UnderlayUnderside:
					temp = out + 1.2 - 0.8*math.Max(night, 0)
				case roof.BattenVoidAir:
					temp, p = out+0.5, pa+20+8*math.Sin(2*math.Pi*h/31)
				case roof.CoveringUnderside:
					temp = out - 2.5*math.Max(night, 0)
				}
				rh := math.Min(100*p/psychro.SatWaterPa(temp), 100)
				rh += 0.05 * math.Sin(2*math.Pi*h/1.7) // a probe never stands quite still
				if s.alter != nil {
					s.alter(id, at, &temp, &rh)
				}
				r := roof.Reading{Logger: logger, At: at}
				r.Values.Set(roof.TempC, temp)
				if pl := place[logger]; pl.IsAir() {
					r.Values.Set(roof.RHPct, math.Max(0, math.Min(rh, 100)))
				}
				if !yield(r, nil) {
					return
				}
			}
		}
	})
	require.NoError(t, err)
	set, err := series.Build(c, 0, flagged)
	require.NoError(t, err)
	return set
}

// requireSound checks what must hold of every answer: JSON can carry it (no
// NaN), support sums to one, all causes listed, sorted, and an open answer says
// why and what would settle it.
func requireSound(t require.TestingT, f Finding) {
	_, err := json.Marshal(f)
	require.NoError(t, err)
	require.Len(t, f.Causes, 7)
	sum := 0.0
	for i, s := range f.Causes {
		sum += s.Support
		require.False(t, math.IsNaN(s.Support))
		if i > 0 {
			require.GreaterOrEqual(t, f.Causes[i-1].Support, s.Support)
		}
		for _, e := range append(append([]Evidence{}, s.For...), s.Against...) {
			require.NotEmpty(t, e.String())
			require.NotContains(t, e.Text, "NaN")
			require.NotContains(t, e.Text, "%!")
			require.Contains(t, []string{"measured", "survey"}, e.Basis)
			require.LessOrEqual(t, e.FromMS, e.UntilMS)
			require.GreaterOrEqual(t, e.FromMS, f.Window.FromMS)
			require.LessOrEqual(t, e.UntilMS, f.Window.UntilMS)
			require.NotRegexp(t, `-\d+ Pa`, e.Text, "a difference is so much more or less, never less than nothing more")
		}
		for _, pro := range s.For {
			for _, con := range s.Against {
				require.Falsef(t, strings.HasPrefix(con.Text, pro.Text),
					"%s: the same line for and against, and neither says so: %s", s.Cause, pro.Text)
			}
		}
	}
	require.InDelta(t, 1, sum, 1e-9)
	requireAdds(t, f)
	for _, n := range append(append([]string{}, f.Notes...), f.Next...) {
		require.NotContains(t, n, "NaN")
		require.NotContains(t, n, "%!")
	}
	if f.Finding == Undetermined {
		require.NotEmpty(t, f.Reasons)
		require.NotEmpty(t, f.Next)
		require.False(t, f.Firm)
	} else {
		require.Equal(t, f.Causes[0].Cause, f.Finding)
		require.Empty(t, f.Reasons)
	}
}

// shutLoft makes the loft follow outdoors by the day only, and the house by the
// hour.
func shutLoft(id string, at time.Time, temp, rh *float64) {
	if id != "loft" {
		return
	}
	h := at.Sub(sketchStart).Hours()
	slow := 4 + 4*math.Sin(2*math.Pi*(h-6)/190)
	busy := math.Max(0, math.Sin(2*math.Pi*(h-8)/24)) * (1 + 0.3*math.Sin(2*math.Pi*h/53))
	pa := 0.82*psychro.SatWaterPa(slow) + 140 + 40*busy
	*rh = math.Min(100*pa/psychro.SatWaterPa(*temp), 99) + 0.05*math.Sin(2*math.Pi*h/1.7)
}

func TestAMoistShutLoftIsSplitByTheSurveyAlone(t *testing.T) {
	at := func(mm *float64) Finding {
		f := Find(sketch{days: 100, meanC: 4, alter: shutLoft,
			change: func(c *roof.Case) { c.Roof.Openings.LoftEavesMM = mm }}.set(t), Options{})
		requireSound(t, f)
		return f
	}
	short, enough, unknown := at(num(2)), at(num(12)), at(nil)
	assert.Greater(t, short.Of(CeilingLeakage).Support, short.Of(BlockedVentilation).Support)
	assert.Greater(t, enough.Of(BlockedVentilation).Support, enough.Of(CeilingLeakage).Support)
	assert.InDelta(t, unknown.Of(BlockedVentilation).Support, unknown.Of(CeilingLeakage).Support, 0.02)
	assert.Equal(t, Undetermined, unknown.Finding)
	assert.Contains(t, unknown.NextText(), "(keys openings_mm")
	assert.Contains(t, unknown.Activities, caution.LookInLoft)
	for _, f := range []Finding{short, enough, unknown} {
		assert.Contains(t, strings.Join(f.Notes, " "), cannotTell)
	}
	assert.Equal(t, short.Figures, enough.Figures, "the measurement is the same")
}

func TestMeasuredAndSurveyEvidenceStaySeparate(t *testing.T) {
	f := Find(sketch{days: 100, meanC: 4}.set(t), Options{})
	measured, survey := 0, 0
	for _, s := range f.Causes {
		for _, e := range append(append([]Evidence{}, s.For...), s.Against...) {
			if e.Basis == "survey" {
				survey++
				assert.True(t, strings.HasPrefix(e.Text, "survey: "))
				assert.Nil(t, e.Figure)
				continue
			}
			measured++
			assert.NotNil(t, e.Figure)
			assert.NotEmpty(t, e.Positions)
			assert.Positive(t, e.Nights)
			assert.NotZero(t, e.Weight)
		}
	}
	assert.Greater(t, measured, 5)
	assert.Positive(t, survey)
}

func TestWhatIsMissingIsSaidAndNeverInvented(t *testing.T) {
	without := func(place roof.Place) Finding {
		var p []roof.Position
		for _, x := range sixPositions() {
			if x.Place != place {
				p = append(p, x)
			}
		}
		f := Find(sketch{days: 60, meanC: 3, positions: p}.set(t), Options{})
		requireSound(t, f)
		return f
	}
	for _, place := range []roof.Place{roof.OutdoorAir, roof.LoftAir} {
		f := without(place)
		assert.Equal(t, Undetermined, f.Finding, place)
		assert.Contains(t, f.Window.Missing, place)
		assert.Contains(t, f.Next[0], "Fit a logger "+fitWords[place])
	}
	f := without(roof.BattenVoidAir)
	for _, g := range f.Figures {
		assert.NotContains(t, []string{"vo", "lHc", "where", "ElB"}, g.Feature)
	}
}

func TestShortWarmOrBrokenRecordsAreUndeterminedWithWhatWouldSettleIt(t *testing.T) {
	cases := []struct {
		name   string
		sketch sketch
		reason string
	}{
		{"13 days", sketch{days: 13, meanC: 3}, "too few"},
		{"summer", sketch{days: 60, meanC: 17}, "no night was colder"},
		{"no readings at all", sketch{days: 60, meanC: 3, keep: func(string, time.Time) bool { return false }},
			"no position has readings"},
		{"the loft stands still", sketch{days: 60, meanC: 3, alter: func(p string, _ time.Time, t, rh *float64) {
			if p == "loft" {
				*t, *rh = 5, 60
			}
		}}, "the loft"},
		{"everything stands still", sketch{days: 60, meanC: 3,
			alter: func(_ string, _ time.Time, t, rh *float64) { *t, *rh = 4, 70 }}, "outdoor air"},
		{"half of every day missing", sketch{days: 60, meanC: 3,
			keep: func(_ string, at time.Time) bool { return at.Hour() < 12 }}, "no position has readings"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			f := Find(c.sketch.set(t), Options{})
			requireSound(t, f)
			assert.Equal(t, Undetermined, f.Finding)
			assert.Contains(t, strings.Join(f.Reasons, "; "), c.reason)
		})
	}
	t.Run("14 days and a single cold night are enough to look at", func(t *testing.T) {
		f := Find(sketch{days: 15, meanC: 13, alter: func(p string, at time.Time, temp, rh *float64) {
			if p == "outside" && at.After(sketchStart.AddDate(0, 0, 7).Add(20*time.Hour)) &&
				at.Before(sketchStart.AddDate(0, 0, 8).Add(6*time.Hour)) {
				*temp -= 9
			}
		}}.set(t), Options{})
		requireSound(t, f)
		assert.Equal(t, 1, f.Window.ColdNights)
		assert.NotContains(t, strings.Join(f.Reasons, "; "), "no night was colder")
		assert.LessOrEqual(t, f.Causes[0].Support, cappedSupport+1e-9)
	})
	t.Run("nothing at all", func(t *testing.T) {
		f := Find(nil, Options{})
		assert.Equal(t, Undetermined, f.Finding)
		requireSound(t, f)
	})
}

func TestRoofsTheTableDoesNotKnowAreHeldToSixTenths(t *testing.T) {
	for name, change := range map[string]func(*roof.Case){
		"rafter insulation": func(c *roof.Case) { c.Roof.Insulation = "rafter" },
		"flat roof":         func(c *roof.Case) { c.Roof.PitchDeg = num(4) },
		"no underlay":       func(c *roof.Case) { c.Roof.Underlay.Class = "none" },
	} {
		t.Run(name, func(t *testing.T) {
			f := Find(sketch{days: 100, meanC: 3, change: change}.set(t), Options{})
			requireSound(t, f)
			assert.LessOrEqual(t, f.Causes[0].Support, cappedSupport+1e-9)
			assert.Contains(t, strings.Join(f.Notes, " "), "held to")
		})
	}
}

func TestTheWindowStopsAtTheFirstRepairThatChangedSomething(t *testing.T) {
	first, second := sketchStart.AddDate(0, 0, 30), sketchStart.AddDate(0, 0, 70)
	set := sketch{days: 100, meanC: 3, change: func(c *roof.Case) {
		c.Events = []roof.Event{{At: second, Kind: roof.Repair, What: "ridge"}, {At: first, Kind: roof.Repair, What: "eaves"}}
	}}.set(t)
	none := Find(set, Options{})
	assert.Equal(t, first.UnixMilli(), none.Window.UntilMS)
	assert.False(t, none.Window.SpansRepair)
	spanning := Find(set, Options{Unchanged: func(e roof.Event) bool { return e.What == "eaves" }})
	assert.True(t, spanning.Window.SpansRepair)
	assert.InDelta(t, 70, spanning.Window.Days, 0.1)
	all := Find(set, Options{Unchanged: func(roof.Event) bool { return true }})
	assert.InDelta(t, 100, all.Window.Days, 0.1)
	for _, f := range []Finding{none, spanning, all} {
		requireSound(t, f)
	}
}

func TestAPositionThatCameLateShortensTheWindowRatherThanBeingLost(t *testing.T) {
	set := sketch{days: 100, meanC: 3, keep: func(p string, at time.Time) bool {
		return p != "void" && p != "slate" || at.After(sketchStart.AddDate(0, 0, 60))
	}}.set(t)
	f := Find(set, Options{})
	requireSound(t, f)
	assert.InDelta(t, 40, f.Window.Days, 0.2)
	assert.Contains(t, f.Window.Places, roof.BattenVoidAir)
}

func TestALongRecordIsReadWhereItIsColdest(t *testing.T) {
	set := sketch{days: 300, meanC: 14, step: time.Hour, alter: func(p string, at time.Time, temp, rh *float64) {
		if d := at.Sub(sketchStart).Hours() / 24; d > 60 && d < 200 {
			*temp -= 11
		}
	}}.set(t)
	f := Find(set, Options{})
	requireSound(t, f)
	assert.InDelta(t, 150, f.Window.Days, 0.1)
	from := float64(f.Window.FromMS-sketchStart.UnixMilli()) / float64(24*hourMS)
	assert.True(t, from >= 50 && from <= 61, "%g", from)
}

func TestOfTwoSlopesTheOneThatCondensesMoreIsUsed(t *testing.T) {
	p := append(sixPositions(), roof.Position{ID: "void-n", Place: roof.BattenVoidAir},
		roof.Position{ID: "slate-n", Place: roof.CoveringUnderside, Meets: "void-n"})
	set := sketch{days: 60, meanC: 3, positions: p, alter: func(id string, _ time.Time, temp, rh *float64) {
		if id == "slate-n" {
			*temp -= 2
		}
	}}.set(t)
	f := Find(set, Options{})
	requireSound(t, f)
	for _, s := range f.Causes {
		for _, e := range append(append([]Evidence{}, s.For...), s.Against...) {
			assert.NotContains(t, e.Positions, "slate")
		}
	}
}

func TestSeveralIndoorLoggersCountAsTheirMeanWithoutAStepWhenOneFallsSilent(t *testing.T) {
	n := 100
	mk := func(level float64, until int) *air {
		a := &air{ids: []string{"x"}, tempC: make([]float64, n), vapourPa: make([]float64, n)}
		for k := range n {
			a.tempC[k], a.vapourPa[k] = 20, level+float64(k)
			if k >= until {
				a.tempC[k], a.vapourPa[k] = missing, missing
			}
		}
		return a
	}
	both := together([]*air{mk(800, n), mk(1000, 50)})
	for k := range n {
		assert.InDelta(t, 900+float64(k), both.vapourPa[k], 1e-9, k)
	}
	never := together([]*air{mk(800, 0), mk(1000, 50)})
	assert.Equal(t, 1000.0, never.vapourPa[0])
	assert.False(t, known(never.vapourPa[60]))
	f := Find(sketch{days: 60, meanC: 3, positions: append(sixPositions(),
		roof.Position{ID: "kitchen", Place: roof.IndoorAir}),
		keep: func(id string, at time.Time) bool { return id != "kitchen" || at.Before(sketchStart.AddDate(0, 0, 50)) }}.set(
		t), Options{})
	requireSound(t, f)
	assert.InDelta(t, 60, f.Window.Days, 0.2)
}

func TestALoftDrierThanOutdoorsIsALoggerFault(t *testing.T) {
	f := Find(sketch{days: 60, meanC: 3, alter: func(p string, _ time.Time, temp, rh *float64) {
		if p == "outside" {
			*rh = math.Min(*rh+16, 99) + 0.05*math.Sin(float64(*temp)*50)
		}
		if p == "loft" {
			*rh -= 14
		}
	}}.set(t), Options{})
	requireSound(t, f)
	assert.Contains(t, strings.Join(f.Notes, " "), "side by side")
}

func TestHourlyAndFineLoggersGiveNearlyTheSameFigures(t *testing.T) {
	fine, hourly := Find(sketch{days: 60, meanC: 3, step: 5 * time.Minute}.set(t), Options{}),
		Find(sketch{days: 60, meanC: 3, step: time.Hour}.set(t), Options{})
	requireSound(t, fine)
	requireSound(t, hourly)
	for i, f := range fine.Figures {
		if f.Feature == "El" || f.Feature == "uc" {
			assert.InDelta(t, f.Value, hourly.Figures[i].Value, math.Abs(f.Value)*0.05+0.5, f.Feature)
		}
	}
}

func TestTheSameInputGivesTheSameAnswer(t *testing.T) {
	set := sketch{days: 60, meanC: 3}.set(t)
	assert.True(t, reflect.DeepEqual(Find(set, Options{}), Find(set, Options{})))
}

func TestAnyRecordGivesASoundAnswer(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := sixPositions()
		var kept []roof.Position
		for _, x := range p {
			if rapid.IntRange(0, 5).Draw(t, "keep "+x.ID) > 0 {
				if rapid.IntRange(0, 4).Draw(t, "lose meets") == 0 {
					x.Meets = ""
				}
				kept = append(kept, x)
			}
		}
		odd := rapid.IntRange(0, 6).Draw(t, "odd")
		gap := rapid.IntRange(1, 40).Draw(t, "gap")
		pick := func(name string, of ...string) string { return rapid.SampledFrom(of).Draw(t, name) }
		s := sketch{days: rapid.IntRange(0, 45).Draw(t, "days"), step: time.Hour,
			meanC: rapid.Float64Range(-25, 30).Draw(t, "mean"), positions: kept,
			keep: func(id string, at time.Time) bool { return odd != 1 || int(at.Unix()/3600)%gap != 0 },
			alter: func(id string, at time.Time, temp, rh *float64) {
				switch odd {
				case 2:
					*temp, *rh = 100, 100
				case 3:
					*rh = 0
				case 4:
					*temp = -60
				case 5:
					if id == "loft" || id == "landing" {
						*temp, *rh = 10, 50
					}
				case 6:
					*temp += float64(at.Unix()/3600%7) * 20
				}
			},
			change: func(c *roof.Case) {
				c.Roof.Underlay.Class, c.Roof.Covering.Air = pick("underlay", "", "HR", "LR", "none"),
					pick("air", "", "open", "closed")
				c.Roof.Battens, c.Roof.Insulation = pick("battens", "", "single", "counter"),
					pick("insulation", "", "rafter", "ceiling")
				if rapid.Bool().Draw(t, "no pitch") {
					c.Roof.PitchDeg = nil
				}
				if rapid.Bool().Draw(t, "no openings") {
					c.Roof.Openings = roof.Openings{}
				}
				if rapid.Bool().Draw(t, "no accuracy") {
					for i := range c.Loggers {
						c.Loggers[i].Accuracy = roof.Accuracy{}
					}
				}
			}}
		requireSound(t, Find(s.set(t), Options{}))
	})
}

// Whoever acts on the answer is told to do something, and to wait only where
// the record lacks nights.
func TestEveryCauseThatIsNotFirmHasSomethingToDo(t *testing.T) {
	for _, c := range Named() {
		a, f := &assessment{cold: 100}, &Finding{}
		a.lookFor(f, c)
		assert.Len(t, f.Next, 1, c)
		assert.NotContains(t, f.NextText(), "wait", c)
		assert.Zero(t, a.wait(true))
	}
	assert.Equal(t, 11, (&assessment{cold: 10}).wait(false))
	assert.Equal(t, 50, (&assessment{cold: 10}).wait(true))
}
