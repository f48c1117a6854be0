package crashtest

import (
	"fmt"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"

	"dewcase/internal/mosquittotest"
)

// Throughput bars of the project, as ratios within one run on one machine:
// durable readings a second, over what a bare QoS 1 subscriber that does nothing
// receives from the same Mosquitto (or, for the embedded broker, over what the
// same publishers get acknowledged by Mosquitto, which keeps them in memory).
const (
	wantRatio  = 0.6
	benchCount = 60000
	floodCount = 1000000
	maxRSS     = 256 << 20
)

// flatOut publishes readings from..to as fast as they are acknowledged and
// returns how long that took.
func flatOut(b *testing.B, addr string, from, to int, topics func(n int) Sent) time.Duration {
	b.Helper()
	var done sync.WaitGroup
	began := time.Now()
	for g := range gateways {
		p := NewPublisher(addr, fmt.Sprintf("flat-out-%d-%d", from, g), 1000)
		done.Go(func() {
			defer p.Close()
			for n := from + g; n < to; n += gateways {
				if err := p.Send(topics(n)); err != nil {
					b.Error(err)
					return
				}
			}
			if err := p.Flush(); err != nil {
				b.Error(err)
			}
		})
	}
	done.Wait()
	return time.Since(began)
}

// bare is a subscriber that does nothing, with a session that the broker keeps.
type bare struct {
	client      paho.Client
	got         atomic.Int64
	first, last atomic.Int64
}

func newBare(b *testing.B, broker *mosquittotest.Broker) *bare {
	s := &bare{}
	s.client = paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + broker.Addr()).SetClientID("bare").SetCleanSession(false).
		SetDefaultPublishHandler(func(paho.Client, paho.Message) {
			now := time.Now().UnixNano()
			if s.got.Add(1) == 1 {
				s.first.Store(now)
			}
			s.last.Store(now)
		}))
	s.connect(b)
	tok := s.client.Subscribe("dewcase/#", 1, nil)
	tok.Wait()
	require.NoError(b, tok.Error())
	return s
}

func (s *bare) connect(b *testing.B) {
	tok := s.client.Connect()
	tok.Wait()
	require.NoError(b, tok.Error())
}

func (s *bare) rate() float64 {
	return float64(s.got.Load()-1) / time.Duration(s.last.Load()-s.first.Load()).Seconds()
}

// durable watches a daemon's count of stored readings and returns their rate
// between the first and the last.
func durable(b *testing.B, d *Daemon, want int) float64 {
	b.Helper()
	var began time.Time
	var had float64
	Until(b, fmt.Sprint(want, " readings stored"), func() bool {
		time.Sleep(20 * time.Millisecond) // asking costs the daemon time, too
		now := d.Metric("dewcase_readings_stored_total")
		if began.IsZero() && now > 0 {
			began, had = time.Now(), now
		}
		return now >= float64(want)
	})
	return (float64(want) - had) / time.Since(began).Seconds()
}

// served starts a daemon that knows the case, behind the broker given or its own.
func served(b *testing.B, data string, args ...string) *Daemon {
	d := Serve(b, data, args...)
	d.Do(http.MethodPut, "/api/cases/"+caseID+"/file", strings.NewReader(caseFile()), 200, 201, 204)
	return d
}

func report(b *testing.B, ours, theirs float64) {
	b.ReportMetric(ours, "durable/s")
	b.ReportMetric(theirs, "bare/s")
	b.ReportMetric(ours/theirs, "ratio")
	b.ReportMetric(0, "ns/op")
	if ours/theirs < wantRatio {
		b.Errorf("ratio %.2f is below %.1f: %.0f durable/s, %.0f bare/s", ours/theirs, wantRatio, ours, theirs)
	}
}

func sameTopic(n int) Sent {
	s := message(n)
	s.Topic = "dewcase/" + caseID + "/k00"
	return s
}

// BenchmarkMosquittoBacklog drains what Mosquitto kept while nobody listened:
// the fastest a broker can deliver.
func BenchmarkMosquittoBacklog(b *testing.B) { backlog(b, message) }

// BenchmarkMosquittoBacklogOneLogger is the same with a single topic.
func BenchmarkMosquittoBacklogOneLogger(b *testing.B) { backlog(b, sameTopic) }

