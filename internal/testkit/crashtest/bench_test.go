package crashtest

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/mosquittotest"
	"dewcase/internal/testkit/patience"
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
	s.client = paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + broker.Addr()).SetClientID(
		"bare").SetCleanSession(false).
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
	patience.Until(b, fmt.Sprint(want, " readings stored"), func() bool {
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

// rounds are measured in turns, so that both sides meet the same weather of a
// shared machine; the medians are compared.
const rounds = 3

type measured []float64

func (m measured) median() float64 {
	slices.Sort(m)
	return m[len(m)/2]
}

// report shows the medians and their ratio; it is returned for a bar.
func report(b *testing.B, ours, theirs measured) (ratio float64) {
	b.ReportMetric(ours.median(), "durable/s")
	b.ReportMetric(theirs.median(), "bare/s")
	ratio = ours.median() / theirs.median()
	b.ReportMetric(ratio, "ratio")
	b.ReportMetric(0, "ns/op")
	return ratio
}

// bar fails a benchmark that is below the bar.
func bar(b *testing.B, ratio float64) {
	if ratio < wantRatio {
		b.Errorf("ratio %.2f is below %.1f", ratio, wantRatio)
	}
}

func sameTopic(n int) Sent {
	s := message(n)
	s.Topic = "dewcase/" + caseID + "/k00"
	return s
}

// BenchmarkMosquittoBacklog drains what Mosquitto kept while nobody listened:
// the fastest a broker can deliver, with both cores for it and the receiver. It
// has no bar of its own: on two cores shared with other work it shows mostly how
// much of them the daemon, which has more to do, was given.
func BenchmarkMosquittoBacklog(b *testing.B) { backlog(b, message) }

// BenchmarkMosquittoBacklogOneLogger is the same with a single topic.
func BenchmarkMosquittoBacklogOneLogger(b *testing.B) { backlog(b, sameTopic) }

func backlog(b *testing.B, topics func(n int) Sent) {
	for b.Loop() {
		var ours, theirs measured
		for range rounds {
			broker := mosquittotest.Start(b, mosquittotest.Quick)
			s := newBare(b, broker)
			s.client.Disconnect(100)
			data := b.TempDir()
			d := served(b, data, "-broker", "mqtt://"+broker.Addr())
			patience.Until(b, "subscribed", func() bool { return d.Status("/readyz") == http.StatusOK })
			require.Zero(b, d.Stop(), d.Log())
			flatOut(b, broker.Addr(), 0, benchCount, topics)
			s.connect(b)
			patience.Until(b, "the bare subscriber has all", func() bool { return s.got.Load() >= benchCount })
			s.client.Disconnect(100)
			d = Serve(b, data, "-broker", "mqtt://"+broker.Addr())
			ours = append(ours, durable(b, d, benchCount))
			theirs = append(theirs, s.rate())
			require.Zero(b, d.Stop(), d.Log())
			broker.Stop()
		}
		report(b, ours, theirs)
	}
}

// BenchmarkMosquittoLive measures while publishers send flat out; broker,
// publishers and receiver share the machine.
func BenchmarkMosquittoLive(b *testing.B) { live(b, mosquittotest.Quick) }

// BenchmarkMosquittoUntuned is the same with Mosquitto's defaults: it sends 20
// messages and waits for an acknowledgement.
func BenchmarkMosquittoUntuned(b *testing.B) {
	live(b, "allow_anonymous true\nmax_queued_messages 0\n")
}

func live(b *testing.B, conf string) {
	for b.Loop() {
		var ours, theirs measured
		for range rounds {
			broker := mosquittotest.Start(b, conf)
			s := newBare(b, broker)
			flatOut(b, broker.Addr(), 0, benchCount, message)
			patience.Until(b, "the bare subscriber has all", func() bool { return s.got.Load() >= benchCount })
			s.client.Unsubscribe("dewcase/#").Wait()
			s.client.Disconnect(100)
			d := served(b, b.TempDir(), "-broker", "mqtt://"+broker.Addr())
			patience.Until(b, "subscribed", func() bool { return d.Status("/readyz") == http.StatusOK })
			rate := make(chan float64, 1)
			go func() { rate <- durable(b, d, benchCount) }()
			flatOut(b, broker.Addr(), 0, benchCount, message)
			ours = append(ours, <-rate)
			theirs = append(theirs, s.rate())
			require.Zero(b, d.Stop(), d.Log())
			broker.Stop()
		}
		bar(b, report(b, ours, theirs))
	}
}

// BenchmarkEmbeddedBroker compares what our own broker makes durable and
// acknowledges with what a bare subscriber receives through Mosquitto from the
// same publishers; beside it stands what Mosquitto acknowledges from memory.
func BenchmarkEmbeddedBroker(b *testing.B) { embedded(b, message) }

// BenchmarkEmbeddedBrokerOneLogger is the same with a single topic.
func BenchmarkEmbeddedBrokerOneLogger(b *testing.B) { embedded(b, sameTopic) }

func embedded(b *testing.B, topics func(n int) Sent) {
	for b.Loop() {
		var ours, theirs, memory measured
		for range rounds {
			broker := mosquittotest.Start(b, mosquittotest.Quick)
			memory = append(memory, benchCount/flatOut(b, broker.Addr(), 0, benchCount, topics).Seconds())
			s := newBare(b, broker)
			flatOut(b, broker.Addr(), 0, benchCount, topics)
			patience.Until(b, "the bare subscriber has all", func() bool { return s.got.Load() >= benchCount })
			theirs = append(theirs, s.rate())
			s.client.Disconnect(100)
			broker.Stop()
			d := served(b, b.TempDir())
			ours = append(ours, benchCount/flatOut(b, d.MQTT, 0, benchCount, topics).Seconds())
			require.EqualValues(b, benchCount, d.Metric("dewcase_readings_stored_total"))
			require.Zero(b, d.Stop(), d.Log())
		}
		b.ReportMetric(memory.median(), "mosquitto-acks/s")
		bar(b, report(b, ours, theirs))
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
		patience.Until(b, "subscribed", func() bool { return d.Status("/readyz") == http.StatusOK })
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
