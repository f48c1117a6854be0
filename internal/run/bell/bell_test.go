package bell

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/door/http/homepage"
	"dewcase/internal/door/notify"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
)

// leaky has everything that a household can be told of.
const leaky = `case: larch-3
property: {label: 3 Larch Row, timezone: Europe/London}
roof: {covering: {material: fibre-cement slate}}
positions:
  - {id: loft, place: loft_air}
  - {id: void, place: batten_void_air}
  - {id: slate, place: covering_underside, meets: void}
  - {id: outside, place: outdoor_air}
loggers:
  - {id: k1, interval_s: 3600, accuracy: {temp_c: 0.3, rh_pct: 2}, fitted: [{position: loft, from: 1999-01-01T00:00:00Z}]}
  - {id: k2, interval_s: 3600, accuracy: {temp_c: 0.3, rh_pct: 2}, fitted: [{position: void, from: 1999-01-01T00:00:00Z}]}
  - {id: k3, interval_s: 3600, accuracy: {temp_c: 0.3}, fitted: [{position: slate, from: 1999-01-01T00:00:00Z}]}
  - {id: k4, interval_s: 3600, accuracy: {temp_c: 0.3, rh_pct: 2}, fitted: [{position: outside, from: 1999-01-01T00:00:00Z}]}
contacts: {householder: [ann@example.org], consultant: [carl@example.org]}
`

// hour is what the loggers of a leaky house say at one hour of a cold spell:
// vapour of the loft far above outdoors, the slates wet every night.
func hour(at time.Time) (out []roof.Reading) {
	sun := math.Max(0, math.Sin(float64(at.UTC().Hour()-6)/12*math.Pi))
	outC := 2 + 3*sun
	for _, x := range []struct {
		logger      string
		tempC, rhPc float64
	}{{"k1", outC + 2 + sun, 88}, {"k2", outC + 1 + 2*sun, 95}, {"k3", outC - 1 + 6*sun, 0}, {"k4", outC, 82}} {
		r := roof.Reading{Logger: x.logger, At: at, Arrived: at}
		r.Values.Set(roof.TempC, x.tempC)
		if x.rhPc > 0 {
			r.Values.Set(roof.RHPct, x.rhPc+0.1*float64(at.Hour()%3)) // none stands still for hours
		}
		out = append(out, r)
	}
	return out
}

// service is a running alert service over houses in the time of a synctest bubble.
type service struct {
	*Bell
	log  *logbook
	mail *letterbox
}

// live starts the service in a bubble; it and the outbox end with the test.
func live(t *testing.T, publish func(string, []byte, bool) error, houses ...string) service {
	t.Helper()
	log, mail := newLogbook(), &letterbox{name: "mail"}
	var outbox *notify.Outbox
	b := newBell(t, func(r *ReachOptions, o *Options) {
		for _, id := range houses {
			r.Cases.(*town).put(t, strings.Replace(leaky, "case: larch-3", "case: "+id, 1))
		}
		var err error
		outbox, err = notify.Open(t.Context(), r.State.(*drawer), []notify.Channel{mail}, time.Now, r.Log)
		require.NoError(t, err)
		r.Mail, o.Record, o.Outbox, o.Publish = true, log, outbox, publish
	})
	ctx, stop := context.WithCancel(t.Context())
	var all sync.WaitGroup
	all.Go(func() { b.Run(ctx) })
	all.Go(func() { outbox.Run(ctx) })
	t.Cleanup(func() { stop(); all.Wait() })
	return service{b, log, mail}
}

// soon waits in a bubble until something is so. A house whose readings lie in the
// past when they come may have to wait for the next tick.
func soon(t *testing.T, what string, is func() bool) {
	t.Helper()
	for end := time.Now().Add(lookEvery + 2*settleFor); !is(); time.Sleep(time.Second) {
		require.True(t, time.Now().Before(end), "%s by now", what)
	}
}

// A broker that hangs for five seconds at every message keeps nobody waiting:
// not the pages of its own house, not those of others, not the service itself.
func TestABrokerThatHangsKeepsNobodyFromAPage(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var began, ended atomic.Int32
		hang := func(string, []byte, bool) error {
			began.Add(1)
			time.Sleep(5 * time.Second)
			ended.Add(1)
			return nil
		}
		s := live(t, hang, "larch-3", "larch-4", "larch-5")
		for _, id := range []string{"larch-3", "larch-4", "larch-5"} {
			for i := range 30 {
				s.log.store(t, s.Bell, id, hour(time.Now().Add(time.Duration(i-30)*time.Hour))...)
			}
		}
		soon(t, "a message hangs at the broker", func() bool { return began.Load() > ended.Load() })
		from := time.Now()
		for _, id := range []string{"larch-3", "larch-4", "larch-5"} {
			rows, err := s.Alerts(t.Context(), id)
			require.NoError(t, err)
			link, err := s.NewHomeLink(t.Context(), id, "consultant")
			require.NoError(t, err)
			home, err := s.Home(t.Context(), strings.TrimPrefix(link, "/home/"))
			require.NoError(t, err)
			assert.NotEmpty(t, home.Said.Lead().Lines)
			for _, x := range rows {
				require.NoError(t, s.Acknowledge(t.Context(), id, x.ID, "consultant"))
			}
		}
		_, err := s.Alerts(t.Context(), "")
		require.NoError(t, err)
		assert.Zero(t, time.Since(from), "nobody waited for the broker")
		time.Sleep(time.Minute)
		assert.GreaterOrEqual(t, ended.Load(), int32(3), "and every state was said in the end")
	})
}

