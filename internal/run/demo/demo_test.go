package demo

import (
	"bytes"
	"context"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/door/mqtt/broker"
	"dewcase/internal/flow/casefile"
	"dewcase/internal/flow/payload"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/patience"
)

// noon is a moment in summer: the invented winter ends then all the same.
var noon = time.Date(2026, 7, 9, 11, 27, 0, 0, time.UTC)

var invented = sync.OnceValues(func() (*Demo, error) { return Invent(noon) })

func demo(t *testing.T) *Demo {
	t.Helper()
	d, err := invented()
	require.NoError(t, err)
	return d
}

func TestCaseFilesAreGoodAndTellTheStory(t *testing.T) {
	files := demo(t).CaseFiles()
	require.Len(t, files, 2)
	for _, f := range files {
		c, faults := casefile.Parse(f.ID+".yaml", f.YAML)
		require.Empty(t, faults, "%s", f.YAML)
		assert.Equal(t, f.ID, c.ID)
		assert.Contains(t, c.Property.Label, "invented", "nobody may take it for a real house")
	}
	c, _ := casefile.Parse("", files[0].YAML)
	require.Len(t, c.Repairs(), 1)
	assert.Equal(t, []roof.Change{roof.VoidVentilation, roof.LoftVentilation}, c.Repairs()[0].Changes)
	nights := noon.Sub(c.Repairs()[0].At).Hours() / 24
	assert.InDelta(t, 58, nights, 2)
	c, _ = casefile.Parse("", files[1].YAML)
	assert.Empty(t, c.Repairs())
}

func TestTheHistoryIsRealistic(t *testing.T) {
	d := demo(t)
	cut := noon.Add(-leftForLive)
	repeated, nonsense := 0, 0
	readings := map[string]int{}
	for _, h := range d.houses {
		seen := map[string]bool{}
		last := time.Time{}
		for _, m := range h.history(cut) {
			body := m.payload()
			assert.LessOrEqual(t, len(body), 64<<10)
			if seen[string(body)] && m.raw == nil {
				repeated++
			}
			seen[string(body)] = true
			if m.raw != nil {
				nonsense++
			}
			for _, r := range m.readings {
				require.True(t, r.At.Before(cut), "history ends some hours before now")
				readings[h.id+"/"+r.Logger]++
			}
			if len(m.readings) > 1 && m.due.After(last) {
				last = m.due
			}
		}
	}
	assert.Greater(t, repeated, 5)
	assert.Equal(t, 2*5, nonsense)
	assert.GreaterOrEqual(t, readings["saltmarrow-7/spare-9"], 12)
	total := 0
	for _, n := range readings {
		total += n
	}
	assert.Greater(t, total, 200_000)
	assert.Less(t, total, 350_000)
}

func TestOneBatteryRunsDown(t *testing.T) {
	for i, list := range demo(t).houses[0].loggers {
		past := list[0]
		for _, r := range list {
			if r.At.Before(noon) {
				past = r
			}
		}
		b, ok := past.Values.Get(roof.BatteryPct)
		require.True(t, ok)
		if past.Logger == "k2-loft" {
			recent := 0
			for _, r := range list {
				if age := noon.Sub(r.At); age > 0 && age < 48*time.Hour {
					recent++
				}
			}
			assert.Less(t, recent, 480, "of 576 readings in two days, the dying logger loses a sixth or more")
			assert.Less(t, b, 12.0)
		} else {
			assert.Greater(t, b, 60.0, "logger %d", i)
		}
	}
}

func TestTheSameDayGivesTheSameDemo(t *testing.T) {
	other, err := Invent(noon)
	require.NoError(t, err)
	d := demo(t)
	assert.Equal(t, d.CaseFiles(), other.CaseFiles())
	assert.Equal(t, d.houses[1].loggers[2], other.houses[1].loggers[2])
}

// sink is a broker that decodes as the daemon does.
type sink struct {
	mu       sync.Mutex
	readings map[string]map[int64]bool
	repeats  int
	rejects  int
	ahead    int
	latest   time.Time
	total    int
}

