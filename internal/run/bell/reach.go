package bell

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
	"log/slog"
	"slices"
	"strings"
	"sync"
	"time"

	"dewcase/internal/door/credentials"
	"dewcase/internal/door/http/web"
	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
)

// Kinds of state that reaching people keeps.
const (
	kindSecret = "secret"
	kindHome   = "home_token"
	// kindNoMailLinks says since when mails of a case carry no link; kindLinkSalt
	// is what the links of a case's mails are derived with.
	kindNoMailLinks = "home_no_mail_links"
	kindLinkSalt    = "home_link_salt"
	kindStopped     = "unsubscribed"
	// kindStopCode keeps what other instances made links of that stop mails, with the
	// address: such links stay good after a house moved.
	kindStopCode = "stop_code"
)

// HouseKinds are the kinds of state that belong to one house, under its id or under
// its id and a stroke.
func HouseKinds() []string {
	return []string{kindBook, kindSlow, kindForecast, kindNoMailLinks, kindStopped, kindStopCode}
}

// Links are the householder's links of a case, and what stops its mails, as another
// instance that takes the house over keeps them.
func (r *Reach) Links(ctx context.Context, c *roof.Case) (out []roof.HouseState, err error) {
	tokens, err := r.homeTokens(ctx, c.ID)
	if err != nil {
		return nil, err
	}
	for key, t := range tokens {
		blob, err := json.Marshal(t)
		if err != nil {
			return nil, fmt.Errorf("writing a link of %s: %w", c.ID, err)
		}
		out = append(out, roof.HouseState{Kind: kindHome, Key: key, Blob: blob})
	}
	for _, a := range c.Contacts.Householder {
		out = append(out, roof.HouseState{Kind: kindStopCode, Key: c.ID + "/" + digest(r.stopCode(c.ID, a)), Blob: []byte(a)})
	}
	return out, nil
}

// LinksKind reports whether state of a kind belongs to a house by what it says.
func LinksKind(kind string) bool { return kind == kindHome }

// HouseOf is the id of the house that a link leads to, "" for none.
func (r *Reach) HouseOf(ctx context.Context, token string) string {
	blob, err := r.State.State(ctx, kindHome, digest(token))
	var t homeToken
	if err != nil || json.Unmarshal(blob, &t) != nil {
		return ""
	}
	return t.Case
}

// ReachOptions say whom messages can go to.
type ReachOptions struct {
	Cases      Cases
	State      State
	PublicURL  string   // the address under which links work, "" for none
	Mail       bool     // mails can be sent
	Consultant []string // where a case file names none, and for the daemon's own troubles
	Now        func() time.Time
	Log        *slog.Logger
}

// Reach knows who of a house is written to, and the links that the household
// opens its page and stops its mails by.
type Reach struct {
	ReachOptions
	secret []byte
	links  sync.Mutex // of the householder: made, withdrawn
}

// NewReach reads the key that links are derived with, or makes it at the first
// start.
func NewReach(ctx context.Context, opt ReachOptions) (*Reach, error) {
	r := &Reach{ReachOptions: opt}
	r.PublicURL = strings.TrimRight(r.PublicURL, "/")
	var err error
	r.secret, err = r.drawn(ctx, kindSecret, "links")
	return r, err
}

func (r *Reach) now() time.Time { return r.Now().UTC() }

// Experts lists the addresses of a case's consultants; none where the case is
// gone.
func (r *Reach) Experts(caseID string) []string {
	c, err := r.Cases.Case(context.Background(), caseID)
	if err != nil {
		return nil
	}
	return r.expertsOf(c)
}

func (r *Reach) expertsOf(c *roof.Case) []string {
	if len(c.Contacts.Consultant) > 0 {
		return c.Contacts.Consultant
	}
	return r.Consultant
}

// Page returns the link of its own that a mail to one address of the household
// carries; "" where none can be made, as a mail that is due goes out without one
// rather than not at all.
func (r *Reach) Page(ctx context.Context, caseID, address string) string {
	link, err := r.mailLink(ctx, caseID, address)
	if err != nil {
		r.Log.Error("a mail goes out without its link", "case", caseID, "error", err)
	}
	return link
}

func (r *Reach) pageLinks(caseID string) alert.Links {
	if r.PublicURL == "" {
		return alert.Links{}
	}
	return alert.Links{Alerts: r.PublicURL + "/cases/" + caseID + "/alerts"}
}

// homeToken is what is kept of a householder's link: never the token itself.
type homeToken struct {
	Case string    `json:"case"`
	Made time.Time `json:"made"`
	By   string    `json:"by,omitempty"`
	// For is the household's mail address that the link is written to; "" for a
	// link that the consultant made and hands on.
	For string `json:"for,omitempty"`
}

func digest(token string) string {
	sum := sha256.Sum256([]byte(token))
	return hex.EncodeToString(sum[:])
}

