package demo

import (
	"context"
	"crypto/tls"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// Options say where and how fast to publish.
type Options struct {
	Broker         string // HOST:PORT, mqtt://HOST:PORT or mqtts://HOST:PORT
	User, Password string
	TLS            *tls.Config
	Now            func() time.Time // nil: the clock
	Speed          float64          // of the last stretch before now; 0: 30 (five minutes every ten seconds)
	Progress       io.Writer        // nil: silent
}

// Bounds of publishing. Sixteen messages under way keep the broker's disk busy
// and hold under 1 MiB.
const (
	underWay       = 16
	defaultSpeed   = 30
	connectTimeout = 20 * time.Second
	writeTimeout   = 30 * time.Second
	longestPause   = 250 * time.Millisecond // so that a clock set anew is noticed
)

// Run publishes until the context ends or the invented winter is over. The case
// files must be stored before.
func (d *Demo) Run(ctx context.Context, o Options) error {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Speed <= 0 {
		o.Speed = defaultSpeed
	}
	client, err := connect(ctx, o)
	if err != nil {
		return err
	}
	defer client.Disconnect(500)
	cut := d.now.Add(-leftForLive)
	if err := d.loadHistory(ctx, client, cut, o); err != nil {
		return err
	}
	return d.play(ctx, client, cut, o)
}

func connect(ctx context.Context, o Options) (mqtt.Client, error) {
	url := o.Broker
	url = strings.Replace(url, "mqtts://", "ssl://", 1)
	url = strings.Replace(url, "mqtt://", "tcp://", 1)
	if !strings.Contains(url, "://") {
		url = "tcp://" + url
	}
	opts := mqtt.NewClientOptions().AddBroker(url).SetClientID("dewcase-demo").SetUsername(o.User).SetPassword(o.Password).
		SetCleanSession(true).SetOrderMatters(false).SetConnectTimeout(connectTimeout).SetWriteTimeout(writeTimeout).
		SetAutoReconnect(true).SetMaxReconnectInterval(10 * time.Second)
	if o.TLS != nil {
		opts.SetTLSConfig(o.TLS)
	}
	client := mqtt.NewClient(opts)
	if err := wait(ctx, client.Connect()); err != nil {
		return nil, fmt.Errorf("the demo's loggers can't reach the broker at %s: %w", o.Broker, err)
	}
	return client, nil
}

// wait ends with the token or the context.
func wait(ctx context.Context, t mqtt.Token) error {
	select {
	case <-t.Done():
		return t.Error()
	case <-ctx.Done():
		return ctx.Err()
	}
}

// loadHistory publishes everything before the cut, several messages under way.
func (d *Demo) loadHistory(ctx context.Context, client mqtt.Client, cut time.Time, o Options) error {
	var all []message
	for _, h := range d.houses {
		all = append(all, h.history(cut)...)
	}
	slices.SortStableFunc(all, func(a, b message) int { return a.due.Compare(b.due) })
	total := 0
	for _, m := range all {
		total += len(m.readings)
	}
	p := newProgress(o.Progress, total, o.Now)
	type sent struct {
		token    mqtt.Token
		readings int
	}
	var flying []sent
	land := func() error {
		if err := wait(ctx, flying[0].token); err != nil {
			return fmt.Errorf("publishing the demo's history: %w", err)
		}
		p.add(flying[0].readings)
		flying = flying[1:]
		return nil
	}
	for i := range all {
		if len(flying) == underWay {
			if err := land(); err != nil {
				return err
			}
		}
		flying = append(flying, sent{client.Publish(all[i].topic, 1, false, all[i].payload()), len(all[i].readings)})
	}
	for len(flying) > 0 {
		if err := land(); err != nil {
			return err
		}
	}
	p.end("%s readings of an invented winter are loaded (%.0f s). The last %.0f minutes follow at %.0f times the "+
		"speed, then in real time.",
		thousands(total), o.Now().Sub(p.started).Seconds(), leftForLive.Minutes(), o.Speed)
	return nil
}

// play publishes what follows the cut: its own clock runs faster until it meets
// the real one, and never gets ahead of it.
func (d *Demo) play(ctx context.Context, client mqtt.Client, cut time.Time, o Options) error {
	var all []message
	for _, h := range d.houses {
		all = append(all, h.live(cut)...)
	}
	slices.SortStableFunc(all, func(a, b message) int { return a.due.Compare(b.due) })
	begin := o.Now()
	pause := time.NewTimer(0)
	defer pause.Stop()
	for i := range all {
		for {
			now := o.Now()
			played := cut.Add(time.Duration(float64(now.Sub(begin)) * o.Speed))
			if played.After(now) {
				played = now
			}
			ahead := all[i].due.Sub(played)
			if ahead <= 0 {
				break
			}
			if played.Before(now) {
				ahead = time.Duration(float64(ahead) / o.Speed)
			}
			pause.Reset(min(max(ahead, time.Millisecond), longestPause))
			select {
			case <-ctx.Done():
				return nil
			case <-pause.C:
			}
		}
		// One at a time, as loggers do; a broker that is away for a while gets it later.
		if err := wait(ctx, client.Publish(all[i].topic, 1, false, all[i].payload())); err != nil {
			if ctx.Err() != nil {
				return nil
			}
			return fmt.Errorf("publishing the demo's readings: %w", err)
		}
	}
	return nil
}