// A state that is overtaken while the broker hangs is not said after a newer one.
func TestTheNewestStateIsSaidLast(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var mu sync.Mutex
		said := map[string][]string{}
		var hangs atomic.Value // what is being said of the house
		hangs.Store("")
		s := live(t, func(topic string, payload []byte, _ bool) error {
			hangs.Store(string(payload))
			time.Sleep(5 * time.Second)
			hangs.Store("")
			mu.Lock()
			defer mu.Unlock()
			said[topic] = append(said[topic], string(payload))
			return nil
		}, "larch-3")
		for i := range 30 {
			s.log.store(t, s.Bell, "larch-3", hour(time.Now().Add(time.Duration(i-30)*time.Hour))...)
		}
		soon(t, "the broker hangs while it is told that something is wet", func() bool {
			return strings.Contains(hangs.Load().(string), `"state":"raised"`)
		})
		open, err := s.Alerts(t.Context(), "larch-3")
		require.NoError(t, err)
		for _, x := range open {
			if x.Condition == alert.SurfaceWet {
				require.NoError(t, s.Acknowledge(t.Context(), "larch-3", x.ID, "consultant"))
			}
		}
		time.Sleep(30 * time.Second)
		mu.Lock()
		defer mu.Unlock()
		all := said[notify.TopicPrefix+"larch-3"]
		require.NotEmpty(t, all)
		assert.Contains(t, all[len(all)-1], `"state":"acknowledged"`)
	})
}

func TestThePageOfAHouseholdGathersItsRecordOnceAtMost(t *testing.T) {
	b := newBell(t, func(*ReachOptions, *Options) {})
	log := b.opt.Record.(*logbook)
	b.Cases.(*town).put(t, leaky)
	for i := range 30 {
		log.store(t, b, "larch-3", hour(time.Now().Truncate(time.Hour).Add(time.Duration(i-30)*time.Hour))...)
	}
	link, err := b.NewHomeLink(t.Context(), "larch-3", "consultant")
	require.NoError(t, err)
	for want := range 2 { // the second is served from what the first found
		home, err := b.Home(t.Context(), strings.TrimPrefix(link, "/home/"))
		require.NoError(t, err)
		assert.Len(t, home.Said.Nights, 14)
		assert.Equal(t, 1, log.gathers, "visit %d", want+1)
	}
}

// The nightly work may be hours away, or have seen half of a record: the household
// is told what the consultant's pages say by now.
func TestAHouseholdsPageNamesTheCauseThatTheConsultantsPagesName(t *testing.T) {
	b := newBell(t, func(*ReachOptions, *Options) {})
	log := b.opt.Record.(*logbook)
	now := time.Now().Truncate(time.Hour)
	repair := now.AddDate(0, 0, -3)
	b.Cases.(*town).put(t, leaky+fmt.Sprintf("events: [{at: %s, kind: repair, what: vents cut, treats: [slate]}]\n",
		repair.UTC().Format(time.RFC3339)))
	for i := range 20 * 24 {
		log.store(t, b, "larch-3", hour(now.Add(time.Duration(i-20*24)*time.Hour))...)
	}
	link, err := b.NewHomeLink(t.Context(), "larch-3", "consultant")
	require.NoError(t, err)
	home := func() homepage.Home {
		h, err := b.Home(t.Context(), strings.TrimPrefix(link, "/home/"))
		require.NoError(t, err)
		return h
	}
	assert.Empty(t, home().Said.Cause.Finding)
	log.atHand.Until, log.atHand.Diagnosis.Finding, log.atHand.Diagnosis.Strength = &now, "ceiling_leakage", "probable"
	var verdict assessment.Repair
	verdict.At, verdict.Surface, verdict.Verdict = repair, "slate", "too_early"
	log.atHand.Repairs = []assessment.Repair{verdict}
	said := home().Said
	assert.Contains(t, said.Why(), "The water probably comes from damp air from the rooms")
	assert.Len(t, said.Before, homepage.Nights)
	for _, n := range said.Before {
		assert.False(t, n.From.AddDate(0, 0, 1).After(repair), "%s is before the repair", n.From)
	}
	gathered := log.gathers
	home()
	assert.Equal(t, gathered, log.gathers, "they are gathered once")
}

