package alert

import (
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/roof"
	"dewcase/internal/words"
)

var (
	zone, _ = time.LoadLocation("Europe/London")
	noon    = time.Date(2026, 12, 1, 12, 0, 0, 0, zone)
)

// script runs one condition hour by hour.
type script struct {
	t     testing.TB
	b     *Book
	rules Rules
	now   time.Time
	c     *roof.Case
}

func newScript(t testing.TB) *script {
	c := &roof.Case{ID: "larkfield-9", Property: roof.Property{Label: "9 Larkfield Mews", Zone: zone},
		Contacts: roof.Contacts{Householder: []string{"ann@example.org"}}}
	return &script{t: t, b: &Book{}, rules: RulesOf(c.Alerts), now: noon, c: c}
}

// hour goes on by an hour with the value seen just now.
func (s *script) hour(c Condition, v float64) []Transition { return s.at(c, v, s.now, time.Hour) }

func (s *script) at(c Condition, v float64, evidence time.Time, step time.Duration) []Transition {
	out := Step(s.b, []Sign{{Condition: c, Position: "slate", Value: v, Known: true, At: evidence, Tell: true,
		Facts: Facts{Words: "under the slates"}}}, s.rules, s.now)
	s.now = s.now.Add(step)
	return out
}

func (s *script) plan() []Message {
	return Plan(s.b, PlanInput{Case: s.c, Rules: s.rules}, s.now)
}

func states(ts []Transition) (out []State) {
	for _, t := range ts {
		out = append(out, t.To)
	}
	return out
}

func TestLifeOfAnAlert(t *testing.T) {
	s := newScript(t)
	assert.Empty(t, s.hour(SurfaceWet, 0))
	assert.Equal(t, []State{Raised}, states(s.hour(SurfaceWet, 0.5)))
	id := s.b.Alerts[0].ID
	_, err := s.b.Acknowledge(id, "ann", s.now)
	require.NoError(t, err)
	assert.Equal(t, Acknowledged, s.b.Alerts[0].State)
	assert.Empty(t, s.hour(SurfaceWet, 1.5), "acknowledged stays so")
	assert.Empty(t, s.hour(SurfaceWet, 0))
	assert.Empty(t, s.hour(SurfaceWet, 0), "one dry hour is not the end")
	assert.Equal(t, []State{Cleared}, states(s.hour(SurfaceWet, 0)))
	assert.Equal(t, []State{Raised}, states(s.hour(SurfaceWet, 0.5)))
	assert.Equal(t, id, s.b.Alerts[0].ID, "the same night: the same alert")
	assert.Equal(t, 1, s.b.Alerts[0].Reopened)
	_, err = s.b.Acknowledge("no.such.alert", "ann", s.now)
	assert.ErrorIs(t, err, ErrNoAlert)
}

func TestSnoozeEndsByTimeOrByWorsening(t *testing.T) {
	s := newScript(t)
	s.hour(WetNights, 3)
	id := s.b.Alerts[0].ID
	_, err := s.b.Snooze(id, "consultant", s.now.Add(24*time.Hour), s.now)
	require.NoError(t, err)
	assert.Empty(t, s.hour(WetNights, 4), "a little more is no reason")
	assert.Equal(t, []State{Raised}, states(s.hour(WetNights, 6)), "half as much again is")
	_, err = s.b.Snooze(id, "consultant", s.now.Add(2*time.Hour), s.now)
	require.NoError(t, err)
	s.hour(WetNights, 6)
	s.hour(WetNights, 6)
	assert.Equal(t, Snoozed, s.b.Alerts[0].State)
	s.hour(WetNights, 6)
	assert.Equal(t, Raised, s.b.Alerts[0].State)
	_, err = s.b.Snooze(id, "consultant", s.now.Add(90*24*time.Hour), s.now)
	assert.ErrorContains(t, err, "within the next 31 days")
}

