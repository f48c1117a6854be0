package app

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"slices"
	"sync"
	"time"

	"dewcase/internal/door/http/web"
	"dewcase/internal/door/mqtt/mqttfeed"
	"dewcase/internal/door/notify"
	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/flow/announced"
	"dewcase/internal/flow/casebook"
	"dewcase/internal/flow/payload"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/roof"
	"dewcase/internal/run/config"
)

// Kinds of state that the exchange of descriptions keeps.
const (
	kindSwitch = "discovery" // key "switch": what a person switched on or off
	kindSensor = "announced_sensor"
)

const (
	announceEvery = time.Minute
	// announceAgain is after how long a failed round is tried again: at a start the
	// broker is often not reached yet.
	announceAgain = 3 * time.Second
	// maxSensors bounds the announcements that are kept; a broker's other devices
	// announce themselves too, but those are not kept.
	maxSensors = 500
)

// discovery exchanges descriptions with home automation, both ways.
type discovery struct {
	announcer *notify.Announcer
	store     *sqlite.Store
	book      *casebook.Book
	now       func() time.Time
	log       *slog.Logger
	subscribe func() // to the topics that are wanted now
	wake      chan struct{}

	mu      sync.Mutex
	conf    config.Discovery
	person  *web.Discovery // what a person switched; nil: as the configuration says
	sensors map[string]announced.Sensor
	cannot  map[string]string // announcements of our quantities that cannot be read, and why
}

func (a *App) openDiscovery(ctx context.Context) error {
	c := a.opt.Config.MQTT
	d := &discovery{store: a.store, book: a.book, now: a.opt.Now, log: a.opt.Log, subscribe: a.subscribe,
		conf: c.Discovery, wake: make(chan struct{}, 1), sensors: map[string]announced.Sensor{},
		cannot: map[string]string{}}
	d.announcer = notify.NewAnnouncer(notify.AnnouncerOptions{Publish: a.publish, State: a.store,
		Prefix: c.Discovery.Prefix, ClientID: c.ClientID, Version: a.opt.Version})
	a.discovery = d
	a.book.OnChange(func(string) { d.soon() })
	blob, err := a.store.State(ctx, kindSwitch, "switch")
	if err == nil {
		d.person = &web.Discovery{}
		err = json.Unmarshal(blob, d.person)
	}
	if err != nil && !errors.Is(err, roof.ErrNotFound) {
		return fmt.Errorf("reading whether houses are announced: %w", err)
	}
	kept, err := a.store.States(ctx, kindSensor)
	if err != nil {
		return err
	}
	for _, k := range kept {
		var s announced.Sensor
		if json.Unmarshal(k.Blob, &s) == nil {
			d.sensors[k.Key] = s
		}
	}
	return nil
}

// startDiscovery keeps the broker's descriptions in step with the houses.
func (a *App) startDiscovery(context.Context) error {
	run, stop := context.WithCancel(a.base)
	var work sync.WaitGroup
	work.Go(func() { a.discovery.run(run) })
	a.onStop("the announcements", func(context.Context) error {
		stop()
		work.Wait()
		if p := a.presence(); a.broker != nil && p.Wanted() {
			return a.broker.Publish(p.Topic, []byte(p.Off), true)
		}
		return nil
	})
	return nil
}

// presence is the topic that says whether this daemon is there.
func (a *App) presence() *mqttfeed.Presence {
	return &mqttfeed.Presence{Topic: notify.Availability(a.opt.Config.MQTT.ClientID), On: notify.Online,
		Off: notify.Offline, Wanted: func() bool { return a.discovery.State().Announce }}
}

func (d *discovery) run(ctx context.Context) {
	for ctx.Err() == nil {
		next := announceEvery
		if err := d.announcer.Announce(ctx, d.State().Announce, d.book.All(), d.now()); err != nil && ctx.Err() == nil {
			d.log.Debug("houses could not be announced", "error", err)
			next = announceAgain
		}
		select {
		case <-ctx.Done():
		case <-time.After(next):
		case <-d.wake:
		}
	}
}

func (d *discovery) soon() {
	select {
	case d.wake <- struct{}{}:
	default:
	}
}

// State says what is switched on, by whom.
func (d *discovery) State() web.Discovery {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.person != nil {
		return *d.person
	}
	return web.Discovery{Announce: d.conf.Announce, Listen: d.conf.Listen}
}