// One job a day works a house out: in the hour after its noon, whichever zone it
// lies in, and once at the start.
func TestEveryHouseIsAssessedOnceADayAfterItsNoon(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := live(t, nil, "larch-3")
		perth := s.Cases.(*town).put(t, strings.NewReplacer("case: larch-3", "case: perth-1", "Europe/London",
			"Australia/Perth").Replace(leaky))
		time.Sleep(10 * 24 * time.Hour)
		synctest.Wait()
		s.log.mu.Lock()
		defer s.log.mu.Unlock()
		for id, zone := range map[string]*time.Location{"larch-3": time.UTC, "perth-1": perth.Property.Zone} {
			times := s.log.nights[id]
			require.Len(t, times, 11, id)
			for _, at := range times[1:] {
				assert.Equal(t, 12, at.In(zone).Hour(), "%s at %s", id, at.In(zone))
			}
		}
	})
}

// A winter of water every night, looked at as it comes: the household hears of it
// by a few messages, the first within a day, and never twice within a night.
func TestAHouseholdIsTold120DaysOfWaterInAFewMessages(t *testing.T) {
	if testing.Short() {
		t.Skip("120 days; run without -short")
	}
	synctest.Test(t, func(t *testing.T) {
		s := live(t, nil, "larch-3")
		const days = 120
		start := time.Now()
		for range days * 24 {
			s.log.store(t, s.Bell, "larch-3", hour(time.Now())...)
			time.Sleep(time.Hour)
		}
		s.mail.mu.Lock()
		defer s.mail.mu.Unlock()
		var told []alert.Message
		for _, m := range s.mail.got {
			if m.To == alert.Household {
				told = append(told, m)
			}
		}
		require.NotEmpty(t, told)
		assert.Less(t, told[0].At.Sub(start), 24*time.Hour)
		assert.LessOrEqual(t, len(told), 1+days/7, "once a week at most once it goes on: %v", told)
		nights := map[string]int{}
		for _, m := range told {
			nights[m.At.Add(-12*time.Hour).Format(time.DateOnly)]++
		}
		for night, n := range nights {
			assert.Equal(t, 1, n, "messages in the night of %s", night)
		}
		keys := map[string]bool{}
		assert.False(t, slices.ContainsFunc(s.mail.got, func(m alert.Message) bool {
			twice := keys[string(m.To)+m.Key]
			keys[string(m.To)+m.Key] = true
			return twice
		}), "no message goes out twice")
	})
}

// A logger that hands over its memory is not silent while it does; one that fell
// silent is, on time, also where readings of its past still trickle in.
func TestALoggerThatHandsOverItsPastIsNotSilentAndASilentOneIs(t *testing.T) {
	const day = 24 * 60 // minutes
	for name, c := range map[string]struct {
		each func(minute int, k1 func(age time.Duration)) // what comes in a minute
		want int                                          // minute of the alert, -1 for none
	}{
		"ten days handed over in ten minutes, then the present": {func(m int, k1 func(time.Duration)) {
			if m < 10 {
				for i := range 12 {
					k1(time.Duration(120-12*m-i) * 2 * time.Hour)
				}
			} else if m%60 == 10 {
				k1(0)
			}
		}, -1},
		"ten days handed over in ten minutes, then nothing": {func(m int, k1 func(time.Duration)) {
			if m < 10 {
				for i := range 12 {
					k1(5*24*time.Hour + time.Duration(120-12*m-i)*2*time.Hour)
				}
			}
		}, 14},
		"the past hands itself over without an end": {func(m int, k1 func(time.Duration)) {
			k1(10*24*time.Hour - time.Duration(m)*time.Minute)
		}, 15},
		"silent from the first hour on": {func(m int, k1 func(time.Duration)) {
			if m == 0 {
				k1(0)
			}
		}, day},
		"silent, and older readings trickle in": {func(m int, k1 func(time.Duration)) {
			if m == 0 {
				k1(0)
			} else if m%4 == 0 {
				k1(time.Duration(30*day-m) * time.Minute)
			}
		}, day},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := live(t, func(string, []byte, bool) error { return nil }, "larch-3")
				found := -1
				for m := 0; m < day+30 && found < 0; m++ {
					c.each(m, func(age time.Duration) {
						r := roof.Reading{Logger: "k1", At: time.Now().Add(-age), Arrived: time.Now()}
						r.Values.Set(roof.TempC, 5+float64(m%7)/10)
						s.log.store(t, s.Bell, "larch-3", r)
					})
					time.Sleep(time.Minute)
					synctest.Wait()
					rows, err := s.Alerts(t.Context(), "larch-3")
					require.NoError(t, err)
					for _, x := range rows {
						if x.Condition == alert.LoggerSilent && x.Position == "k1" && x.Open() {
							found = m
						}
					}
				}
				if c.want < 0 {
					assert.Equal(t, -1, found, "raised in minute %d", found)
				} else {
					assert.InDelta(t, c.want, found, 5) // looks are minutes apart
				}
			})
		})
	}
}