func TestLateDataRaisesWithoutRinging(t *testing.T) {
	s := newScript(t)
	s.b.Level = Damp
	ts := s.at(SurfaceWet, 3, s.now.Add(-2*24*time.Hour), 0)
	require.Len(t, ts, 1)
	assert.True(t, ts[0].Late)
	assert.Empty(t, s.plan(), "nobody is rung about the day before yesterday")
	// The backlog goes on to show that it dried.
	for h := 40; h > 30; h-- {
		s.at(SurfaceWet, 0, s.now.Add(-time.Duration(h)*time.Hour), 0)
	}
	assert.Equal(t, Cleared, s.b.Alerts[0].State)
	assert.Empty(t, s.plan())
	// Fresh water rings.
	s.at(SurfaceWet, 1, s.now, 0)
	assert.Len(t, s.plan(), 1)
}

func TestUnknownStandsAndGoneClears(t *testing.T) {
	s := newScript(t)
	s.hour(SurfaceWet, 2)
	Step(s.b, []Sign{{Condition: SurfaceWet, Position: "slate"}}, s.rules, s.now)
	assert.Equal(t, Raised, s.b.Alerts[0].State, "a silent logger does not dry the roof")
	Step(s.b, nil, s.rules, s.now)
	assert.Equal(t, Cleared, s.b.Alerts[0].State, "a surface that left the case is watched no more")
}

func TestWhatIsOverKeepsTheFactsItWasInForceWith(t *testing.T) {
	s := newScript(t)
	say := func(v float64, what string) {
		Step(s.b, []Sign{{Condition: SurfaceWet, Position: "slate", Value: v, Known: true, At: s.now, Tell: true,
			Facts: Facts{Detail: what}}}, s.rules, s.now)
		s.now = s.now.Add(time.Hour)
	}
	say(2, "wet for 2 h")
	say(5, "wet for 5 h")
	assert.Equal(t, "wet for 5 h", s.b.Alerts[0].Facts.Detail, "in force: what is so now")
	for range 4 {
		say(0, "dry")
	}
	require.Equal(t, Cleared, s.b.Alerts[0].State)
	assert.Equal(t, "wet for 5 h", s.b.Alerts[0].Facts.Detail)
	say(3, "wet for 3 h")
	require.Equal(t, Raised, s.b.Alerts[0].State)
	assert.Equal(t, "wet for 3 h", s.b.Alerts[0].Facts.Detail, "raised anew: what raised it")
}

func TestNoFlappingInsideTheBand(t *testing.T) {
	for _, c := range Conditions() {
		rapid.Check(t, func(r *rapid.T) {
			s := newScript(t)
			rule := s.rules[c]
			low, high := min(rule.Raise, rule.Clear), max(rule.Raise, rule.Clear)
			if rapid.Bool().Draw(r, "raised before") {
				for range 24 * 9 {
					s.hour(c, rule.Raise)
				}
			}
			for range rapid.IntRange(1, 300).Draw(r, "hours") {
				f := rapid.Float64Range(0.001, 0.999).Draw(r, "where in the band")
				if ts := s.hour(c, low+f*(high-low)); len(ts) > 0 {
					r.Fatalf("%s changed to %v inside the band", c, ts)
				}
			}
		})
	}
}

func TestAStepIsTheSameAfterARestart(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		kept, whole := newScript(t), newScript(t)
		kept.b.Level, whole.b.Level = Damp, Damp
		for range rapid.IntRange(1, 200).Draw(r, "hours") {
			c := rapid.SampledFrom([]Condition{SurfaceWet, WetNights, FrostMelting}).Draw(r, "condition")
			v := rapid.Float64Range(0, 60).Draw(r, "value")
			if rapid.IntRange(0, 3).Draw(r, "restart") == 0 {
				blob, err := json.Marshal(kept.b)
				if err != nil {
					r.Fatal(err)
				}
				kept.b = &Book{}
				if err := json.Unmarshal(blob, kept.b); err != nil {
					r.Fatal(err)
				}
			}
			kept.hour(c, v)
			whole.hour(c, v)
			a, b := kept.plan(), whole.plan()
			if fmt.Sprint(a) != fmt.Sprint(b) {
				r.Fatalf("after a restart %v, without %v", a, b)
			}
		}
	})
}

