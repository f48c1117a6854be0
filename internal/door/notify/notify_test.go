package notify

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
)

var quiet = slog.New(slog.DiscardHandler)

// shelf keeps state in memory, as durable as the test needs it.
type shelf struct {
	mu   sync.Mutex
	kept map[string][]byte
	fail error
}

func (s *shelf) PutState(_ context.Context, kind, key string, blob []byte) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.fail != nil {
		return s.fail
	}
	if s.kept == nil {
		s.kept = map[string][]byte{}
	}
	s.kept[kind+"|"+key] = slices.Clone(blob)
	return nil
}

func (s *shelf) States(_ context.Context, kind string) (out []roof.KeptState, _ error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for k, b := range s.kept {
		if rest, ok := strings.CutPrefix(k, kind+"|"); ok {
			out = append(out, roof.KeptState{Key: rest, Blob: b})
		}
	}
	return out, nil
}

func (s *shelf) DeleteState(_ context.Context, kind, key string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.kept, kind+"|"+key)
	return nil
}

// clock is a time that the test turns.
type clock struct {
	mu sync.Mutex
	t  time.Time
}

func (c *clock) now() time.Time { c.mu.Lock(); defer c.mu.Unlock(); return c.t }
func (c *clock) add(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.t = c.t.Add(d)
}

// line is a channel that can be cut.
type line struct {
	mu   sync.Mutex
	got  []string
	down bool
}

func (*line) Name() string { return "line" }
func (l *line) Send(_ context.Context, m alert.Message, _ string) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.down {
		return errors.New("the line is cut")
	}
	l.got = append(l.got, m.Key)
	return nil
}

func message(n int, at time.Time) alert.Message {
	return alert.Message{Key: fmt.Sprintf("larkfield-9/%06d", n), Case: "larkfield-9", To: alert.Household,
		Kind: alert.News, At: at, After: at, Subject: "9 Larkfield Mews: water forms in the roof now",
		Text: "Water has begun to form under the slates.", Alerts: []string{"surface_wet.slate.1"}}
}

func TestAChannelDownForADayDeliversEachMessageOnceAfterwards(t *testing.T) {
	c, s, l := &clock{t: time.Date(2026, 12, 1, 17, 0, 0, 0, time.UTC)}, &shelf{}, &line{down: true}
	o, err := Open(t.Context(), s, []Channel{l}, c.now, quiet)
	require.NoError(t, err)
	tries := 0
	for minute := range 24 * 60 {
		if minute%240 == 0 {
			require.NoError(t, o.Post(t.Context(), "line", "", message(minute/240, c.now())))
		}
		if next := o.Deliver(t.Context()); next.After(c.now()) {
			tries++
		}
		if minute%97 == 0 { // the daemon is restarted
			o, err = Open(t.Context(), s, []Channel{l}, c.now, quiet)
			require.NoError(t, err)
		}
		c.add(time.Minute)
	}
	assert.Contains(t, o.Health()[0].Failing, "the line is cut", "the failure shows")
	assert.Equal(t, 6, o.Health()[0].Waiting)
	for _, x := range o.Of("larkfield-9") {
		assert.Less(t, x.Tries, 120, "the waits grow: half a minute to half an hour")
	}
	l.down = false
	for range 60 {
		c.add(time.Minute)
		o.Deliver(t.Context())
	}
	assert.Equal(t, []string{"larkfield-9/000000", "larkfield-9/000001", "larkfield-9/000002", "larkfield-9/000003",
		"larkfield-9/000004", "larkfield-9/000005"}, slices.Sorted(slices.Values(l.got)))
	o, err = Open(t.Context(), s, []Channel{l}, c.now, quiet)
	require.NoError(t, err)
	for n := range 6 { // a plan that was made again after a crash
		require.NoError(t, o.Post(t.Context(), "line", "", message(n, c.now())))
	}
	o.Deliver(t.Context())
	assert.Len(t, l.got, 6)
	assert.Empty(t, o.Health()[0].Failing)
}