func backlog(b *testing.B, topics func(n int) Sent) {
	for b.Loop() {
		broker := mosquittotest.Start(b, mosquittotest.Quick)
		s := newBare(b, broker)
		s.client.Disconnect(100)
		data := b.TempDir()
		d := served(b, data, "-broker", "mqtt://"+broker.Addr())
		Until(b, "subscribed", func() bool { return strings.Contains(broker.Log(), "as dewcase") })
		time.Sleep(300 * time.Millisecond)
		require.Zero(b, d.Stop(), d.Log())
		flatOut(b, broker.Addr(), 0, benchCount, topics)
		s.connect(b)
		Until(b, "the bare subscriber has all", func() bool { return s.got.Load() >= benchCount })
		s.client.Disconnect(100)
		d = Serve(b, data, "-broker", "mqtt://"+broker.Addr())
		ours := durable(b, d, benchCount)
		require.Zero(b, d.Stop(), d.Log())
		report(b, ours, s.rate())
	}
}

// BenchmarkMosquittoLive measures while publishers send flat out; broker,
// publishers and receiver share the machine.
func BenchmarkMosquittoLive(b *testing.B) {
	for b.Loop() {
		broker := mosquittotest.Start(b, mosquittotest.Quick)
		s := newBare(b, broker)
		flatOut(b, broker.Addr(), 0, benchCount, message)
		Until(b, "the bare subscriber has all", func() bool { return s.got.Load() >= benchCount })
		tok := s.client.Unsubscribe("dewcase/#")
		tok.Wait()
		s.client.Disconnect(100)
		d := served(b, b.TempDir(), "-broker", "mqtt://"+broker.Addr())
		Until(b, "subscribed", func() bool { return strings.Contains(broker.Log(), "as dewcase") })
		time.Sleep(300 * time.Millisecond)
		rate := make(chan float64, 1)
		go func() { rate <- durable(b, d, benchCount) }()
		flatOut(b, broker.Addr(), 0, benchCount, message)
		report(b, <-rate, s.rate())
		require.Zero(b, d.Stop(), d.Log())
	}
}

// BenchmarkEmbeddedBroker compares durable acknowledgements of our own broker
// with Mosquitto's, which come from memory.
func BenchmarkEmbeddedBroker(b *testing.B) { embedded(b, message) }

// BenchmarkEmbeddedBrokerOneLogger is the same with a single topic.
func BenchmarkEmbeddedBrokerOneLogger(b *testing.B) { embedded(b, sameTopic) }

func embedded(b *testing.B, topics func(n int) Sent) {
	for b.Loop() {
		broker := mosquittotest.Start(b, mosquittotest.Quick)
		theirs := flatOut(b, broker.Addr(), 0, benchCount, topics)
		broker.Stop()
		d := served(b, b.TempDir())
		ours := flatOut(b, d.MQTT, 0, benchCount, topics)
		require.EqualValues(b, benchCount, d.Metric("dewcase_readings_stored_total"))
		require.Zero(b, d.Stop(), d.Log())
		report(b, benchCount/ours.Seconds(), benchCount/theirs.Seconds())
	}
}

// BenchmarkFloodMemory sends a million messages through either broker and looks
// at the daemon's largest resident memory.
func BenchmarkFloodMemory(b *testing.B) {
	for b.Loop() {
		d := served(b, b.TempDir())
		took := flatOut(b, d.MQTT, 0, floodCount, message)
		own := d.PeakRSS()
		require.EqualValues(b, floodCount, d.Metric("dewcase_readings_stored_total"))
		require.Zero(b, d.Stop(), d.Log())

		broker := mosquittotest.Start(b, mosquittotest.Quick)
		d = served(b, b.TempDir(), "-broker", "mqtt://"+broker.Addr())
		Until(b, "subscribed", func() bool { return strings.Contains(broker.Log(), "as dewcase") })
		time.Sleep(300 * time.Millisecond)
		go flatOut(b, broker.Addr(), 0, floodCount, message)
		rate := durable(b, d, floodCount)
		outside := d.PeakRSS()
		require.Zero(b, d.Stop(), d.Log())

		b.ReportMetric(float64(own)/(1<<20), "own-MiB")
		b.ReportMetric(float64(outside)/(1<<20), "mosquitto-MiB")
		b.ReportMetric(floodCount/took.Seconds(), "own/s")
		b.ReportMetric(rate, "mosquitto/s")
		b.ReportMetric(0, "ns/op")
		if max(own, outside) > maxRSS {
			b.Errorf("peak memory %d and %d MiB, want below %d", own>>20, outside>>20, maxRSS>>20)
		}
	}
}
