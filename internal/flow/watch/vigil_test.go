package watch

import (
	"cmp"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/flow/qc"
	"dewcase/internal/physics/roofsim"
	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/roofworlds"
)

// alerted is how the alerts of a house went through a winter.
type alerted struct {
	book     alert.Book
	steps    []alert.Transition
	messages []alert.Message
	looks    int
}

func (a *alerted) look(w *winter, k int) View {
	in := w.input(k, nil)
	in.Chance = Tonight(in)
	v, rules := Look(in), alert.RulesOf(w.c.Alerts)
	a.looks++
	a.book.Judge(v.Level, in.Now)
	a.steps = append(a.steps, alert.Step(&a.book, v.Signs, rules, in.Now)...)
	a.messages = append(a.messages,
		alert.Plan(&a.book, alert.PlanInput{Case: w.c, Rules: rules}, in.Now)...)
	return v
}

// watchOver lives through a winter by a vigil: its readings decide when the house is
// looked at.
func watchOver(w *winter, readings []roof.Reading) (a alerted) {
	slices.SortStableFunc(readings, func(a, b roof.Reading) int { return a.Arrived.Compare(b.Arrived) })
	rules := alert.RulesOf(w.c.Alerts)
	var vigil *Vigil
	var last, due time.Time
	for k := w.perHour(); k <= w.n; k++ {
		now := time.UnixMilli(w.from + int64(k)*w.step).UTC()
		for len(readings) > 0 && !readings[0].Arrived.After(now) {
			r := readings[0]
			readings = readings[1:]
			flags, bad := qc.Check(r, r.Arrived)
			if r.Flags |= flags; vigil != nil && bad == nil {
				due = earlier(due, last.Add(vigil.Take(r)))
			}
		}
		if vigil != nil && now.Before(due) {
			continue
		}
		v := a.look(w, k)
		vigil = v.Keep(w.c, &a.book, rules, now, vigil)
		last, due = now, now.Add(Hourly)
		_, clock := a.book.Due(w.c, rules, now)
		due = earlier(due, clock)
	}
	return a
}

func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

// flicker is how long an alert that comes and goes again may have been there
// without counting; within is how far apart two times may lie that count as one.
const flicker, within = 100 * time.Minute, 65 * time.Minute

// apart counts how many steps of alerts are to be added, left out or exchanged so
// that one course becomes the other, those aside that changed back within moments.
// (Held against each other in pairs, one step more would have every later one of
// the house differ.)
func apart(a, b []alert.Transition) int {
	d := make([][]int, len(a)+1) // by what is left of each
	for i := range d {
		d[i] = make([]int, len(b)+1)
	}
	for i := len(a); i >= 0; i-- {
		for j := len(b); j >= 0; j-- {
			if i == len(a) && j == len(b) {
				continue
			}
			least := len(a) + len(b)
			if i < len(a) {
				least = min(least, d[i+1][j]+1)
			}
			if j < len(b) {
				least = min(least, d[i][j+1]+1)
			}
			if i < len(a) && j < len(b) {
				other := 1
				if kindOf(a[i]) == kindOf(b[j]) && a[i].To == b[j].To && a[i].Late == b[j].Late &&
					a[i].At.Sub(b[j].At).Abs() <= within {
					other = 0
				}
				least = min(least, d[i+1][j+1]+other)
			}
			if flickers(a[i:]) {
				least = min(least, d[i+2][j])
			}
			if flickers(b[j:]) {
				least = min(least, d[i][j+2])
			}
			d[i][j] = least
		}
	}
	return d[0][0]
}

func flickers(x []alert.Transition) bool {
	return len(x) > 1 && kindOf(x[0]) == kindOf(x[1]) && x[0].From == x[1].To && x[1].At.Sub(x[0].At) <= flicker
}

// byAlert puts steps alert by alert.
func byAlert(steps []alert.Transition) []alert.Transition {
	slices.SortStableFunc(steps, func(a, b alert.Transition) int { return cmp.Compare(kindOf(a), kindOf(b)) })
	return steps
}

// vigils are figures of houses that a vigil watched: looks and what came of them,
// of looks with every reading, and what differs by more than the hour.
type vigils struct{ looks, every, steps, messages, otherSteps, otherMessages int }

