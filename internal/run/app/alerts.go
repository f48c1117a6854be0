package app

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"

	"dewcase/internal/door/notify"
	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/flow/payload"
	"dewcase/internal/flow/record"
	"dewcase/internal/flow/watch"
	"dewcase/internal/roof"
	"dewcase/internal/run/bell"
	"dewcase/internal/run/config"
)

// evidence is the record as the alert service asks for it.
type evidence struct {
	*record.Reader
	roof.ReadingStore
	*assessor
}

func (a *App) openAlerts(ctx context.Context) error {
	c := a.opt.Config.Alerts
	reach, err := bell.NewReach(ctx, bell.ReachOptions{Cases: a.book, State: a.store,
		PublicURL: a.opt.Config.HTTP.PublicURL, Mail: c.SMTPHost != "", Consultant: c.Consultant,
		Now: a.opt.Now, Log: a.opt.Log})
	if err != nil {
		return err
	}
	channels, err := a.channels(c, reach)
	if err != nil {
		return fmt.Errorf("reaching people (alerts): %w", err)
	}
	if a.outbox, err = notify.Open(ctx, a.store, channels, a.opt.Now, a.opt.Log); err != nil {
		return err
	}
	a.bell = bell.New(bell.Options{Record: evidence{a.record, a.readings, a.assessor}, Reach: reach, Outbox: a.outbox,
		Publish: a.publish, Places: a.placesNow, Troubles: a.troubles, DigestAt: c.DigestAt, Demo: a.opt.Demo,
		Changed: a.alertsChanged, Pace: a.opt.Pace, Log: a.opt.Log})
	a.mover = a.newMover()
	a.mover.leaveOut()
	a.channelGauges()
	a.alertGauges()
	return nil
}

// startAlerts lets the alert service look and the outbox deliver.
func (a *App) startAlerts(context.Context) error {
	run, stop := context.WithCancel(a.base)
	var all sync.WaitGroup
	all.Go(func() { a.outbox.Run(run) })
	all.Go(func() { a.bell.Run(run) })
	a.onStop("the alerts", func(context.Context) error { stop(); all.Wait(); return nil })
	return nil
}