func TestRestartsAtRandomNeitherLoseNorDouble(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 9))
	c, s, l := &clock{t: time.Date(2026, 12, 1, 17, 0, 0, 0, time.UTC)}, &shelf{}, &line{}
	var o *Outbox
	restart := func() {
		var err error
		o, err = Open(t.Context(), s, []Channel{l}, c.now, quiet)
		require.NoError(t, err)
	}
	restart()
	restarts := 0
	for n := 0; restarts < 50; n++ {
		for range 1 + rng.IntN(2) { // posted again where the crash came before the step was noted
			require.NoError(t, o.Post(t.Context(), "line", "", message(n, c.now())))
		}
		l.down = rng.IntN(3) == 0
		if rng.IntN(2) == 0 {
			o.Deliver(t.Context())
		}
		if rng.IntN(3) == 0 {
			restart()
			restarts++
		}
		c.add(time.Duration(rng.IntN(3600)) * time.Second)
	}
	l.down = false
	c.add(time.Hour)
	o.Deliver(t.Context())
	want := map[string]int{}
	for _, k := range l.got {
		want[k]++
	}
	for k, n := range want {
		assert.Equal(t, 1, n, k)
	}
	assert.Len(t, want, len(o.Of("larkfield-9")))
}

func TestALetterThatCannotBeKeptIsNotTaken(t *testing.T) {
	s := &shelf{fail: errors.New("the disk is full")}
	o, err := Open(t.Context(), s, []Channel{&line{}}, time.Now, quiet)
	require.NoError(t, err)
	assert.ErrorContains(t, o.Post(t.Context(), "line", "", message(1, time.Now())), "the disk is full")
	assert.Empty(t, o.Of("larkfield-9"))
}

func TestQuietHoursHoldALetterBack(t *testing.T) {
	c, l := &clock{t: time.Date(2026, 12, 1, 23, 0, 0, 0, time.UTC)}, &line{}
	o, err := Open(t.Context(), &shelf{}, []Channel{l}, c.now, quiet)
	require.NoError(t, err)
	m := message(1, c.now())
	m.After = c.now().Add(8 * time.Hour)
	require.NoError(t, o.Post(t.Context(), "line", "", m))
	assert.Equal(t, m.After, o.Deliver(t.Context()))
	assert.Empty(t, l.got)
	c.add(8 * time.Hour)
	o.Deliver(t.Context())
	assert.Len(t, l.got, 1)
}

func TestMailArrivesOverTLSAndOnce(t *testing.T) {
	server := startMail(t)
	m, err := NewMail(MailOptions{Host: "127.0.0.1", Port: server.Port, TLS: "starttls", From: "roof@example.org",
		CAFile:  server.CertFile,
		Experts: func(string) []string { return []string{"carl@example.org"} },
		Page: func(_ context.Context, caseID, to string) string {
			return "https://roof.example.org/home/" + caseID + to[:3]
		}})
	require.NoError(t, err)
	c := &clock{t: time.Now()}
	o, err := Open(t.Context(), &shelf{}, []Channel{m}, c.now, quiet)
	require.NoError(t, err)
	x := message(1, c.now())
	x.Subject += "\r\nBcc: everyone@example.org"
	x.Unsubscribe = "https://roof.example.org/home/stop/larkfield-9/abc"
	require.NoError(t, o.Post(t.Context(), "mail", "ann@example.org", x))
	o.Deliver(t.Context())
	o.Deliver(t.Context())
	require.Len(t, server.letters(), 1)
	letter := server.letters()[0]
	assert.Contains(t, letter, "To: <ann@example.org>")
	assert.Contains(t, letter, "List-Unsubscribe: <https://roof.example.org/home/stop/larkfield-9/abc>")
	assert.Contains(t, letter, "List-Unsubscribe-Post: List-Unsubscribe=One-Click")
	assert.Contains(t, letter, "Auto-Submitted: auto-generated")
	assert.NotContains(t, letter, "\nBcc:", "a name with a line break adds no header")
	assert.Contains(t, letter, "Water has begun to form under the slates.")
	assert.Contains(t, letter, "Reply-To: <carl@example.org>", "an answer reaches somebody who reads it")
	assert.Contains(t, letter, "How your roof is now: https://roof.example.org/home/larkfield-9ann")

	server.stop() // a day without the mail server
	for range 3 {
		require.NoError(t, o.Post(t.Context(), "mail", "ann@example.org", message(2, c.now())))
		o.Deliver(t.Context())
		c.add(8 * time.Hour)
	}
	assert.NotEmpty(t, o.Health()[0].Failing)
	server.start()
	o.Deliver(t.Context())
	o.Deliver(t.Context())
	assert.Len(t, server.letters(), 2, "delivered after, once")
	assert.Empty(t, o.Health()[0].Failing)
}

