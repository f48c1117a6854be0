package app

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"sync"
	"time"

	"dewcase/internal/door/http/api"
	"dewcase/internal/door/notify"
	"dewcase/internal/flow/watch"
	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
)

// Kinds of state that the alerts keep.
const (
	kindBook   = "alert_book" // by case
	kindSlow   = "alert_slow" // what the nightly work found, by case
	kindSecret = "secret"
	kindHome   = "home_token"
	// kindNoMailLinks says since when mails of a case carry no link; kindLinkSalt
	// is what the links of a case's mails are derived with.
	kindNoMailLinks = "home_no_mail_links"
	kindLinkSalt    = "home_link_salt"
	kindStopped     = "unsubscribed"
	// theDaemon keeps the troubles of the daemon itself; no case can be named so.
	theDaemon = "_daemon"
)

const (
	lookEvery  = time.Minute      // whether anything is new
	lookAnyway = 10 * time.Minute // also where no reading came: silence is a sign
	settleFor  = 5 * time.Second  // after readings came
	nightlyAt  = 12               // hour of the house's clock: a night is noon to noon
)

// bell watches every case and rings.
type bell struct {
	*App
	outbox *notify.Outbox
	topic  *notify.Topic
	secret []byte
	// via are the channels that are set up, by name.
	via map[string]bool

	// step is one at a time: a look, an acknowledgement, a hand-over.
	step  sync.Mutex
	cases map[string]*watched

	links sync.Mutex // of the householder: made, withdrawn

	// furtherTroubles are those of parts that are not always there, such as a
	// mirror.
	furtherTroubles []func() watch.Trouble

	heard  sync.Mutex
	counts map[string]map[string]*heardLogger // case, logger
	news   chan struct{}                      // readings came
}

// watched is what is at hand of one case.
type watched struct {
	book    *alert.Book
	saved   []byte
	version int64
	c       *roof.Case
	at      time.Time
	view    watch.View
	slow    *watch.Slow
	slowAt  time.Time // when the nightly work was last tried
	chance  *float64
	fault   string // why the last look failed
}

// heardLogger counts what came of a logger by the hour of its arrival, because a
// reading with a wrong clock is not dated when it came.
type heardLogger struct {
	last  time.Time
	hours map[int64][2]int // readings, of these with a clock that cannot be right
}

func (a *App) openAlerts(ctx context.Context) error {
	b := &bell{App: a, cases: map[string]*watched{}, counts: map[string]map[string]*heardLogger{}, via: map[string]bool{},
		news: make(chan struct{}, 1)}
	if a.drain != nil {
		b.furtherTroubles = append(b.furtherTroubles, a.mirrorTrouble)
	}
	channels, err := b.channels(a.opt.Config.Alerts)
	if err != nil {
		return fmt.Errorf("reaching people (alerts): %w", err)
	}
	for _, c := range channels {
		b.via[c.Name()] = true
	}
	if b.outbox, err = notify.Open(ctx, a.store, channels, a.opt.Now, a.opt.Log); err != nil {
		return err
	}
	if b.secret, err = b.ownSecret(ctx); err != nil {
		return err
	}
	b.topic = notify.NewTopic(a.publish)
	a.bell.Store(b)
	run, stop := context.WithCancel(a.base)
	var all sync.WaitGroup
	all.Go(func() { b.outbox.Run(run) })
	all.Go(func() { b.run(run) })
	a.onStop("the alerts", func(context.Context) error { stop(); all.Wait(); return nil })
	b.meters()
	return nil
}

// publish sends one of our own messages to the broker that is in use.
func (a *App) publish(topic string, payload []byte, retained bool) error {
	switch {
	case a.broker != nil:
		return a.broker.Publish(topic, payload, retained)
	case a.feed != nil:
		return a.feed.Publish(topic, payload, retained)
	}
	return errors.New("no broker is in use")
}

func (b *bell) run(ctx context.Context) {
	t := time.NewTicker(lookEvery)
	defer t.Stop()
	for {
		b.round(ctx)
		select {
		case <-ctx.Done():
			return
		case <-t.C:
		case <-b.news:
			// What comes together is looked at together.
			select {
			case <-ctx.Done():
				return
			case <-time.After(settleFor):
			}
		}
	}
}

// round looks at every case that has something new, and at the daemon itself.
func (b *bell) round(ctx context.Context) {
	for _, e := range b.book.All() {
		if ctx.Err() != nil {
			return
		}
		if err := b.look(ctx, e.Case); err != nil && ctx.Err() == nil {
			b.step.Lock()
			w := b.cases[e.Case.ID]
			if w != nil && w.fault != err.Error() {
				w.fault = err.Error()
				b.opt.Log.Error("a case could not be watched", "case", e.Case.ID, "error", err)
			}
			b.step.Unlock()
		}
	}
	if err := b.digest(ctx, b.opt.Now().UTC()); err != nil && ctx.Err() == nil {
		b.opt.Log.Error("a summary could not be sent", "error", err)
	}
	if err := b.daemon(ctx); err != nil && ctx.Err() == nil {
		b.opt.Log.Error("the daemon's own troubles could not be judged", "error", err)
	}
}