// drawn is a random key of 32 bytes that is kept, drawn when it is first asked for.
func (r *Reach) drawn(ctx context.Context, kind, key string) ([]byte, error) {
	kept, err := r.State.State(ctx, kind, key)
	if err == nil && len(kept) > 0 {
		return kept, nil
	}
	if err == nil || errors.Is(err, roof.ErrNotFound) {
		kept = make([]byte, 32)
		_, _ = rand.Read(kept) // never fails (crypto/rand)
		err = r.State.PutState(ctx, kind, key, kept)
	}
	if err != nil {
		return nil, fmt.Errorf("keeping the key of links: %w", err)
	}
	return kept, nil
}

// NewHomeLink makes a householder's link to hand on, withdraws the one made so
// before, and lets mails to the household carry their own again. The address is
// shown once: only its digest is kept. Without a public URL it is a path.
func (r *Reach) NewHomeLink(ctx context.Context, caseID, by string) (address string, err error) {
	if _, err := r.Cases.Case(ctx, caseID); err != nil {
		return "", err
	}
	r.links.Lock()
	defer r.links.Unlock()
	if err := r.dropLinks(ctx, caseID, func(t homeToken) bool { return t.For == "" }); err != nil {
		return "", err
	}
	if err := r.State.DeleteState(ctx, kindNoMailLinks, caseID); err != nil {
		return "", fmt.Errorf("letting mails of %s carry links: %w", caseID, err)
	}
	raw := make([]byte, 32)
	_, _ = rand.Read(raw)
	token := base64.RawURLEncoding.EncodeToString(raw)
	if err := r.keepLink(ctx, token, homeToken{Case: caseID, Made: r.now(), By: by}); err != nil {
		return "", err
	}
	return r.PublicURL + "/home/" + token, nil
}

func (r *Reach) keepLink(ctx context.Context, token string, t homeToken) error {
	blob, err := json.Marshal(t)
	if err != nil {
		return fmt.Errorf("making a link for %s: %w", t.Case, err)
	}
	if err := r.State.PutState(ctx, kindHome, digest(token), blob); err != nil {
		return fmt.Errorf("keeping the link of %s: %w", t.Case, err)
	}
	return nil
}

// mailLink is the own link of one of the household's mail addresses, "" where
// mails carry none. It is derived anew for each mail, so that nothing but its
// digest is kept and every mail to the address carries the same. (Whoever holds the
// data folder could derive it too, and holds every reading anyway.)
func (r *Reach) mailLink(ctx context.Context, caseID, address string) (string, error) {
	if r.PublicURL == "" {
		return "", nil
	}
	r.links.Lock()
	defer r.links.Unlock()
	if _, err := r.State.State(ctx, kindNoMailLinks, caseID); !errors.Is(err, roof.ErrNotFound) {
		return "", err
	}
	salt, err := r.drawn(ctx, kindLinkSalt, caseID)
	if err != nil {
		return "", err
	}
	token := r.sealed("home", caseID, strings.ToLower(address), string(salt))
	if _, err := r.State.State(ctx, kindHome, digest(token)); errors.Is(err, roof.ErrNotFound) {
		err = r.keepLink(ctx, token, homeToken{Case: caseID, Made: r.now(), For: address})
		if err != nil {
			return "", err
		}
	} else if err != nil {
		return "", fmt.Errorf("reading a link of %s: %w", caseID, err)
	}
	return r.PublicURL + "/home/" + token, nil
}

// RevokeHomeLinks withdraws every link of a case, those of mails too, and lets
// mails carry none until a link is made again.
func (r *Reach) RevokeHomeLinks(ctx context.Context, caseID string) error {
	if _, err := r.Cases.Case(ctx, caseID); err != nil {
		return err
	}
	r.links.Lock()
	defer r.links.Unlock()
	if err := r.State.PutState(ctx, kindNoMailLinks, caseID, []byte(r.now().Format(time.RFC3339))); err != nil {
		return fmt.Errorf("withdrawing the links of %s: %w", caseID, err)
	}
	// With another salt no withdrawn link ever comes to life again.
	if err := r.State.DeleteState(ctx, kindLinkSalt, caseID); err != nil {
		return fmt.Errorf("withdrawing the links of %s: %w", caseID, err)
	}
	return r.dropLinks(ctx, caseID, func(homeToken) bool { return true })
}

func (r *Reach) dropLinks(ctx context.Context, caseID string, which func(homeToken) bool) error {
	kept, err := r.homeTokens(ctx, caseID)
	if err != nil {
		return err
	}
	for key, t := range kept {
		if which(t) {
			if err := r.State.DeleteState(ctx, kindHome, key); err != nil {
				return fmt.Errorf("withdrawing a link of %s: %w", caseID, err)
			}
		}
	}
	return nil
}

// homeTokens are a case's links by the digests of their tokens.
func (r *Reach) homeTokens(ctx context.Context, caseID string) (map[string]homeToken, error) {
	kept, err := r.State.States(ctx, kindHome)
	if err != nil {
		return nil, fmt.Errorf("reading the links: %w", err)
	}
	out := map[string]homeToken{}
	for _, k := range kept {
		var t homeToken
		if json.Unmarshal(k.Blob, &t) == nil && t.Case == caseID {
			out[k.Key] = t
		}
	}
	return out, nil
}

