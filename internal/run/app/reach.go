package app

import (
	"context"
	"fmt"
	"slices"

	"dewcase/internal/door/notify"
	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
	"dewcase/internal/run/config"
)

func (b *bell) channels(c config.Alerts) ([]notify.Channel, error) {
	var out []notify.Channel
	if c.SMTPHost != "" {
		password, err := config.Secret(c.SMTPPasswordFile, "DEWCASE_SMTP_PASSWORD")
		if err != nil {
			return nil, fmt.Errorf("the mail password: %w", err)
		}
		m, err := notify.NewMail(notify.MailOptions{Host: c.SMTPHost, Port: c.SMTPPort, User: c.SMTPUser, Password: password,
			TLS: c.SMTPTLS, From: c.From, CAFile: c.SMTPCAFile, Page: b.pageOf, Experts: b.experts})
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
		w, err := notify.NewWebhook(c.WebhookURL, []byte(secret), c.WebhookPrivate, b.opt.Now)
		if err != nil {
			return nil, err
		}
		out = append(out, w)
	}
	return out, nil
}

// post hands a message to every channel of its audience.
func (b *bell) post(ctx context.Context, c *roof.Case, m alert.Message) error {
	if b.via["webhook"] {
		if err := b.outbox.Post(ctx, "webhook", "", m); err != nil {
			return err
		}
	}
	if !b.via["mail"] || b.digests() && m.CanWait() {
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
		if err := b.outbox.Post(ctx, "mail", address, one); err != nil {
			return err
		}
	}
	return nil
}

func (b *bell) pageLinks(caseID string) alert.Links {
	base := b.opt.Config.HTTP.PublicURL
	if base == "" {
		return alert.Links{}
	}
	return alert.Links{Alerts: trimSlash(base) + "/cases/" + caseID + "/alerts"}
}

// Try sends the consultants a message by every channel, so that it shows before a
// wet night whether messages arrive; at most one a minute.
func (b *bell) Try(ctx context.Context) error {
	now := b.opt.Now().UTC()
	m := alert.Message{Key: "test/" + now.Format("2006-01-02T15:04"), Case: theDaemon, To: alert.Consultant,
		Kind: alert.Test, At: now, After: now, Subject: "dewcase: a test",
		Text: "Somebody asked on the alerts page for this message, to see whether messages arrive. No roof is wet by it."}
	if b.via["webhook"] {
		if err := b.outbox.Post(ctx, "webhook", "", m); err != nil {
			return err
		}
	}
	if !b.via["mail"] {
		return nil
	}
	to := slices.Clone(b.opt.Config.Alerts.Consultant)
	for _, e := range b.book.All() {
		to = append(to, e.Case.Contacts.Consultant...)
	}
	slices.Sort(to)
	for _, address := range slices.Compact(to) {
		if err := b.outbox.Post(ctx, "mail", address, m); err != nil {
			return err
		}
	}
	return nil
}

// expertsOf are a case's consultants.
func (b *bell) expertsOf(c *roof.Case) []string {
	if len(c.Contacts.Consultant) > 0 {
		return c.Contacts.Consultant
	}
	return b.opt.Config.Alerts.Consultant
}

// experts are those of a case by its id, none where it is gone.
func (b *bell) experts(caseID string) []string {
	e, err := b.book.Get(caseID)
	if err != nil {
		return nil
	}
	return b.expertsOf(e.Case)
}

// pageOf is the own link that a mail to one of the household carries. A mail that
// is due goes out without rather than not at all.
func (b *bell) pageOf(ctx context.Context, caseID, address string) string {
	link, err := b.mailLink(ctx, caseID, address)
	if err != nil {
		b.opt.Log.Error("a mail goes out without its link", "case", caseID, "error", err)
	}
	return link
}
