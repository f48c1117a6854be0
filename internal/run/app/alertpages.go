package app

import (
	"context"
	"time"

	"github.com/go-chi/chi/v5"

	"dewcase/internal/door/http/homepage"
	"dewcase/internal/door/http/web"
)

// alertPages puts the consultant's and the householder's pages on the router.
func (a *App) alertPages(r chi.Router, p *web.Pages) error {
	desk := alertDesk{a}
	p.MountAlerts(r, desk)
	home, err := homepage.New(desk, a.opt.Log)
	if err != nil {
		return err
	}
	home.Mount(r)
	return nil
}

// alertDesk answers for the pages once the alerts are open, which they are
// before the first page is served.
type alertDesk struct{ *App }

func (d alertDesk) Alerts(ctx context.Context, caseID string) ([]web.AlertRow, error) {
	b := d.bell.Load()
	var open, done []web.AlertRow
	ids := []string{caseID}
	if caseID == "" {
		ids = []string{theDaemon}
		for _, e := range d.book.All() {
			ids = append(ids, e.Case.ID)
		}
	}
	b.step.Lock()
	defer b.step.Unlock()
	for _, id := range ids {
		w, err := b.of(ctx, id)
		if err != nil {
			return nil, err
		}
		row := web.AlertRow{Case: id, House: id, Trouble: id == theDaemon}
		if e, err := d.book.Get(id); err == nil {
			row.House, row.Zone = e.Case.Property.Label, e.Case.Property.Zone
		} else {
			row.House = "This daemon"
		}
		for _, x := range w.book.Alerts {
			if x.State == "" {
				continue
			}
			row.Alert, row.Line, row.Evidence = *x, x.Line(row.Zone), evidenceLink(id, x)
			if x.Open() {
				open = append(open, row)
			} else {
				done = append(done, row)
			}
		}
	}
	return append(open, done...), nil
}

func (d alertDesk) Letters(_ context.Context, caseID string) ([]web.LetterRow, error) {
	var out []web.LetterRow
	if caseID == "" {
		caseID = theDaemon
	}
	for _, l := range d.bell.Load().outbox.Of(caseID) {
		m := l.Message
		out = append(out, web.LetterRow{Channel: l.Channel, To: l.To, Subject: m.Subject, Text: m.Text, Kind: string(m.Kind),
			Audience: string(m.To), Planned: m.At, After: m.After,
			Sent: l.Sent, GaveUp: l.GaveUp, Tries: l.Tries, Error: l.Error})
	}
	return out, nil
}

func (d alertDesk) Channels() []web.ChannelRow {
	var out []web.ChannelRow
	for _, h := range d.bell.Load().outbox.Health() {
		out = append(out, web.ChannelRow{Channel: h.Channel, Failing: h.Failing, Waiting: h.Waiting, Since: h.Since,
			Next: h.Next})
	}
	return out
}

func (d alertDesk) Acknowledge(ctx context.Context, caseID, id, by string) error {
	if _, err := d.book.Get(caseID); err != nil {
		return err
	}
	return d.bell.Load().Acknowledge(ctx, caseID, id, by)
}

func (d alertDesk) Snooze(ctx context.Context, caseID, id, by string, t time.Duration) error {
	if _, err := d.book.Get(caseID); err != nil {
		return err
	}
	return d.bell.Load().Snooze(ctx, caseID, id, by, t)
}

func (d alertDesk) NewHomeLink(ctx context.Context, caseID, by string) (string, error) {
	return d.bell.Load().NewHomeLink(ctx, caseID, by)
}

func (d alertDesk) RevokeHomeLinks(ctx context.Context, caseID string) error {
	if _, err := d.book.Get(caseID); err != nil {
		return err
	}
	return d.bell.Load().RevokeHomeLinks(ctx, caseID)
}

func (d alertDesk) Household(ctx context.Context, caseID string) (web.Household, error) {
	return d.bell.Load().Household(ctx, caseID)
}

func (d alertDesk) Try(ctx context.Context) error { return d.bell.Load().Try(ctx) }

func (d alertDesk) Resume(ctx context.Context, caseID, address string) error {
	if _, err := d.book.Get(caseID); err != nil {
		return err
	}
	return d.bell.Load().Resume(ctx, caseID, address)
}

func (d alertDesk) Home(ctx context.Context, token string) (homepage.Home, error) {
	return d.bell.Load().Home(ctx, token)
}

func (d alertDesk) Seen(ctx context.Context, token, alertID string) error {
	return d.bell.Load().Seen(ctx, token, alertID)
}

func (d alertDesk) Stop(ctx context.Context, caseID, code string, stop bool) (string, bool, error) {
	return d.bell.Load().Stop(ctx, caseID, code, stop)
}