// add holds a house that is looked at when a vigil says so against the same house
// looked at with every reading.
func (f *vigils) add(t testing.TB, seed uint64, planted roofsim.Cause, days int) {
	t.Helper()
	win := roofsim.Run(roofworlds.Draw(seed, planted), roofsim.Options{Days: days})
	w, m := measuredBy(t, win, seed, 10*60_000)
	var every alerted
	for k := w.perHour(); k <= w.n; k++ {
		every.look(w, k)
	}
	kept := watchOver(w, m.Readings)
	was, is := tellings(every.messages), tellings(kept.messages)
	other := max(len(was), len(is)) - min(len(was), len(is))
	for i := range min(len(was), len(is)) {
		if was[i].what != is[i].what || is[i].at.Sub(was[i].at).Abs() > within {
			t.Logf("told otherwise: %v, %v", was[i], is[i])
			other++
		}
	}
	steps := apart(byAlert(every.steps), byAlert(kept.steps))
	t.Logf("%s %d: %d looks of %d, %d of %d messages and %d of %d steps otherwise", planted, seed, kept.looks, every.looks,
		other, len(was), steps, len(every.steps))
	f.looks, f.every, f.steps = f.looks+kept.looks, f.every+every.looks, f.steps+len(every.steps)
	f.messages, f.otherMessages, f.otherSteps = f.messages+len(was), f.otherMessages+other, f.otherSteps+steps
}

// The same messages to the same people and the same alerts, within the hour.
func TestWhatAVigilLeavesOutChangesNoDecision(t *testing.T) {
	if testing.Short() {
		t.Skip("winters; run without -short")
	}
	var f vigils
	f.add(t, 910_020, roofsim.CeilingLeakage, 35)
	f.add(t, 910_003, roofsim.NightSkyCooling, 25)
	f.add(t, 910_023, roofsim.BlockedVentilation, 40)
	assert.Greater(t, f.messages, 15)
	assert.Greater(t, f.steps, 150)
	assert.Zero(t, f.otherMessages)
	assert.Zero(t, f.otherSteps)
	assert.Less(t, float64(f.looks), 0.45*float64(f.every), "and it leaves out more than half")
}

// telling is what somebody was told of one alert.
type telling struct {
	what string
	at   time.Time
}

// tellings are in the order of what was told: what comes within the hour may
// change its order, and to a consultant go in one message.
func tellings(messages []alert.Message) (out []telling) {
	for _, m := range messages {
		for _, id := range m.Alerts {
			what := string(m.To) + " " + id[:len(id)-11]
			if m.To == alert.Household {
				what += " " + string(m.Kind) + " " + m.Subject
			}
			out = append(out, telling{what, m.At})
		}
	}
	slices.SortStableFunc(out, func(a, b telling) int { return cmp.Compare(a.what, b.what) })
	return out
}

// kindOf is what an alert's id begins with; the time in it may differ by minutes.
func kindOf(x alert.Transition) string { return x.ID[:len(x.ID)-11] }

