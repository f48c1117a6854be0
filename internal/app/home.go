package app

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"dewcase/internal/alert"
	"dewcase/internal/credentials"
	"dewcase/internal/homepage"
	"dewcase/internal/roof"
	"dewcase/internal/watch"
)

// homeToken is what is kept of a householder's link: never the token itself.
type homeToken struct {
	Case string    `json:"case"`
	Made time.Time `json:"made"`
	By   string    `json:"by,omitempty"`
}

func digest(token string) string {
	sum := sha256.Sum256([]byte(token))
	return hex.EncodeToString(sum[:])
}

// ownSecret is the daemon's own random key, made at its first start.
func (b *bell) ownSecret(ctx context.Context) ([]byte, error) {
	key, err := b.store.State(ctx, kindSecret, "links")
	if err == nil && len(key) == 32 {
		return key, nil
	}
	if err != nil && !errors.Is(err, roof.ErrNotFound) {
		return nil, fmt.Errorf("reading the key of links: %w", err)
	}
	key = make([]byte, 32)
	_, _ = rand.Read(key) // never fails (crypto/rand)
	if err := b.store.PutState(ctx, kindSecret, "links", key); err != nil {
		return nil, fmt.Errorf("keeping the key of links: %w", err)
	}
	return key, nil
}

// NewHomeLink makes a householder's link and withdraws the case's earlier ones.
// The path is shown once: only its digest is kept.
func (b *bell) NewHomeLink(ctx context.Context, caseID, by string) (path string, err error) {
	if _, err := b.book.Get(caseID); err != nil {
		return "", err
	}
	if err := b.RevokeHomeLinks(ctx, caseID); err != nil {
		return "", err
	}
	raw := make([]byte, 32)
	_, _ = rand.Read(raw)
	token := base64.RawURLEncoding.EncodeToString(raw)
	blob, err := json.Marshal(homeToken{caseID, b.opt.Now().UTC(), by})
	if err != nil {
		return "", fmt.Errorf("making a link for %s: %w", caseID, err)
	}
	if err := b.store.PutState(ctx, kindHome, digest(token), blob); err != nil {
		return "", fmt.Errorf("keeping the link of %s: %w", caseID, err)
	}
	return "/home/" + token, nil
}

// RevokeHomeLinks withdraws every link of a case.
func (b *bell) RevokeHomeLinks(ctx context.Context, caseID string) error {
	kept, err := b.store.States(ctx, kindHome)
	if err != nil {
		return fmt.Errorf("reading the links: %w", err)
	}
	for _, k := range kept {
		var t homeToken
		if json.Unmarshal(k.Blob, &t) == nil && t.Case == caseID {
			if err := b.store.DeleteState(ctx, kindHome, k.Key); err != nil {
				return fmt.Errorf("withdrawing a link of %s: %w", caseID, err)
			}
		}
	}
	return nil
}

// HomeLinkMade says since when a case has a link; zero for none.
func (b *bell) HomeLinkMade(ctx context.Context, caseID string) (time.Time, error) {
	kept, err := b.store.States(ctx, kindHome)
	if err != nil {
		return time.Time{}, fmt.Errorf("reading the links: %w", err)
	}
	for _, k := range kept {
		var t homeToken
		if json.Unmarshal(k.Blob, &t) == nil && t.Case == caseID {
			return t.Made, nil
		}
	}
	return time.Time{}, nil
}

func (b *bell) caseOf(ctx context.Context, token string) (*roof.Case, error) {
	if len(token) != 43 {
		return nil, fmt.Errorf("a link: %w", roof.ErrNotFound)
	}
	blob, err := b.store.State(ctx, kindHome, digest(token))
	if err != nil {
		return nil, fmt.Errorf("a link: %w", err)
	}
	var t homeToken
	if err := json.Unmarshal(blob, &t); err != nil {
		return nil, fmt.Errorf("a link: %w", err)
	}
	e, err := b.book.Get(t.Case)
	return e.Case, err
}

// said is a case's state in one sentence, and what to do tonight.
type said struct {
	now      string
	do, care []string
}

// sentence sums a case up for its household.
func sentence(c *roof.Case, w *watched, now time.Time) said {
	var due []*alert.Alert
	var newest time.Time
	for _, a := range w.book.Alerts {
		if a.At.After(newest) && a.Condition == alert.SurfaceWet {
			newest = a.At
		}
		if a.Open() && a.Tell && alert.RulesOf(c.Alerts)[a.Condition].Household {
			due = append(due, a)
		}
	}
	return homeWords(w, due, newest, now)
}

func homeWords(w *watched, due []*alert.Alert, newest, now time.Time) said {
	if newest.IsZero() {
		return said{now: "We have no news from your roof yet."}
	}
	if now.Sub(newest) > 6*time.Hour {
		return said{now: "We have heard nothing from your roof for " + ago(now.Sub(newest)) + ".", do: []string{"Your roof expert can see this too."}}
	}
	serious := due[:0:0]
	for _, a := range due {
		if w.book.Level == alert.Damp || a.Condition == alert.SuddenWetting || a.Condition == alert.RepairFailing {
			serious = append(serious, a)
		}
	}
	if len(serious) > 0 {
		x := alert.PlainWords(alert.News, serious[:1], alert.Chance{})
		return said{now: x.Lines[0], do: x.Do, care: x.Care}
	}
	for _, a := range due {
		if a.Condition == alert.SurfaceWet {
			what := "water"
			if w.book.Level == alert.Dew {
				what = "dew"
			}
			return said{now: "There is some " + what + " " + a.Facts.Words + " now.", do: []string{"There is nothing you need to do."}}
		}
	}
	return said{now: "Your roof is dry now.", do: []string{"There is nothing you need to do."}}
}

