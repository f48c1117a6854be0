package crashtest

import (
	"fmt"
	"net/http"
	"os"
	"path/filepath"
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
// durable readings a second, over what a bare QoS 1 subscriber receives from the
// same Mosquitto that does nothing, and over what one makes durable that writes
// each message into a file and acknowledges it after a sync. One sync serves all
// that waits by then, as the daemon's do.
const (
	wantRatio  = 0.6
	wantSynced = 0.8
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

// bare is a subscriber with a session that the broker keeps. It does nothing, or
// only what it must to have lost no message that it acknowledged.
type bare struct {
	client      paho.Client
	got         atomic.Int64
	had         atomic.Int64 // at first
	first, last atomic.Int64
}

func newBare(b *testing.B, broker *mosquittotest.Broker, syncs bool) *bare {
	s := &bare{}
	options := paho.NewClientOptions().AddBroker("tcp://" + broker.Addr()).SetClientID("bare").SetCleanSession(false)
	options.SetDefaultPublishHandler(func(paho.Client, paho.Message) { s.took(1) })
	if syncs {
		options.SetAutoAckDisabled(true).SetDefaultPublishHandler(s.syncing(b))
	}
	s.client = paho.NewClient(options)
	s.connect(b)
	tok := s.client.Subscribe("dewcase/#", 1, nil)
	tok.Wait()
	require.NoError(b, tok.Error())
	return s
}

func (s *bare) took(n int) {
	now := time.Now().UnixNano()
	if s.got.Add(int64(n)) == int64(n) {
		s.had.Store(int64(n))
		s.first.Store(now)
	}
	s.last.Store(now)
}

// syncing takes messages for a writer that appends whatever waits to a file, syncs
// it and acknowledges.
func (s *bare) syncing(b *testing.B) paho.MessageHandler {
	f, err := os.Create(filepath.Join(b.TempDir(), "messages"))
	require.NoError(b, err)
	waiting := make(chan paho.Message, 1<<16)
	var writer sync.WaitGroup
	writer.Go(func() {
		var lines []byte
		for m := range waiting {
			batch := []paho.Message{m}
			for len(waiting) > 0 {
				batch = append(batch, <-waiting)
			}
			lines = lines[:0]
			for _, m := range batch {
				lines = append(append(append(append(lines, m.Topic()...), ' '), m.Payload()...), '\n')
			}
			if _, err := f.Write(lines); err != nil {
				b.Error(err)
			}
			if err := f.Sync(); err != nil {
				b.Error(err)
			}
			for _, m := range batch {
				m.Ack()
			}
			s.took(len(batch))
		}
	})
	b.Cleanup(func() {
		close(waiting)
		writer.Wait()
		_ = f.Close()
	})
	return func(_ paho.Client, m paho.Message) { waiting <- m }
}

// flatOut has publishers send to it, and gives its rate once it has everything.
func (s *bare) flatOut(b *testing.B, broker *mosquittotest.Broker, topics func(n int) Sent) float64 {
	flatOut(b, broker.Addr(), 0, benchCount, topics)
	patience.Until(b, "the bare subscriber has all", func() bool { return s.got.Load() >= benchCount })
	s.client.Unsubscribe("dewcase/#").Wait()
	s.client.Disconnect(100)
	return s.rate()
}

func (s *bare) connect(b *testing.B) {
	tok := s.client.Connect()
	tok.Wait()
	require.NoError(b, tok.Error())
}

func (s *bare) rate() float64 {
	return float64(s.got.Load()-s.had.Load()) / time.Duration(s.last.Load()-s.first.Load()).Seconds()
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

// against shows the median of a bare subscriber that syncs and the ratio to it,
// and fails a benchmark that is below the bar.
func (m measured) against(b *testing.B, synced measured) {
	ratio := m.median() / synced.median()
	b.ReportMetric(synced.median(), "bare-synced/s")
	b.ReportMetric(ratio, "ratio-synced")
	if ratio < wantSynced {
		b.Errorf("ratio %.2f to a bare subscriber that syncs is below %.1f", ratio, wantSynced)
	}
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
			s := newBare(b, broker, false)
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
		var ours, theirs, synced measured
		for range rounds {
			broker := mosquittotest.Start(b, conf)
			theirs = append(theirs, newBare(b, broker, false).flatOut(b, broker, message))
			synced = append(synced, newBare(b, broker, true).flatOut(b, broker, message))
			d := served(b, b.TempDir(), "-broker", "mqtt://"+broker.Addr())
			patience.Until(b, "subscribed", func() bool { return d.Status("/readyz") == http.StatusOK })
			rate := make(chan float64, 1)
			go func() { rate <- durable(b, d, benchCount) }()
			flatOut(b, broker.Addr(), 0, benchCount, message)
			ours = append(ours, <-rate)
			require.Zero(b, d.Stop(), d.Log())
			broker.Stop()
		}
		ours.against(b, synced)
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
		var ours, theirs, synced, memory measured
		for range rounds {
			broker := mosquittotest.Start(b, mosquittotest.Quick)
			memory = append(memory, benchCount/flatOut(b, broker.Addr(), 0, benchCount, topics).Seconds())
			theirs = append(theirs, newBare(b, broker, false).flatOut(b, broker, topics))
			synced = append(synced, newBare(b, broker, true).flatOut(b, broker, topics))
			broker.Stop()
			d := served(b, b.TempDir())
			ours = append(ours, benchCount/flatOut(b, d.MQTT, 0, benchCount, topics).Seconds())
			require.EqualValues(b, benchCount, d.Metric("dewcase_readings_stored_total"))
			require.Zero(b, d.Stop(), d.Log())
		}
		b.ReportMetric(memory.median(), "mosquitto-acks/s")
		ours.against(b, synced)
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
