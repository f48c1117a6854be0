package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"dewcase/internal/roof"
)

// gateways are the connections that the houses share.
const gateways = 32

// loggers publish.
type loggers struct {
	town   *town
	since  time.Time // by the daemon's clock
	due    []turn    // of one round, in the order of time
	round  int       // that is sent next
	via    []mqtt.Client
	under  sync.WaitGroup // messages not yet acknowledged
	mu     sync.Mutex
	acks   []time.Duration
	failed error
	wet    map[int]int          // houses whose covering is wetted: readings so far
	wetted map[string]time.Time // when the one was sent that completes the wetting
}

// turn is one logger's place in a round.
type turn struct {
	house, logger int
	at            time.Duration
}

// Every wetEvery-th house is wetted, by a covering wetK colder than it was; it
// takes wetReadings at most until the wetting counts, which is after 20 minutes.
const (
	wetEvery    = 20
	wetK        = 25.0
	wetReadings = int(20*time.Minute/interval) + 2
)

func newLoggers(ctx context.Context, t *town, c *child) (*loggers, error) {
	l := &loggers{town: t, since: t.now(), wet: map[int]int{}, wetted: map[string]time.Time{}}
	for n := range t.houses {
		h := t.house(n)
		for k := range h.loggers {
			l.due = append(l.due, turn{n, k, h.phase(k)})
		}
	}
	slices.SortFunc(l.due, func(a, b turn) int { return cmp.Compare(a.at, b.at) })
	for k := range gateways {
		via := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + c.mqtt).SetClientID(fmt.Sprint("gateway-", k)).
			SetOrderMatters(false))
		tok := via.Connect()
		if tok.Wait(); tok.Error() != nil {
			return nil, tok.Error()
		}
		l.via = append(l.via, via)
	}
	l.round = max(0, int(t.now().Sub(nowhere)/interval)) // the one that has begun
	return l, ctx.Err()
}

// now is the time by the daemon's clock.
func (t *town) now() time.Time {
	return nowhere.Add(time.Duration(float64(time.Since(t.began)) * t.speed))
}

func (l *loggers) stop() {
	for _, v := range l.via {
		v.Disconnect(100)
	}
}

// run publishes a number of rounds at their time and waits for the last
// acknowledgement. What was due before there were loggers is left out.
func (l *loggers) run(ctx context.Context, rounds int) ([]time.Duration, error) {
	l.acks = nil
	for end := l.round + rounds; l.round < end; l.round++ {
		for _, d := range l.due {
			h := l.town.house(d.house)
			k := h.had + l.round
			at := h.at(d.logger, k)
			if at.Before(l.since) {
				continue
			}
			if wait := time.Duration(float64(at.Sub(l.town.now())) / l.town.speed); wait > 0 {
				select {
				case <-ctx.Done():
					return nil, ctx.Err()
				case <-time.After(wait):
				}
			}
			l.send(h, d.logger, k, at)
		}
	}
	l.under.Wait()
	return l.acks, l.failed
}

func (l *loggers) send(h house, n, k int, at time.Time) {
	v, lg := h.values(n, k), h.loggers[n]
	t, _ := v.Get(roof.TempC)
	sent := time.Now()
	if lg.covers && h.n%wetEvery == 0 {
		t -= wetK
		if l.wet[h.n]++; l.wet[h.n] == wetReadings {
			l.wetted[h.id] = l.town.now()
		}
	}
	payload := fmt.Sprintf(`{"time":%q,"temp_c":%.2f`, at.UTC().Format(time.RFC3339Nano), t)
	if rh, ok := v.Get(roof.RHPct); ok {
		payload += fmt.Sprintf(`,"rh_pct":%.2f`, rh)
	}
	tok := l.via[h.n%gateways].Publish("dewcase/"+h.id+"/"+lg.id, 1, false, payload+"}")
	l.under.Go(func() {
		ok := tok.WaitTimeout(5 * time.Minute)
		l.mu.Lock()
		defer l.mu.Unlock()
		if err := tok.Error(); err != nil || !ok {
			l.failed = errors.Join(err, errors.New("a reading was not acknowledged within 5 minutes"))
		}
		l.acks = append(l.acks, time.Since(sent))
	})
}
