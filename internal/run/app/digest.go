package app

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
)

// kindDigest is when the last daily summary was due, sent or not, by mail address.
const kindDigest = "digest"

// digests reports whether consultants get a daily summary by mail.
func (b *bell) digests() bool { return b.via["mail"] && b.opt.Config.Alerts.DigestAt != "" }

// digest sends each consultant the day's summary once its hour has come, of all
// houses in one mail. The hour is that of the first of the houses.
func (b *bell) digest(ctx context.Context, now time.Time) error {
	if !b.digests() {
		return nil
	}
	of := map[string][]*roof.Case{}
	var addresses []string
	for _, e := range b.book.All() {
		for _, to := range b.expertsOf(e.Case) {
			if len(of[to]) == 0 {
				addresses = append(addresses, to)
			}
			of[to] = append(of[to], e.Case)
		}
	}
	slices.Sort(addresses)
	for _, to := range addresses {
		if err := b.digestTo(ctx, to, of[to], now); err != nil {
			return fmt.Errorf("the daily summary to %s: %w", to, err)
		}
	}
	return nil
}

func (b *bell) digestTo(ctx context.Context, to string, cases []*roof.Case, now time.Time) error {
	zone := cases[0].Property.Zone
	if zone == nil {
		zone = time.UTC
	}
	local := now.In(zone)
	day := local.Format(time.DateOnly)
	if local.Format("15:04") < b.opt.Config.Alerts.DigestAt {
		return nil
	}
	kept, err := b.store.State(ctx, kindDigest, to)
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
	houses, err := b.houses(ctx, cases, since)
	if err != nil {
		return err
	}
	if m, any := alert.Summary(houses, since, now); any {
		// The key tells the day, so that a crash before the day is noted sends none
		// twice.
		m.Case, m.Key = theDaemon, "digest/"+day
		if err := b.outbox.Post(ctx, "mail", to, m); err != nil {
			return err
		}
	}
	return b.store.PutState(ctx, kindDigest, to, []byte(now.UTC().Format(time.RFC3339)))
}

func (b *bell) houses(ctx context.Context, cases []*roof.Case, since time.Time) ([]alert.House, error) {
	b.step.Lock()
	defer b.step.Unlock()
	var out []alert.House
	for _, c := range cases {
		w, err := b.of(ctx, c.ID)
		if err != nil {
			return nil, err
		}
		h := alert.House{Case: c, Book: w.book, Link: b.pageLinks(c.ID).Alerts}
		for _, l := range b.outbox.Of(c.ID) {
			if l.GaveUp.After(since) && l.Message.To == alert.Household {
				h.Lost = append(h.Lost, strings.TrimSpace(l.Channel+" "+l.To)+", "+l.Message.Subject+": "+l.Error)
			}
		}
		// The book goes on changing; the summary is made of what it is now.
		book := *w.book
		book.Alerts = nil
		for _, a := range w.book.Alerts {
			one := *a
			book.Alerts = append(book.Alerts, &one)
		}
		h.Book = &book
		out = append(out, h)
	}
	return out, nil
}