func (a *App) channels(c config.Alerts, reach *bell.Reach) ([]notify.Channel, error) {
	var out []notify.Channel
	if c.SMTPHost != "" {
		password, err := config.Secret(c.SMTPPasswordFile, "DEWCASE_SMTP_PASSWORD")
		if err != nil {
			return nil, fmt.Errorf("the mail password: %w", err)
		}
		m, err := notify.NewMail(notify.MailOptions{Host: c.SMTPHost, Port: c.SMTPPort, User: c.SMTPUser, Password: password,
			TLS: c.SMTPTLS, From: c.From, CAFile: c.SMTPCAFile, Page: reach.Page, Experts: reach.Experts})
		if err != nil {
			return nil, err
		}
		out = append(out, m)
	}
	if c.WebhookURL != "" {
		secret, err := config.Secret(c.WebhookSecret, "DEWCASE_WEBHOOK_SECRET")
		if err != nil {
			return nil, fmt.Errorf("the webhook's secret: %w", err)
		}
		w, err := notify.NewWebhook(c.WebhookURL, []byte(secret), c.WebhookPrivate, a.opt.Now)
		if err != nil {
			return nil, err
		}
		out = append(out, w)
	}
	return out, nil
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

// arrived takes in what either broker brought: forecasts by the alert service,
// announcements by the exchange of descriptions, all else by the write path, each
// message answered in its place.
func (a *App) arrived(ctx context.Context, in []payload.Message) []error {
	readings, at := make([]payload.Message, 0, len(in)), make([]int, 0, len(in))
	out := make([]error, len(in))
	for i, m := range in {
		if announcement, err := a.discovery.take(ctx, m); announcement {
			out[i] = err
			continue
		}
		caseID, ok := bell.ForecastOn(m.Topic)
		if !ok {
			readings, at = append(readings, m), append(at, i)
			continue
		}
		if !a.where.keeps(caseID) {
			continue // another instance's
		}
		bad, err := a.bell.ForecastMessage(ctx, m)
		if out[i] = err; bad != nil {
			a.metrics.Rejected(bad.Reason, 1)
			a.keeper.Keep(ctx, []roof.Reject{*bad})
		}
	}
	if len(readings) == 0 {
		return out
	}
	for i, err := range a.path.Messages(ctx, readings) {
		out[at[i]] = err
	}
	return out
}

// troubles are what keeps parts of the daemon from their work.
func (a *App) troubles() []watch.Trouble {
	store, broker := watch.Trouble{Part: "store"}, watch.Trouble{Part: "broker"}
	if f := a.store.Failing(); f != nil {
		store.Words, store.Since = fmt.Sprintf("the store cannot write: %v", f.Err), f.Since
	}
	if a.feed != nil {
		if s := a.feed.Status(); !s.Ready() {
			broker.Words = trouble(s)
		}
	}
	out := []watch.Trouble{store, a.disk(), broker, a.incident()}
	if a.drain != nil {
		out = append(out, a.mirrorTrouble())
	}
	return out
}

// disk says in words that the disk is nearly full.
func (a *App) disk() watch.Trouble {
	t := watch.Trouble{Part: "disk"}
	if space, err := sqlite.SpaceOf(a.opt.Config.Data); err == nil && space.Low() {
		t.Words = fmt.Sprintf("%d MB are left on the disk of the data folder: free some space", space.Free>>20)
	}
	return t
}

// incident says in words which incidents of the store nobody has confirmed.
func (a *App) incident() watch.Trouble {
	t := watch.Trouble{Part: "incident"}
	for _, i := range a.openIncidents() {
		if t.Since = i.At; t.Words != "" {
			t.Words += "; "
		}
		t.Words += i.What
	}
	if t.Words != "" {
		t.Words += " (readings are taken; once it is known what was lost, confirm it on the Alerts page)"
	}
	return t
}

func (a *App) openIncidents() []roof.Incident {
	all, err := a.store.Incidents(context.Background())
	if err != nil {
		all = append(all, roof.Incident{At: a.opt.Now(), What: "the list of incidents cannot be read: " + err.Error()})
	}
	return slices.DeleteFunc(all, func(i roof.Incident) bool { return !i.Open() })
}

// alertGauges shows on /metrics how the alert service keeps up.
func (a *App) alertGauges() {
	a.metrics.Counter("dewcase_houses_examined_total", "Looks of the alert service at a house's record.", nil,
		func() float64 { return float64(a.bell.Examined()) })
	a.metrics.Counter("dewcase_nights_assessed_total", "Whole records assessed by the nightly work.", nil,
		func() float64 { return float64(a.bell.Assessed()) })
	a.metrics.Gauge("dewcase_alerts_behind_seconds", "How long the oldest reading has waited to be examined for alerts.",
		nil, func() float64 { return a.bell.Behind().Seconds() })
}

// channelGauges shows on /metrics how messages to people flow.
func (a *App) channelGauges() {
	for _, c := range a.outbox.Health() {
		of := func(read func(notify.Health) float64) func() float64 {
			return func() float64 {
				for _, h := range a.outbox.Health() {
					if h.Channel == c.Channel {
						return read(h)
					}
				}
				return 0
			}
		}
		labels := map[string]string{"channel": c.Channel}
		a.metrics.Gauge("dewcase_messages_waiting", "Messages to people not yet delivered.", labels,
			of(func(h notify.Health) float64 { return float64(h.Waiting) }))
		a.metrics.Counter("dewcase_messages_sent_total", "Messages delivered to people since the start.", labels,
			of(func(h notify.Health) float64 { return float64(h.Sent) }))
		a.metrics.Gauge("dewcase_messages_failing", "1 while the last delivery on the channel failed.", labels,
			of(func(h notify.Health) float64 { return float64(min(len(h.Failing), 1)) }))
	}
}
