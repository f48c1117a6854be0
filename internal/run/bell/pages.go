package bell

import (
	"context"
	"fmt"
	"net/url"
	"slices"
	"time"

	"dewcase/internal/door/http/api"
	"dewcase/internal/door/http/homepage"
	"dewcase/internal/door/http/web"
	"dewcase/internal/flow/record"
	"dewcase/internal/flow/watch"
	"dewcase/internal/reason/alert"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/roof"
	"dewcase/internal/words"
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

// answerWithin is how long a household's page waits for an assessment where none
// is at hand.
const answerWithin = 2 * time.Second

// before is the last nights of a surface before a repair, as many as the page
// shows of now.
func (b *Bell) before(ctx context.Context, c *roof.Case, surface string, repair time.Time) ([]words.Night, error) {
	until := record.HourAt(c, repair.UnixMilli())
	from := until - int64(homepage.Nights+2)*24*anHour
	rows, err := b.opt.Record.Hours(ctx, c, from, until)
	if err != nil {
		return nil, fmt.Errorf("reading the nights before the work on %s: %w", c.ID, err)
	}
	var out []words.Night
	for _, n := range watch.Nights(watch.Input{Case: c, Rows: rows, FromMS: from, Now: repair}, surface) {
		if !evidence.NoonAfter(n.From, 1, c.Property.Zone).After(repair) && n.From.UnixMilli() >= from {
			out = append(out, n.Said())
		}
	}
	return out[max(0, len(out)-homepage.Nights):], nil
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
	soon, enough := context.WithTimeout(ctx, answerWithin)
	a, ok := b.opt.Record.Soon(soon, c)
	enough()
	h, err := b.hold(ctx, c.ID)
	if err != nil {
		return homepage.Home{}, err
	}
	defer h.mu.Unlock()
	if err := b.visit(ctx, c, h); err != nil {
		return homepage.Home{}, err
	}
	slow := h.slow
	if ok && a.Until != nil && (slow == nil || a.Until.After(slow.At)) { // what the consultant's pages say by now
		slow = slowOf(c, a, slow)
	}
	said, found := homeOf(c, h, slow, b.now())
	if said.Work != nil {
		was := beforeWork{surface: h.wet, at: said.Work.At, version: h.version}
		if k := h.before; k.surface != was.surface || !k.at.Equal(was.at) || k.version != was.version {
			if was.nights, err = b.before(ctx, c, was.surface, was.at); err != nil {
				return homepage.Home{}, err
			}
			h.before = was
		}
		said.Before = h.before.nights
	}
	return homepage.Home{Label: c.Property.Label, Said: said, Alerts: found, Demo: b.opt.Demo, Adviser: c.Adviser,
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
