package notify

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"strconv"
	"syscall"
	"time"

	"dewcase/internal/reason/alert"
)

// Headers of a webhook call. The signature is the hexadecimal HMAC-SHA256 of
// timestamp, full stop and body under the shared secret; a receiver refuses what
// is old or was signed otherwise, and takes a key only once.
const (
	headerTimestamp = "Dewcase-Timestamp" // Unix seconds
	headerSignature = "Dewcase-Signature" // sha256=HEX
	headerKey       = "Dewcase-Key"
)

const maxAnswer = 64 << 10

// Webhook posts messages as JSON to one address.
type Webhook struct {
	url    string
	secret []byte
	client *http.Client
	now    func() time.Time
}

// ErrPrivate is wrapped where the target's address is not on the open internet
// and private ones were not allowed.
var ErrPrivate = errors.New("the address lies in a private network")

// NewWebhook posts to a URL. Unless private is set, an address in a private
// network, on this machine or on the link is refused when connecting, after the
// name was looked up: a name that changes its address is caught as well.
func NewWebhook(target string, secret []byte, private bool, now func() time.Time) (*Webhook, error) {
	if len(secret) < 16 {
		return nil, errors.New("the webhook's secret needs at least 16 characters: write a long random one into " +
			"alerts.webhook.secret_file")
	}
	dialer := &net.Dialer{Timeout: 10 * time.Second, Control: func(_, address string, _ syscall.RawConn) error {
		if private {
			return nil
		}
		return open(address)
	}}
	transport := &http.Transport{DialContext: dialer.DialContext, TLSHandshakeTimeout: 10 * time.Second,
		ResponseHeaderTimeout:  15 * time.Second,
		MaxResponseHeaderBytes: 32 << 10, DisableKeepAlives: true, Proxy: nil}
	return &Webhook{url: target, secret: secret, now: now,
		client: &http.Client{Transport: transport, Timeout: 20 * time.Second,
			CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}, nil
}

// open refuses what is not a public unicast address.
func open(address string) error {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return fmt.Errorf("address %q: %w", address, err)
	}
	ip, err := netip.ParseAddr(host)
	if err != nil {
		return fmt.Errorf("address %q: %w", address, err)
	}
	ip = ip.WithZone("").Unmap()
	if !ip.IsGlobalUnicast() || ip.IsPrivate() || ip.IsLoopback() || ip.IsLinkLocalUnicast() {
		return fmt.Errorf("%s: %w; alerts.webhook.allow_private: yes allows it", ip, ErrPrivate)
	}
	for _, p := range reserved {
		if p.Contains(ip) {
			return fmt.Errorf("%s: %w; alerts.webhook.allow_private: yes allows it", ip, ErrPrivate)
		}
	}
	return nil
}

// reserved are further networks that no receiver on the open internet has (IANA
// special-purpose address registries): carrier-grade NAT, documentation and
// benchmarks, addresses that embed an IPv4 one, this network.
var reserved = func() (out []netip.Prefix) {
	for _, s := range []string{"0.0.0.0/8", "100.64.0.0/10", "192.0.0.0/24", "192.0.2.0/24", "198.18.0.0/15",
		"198.51.100.0/24", "203.0.113.0/24", "240.0.0.0/4",
		"64:ff9b::/96", "64:ff9b:1::/48", "2001::/23", "2001:db8::/32", "2002::/16", "fec0::/10", "::/96"} {
		out = append(out, netip.MustParsePrefix(s))
	}
	return out
}()

// Name is the channel's name.
func (*Webhook) Name() string { return "webhook" }

// hook is what a receiver gets.
type hook struct {
	Key      string    `json:"key"`
	Case     string    `json:"case"`
	To       string    `json:"to"`
	Kind     string    `json:"kind"`
	At       time.Time `json:"at"`
	Subject  string    `json:"subject"`
	Text     string    `json:"text"`
	Alerts   []string  `json:"alerts"`
	Evidence time.Time `json:"evidence"`
}

// Send posts one message; anything but 2xx is an error.
func (w *Webhook) Send(ctx context.Context, m alert.Message, _ string) error {
	body, err := json.Marshal(hook{m.Key, m.Case, string(m.To), string(m.Kind), m.At.UTC(), m.Subject, m.Text, m.Alerts,
		m.Evidence.UTC()})
	if err != nil {
		return fmt.Errorf("writing message %s: %w", m.Key, err)
	}
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, w.url, bytes.NewReader(body))
	if err != nil {
		return errors.New("calling the webhook: alerts.webhook.url is no URL")
	}
	stamp := strconv.FormatInt(w.now().Unix(), 10)
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("User-Agent", "dewcase")
	r.Header.Set(headerTimestamp, stamp)
	r.Header.Set(headerKey, m.Key)
	r.Header.Set(headerSignature, "sha256="+sign(w.secret, stamp, body))
	answer, err := w.client.Do(r)
	if err != nil {
		var around *url.Error
		if errors.As(err, &around) {
			err = around.Err // without the URL, which often holds a secret of its own
		}
		return fmt.Errorf("calling the webhook: %w", err)
	}
	defer answer.Body.Close()
	_, _ = io.Copy(io.Discard, io.LimitReader(answer.Body, maxAnswer))
	if answer.StatusCode < 200 || answer.StatusCode > 299 {
		return fmt.Errorf("the webhook answered %s", answer.Status)
	}
	return nil
}

// sign is the signature of a body sent at a time.
func sign(secret []byte, stamp string, body []byte) string {
	h := hmac.New(sha256.New, secret)
	h.Write([]byte(stamp + "."))
	h.Write(body)
	return hex.EncodeToString(h.Sum(nil))
}