// of is what is at hand of a case, loaded the first time.
func (b *bell) of(ctx context.Context, id string) (*watched, error) {
	if w := b.cases[id]; w != nil {
		return w, nil
	}
	w := &watched{book: &alert.Book{}}
	blob, err := b.store.State(ctx, kindBook, id)
	switch {
	case errors.Is(err, roof.ErrNotFound):
	case err != nil:
		return nil, fmt.Errorf("reading the alerts of %s: %w", id, err)
	default:
		if err := json.Unmarshal(blob, w.book); err != nil {
			return nil, fmt.Errorf("reading the alerts of %s: %w", id, err)
		}
		w.saved = blob
	}
	if blob, err = b.store.State(ctx, kindSlow, id); err == nil {
		w.slow = &watch.Slow{}
		if json.Unmarshal(blob, w.slow) != nil {
			w.slow = nil
		}
	}
	b.cases[id] = w
	return w, nil
}

// look takes one case a step further: what its record shows, what that raises
// or clears, and whom that must be told.
func (b *bell) look(ctx context.Context, c *roof.Case) error {
	b.nightly(ctx, c, b.opt.Now().UTC())
	return b.glance(ctx, c)
}

// glance is a look without the nightly work, which can take seconds.
func (b *bell) glance(ctx context.Context, c *roof.Case) error {
	now := b.opt.Now().UTC()
	b.step.Lock()
	defer b.step.Unlock()
	w, err := b.of(ctx, c.ID)
	if err != nil {
		return err
	}
	version := b.record.Version(c.ID)
	if w.c == c && w.version == version && now.Sub(w.at) < lookAnyway && len(w.book.Planned) == 0 {
		return nil
	}
	in, err := b.input(ctx, c, w, now)
	if err != nil {
		return err
	}
	w.view = watch.Look(in)
	w.c, w.version, w.at, w.fault = c, version, now, ""
	w.book.Judge(w.view.Level, now)
	rules := alert.RulesOf(c.Alerts)
	alert.Step(w.book, w.view.Signs, rules, now)
	plan := alert.PlanInput{Case: c, Rules: rules, Links: b.pageLinks(c.ID)}
	if w.chance = in.Chance; w.chance != nil {
		plan.Tonight = alert.Chance{P: *w.chance, Known: true}
	}
	w.book.Planned = append(w.book.Planned, alert.Plan(w.book, plan, now)...)
	return b.settle(ctx, c, w)
}

// settle makes a step durable and hands over what is due. The messages are kept
// with the step that planned them and dropped once the outbox has them, so that
// a crash at any point neither loses nor doubles one.
func (b *bell) settle(ctx context.Context, c *roof.Case, w *watched) error {
	if err := b.save(ctx, c.ID, w); err != nil {
		return err
	}
	if len(w.book.Planned) > 0 {
		for _, m := range w.book.Planned {
			if err := b.post(ctx, c, m); err != nil {
				return err
			}
		}
		w.book.Planned = nil
		if err := b.save(ctx, c.ID, w); err != nil {
			return err
		}
	}
	if c.ID == theDaemon {
		return nil
	}
	if err := b.topic.Say(ctx, notify.StateOf(c.ID, sentence(c, w, b.opt.Now().UTC()).now, w.book, w.chance, b.opt.Now()),
		b.opt.Now()); err != nil {
		b.opt.Log.Debug("a case's state could not be published", "case", c.ID, "error", err)
	}
	return nil
}

func (b *bell) save(ctx context.Context, id string, w *watched) error {
	blob, err := json.Marshal(w.book)
	if err != nil {
		return fmt.Errorf("writing the alerts of %s: %w", id, err)
	}
	if string(blob) == string(w.saved) {
		return nil
	}
	if err := b.store.PutState(ctx, kindBook, id, blob); err != nil {
		return fmt.Errorf("keeping the alerts of %s: %w", id, err)
	}
	w.saved = blob
	return nil
}

// daemon watches the daemon itself; its troubles reach the consultant only.
func (b *bell) daemon(ctx context.Context) error {
	now := b.opt.Now().UTC()
	b.step.Lock()
	defer b.step.Unlock()
	w, err := b.of(ctx, theDaemon)
	if err != nil {
		return err
	}
	c := &roof.Case{ID: theDaemon, Property: roof.Property{Label: "dewcase"},
		Contacts: roof.Contacts{Consultant: b.opt.Config.Alerts.Consultant}}
	w.view = watch.Look(watch.Input{Case: c, Now: now, Trouble: b.troubles()})
	rules := alert.RulesOf(c.Alerts)
	alert.Step(w.book, w.view.Signs, rules, now)
	plan := alert.PlanInput{Case: c, Rules: rules}
	if base := b.opt.Config.HTTP.PublicURL; base != "" {
		plan.Links.Alerts = trimSlash(base) + "/alerts"
	}
	w.book.Planned = append(w.book.Planned, alert.Plan(w.book, plan, now)...)
	w.c = c
	return b.settle(ctx, c, w)
}

