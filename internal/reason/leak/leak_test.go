package leak

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// plain is a board that any rafter may be, with a leak of which a share is left.
func plain(left float64) *series.Set {
	b := board{thicknessM: 0.03, diffusion: 1e-10, excessPct: 14, depth: 5, hysteresisPct: 1, rainy: 0.4, left: left}
	return b.lived(rand.New(rand.NewPCG(7, 7)))
}

func look(set *series.Set, day int, afterRain, wet roof.Answer) {
	set.Case.Events = append(set.Case.Events, roof.Event{At: repairAt.AddDate(0, 0, day), Kind: roof.Inspection,
		What: "torch", AfterRain: afterRain, Wet: wet})
}

func without(set *series.Set, place roof.Place) {
	for i := range set.Courses {
		if set.Courses[i].Position.Place == place {
			set.Courses[i] = series.Course{Position: set.Courses[i].Position}
		}
	}
}

func TestALeakIsJudgedByWoodAndLooksAlone(t *testing.T) {
	for name, c := range map[string]struct {
		left  float64
		days  float64
		do    func(*series.Set)
		want  words.VerdictKind
		needs string
	}{
		"stopped, wood read":           {0, 60, nil, words.Worked, ""},
		"it runs as before, wood read": {1, 60, nil, words.NoChangeShown, ""},
		"three days of drying":         {0, 3, nil, words.TooEarly, "heavy rain since the work"},
		"no rain to try it": {0, 60, func(s *series.Set) { without(s, roof.OutdoorAir) }, words.TooEarly,
			"heavy rain since the work"},
		"no rain, but plumbing": {0, 60, func(s *series.Set) {
			without(s, roof.OutdoorAir)
			s.Case.Events[0].Leak = roof.PlumbingLeak
		}, words.Worked, ""},
		"no wood": {0, 60, func(s *series.Set) { without(s, roof.Timber) }, words.TooEarly, "wood-moisture readings"},
		"no air to dry in": {0, 60, func(s *series.Set) { without(s, roof.LoftAir) }, words.TooEarly,
			"was not logged"},
		"no wood, two dry looks after heavy rain, wet before": {1, 60, func(s *series.Set) {
			without(s, roof.Timber)
			look(s, -5, roof.Yes, roof.Yes)
			look(s, 10, roof.Yes, roof.No)
			look(s, 20, roof.Yes, roof.No)
		}, words.Worked, ""},
		"two looks of one rain": {1, 60, func(s *series.Set) {
			without(s, roof.Timber)
			look(s, -5, roof.Yes, roof.Yes)
			look(s, 10, roof.Yes, roof.No)
			look(s, 11, roof.Yes, roof.No)
		}, words.TooEarly, "a second look"},
		"dry looks that no rain had tried": {1, 60, func(s *series.Set) {
			without(s, roof.Timber)
			look(s, -5, roof.Yes, roof.Yes)
			look(s, 10, roof.No, roof.No)
			look(s, 20, roof.No, roof.No)
		}, words.TooEarly, "wood-moisture readings"},
		"nobody saw it wet": {1, 60, func(s *series.Set) {
			without(s, roof.Timber)
			look(s, 10, roof.Yes, roof.No)
			look(s, 20, roof.Yes, roof.No)
		}, words.TooEarly, "a note that the spot was wet before"},
		"dry looks, but the wood stays wet": {1, 60, func(s *series.Set) {
			look(s, 10, roof.Yes, roof.No)
			look(s, 20, roof.Yes, roof.No)
		}, words.NoChangeShown, ""},
		"dried wood, but seen wet after heavy rain": {0, 60, func(s *series.Set) {
			look(s, 50, roof.Yes, roof.Yes)
		}, words.NoChangeShown, "the leak found and mended"},
		"seen wet, mended better, seen dry": {0, 60, func(s *series.Set) {
			look(s, 10, roof.Yes, roof.Yes)
			look(s, 50, roof.Yes, roof.No)
		}, words.Worked, ""},
		"a look that lies ahead": {1, 20, func(s *series.Set) {
			without(s, roof.Timber)
			look(s, 30, roof.Yes, roof.Yes)
		}, words.TooEarly, "wood-moisture readings"},
	} {
		t.Run(name, func(t *testing.T) {
			set := plain(c.left)
			if c.do != nil {
				c.do(set)
			}
			r := Judge(asOf(set, c.days), set.Case.Events[0])
			assert.Equal(t, c.want, r.Verdict, "%s; %s", r.Reason, r.Needs)
			assert.Contains(t, r.Needs, c.needs)
			assert.NotEmpty(t, r.Reason)
			if c.want == words.TooEarly {
				assert.NotEmpty(t, r.Needs)
			}
			for _, l := range r.Looks {
				assert.False(t, l.At.Before(repairAt))
			}
		})
	}
}

func TestTheShareIsHonest(t *testing.T) {
	dry, same := plain(0), plain(1)
	a, b := Judge(dry, dry.Case.Events[0]), Judge(same, same.Case.Events[0])
	require.NotNil(t, a.Share)
	require.NotNil(t, b.Share)
	assert.Less(t, *a.ShareHigh, 0.5)
	assert.Zero(t, *a.ShareLow)
	assert.Greater(t, *b.ShareLow, *a.Share)
	assert.LessOrEqual(t, *a.ShareLow, *a.Share)
	assert.LessOrEqual(t, *a.Share, *a.ShareHigh)
	require.Len(t, a.Spots, 1)
	s := a.Spots[0]
	assert.Greater(t, s.BeforePct, s.NowPct+4)
	assert.Less(t, *s.AirAloneLow, *s.AirAlonePct)
	assert.Equal(t, a, Judge(dry, dry.Case.Events[0]), "the same readings give the same answer")
	few := asOf(dry, 20)
	c := Judge(few, dry.Case.Events[0])
	require.NotNil(t, c.Share)
	assert.Greater(t, *c.ShareHigh-*c.ShareLow, *a.ShareHigh-*a.ShareLow, "fewer days, wider")
}

// A reading that stands a little high throughout is the probe's own error.
func TestAStandingErrorOfTheProbeHardlyMovesTheShare(t *testing.T) {
	for _, left := range []float64{0, 1} {
		set := plain(left)
		want := Judge(set, set.Case.Events[0]).Share
		for i := range set.Courses {
			for k := range set.Courses[i].WoodPct.Value {
				set.Courses[i].WoodPct.Value[k] += 1.5
			}
		}
		assert.InDelta(t, *want, *Judge(set, set.Case.Events[0]).Share, 0.15)
	}
}

func TestWoodThatWasNeverWetTellsNothing(t *testing.T) {
	b := board{thicknessM: 0.03, diffusion: 1e-10, excessPct: 0.5, depth: 5, rainy: 0.4, left: 1}
	set := b.lived(rand.New(rand.NewPCG(7, 7)))
	r := Judge(set, set.Case.Events[0])
	assert.Equal(t, words.TooEarly, r.Verdict)
	assert.Nil(t, r.Share)
	require.Len(t, r.Spots, 1)
	assert.Equal(t, words.NotWetBefore, r.Spots[0].Why)
	assert.Contains(t, r.Needs, "a look after heavy rain")
	assert.WithinDuration(t, repairAt, r.Said.At, time.Second)
}