func (s *sink) start(t *testing.T, now func() time.Time) string {
	t.Helper()
	s.readings = map[string]map[int64]bool{}
	decoder, err := payload.New(nil)
	require.NoError(t, err)
	b, err := broker.New(broker.Options{Listen: "127.0.0.1:0", Handler: func(_ context.Context, m broker.Message) error {
		m.Arrived = now()
		caseID, readings, rejects := decoder.Decode(m)
		s.mu.Lock()
		defer s.mu.Unlock()
		s.rejects += len(rejects)
		for _, r := range readings {
			key := caseID + "/" + r.Logger
			if s.readings[key] == nil {
				s.readings[key] = map[int64]bool{}
			}
			s.total++
			if s.readings[key][r.At.UnixMilli()] {
				s.repeats++
			}
			s.readings[key][r.At.UnixMilli()] = true
			if r.At.After(now()) {
				s.ahead++
			}
			if r.At.After(s.latest) {
				s.latest = r.At
			}
		}
		return nil
	}})
	require.NoError(t, err)
	require.NoError(t, b.Start())
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), patience.Long)
		defer cancel()
		assert.NoError(t, b.Stop(ctx))
	})
	return b.Addr()
}

// Over real MQTT, with a clock that runs a thousand times too fast: the history
// is loaded, the speed-up meets the present, and nothing is ever dated ahead.
func TestPublishingLoadsTheHistoryThenMeetsThePresent(t *testing.T) {
	d := demo(t)
	began := time.Now()
	now := func() time.Time { return noon.Add(1000 * time.Since(began)) }
	var s sink
	addr := s.start(t, now)
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	var out bytes.Buffer
	done := make(chan error, 1)
	go func() { done <- d.Run(ctx, Options{Broker: "mqtt://" + addr, Now: now, Speed: 60, Progress: &out}) }()
	loaded := time.Now()
	patience.Until(t, "the present is passed, in real time", func() bool {
		s.mu.Lock()
		defer s.mu.Unlock()
		return s.latest.After(noon.Add(20 * time.Minute))
	})
	t.Log(time.Since(loaded), out.String())
	stop()
	require.NoError(t, <-done)
	s.mu.Lock()
	defer s.mu.Unlock()
	assert.Zero(t, s.ahead, "readings dated ahead of the clock")
	assert.Positive(t, s.repeats)
	assert.GreaterOrEqual(t, s.rejects, 8, "what can't be decoded")
	assert.Contains(t, s.readings, "saltmarrow-7/spare-9")
	assert.Contains(t, s.readings, "old-boathouse/k1")
	cut := noon.Add(-leftForLive)
	for _, h := range d.houses {
		for _, list := range h.loggers {
			got := s.readings[h.id+"/"+list[0].Logger]
			for _, r := range list {
				if r.At.Before(cut) {
					require.True(t, got[r.At.UnixMilli()], "%s at %s is missing", r.Logger, r.At)
				}
			}
		}
	}
	assert.Contains(t, out.String(), "demo:  50 % of an invented winter loaded")
	assert.Contains(t, out.String(), "The last 90 minutes follow")
	assert.NotContains(t, out.String(), "\r", "no bar where no terminal is")
}

func TestAMissingBrokerIsSaid(t *testing.T) {
	err := demo(t).Run(t.Context(), Options{Broker: "127.0.0.1:1"})
	require.Error(t, err)
	assert.Contains(t, err.Error(), "can't reach the broker at 127.0.0.1:1")
}

func TestThousandsArePartedByCommas(t *testing.T) {
	assert.Equal(t, "205,312", thousands(205312))
	assert.Equal(t, "12", thousands(12))
	assert.Equal(t, "1,000,000", thousands(1000000))
}

// BenchmarkInvent is what the demo costs before the first message.
func BenchmarkInvent(b *testing.B) {
	for b.Loop() {
		if _, err := Invent(noon); err != nil {
			b.Fatal(err)
		}
	}
}