// Household says which links of a case are in force, who is written to and who
// asked for no more mails.
func (r *Reach) Household(ctx context.Context, caseID string) (out web.Household, err error) {
	c, err := r.Cases.Case(ctx, caseID)
	if err != nil {
		return out, err
	}
	tokens, err := r.homeTokens(ctx, caseID)
	if err != nil {
		return out, err
	}
	out.Links, out.Mail, out.Consultants = r.PublicURL != "", r.Mail, r.expertsOf(c)
	if off, err := r.State.State(ctx, kindNoMailLinks, caseID); err == nil {
		out.LinksOff, _ = time.Parse(time.RFC3339, string(off))
	}
	for _, address := range c.Contacts.Householder {
		one := web.Reader{Address: address}
		if one.Stopped, err = r.stopped(ctx, caseID, address); err != nil {
			return out, err
		}
		for _, t := range tokens {
			if strings.EqualFold(t.For, address) {
				one.Link = t.Made
			}
		}
		out.Readers = append(out.Readers, one)
	}
	for _, t := range tokens {
		if t.For == "" {
			out.LinkMade = t.Made
		}
	}
	return out, nil
}

func (r *Reach) caseOf(ctx context.Context, token string) (*roof.Case, error) {
	if len(token) != 43 {
		return nil, fmt.Errorf("a link: %w", roof.ErrNotFound)
	}
	blob, err := r.State.State(ctx, kindHome, digest(token))
	if err != nil {
		return nil, fmt.Errorf("a link: %w", err)
	}
	var t homeToken
	if err := json.Unmarshal(blob, &t); err != nil {
		return nil, fmt.Errorf("a link: %w", err)
	}
	c, err := r.Cases.Case(ctx, t.Case)
	if err == nil && t.For != "" && !slices.ContainsFunc(c.Contacts.Householder,
		func(a string) bool { return strings.EqualFold(a, t.For) }) {
		return nil, fmt.Errorf("the link of an address that left the household: %w", roof.ErrNotFound)
	}
	return c, err
}

// stopCode is the unguessable part of a link that stops the mails to an address.
func (r *Reach) stopCode(caseID, address string) string {
	return r.sealed("stop", caseID, strings.ToLower(address))
}

// sealed is what only the daemon's own key makes of some words.
func (r *Reach) sealed(words ...string) string {
	h := hmac.New(sha256.New, r.secret)
	h.Write([]byte(strings.Join(words, "\x00")))
	return base64.RawURLEncoding.EncodeToString(h.Sum(nil))
}

func (r *Reach) stopLink(caseID, address string) string {
	if r.PublicURL == "" {
		return ""
	}
	return r.PublicURL + "/home/stop/" + caseID + "/" + r.stopCode(caseID, address)
}

func stopKey(caseID, address string) string {
	return caseID + "/" + digest(strings.ToLower(address))
}

// stopped is since when an address wants no mail, zero where it does.
func (r *Reach) stopped(ctx context.Context, caseID, address string) (time.Time, error) {
	blob, err := r.State.State(ctx, kindStopped, stopKey(caseID, address))
	if errors.Is(err, roof.ErrNotFound) {
		return time.Time{}, nil
	}
	if err != nil {
		return time.Time{}, fmt.Errorf("reading who wants no mail of %s: %w", caseID, err)
	}
	at, err := time.Parse(time.RFC3339, string(blob))
	if err != nil {
		return time.Time{}, fmt.Errorf("reading who wants no mail of %s: %w", caseID, err)
	}
	return at, nil
}

// Resume lets mails go to an address of the household again that had asked for
// none.
func (r *Reach) Resume(ctx context.Context, caseID, address string) error {
	if _, err := r.Cases.Case(ctx, caseID); err != nil {
		return err
	}
	if err := r.State.DeleteState(ctx, kindStopped, stopKey(caseID, address)); err != nil {
		return fmt.Errorf("writing to an address of %s again: %w", caseID, err)
	}
	return nil
}

// Stop ends or restarts the mails to the address that a link was made for.
func (r *Reach) Stop(ctx context.Context, caseID, code string, stop bool) (address string, stopped bool, err error) {
	c, err := r.Cases.Case(ctx, caseID)
	if err != nil {
		return "", false, err
	}
	carried, _ := r.State.State(ctx, kindStopCode, caseID+"/"+digest(code))
	for _, a := range c.Contacts.Householder {
		if credentials.Same(code, r.stopCode(caseID, a)) || strings.EqualFold(string(carried), a) {
			since, err := r.stopped(ctx, caseID, a)
			if err != nil || !stop || !since.IsZero() {
				return a, !since.IsZero(), err
			}
			return a, true, r.State.PutState(ctx, kindStopped, stopKey(caseID, a),
				[]byte(r.now().Format(time.RFC3339)))
		}
	}
	return "", false, fmt.Errorf("a link to stop mails: %w", roof.ErrNotFound)
}