func ago(d time.Duration) string {
	if h := int(d.Hours()); h < 48 {
		return fmt.Sprintf("%d hours", h)
	}
	return fmt.Sprintf("%d days", int(d.Hours()/24))
}

// Home is the householder's page behind a token.
func (b *bell) Home(ctx context.Context, token string) (homepage.Home, error) {
	c, err := b.caseOf(ctx, token)
	if err != nil {
		return homepage.Home{}, err
	}
	if err := b.glance(ctx, c); err != nil {
		return homepage.Home{}, err
	}
	b.step.Lock()
	defer b.step.Unlock()
	w, err := b.of(ctx, c.ID)
	if err != nil {
		return homepage.Home{}, err
	}
	now := b.opt.Now().UTC()
	in, err := b.input(ctx, c, w, now)
	if err != nil {
		return homepage.Home{}, err
	}
	s := sentence(c, w, now)
	h := homepage.Home{Label: c.Property.Label, Zone: c.Property.Zone, Sentence: s.now, Do: s.do, Care: s.care, Tonight: in.Chance, At: now, Demo: b.opt.Demo, Dew: w.book.Level == alert.Dew && w.slow != nil && w.slow.Healthy != nil && *w.slow.Healthy > 0.65}
	worst := -1.0
	for _, p := range c.Surfaces() {
		nights := watch.Nights(in, p.ID)
		nights = nights[max(0, len(nights)-14):]
		wet := 0.0
		for _, n := range nights {
			wet += n.Wet
		}
		if wet > worst {
			worst, h.Nights, h.Where = wet, nights, watch.Words(c, p)
		}
	}
	for _, p := range c.Positions {
		switch p.Place {
		case roof.IndoorAir:
			h.Indoors = true
		}
	}
	if w.slow != nil {
		for _, r := range w.slow.Repairs {
			h.Repair = repairWords(r)
		}
	}
	for _, a := range w.book.Alerts {
		if !a.Open() || !a.Tell || !alert.RulesOf(c.Alerts)[a.Condition].Household || w.book.Level == alert.Dew && a.Condition != alert.SuddenWetting && a.Condition != alert.RepairFailing {
			continue
		}
		x := alert.Words(a)
		h.Alerts = append(h.Alerts, homepage.Alert{ID: a.ID, Lines: x.Lines, Do: x.Do, Care: x.Care, Since: a.Since, Seen: a.State != alert.Raised})
	}
	return h, nil
}

func repairWords(r watch.Turn) string {
	switch r.Verdict {
	case "worked":
		if r.ReductionPct != nil && *r.ReductionPct > 0 {
			return fmt.Sprintf("The work on the roof helped. There are about %d fewer wet hours out of every 10.", min(10, max(1, int(*r.ReductionPct/10+0.5))))
		}
		return "The work on the roof helped."
	case "got_worse":
		return "The roof has got wetter since the work. Your roof expert should look at it."
	case "no_change_shown":
		return "So far the work has made no change that we can see."
	}
	return "It is too early to say what the work has done. We need more cold nights."
}

// Seen acknowledges an alert from the householder's page.
func (b *bell) Seen(ctx context.Context, token, alertID string) error {
	c, err := b.caseOf(ctx, token)
	if err != nil {
		return err
	}
	return b.Acknowledge(ctx, c.ID, alertID, "household")
}

// stopCode is the unguessable part of a link that stops the mails to an address.
func (b *bell) stopCode(caseID, address string) string {
	h := hmac.New(sha256.New, b.secret)
	h.Write([]byte("stop\x00" + caseID + "\x00" + strings.ToLower(address)))
	return base64.RawURLEncoding.EncodeToString(h.Sum(nil))
}

func (b *bell) stopLink(caseID, address string) string {
	if b.opt.Config.HTTP.PublicURL == "" {
		return ""
	}
	return trimSlash(b.opt.Config.HTTP.PublicURL) + "/home/stop/" + caseID + "/" + b.stopCode(caseID, address)
}

func (b *bell) stopped(ctx context.Context, caseID, address string) (bool, error) {
	_, err := b.store.State(ctx, kindStopped, caseID+"/"+digest(strings.ToLower(address)))
	if errors.Is(err, roof.ErrNotFound) {
		return false, nil
	}
	if err != nil {
		return false, fmt.Errorf("reading who wants no mail of %s: %w", caseID, err)
	}
	return true, nil
}

// Stop ends or restarts the mails to the address that a link was made for.
func (b *bell) Stop(ctx context.Context, caseID, code string, stop bool) (address string, stopped bool, err error) {
	e, err := b.book.Get(caseID)
	if err != nil {
		return "", false, err
	}
	for _, a := range e.Case.Contacts.Householder {
		if credentials.Same(code, b.stopCode(caseID, a)) {
			key := caseID + "/" + digest(strings.ToLower(a))
			if stop {
				return a, true, b.store.PutState(ctx, kindStopped, key, []byte(b.opt.Now().UTC().Format(time.RFC3339)))
			}
			on, err := b.stopped(ctx, caseID, a)
			return a, on, err
		}
	}
	return "", false, fmt.Errorf("a link to stop mails: %w", roof.ErrNotFound)
}