// Switch turns either direction on or off, whatever the configuration says.
func (d *discovery) Switch(ctx context.Context, to web.Discovery) error {
	to.At = d.now().UTC().Truncate(time.Second)
	blob, err := json.Marshal(to)
	if err == nil {
		err = d.store.PutState(ctx, kindSwitch, "switch", blob)
	}
	if err != nil {
		return fmt.Errorf("switching the announcements: %w", err)
	}
	d.mu.Lock()
	d.person = &to
	d.mu.Unlock()
	d.changed()
	return nil
}

// reconfigure takes over what a configuration that was read again says.
func (d *discovery) reconfigure(c config.Discovery) {
	d.mu.Lock()
	d.conf.Announce, d.conf.Listen = c.Announce, c.Listen
	d.mu.Unlock()
	d.changed()
}

func (d *discovery) changed() {
	d.soon()
	d.subscribe()
}

// filters are the topics that announcements come on; none while nobody listens.
func (d *discovery) filters() []string {
	if !d.State().Listen {
		return nil
	}
	return announced.Filters(d.conf.Prefix)
}

// take keeps a sensor's announcement; false where the message is none, or nobody
// listens.
func (d *discovery) take(ctx context.Context, m payload.Message) (taken bool, err error) {
	if !announced.On(d.conf.Prefix, m.Topic) || !d.State().Listen {
		return false, nil
	}
	s, wrong := announced.Read(d.conf.Prefix, m.Topic, m.Payload)
	d.mu.Lock()
	before, had := d.sensors[m.Topic]
	full := !had && len(d.sensors) >= maxSensors
	d.mu.Unlock()
	switch {
	case len(m.Payload) == 0 || errors.Is(wrong, announced.ErrOther), wrong == nil && notify.Ours(s.ID):
		wrong = nil
	case wrong == nil && had && before == s:
		return true, nil
	case wrong == nil && !full:
		blob, err := json.Marshal(s)
		if err == nil {
			err = d.store.PutState(ctx, kindSensor, m.Topic, blob)
		}
		if err != nil {
			return true, fmt.Errorf("keeping what %s announces: %w", m.Topic, err)
		}
		d.mu.Lock()
		d.sensors[m.Topic] = s
		delete(d.cannot, m.Topic)
		d.mu.Unlock()
		return true, nil
	}
	d.mu.Lock()
	delete(d.cannot, m.Topic)
	if wrong != nil && len(d.cannot) < maxSensors {
		d.cannot[m.Topic] = wrong.Error()
	}
	delete(d.sensors, m.Topic)
	d.mu.Unlock()
	if had {
		if err := d.store.DeleteState(ctx, kindSensor, m.Topic); err != nil {
			return true, err
		}
	}
	return true, nil
}

// Offers lists the loggers that sensors announced, and what cannot be read of them.
func (d *discovery) Offers() (offers []announced.Offer, cannot []string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	var all []announced.Sensor
	for _, s := range d.sensors {
		all = append(all, s)
	}
	for topic, why := range d.cannot {
		cannot = append(cannot, topic+": "+why)
	}
	slices.Sort(cannot)
	return announced.Offers(all), cannot
}

// placesNow are a house's margins and dew points of now, where they are announced.
func (a *App) placesNow(ctx context.Context, caseID string) map[string]notify.PlaceNow {
	if !a.discovery.State().Announce {
		return nil
	}
	now := a.opt.Now()
	v, err := a.views().Timeline(ctx, caseID, now.Add(-latestWithin), now, 0)
	if err != nil {
		a.opt.Log.Debug("the figures of now could not be read", "case", caseID, "error", err)
	}
	return placesOf(v)
}

// placesOf are the last figures of a stretch of the record.
func placesOf(v timeline.View) map[string]notify.PlaceNow {
	last := func(c timeline.Column) *float64 {
		for i := len(v.Time) - 1; i >= 0; i-- {
			if x, ok := c.Get(i); ok {
				x = math.Round(x*10) / 10
				return &x
			}
		}
		return nil
	}
	out := map[string]notify.PlaceNow{}
	for _, p := range v.Positions {
		if p.Place.IsAir() {
			out[p.Position] = notify.PlaceNow{"dew_point_c": last(p.DewPointC.Mean)}
		}
	}
	for _, s := range v.Surfaces {
		out[s.Surface] = notify.PlaceNow{"margin_k": last(s.MarginK.Mean)}
	}
	return out
}
