package repair

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A cure leaves a roof dry in weather that would have wetted it. What the twin,
// the same roof unrepaired, truly was in the same weather decides what may be
// said of the weather.
func TestARoofDryAfterItsRepairIsJudgedWhereItsTwinWasWet(t *testing.T) {
	for name, c := range map[string]struct {
		seed     uint64
		work     work
		evening  int
		twinWet  float64 // h, at least
		twinDry  bool
		judged   bool
		notSaid  string
		saidNeed string
	}{
		"a ceiling sealed in hard frost": {seed: 3039, work: ceilingWork, evening: 34, twinWet: 20, judged: true,
			notSaid: "no weather"},
		"vents cut in cold nights after a mild autumn": {seed: 3049, work: loftWork, evening: 48, twinWet: 20, judged: true,
			notSaid: "no weather"},
		"vents cut in mild weather": {seed: 3056, work: loftWork, evening: 30, twinDry: true,
			saidNeed: "unrepaired, the roof would have been dry as well"},
	} {
		t.Run(name, func(t *testing.T) {
			s := simulate(t, c.seed, c.work, 66, 10*time.Minute)
			a := &assessor{set: s.set, opts: Options{Draws: 80}, cache: newLayCache(), repairs: s.set.Case.Repairs()}
			fromMS, untilMS, _ := a.window(0, s.set.Course(s.surfaces[0]).Position)
			j, err := a.judge(s.event, s.surfaces[0], fromMS, untilMS, credit(s.set.Case, s.event))
			require.NoError(t, err)
			l := j.evaluate(j.ends()[c.evening], nil, 80)
			require.NotNil(t, l.fit)
			repaired, twin := s.hours(s.surfaces[0], nightsOf(l.trial))
			if c.twinDry {
				require.Zero(t, twin.Condensing)
			} else {
				require.GreaterOrEqual(t, twin.Condensing, c.twinWet)
				require.Less(t, sumOver(j.m.wet, l.trial.useA), float64(minWetH), "counted on the repaired roof")
			}
			t.Logf("true wet hours %.0f repaired, %.0f unrepaired; counted %.0f; %v; gates %+v; needs %s", repaired.Condensing,
				twin.Condensing, sumOver(j.m.wet, l.trial.useA), j.unrepairedWet(l), l.gates, l.needs)
			assert.Equal(t, c.judged, l.open)
			if c.notSaid != "" {
				assert.NotContains(t, l.needs, c.notSaid)
			}
			assert.Contains(t, l.needs, c.saidNeed)
		})
	}
}