func TestAtMostOneMessagePerConditionAndNightUnlessItWorsens(t *testing.T) {
	s := newScript(t)
	s.b.Level = Damp
	byNight := map[string]int{}
	for h := range 24 * 120 {
		v := 0.0
		if h%7 < 3 { // water comes and goes several times a night
			v = 1
		}
		s.hour(SurfaceWet, v)
		for _, m := range s.plan() {
			if m.To == Household {
				byNight[night(zone, m.At)]++
			}
		}
		if h >= 48 {
			assert.True(t, s.b.Announced(s.now))
		}
	}
	for n, k := range byNight {
		assert.Equal(t, 1, k, n)
	}
	assert.Len(t, byNight, 3, "the news, that it will go on, and that again after two months")
}

func TestMoreWaterThanWasToldIsSaidSoonerThanInTwoMonths(t *testing.T) {
	for _, x := range []struct {
		name   string
		change func(s *script)
		want   int
	}{
		{"as before", func(s *script) { s.hour(WetNights, 3) }, 0},
		{"a few nights more", func(s *script) { s.hour(WetNights, 4) }, 0},
		{"every night", func(s *script) { s.hour(WetNights, 7) }, 1},
	} {
		s := newScript(t)
		s.b.Level = Damp
		day := func(look func(s *script)) (n int) {
			for range 24 {
				look(s)
				for _, m := range s.plan() {
					if m.To == Household {
						n++
					}
				}
			}
			return n
		}
		steady := func(s *script) { s.hour(WetNights, 3) }
		told := 0
		for range 20 {
			told += day(steady)
		}
		assert.Equal(t, 1, told, x.name)
		assert.Equal(t, x.want, day(x.change)+day(x.change), x.name)
	}
}

func TestQuietHoursEndInTheHousesZone(t *testing.T) {
	c := &roof.Case{Property: roof.Property{Zone: zone}, Alerts: roof.AlertSettings{QuietFrom: "22:00", QuietTo: "07:00"}}
	for _, x := range []struct{ at, want string }{
		{"2026-12-01T21:59:00Z", "2026-12-01T21:59:00Z"}, {"2026-12-01T22:00:00Z", "2026-12-02T07:00:00Z"},
		{"2026-12-02T06:59:00Z", "2026-12-02T07:00:00Z"},
		{"2026-07-01T21:30:00Z", "2026-07-02T06:00:00Z"}, // summer time
		{"2027-03-28T00:30:00Z", "2027-03-28T06:00:00Z"}, // the clocks go forward in that night
	} {
		at, err := time.Parse(time.RFC3339, x.at)
		require.NoError(t, err)
		assert.Equal(t, x.want, afterQuiet(c, at).UTC().Format(time.RFC3339), x.at)
	}
}

func TestSilenceOfTheHouseholdReachesTheConsultantOnce(t *testing.T) {
	s := newScript(t)
	s.b.Level = Damp
	var to []Audience
	for range 24 * 10 {
		s.hour(SuddenWetting, 2)
		for _, m := range s.plan() {
			to = append(to, m.To)
			if m.To == Consultant && m.Kind == Escalation {
				assert.Contains(t, m.Text, "has not said that it has seen it")
			}
		}
	}
	assert.Equal(t, []Audience{Household, Consultant, Consultant}, to,
		"the news to both, and the silence to the consultant")
	other := newScript(t)
	for range 8 {
		other.hour(SuddenWetting, 2)
	}
	other.plan()
	_, err := other.b.Acknowledge(other.b.Alerts[0].ID, "household", other.now)
	require.NoError(t, err)
	for range 24 * 10 {
		other.hour(SuddenWetting, 2)
		assert.Empty(t, other.plan())
	}
}