// TestAReadingSaysHowSoonItsHouseIsLookedAt begins each time with a look at a dry
// surface whose air is at 2 degC and 80 %RH, so that water forms at -1.1 degC.
func TestAReadingSaysHowSoonItsHouseIsLookedAt(t *testing.T) {
	begin := time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC)
	fit := func(position string) []roof.Fitting { return []roof.Fitting{{Position: position, From: begin}} }
	c := &roof.Case{Property: roof.Property{Zone: time.UTC},
		Positions: []roof.Position{{ID: "void", Place: roof.BattenVoidAir},
			{ID: "slate", Place: roof.CoveringUnderside, Meets: "void"}},
		Loggers: []roof.Logger{{ID: "k1", Fitted: fit("void")}, {ID: "k2", Fitted: fit("slate")}}}
	type say struct {
		logger  string
		minute  int
		tempC   float64
		flagged roof.Flags
	}
	for name, x := range map[string]struct {
		state wetness
		frost bool
		says  []say
		want  time.Duration
	}{
		"dry as before":                          {dry, false, []say{{"k2", 5, 3, 0}}, Hourly},
		"wet now":                                {dry, false, []say{{"k2", 5, -2, 0}}, 0},
		"wet as before, and that counts already": {wet, false, []say{{"k2", 5, -2, 0}}, Hourly},
		"dry now":                                {wet, false, []say{{"k2", 5, 3, 0}}, 0},
		"on the edge":                            {dry, false, []say{{"k2", 5, -1.2, 0}}, often},
		"frost that melts":                       {dry, true, []say{{"k2", 5, 1, 0}}, often},
		"frost that does not":                    {dry, true, []say{{"k2", 5, -0.6, 0}}, Hourly},
		"a logger that the case does not know":   {dry, false, []say{{"x9", 5, -9, 0}}, Hourly},
		"a clock that is wrong":                  {dry, false, []say{{"k2", 5, 3, roof.FlagClockWrong}}, often},
		"a reading of the past":                  {dry, false, []say{{"k2", -5, 3, 0}}, soon},
		"after a silence":                        {dry, false, []say{{"k2", 300, 3, 0}}, soon},
		"air too old to be held against":         {dry, false, []say{{"k2", 50, -2, 0}}, Hourly},
		"the air became damper":                  {dry, false, []say{{"k2", 5, 3, 0}, {"k1", 6, 12, 0}}, 0},
	} {
		t.Run(name, func(t *testing.T) {
			now := begin.Add(12 * time.Hour)
			v := View{guarded: []guarded{{surface: 1, state: x.state, frost: x.frost}}}
			vigil := v.Keep(c, &alert.Book{}, alert.RulesOf(c.Alerts), now, nil)
			take := func(s say) time.Duration {
				r := roof.Reading{Logger: s.logger, At: now.Add(time.Duration(s.minute) * time.Minute), Flags: s.flagged}
				r.Values.Set(roof.TempC, s.tempC)
				if s.logger == "k1" {
					r.Values.Set(roof.RHPct, 80)
				}
				return vigil.Take(r)
			}
			take(say{"k1", 0, 2, 0})
			take(say{"k2", 0, map[wetness]float64{dry: 3, wet: -2}[x.state], 0})
			var got time.Duration
			for _, s := range x.says {
				got = take(s)
			}
			assert.Equal(t, x.want, got)
		})
	}
}

// After a start the first readings are no others than those that come later.
func TestAReadingAfterAStartIsNoneAfterASilence(t *testing.T) {
	now := time.Date(2026, 12, 1, 12, 0, 0, 0, time.UTC)
	c := &roof.Case{Property: roof.Property{Zone: time.UTC}, Positions: []roof.Position{{ID: "loft", Place: roof.LoftAir}},
		Loggers: []roof.Logger{{ID: "k1", Fitted: []roof.Fitting{{Position: "loft", From: now.AddDate(0, -1, 0)}}}}}
	first := func(last time.Time) time.Duration {
		v := Look(Input{Case: c, Now: now, Loggers: []Seen{{Logger: "k1", Last: last}}})
		r := roof.Reading{Logger: "k1", At: now.Add(time.Minute)}
		r.Values.Set(roof.TempC, 4)
		return v.Keep(c, &alert.Book{}, alert.RulesOf(c.Alerts), now, nil).Take(r)
	}
	assert.Equal(t, Hourly, first(now.Add(-10*time.Minute)))
	assert.Equal(t, soon, first(now.Add(-4*time.Hour)))
}

func TestAStepMoreIsOneStepMore(t *testing.T) {
	begin := time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC)
	step := func(kind string, day int, to alert.State) alert.Transition {
		at := begin.AddDate(0, 0, day)
		return alert.Transition{ID: kind + "." + at.Format("0102150405"), To: to, At: at}
	}
	var all []alert.Transition
	for day := range 20 {
		all = append(all, step("surface_wet.slate", 2*day, alert.Raised), step("surface_wet.slate", 2*day+1, alert.Cleared))
	}
	assert.Zero(t, apart(all, all))
	assert.Equal(t, 1, apart(all, all[1:]))
	assert.Equal(t, 3, apart(slices.Concat(all[:6], all[9:]), all))
	moved := slices.Clone(all)
	moved[7].At = moved[7].At.Add(2 * within)
	assert.Equal(t, 1, apart(all, moved))
}