func TestMailRefusesAServerItCannotTrust(t *testing.T) {
	server := startMail(t)
	m, err := NewMail(MailOptions{Host: "127.0.0.1", Port: server.Port, TLS: "starttls", From: "roof@example.org"})
	require.NoError(t, err)
	err = m.Send(t.Context(), message(1, time.Now()), "ann@example.org")
	require.Error(t, err)
	assert.NotErrorIs(t, err, ErrRefused, "a certificate can be put right: the letter waits")
	assert.Empty(t, server.letters())
	_, err = NewMail(MailOptions{Host: "mail.example.org", Port: 25, TLS: "none", From: "roof@example.org"})
	assert.ErrorContains(t, err, "mail in clear")
}

func TestWebhookIsSignedAndTakenOnce(t *testing.T) {
	secret := []byte("a long enough secret")
	var got []http.Header
	var bodies [][]byte
	code := http.StatusOK
	receiver := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		got, bodies = append(got, r.Header), append(bodies, body)
		w.WriteHeader(code)
	}))
	defer receiver.Close()
	c := &clock{t: time.Now()}
	h, err := NewWebhook(receiver.URL, secret, true, c.now)
	require.NoError(t, err)
	o, err := Open(t.Context(), &shelf{}, []Channel{h}, c.now, quiet)
	require.NoError(t, err)
	require.NoError(t, o.Post(t.Context(), "webhook", "", message(1, c.now())))
	code = http.StatusBadGateway
	o.Deliver(t.Context())
	assert.Contains(t, o.Health()[0].Failing, "502")
	c.add(time.Minute)
	code = http.StatusNoContent
	o.Deliver(t.Context())
	c.add(time.Hour)
	o.Deliver(t.Context())
	require.Len(t, got, 2, "a failed try and the delivery")
	assert.Equal(t, "sha256="+sign(secret, got[1].Get(headerTimestamp), bodies[1]), got[1].Get(headerSignature))
	assert.Equal(t, got[0].Get(headerKey), got[1].Get(headerKey), "a repeat carries the same key")
	var said map[string]any
	require.NoError(t, json.Unmarshal(bodies[1], &said))
	assert.Equal(t, "larkfield-9", said["case"])
	_, err = NewWebhook(receiver.URL, []byte("short"), true, time.Now)
	assert.ErrorContains(t, err, "16 characters")
}

// TestWebhookStaysOutOfPrivateNetworks is fault row 49.
func TestWebhookStaysOutOfPrivateNetworks(t *testing.T) {
	called := false
	inside := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { called = true }))
	defer inside.Close()
	port := inside.URL[strings.LastIndexByte(inside.URL, ':')+1:]
	for _, host := range []string{"127.0.0.1", "localhost", "[::1]", "2130706433", "0x7f000001", "0", "[::ffff:127.0.0.1]",
		"127.1"} {
		h, err := NewWebhook("http://"+host+":"+port, []byte("a long enough secret"), false, time.Now)
		require.NoError(t, err)
		assert.Error(t, h.Send(t.Context(), message(1, time.Now()), ""), host)
	}
	assert.False(t, called)
	for _, a := range []string{"10.1.2.3:80", "172.16.0.1:80", "192.168.1.1:80", "169.254.169.254:80", "100.64.0.1:80",
		"[fe80::1%eth0]:80", "[fd00::1]:80", "[64:ff9b::a00:1]:80", "0.0.0.0:80", "224.0.0.1:80", "255.255.255.255:80",
		"[::]:80", "[2002:a00:1::]:80"} {
		assert.ErrorIs(t, open(a), ErrPrivate, a)
	}
	for _, a := range []string{"93.184.216.34:443", "[2606:2800:220:1::1]:443"} {
		assert.NoError(t, open(a), a)
	}
}

func TestWebhookFollowsNoRedirectAndReadsNoEndlessAnswer(t *testing.T) {
	elsewhere := false
	other := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { elsewhere = true }))
	defer other.Close()
	receiver := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/away" {
			http.Redirect(w, r, other.URL, http.StatusTemporaryRedirect)
			return
		}
		w.WriteHeader(http.StatusOK)
		for range 4096 { // 16 MiB
			if _, err := w.Write(make([]byte, 4096)); err != nil {
				return
			}
		}
	}))
	defer receiver.Close()
	h, err := NewWebhook(receiver.URL+"/away", []byte("a long enough secret"), true, time.Now)
	require.NoError(t, err)
	assert.ErrorContains(t, h.Send(t.Context(), message(1, time.Now()), ""), "307")
	assert.False(t, elsewhere)
	h, err = NewWebhook(receiver.URL, []byte("a long enough secret"), true, time.Now)
	require.NoError(t, err)
	assert.NoError(t, h.Send(t.Context(), message(1, time.Now()), ""))
}
