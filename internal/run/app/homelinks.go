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
	"slices"
	"strings"
	"time"

	"dewcase/internal/door/credentials"
	"dewcase/internal/door/http/web"
	"dewcase/internal/roof"
)

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

// NewHomeLink makes a householder's link to hand on, withdraws the one made so
// before, and lets mails to the household carry their own again. The address is
// shown once: only its digest is kept. Without a public URL it is a path.
func (b *bell) NewHomeLink(ctx context.Context, caseID, by string) (address string, err error) {
	if _, err := b.book.Get(caseID); err != nil {
		return "", err
	}
	b.links.Lock()
	defer b.links.Unlock()
	if err := b.dropLinks(ctx, caseID, func(t homeToken) bool { return t.For == "" }); err != nil {
		return "", err
	}
	if err := b.store.DeleteState(ctx, kindNoMailLinks, caseID); err != nil {
		return "", fmt.Errorf("letting mails of %s carry links: %w", caseID, err)
	}
	raw := make([]byte, 32)
	_, _ = rand.Read(raw)
	token := base64.RawURLEncoding.EncodeToString(raw)
	if err := b.keepLink(ctx, token, homeToken{Case: caseID, Made: b.opt.Now().UTC(), By: by}); err != nil {
		return "", err
	}
	return trimSlash(b.opt.Config.HTTP.PublicURL) + "/home/" + token, nil
}

func (b *bell) keepLink(ctx context.Context, token string, t homeToken) error {
	blob, err := json.Marshal(t)
	if err != nil {
		return fmt.Errorf("making a link for %s: %w", t.Case, err)
	}
	if err := b.store.PutState(ctx, kindHome, digest(token), blob); err != nil {
		return fmt.Errorf("keeping the link of %s: %w", t.Case, err)
	}
	return nil
}

// mailLink is the own link of one of the household's mail addresses, "" where
// mails carry none. It is derived anew for each mail, so that nothing but its
// digest is kept and every mail to the address carries the same. (Whoever holds the
// data folder could derive it too, and holds every reading anyway.)
func (b *bell) mailLink(ctx context.Context, caseID, address string) (string, error) {
	if b.opt.Config.HTTP.PublicURL == "" {
		return "", nil
	}
	b.links.Lock()
	defer b.links.Unlock()
	if _, err := b.store.State(ctx, kindNoMailLinks, caseID); !errors.Is(err, roof.ErrNotFound) {
		return "", err
	}
	salt, err := b.store.State(ctx, kindLinkSalt, caseID)
	if errors.Is(err, roof.ErrNotFound) {
		salt = make([]byte, 16)
		_, _ = rand.Read(salt)
		err = b.store.PutState(ctx, kindLinkSalt, caseID, salt)
	}
	if err != nil {
		return "", fmt.Errorf("making a link for %s: %w", caseID, err)
	}
	h := hmac.New(sha256.New, b.secret)
	h.Write([]byte("home\x00" + caseID + "\x00" + strings.ToLower(address) + "\x00"))
	h.Write(salt)
	token := base64.RawURLEncoding.EncodeToString(h.Sum(nil))
	if _, err := b.store.State(ctx, kindHome, digest(token)); errors.Is(err, roof.ErrNotFound) {
		err = b.keepLink(ctx, token, homeToken{Case: caseID, Made: b.opt.Now().UTC(), For: address})
		if err != nil {
			return "", err
		}
	} else if err != nil {
		return "", fmt.Errorf("reading a link of %s: %w", caseID, err)
	}
	return trimSlash(b.opt.Config.HTTP.PublicURL) + "/home/" + token, nil
}