func TestDaemonTroubleNeverReachesTheHousehold(t *testing.T) {
	s := newScript(t)
	for _, c := range []Condition{DaemonTrouble, LoggerSilent, ClockWrong, Implausible} {
		assert.False(t, s.rules[c].Household, c)
		for range 60 {
			s.hour(c, 100)
			for _, m := range s.plan() {
				assert.Equal(t, Consultant, m.To)
			}
		}
	}
}

func TestDewOnASoundRoofRingsNobody(t *testing.T) {
	s := newScript(t)
	for h := range 24 * 60 {
		s.hour(SurfaceWet, float64(h%24))
		for _, m := range s.plan() {
			assert.NotEqual(t, Household, m.To)
		}
	}
}

func TestEveryConditionSaysWhoShouldDoWhat(t *testing.T) {
	for _, c := range Conditions() {
		assert.NotEmpty(t, words.AlertTitle(string(c)))
		assert.Regexp(t, `^(You|The household|The contractor|Your administrator)\b.*: .*\.$`, words.AlertTask(string(c)), c)
	}
}

func TestEveryConditionHasARule(t *testing.T) {
	rules := RulesOf(roof.AlertSettings{})
	for _, c := range Conditions() {
		r, ok := rules[c]
		require.True(t, ok, c)
		assert.NotEqual(t, string(c), words.AlertTitle(string(c)))
		if r.Falling {
			assert.Greater(t, r.Clear, r.Raise, c)
		} else {
			assert.Less(t, r.Clear, r.Raise, c)
		}
	}
	own := RulesOf(roof.AlertSettings{WetHours: 2, WetNights: 5, TimberPct: 22, MouldIndex: 2, SilentH: 6, BatteryPct: 30})
	assert.Equal(t, []float64{2, 5, 22, 2, 6, 30},
		[]float64{own[SurfaceWet].Raise, own[WetNights].Raise, own[TimberWet].Raise, own[MouldRising].Raise,
			own[LoggerSilent].Raise, own[BatteryLow].Raise})
}

func TestALevelRisesAtOnceAndFallsInItsOwnTime(t *testing.T) {
	at := time.Date(2026, 12, 1, 18, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name  string
		first Level
		later time.Duration
		then  Level
		want  Level
	}{
		{"dew becomes damp at once", Dew, 0, Damp, Damp},
		{"what may be dew stands through the next night", Unsure, 30 * time.Hour, Dew, Unsure},
		{"and not longer", Unsure, 40 * time.Hour, Dew, Dew},
		{"a damp roof stays one through a dry week", Damp, 7 * 24 * time.Hour, Dew, Damp},
		{"but not for ever", Damp, 11 * 24 * time.Hour, Unsure, Unsure},
	} {
		t.Run(c.name, func(t *testing.T) {
			var b Book
			b.Judge(c.first, at)
			b.Judge(c.then, at.Add(c.later))
			assert.Equal(t, c.want, b.Level)
		})
	}
}

func TestWhatIsQuietIsTakenFromTheHouseholdAlsoWhileItIsOpen(t *testing.T) {
	at := time.Date(2026, 12, 1, 18, 0, 0, 0, time.UTC)
	var b Book
	s := Sign{Condition: WetNights, Position: "slate-e", Value: 5, Known: true, At: at, Tell: true}
	Step(&b, []Sign{s}, RulesOf(roof.AlertSettings{}), at)
	require.True(t, b.Alerts[0].Tell)
	s.Quiet, s.At = true, at.Add(time.Hour)
	Step(&b, []Sign{s}, RulesOf(roof.AlertSettings{}), s.At)
	assert.False(t, b.Alerts[0].Tell)
	assert.True(t, b.Alerts[0].Open(), "the consultant still sees it")
}
