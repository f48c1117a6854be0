package bell

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"dewcase/internal/door/notify"
	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
)

// kindDigest is when the last daily summary was due, sent or not, by mail address.
const kindDigest = "digest"

// digests reports whether consultants get a daily summary by mail.
func (b *Bell) digests() bool { return b.Mail && b.opt.DigestAt != "" }

// digest sends each consultant the day's summary once its hour has come, of all
// houses in one mail. The hour is that of the first of the houses.
func (b *Bell) digest(ctx context.Context, now time.Time) error {
	if !b.digests() {
		return nil
	}
	of := map[string][]*roof.Case{}
	for _, c := range b.Cases.All() {
		for _, to := range b.expertsOf(c) {
			of[to] = append(of[to], c)
		}
	}
	for _, to := range slices.Sorted(maps.Keys(of)) {
		if err := b.digestTo(ctx, to, of[to], now); err != nil {
			return fmt.Errorf("the daily summary to %s: %w", to, err)
		}
	}
	return nil
}

func (b *Bell) digestTo(ctx context.Context, to string, cases []*roof.Case, now time.Time) error {
	zone := cases[0].Property.Zone
	local := now.In(zone)
	day := local.Format(time.DateOnly)
	if local.Format("15:04") < b.opt.DigestAt {
		return nil
	}
	kept, err := b.State.State(ctx, kindDigest, to)
	if err != nil && !errors.Is(err, roof.ErrNotFound) {
		return err
	}
	// What is new is new since the last one, however long the daemon was down.
	since, err := time.Parse(time.RFC3339, string(kept))
	if err != nil {
		since = now.Add(-24 * time.Hour)
	} else if since.In(zone).Format(time.DateOnly) == day {
		return nil
	}
	houses, err := b.summed(ctx, cases, since)
	if err != nil {
		return err
	}
	if m, any := alert.Summary(houses, since, now); any {
		// The key tells the day, so that a crash before the day is noted sends none
		// twice.
		m.Case, m.Key = theDaemon, "digest/"+day
		if err := b.opt.Outbox.Post(ctx, "mail", to, m); err != nil {
			return err
		}
	}
	return b.State.PutState(ctx, kindDigest, to, []byte(now.UTC().Format(time.RFC3339)))
}

func (b *Bell) summed(ctx context.Context, cases []*roof.Case, since time.Time) (out []alert.House, err error) {
	for _, c := range cases {
		h, err := b.hold(ctx, c.ID)
		if err != nil {
			return nil, err
		}
		// The book goes on changing; the summary is made of what it is now.
		book := *h.book
		book.Alerts = nil
		for _, a := range h.book.Alerts {
			one := *a
			book.Alerts = append(book.Alerts, &one)
		}
		h.mu.Unlock()
		x := alert.House{Case: c, Book: &book, Link: b.pageLinks(c.ID).Alerts}
		for _, l := range b.opt.Outbox.Of(c.ID) {
			if l.GaveUp.After(since) && l.Message.To == alert.Household {
				x.Lost = append(x.Lost, strings.TrimSpace(l.Channel+" "+l.To)+", "+l.Message.Subject+": "+l.Error)
			}
		}
		out = append(out, x)
	}
	return out, nil
}

// hasWebhook reports whether a webhook is set up.
func (b *Bell) hasWebhook() bool {
	return slices.ContainsFunc(b.opt.Outbox.Health(), func(h notify.Health) bool { return h.Channel == "webhook" })
}

// post hands a message to every channel of its audience.
func (b *Bell) post(ctx context.Context, c *roof.Case, m alert.Message) error {
	if b.hasWebhook() {
		if err := b.opt.Outbox.Post(ctx, "webhook", "", m); err != nil {
			return err
		}
	}
	if !b.Mail || b.digests() && m.CanWait() {
		return nil
	}
	to := c.Contacts.Householder
	if m.To == alert.Consultant {
		to = b.expertsOf(c)
	}
	for _, address := range to {
		one := m
		if m.To == alert.Household {
			stopped, err := b.stopped(ctx, c.ID, address)
			if err != nil {
				return err
			}
			if !stopped.IsZero() {
				continue
			}
			one.Unsubscribe = b.stopLink(c.ID, address)
		}
		if err := b.opt.Outbox.Post(ctx, "mail", address, one); err != nil {
			return err
		}
	}
	return nil
}

// Try sends the consultants a message by every channel, so that it shows before a
// wet night whether messages arrive; at most one a minute.
func (b *Bell) Try(ctx context.Context) error {
	m := testMessage(b.now())
	to := slices.Clone(b.Consultant)
	for _, c := range b.Cases.All() {
		to = append(to, c.Contacts.Consultant...)
	}
	slices.Sort(to)
	return b.post(ctx, &roof.Case{ID: theDaemon, Property: roof.Property{Zone: time.UTC},
		Contacts: roof.Contacts{Consultant: slices.Compact(to)}}, m)
}
