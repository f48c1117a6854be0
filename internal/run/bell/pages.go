package bell

import (
	"context"
	"net/url"
	"slices"
	"time"

	"dewcase/internal/door/http/api"
	"dewcase/internal/door/http/homepage"
	"dewcase/internal/door/http/web"
	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
)

// Alerts lists a case's alerts, or with "" every case's and the daemon's, those
// in force first.
func (b *Bell) Alerts(ctx context.Context, caseID string) ([]web.AlertRow, error) {
	cases := []*roof.Case{{ID: theDaemon, Property: roof.Property{Label: "This daemon"}}}
	if caseID == "" {
		cases = append(cases, b.Cases.All()...)
	} else {
		c, err := b.Cases.Case(ctx, caseID)
		if err != nil {
			return nil, err
		}
		cases[0] = c
	}
	var open, done []web.AlertRow
	for _, c := range cases {
		h, err := b.hold(ctx, c.ID)
		if err != nil {
			return nil, err
		}
		for _, x := range h.book.Alerts {
			row := web.AlertRow{Case: c.ID, House: c.Property.Label, Zone: c.Property.Zone, Trouble: c.ID == theDaemon,
				Alert: *x, Line: x.Said(c.Property.Zone).Line(), Evidence: evidenceLink(c.ID, x)}
			switch {
			case x.State == "":
			case x.Open():
				open = append(open, row)
			default:
				done = append(done, row)
			}
		}
		h.mu.Unlock()
	}
	return append(open, done...), nil
}

// AlertsOf lists a case's alerts for programs, those in force first.
func (b *Bell) AlertsOf(ctx context.Context, caseID string) ([]api.Alert, error) {
	rows, err := b.Alerts(ctx, caseID)
	out := make([]api.Alert, 0, len(rows))
	for _, x := range rows {
		row := api.Alert{ID: x.ID, Condition: string(x.Condition), Position: x.Position, State: string(x.State),
			Since: x.Since.UTC(), Text: x.Line, AckBy: x.AckBy, Evidence: x.Evidence}
		switch at := x.Cleared.UTC(); x.State {
		case alert.Snoozed:
			until := x.SnoozedTo.UTC()
			row.SnoozedTo = &until
		case alert.Cleared:
			row.Cleared = &at
		}
		out = append(out, row)
	}
	return out, err
}

// Letters lists what was sent of a case, or with "" of the daemon, newest first.
func (b *Bell) Letters(_ context.Context, caseID string) (out []web.LetterRow, err error) {
	if caseID == "" {
		caseID = theDaemon
	}
	for _, l := range b.opt.Outbox.Of(caseID) {
		m := l.Message
		out = append(out, web.LetterRow{Channel: l.Channel, To: l.To, Subject: m.Subject, Text: m.Text, Kind: string(m.Kind),
			Audience: string(m.To), Planned: m.At, After: m.After,
			Sent: l.Sent, GaveUp: l.GaveUp, Tries: l.Tries, Error: l.Error})
	}
	return out, nil
}

// Channels says how the ways to reach people do.
func (b *Bell) Channels() (out []web.ChannelRow) {
	for _, h := range b.opt.Outbox.Health() {
		out = append(out, web.ChannelRow{Channel: h.Channel, Failing: h.Failing, Waiting: h.Waiting, Since: h.Since,
			Next: h.Next})
	}
	return out
}

// household is who acknowledged from the householder's page.
const household = "household"

// Home returns what the householder's page behind a token shows; the error wraps
// roof.ErrNotFound where no link has the token.
func (b *Bell) Home(ctx context.Context, token string) (homepage.Home, error) {
	c, err := b.caseOf(ctx, token)
	if err != nil {
		return homepage.Home{}, err
	}
	h, err := b.hold(ctx, c.ID)
	if err != nil {
		return homepage.Home{}, err
	}
	defer h.mu.Unlock()
	if err := b.step(ctx, c, h); err != nil {
		return homepage.Home{}, err
	}
	said, found := homeOf(c, h, b.now())
	return homepage.Home{Label: c.Property.Label, Said: said, Alerts: found, Demo: b.opt.Demo,
		Indoors: slices.ContainsFunc(c.Positions, func(p roof.Position) bool { return p.Place == roof.IndoorAir })}, nil
}

// Seen acknowledges an alert from the householder's page.
func (b *Bell) Seen(ctx context.Context, token, alertID string) error {
	c, err := b.caseOf(ctx, token)
	if err != nil {
		return err
	}
	return b.Acknowledge(ctx, c.ID, alertID, household)
}

// evidenceLink opens the stretch of timeline that an alert rests on.
func evidenceLink(caseID string, x *alert.Alert) string {
	if x.From.IsZero() || !x.Until.After(x.From) || caseID == theDaemon {
		return ""
	}
	pad := max(x.Until.Sub(x.From)/4, 6*time.Hour)
	q := url.Values{"from": {x.From.Add(-pad).UTC().Format(time.RFC3339)},
		"to": {x.Until.Add(pad).UTC().Format(time.RFC3339)}}
	switch x.Condition {
	case alert.SurfaceWet, alert.WetNights, alert.FrostMelting, alert.MouldRising, alert.TimberWet, alert.RepairFailing,
		alert.WorkUnseen:
		q.Set("surface", x.Position)
	}
	return "/cases/" + caseID + "/chart?" + q.Encode() + "#margin"
}