func (b *bell) troubles() []watch.Trouble {
	store := watch.Trouble{Part: "store"}
	if f := b.store.Failing(); f != nil {
		store.Words, store.Since = fmt.Sprintf("the store cannot write: %v", f.Err), f.Since
	}
	broker := watch.Trouble{Part: "broker"}
	if b.feed != nil {
		if s := b.feed.Status(); !s.Ready() {
			broker.Words = trouble(s)
		}
	}
	disk := watch.Trouble{Part: "disk"}
	if free, total, err := diskSpace(b.opt.Config.Data); err == nil && total > 0 && float64(free) < 0.1*float64(total) &&
		free < 2<<30 {
		disk.Words = fmt.Sprintf("%d MB are left on the disk of the data folder", free>>20)
	}
	out := []watch.Trouble{store, disk, broker}
	for _, h := range b.outbox.Health() {
		t := watch.Trouble{Part: h.Channel}
		if h.Failing != "" {
			t.Words, t.Since = fmt.Sprintf("messages waiting %d: %s", h.Waiting, h.Failing), h.Since
		}
		out = append(out, t)
	}
	for _, say := range b.furtherTroubles {
		out = append(out, say())
	}
	return out
}

// AlertsOf lists a case's alerts for the API, those in force first.
func (b *bell) AlertsOf(ctx context.Context, caseID string) ([]api.Alert, error) {
	b.step.Lock()
	defer b.step.Unlock()
	w, err := b.of(ctx, caseID)
	if err != nil {
		return nil, err
	}
	open, done := []api.Alert{}, []api.Alert{}
	for _, x := range w.book.Alerts {
		if x.State == "" {
			continue
		}
		row := api.Alert{ID: x.ID, Condition: string(x.Condition), Position: x.Position, State: string(x.State),
			Since: x.Since.UTC(), Text: x.Line(zoneOf(w.c)), AckBy: x.AckBy, Evidence: evidenceLink(caseID, x)}
		if x.State == alert.Snoozed {
			until := x.SnoozedTo.UTC()
			row.SnoozedTo = &until
		}
		if x.State == alert.Cleared {
			at := x.Cleared.UTC()
			row.Cleared = &at
			done = append(done, row)
			continue
		}
		open = append(open, row)
	}
	return append(open, done...), nil
}

func zoneOf(c *roof.Case) *time.Location {
	if c == nil {
		return nil
	}
	return c.Property.Zone
}

// Acknowledge marks an alert as seen.
func (b *bell) Acknowledge(ctx context.Context, caseID, id, by string) error {
	return b.change(ctx, caseID, func(k *alert.Book, now time.Time) error {
		_, err := k.Acknowledge(id, by, now)
		return err
	})
}

// Snooze keeps an alert quiet for a while.
func (b *bell) Snooze(ctx context.Context, caseID, id, by string, d time.Duration) error {
	return b.change(ctx, caseID, func(k *alert.Book, now time.Time) error {
		_, err := k.Snooze(id, by, now.Add(d), now)
		return err
	})
}

func (b *bell) change(ctx context.Context, caseID string, do func(*alert.Book, time.Time) error) error {
	b.step.Lock()
	defer b.step.Unlock()
	w, err := b.of(ctx, caseID)
	if err != nil {
		return err
	}
	if err := do(w.book, b.opt.Now().UTC()); err != nil {
		return err
	}
	if e, err := b.book.Get(caseID); err == nil {
		return b.settle(ctx, e.Case, w)
	}
	return b.save(ctx, caseID, w)
}

// meters shows on /metrics how messages to people flow.
func (b *bell) meters() {
	for name := range b.via {
		of := func() notify.Health {
			for _, h := range b.outbox.Health() {
				if h.Channel == name {
					return h
				}
			}
			return notify.Health{}
		}
		labels := map[string]string{"channel": name}
		b.metrics.Gauge("dewcase_messages_waiting", "Messages to people not yet delivered.", labels,
			func() float64 { return float64(of().Waiting) })
		b.metrics.Counter("dewcase_messages_sent_total", "Messages delivered to people since the start.", labels,
			func() float64 { return float64(of().Sent) })
		b.metrics.Gauge("dewcase_messages_failing", "1 while the last delivery on the channel failed.", labels,
			func() float64 {
				if of().Failing != "" {
					return 1
				}
				return 0
			})
	}
}