// RevokeHomeLinks withdraws every link of a case, those of mails too, and lets
// mails carry none until a link is made again.
func (b *bell) RevokeHomeLinks(ctx context.Context, caseID string) error {
	b.links.Lock()
	defer b.links.Unlock()
	if err := b.store.PutState(ctx, kindNoMailLinks, caseID, []byte(b.opt.Now().UTC().Format(time.RFC3339))); err != nil {
		return fmt.Errorf("withdrawing the links of %s: %w", caseID, err)
	}
	// With another salt no withdrawn link ever comes to life again.
	if err := b.store.DeleteState(ctx, kindLinkSalt, caseID); err != nil {
		return fmt.Errorf("withdrawing the links of %s: %w", caseID, err)
	}
	return b.dropLinks(ctx, caseID, func(homeToken) bool { return true })
}

func (b *bell) dropLinks(ctx context.Context, caseID string, which func(homeToken) bool) error {
	kept, err := b.homeTokens(ctx, caseID)
	if err != nil {
		return err
	}
	for key, t := range kept {
		if which(t) {
			if err := b.store.DeleteState(ctx, kindHome, key); err != nil {
				return fmt.Errorf("withdrawing a link of %s: %w", caseID, err)
			}
		}
	}
	return nil
}

// homeTokens are a case's links by the digests of their tokens.
func (b *bell) homeTokens(ctx context.Context, caseID string) (map[string]homeToken, error) {
	kept, err := b.store.States(ctx, kindHome)
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
func (b *bell) Household(ctx context.Context, caseID string) (out web.Household, err error) {
	e, err := b.book.Get(caseID)
	if err != nil {
		return out, err
	}
	tokens, err := b.homeTokens(ctx, caseID)
	if err != nil {
		return out, err
	}
	out.Links, out.Mail = b.opt.Config.HTTP.PublicURL != "", b.via["mail"]
	if off, err := b.store.State(ctx, kindNoMailLinks, caseID); err == nil {
		out.LinksOff, _ = time.Parse(time.RFC3339, string(off))
	}
	for _, address := range e.Case.Contacts.Householder {
		r := web.Reader{Address: address}
		if r.Stopped, err = b.stopped(ctx, caseID, address); err != nil {
			return out, err
		}
		for _, t := range tokens {
			if strings.EqualFold(t.For, address) {
				r.Link = t.Made
			}
		}
		out.Readers = append(out.Readers, r)
	}
	for _, t := range tokens {
		if t.For == "" {
			out.LinkMade = t.Made
		}
	}
	return out, nil
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
	if err == nil && t.For != "" && !slices.ContainsFunc(e.Case.Contacts.Householder,
		func(a string) bool { return strings.EqualFold(a, t.For) }) {
		return nil, fmt.Errorf("the link of an address that left the household: %w", roof.ErrNotFound)
	}
	return e.Case, err
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

func stopKey(caseID, address string) string {
	return caseID + "/" + digest(strings.ToLower(address))
}

// stopped is since when an address wants no mail, zero where it does.
func (b *bell) stopped(ctx context.Context, caseID, address string) (time.Time, error) {
	blob, err := b.store.State(ctx, kindStopped, stopKey(caseID, address))
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
func (b *bell) Resume(ctx context.Context, caseID, address string) error {
	if err := b.store.DeleteState(ctx, kindStopped, stopKey(caseID, address)); err != nil {
		return fmt.Errorf("writing to an address of %s again: %w", caseID, err)
	}
	return nil
}

// Stop ends or restarts the mails to the address that a link was made for.
func (b *bell) Stop(ctx context.Context, caseID, code string, stop bool) (address string, stopped bool, err error) {
	e, err := b.book.Get(caseID)
	if err != nil {
		return "", false, err
	}
	for _, a := range e.Case.Contacts.Householder {
		if credentials.Same(code, b.stopCode(caseID, a)) {
			since, err := b.stopped(ctx, caseID, a)
			if err != nil || !stop || !since.IsZero() {
				return a, !since.IsZero(), err
			}
			return a, true, b.store.PutState(ctx, kindStopped, stopKey(caseID, a),
				[]byte(b.opt.Now().UTC().Format(time.RFC3339)))
		}
	}
	return "", false, fmt.Errorf("a link to stop mails: %w", roof.ErrNotFound)
}
