package notify

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/reason/alert"
)

// judged is a channel that answers by the message's key.
type judged struct {
	tries map[string]int
	say   func(key string) error
}

func (*judged) Name() string { return "line" }
func (j *judged) Send(_ context.Context, m alert.Message, _ string) error {
	j.tries[m.Key]++
	return j.say(m.Key)
}

func TestManyLettersBehindAFailingChannelWaitForItsPause(t *testing.T) {
	c, s := &clock{t: time.Date(2026, 12, 1, 17, 0, 0, 0, time.UTC)}, &shelf{}
	down, all := true, 0
	j := &judged{tries: map[string]int{}, say: func(string) error {
		all++
		if down {
			return errors.New("503")
		}
		return nil
	}}
	o, err := Open(t.Context(), s, []Channel{j}, c.now, quiet)
	require.NoError(t, err)
	for n := range 100 {
		require.NoError(t, o.Post(t.Context(), "line", "", message(n, c.now())))
	}
	for second := 0; second < 24*3600; second += 20 {
		o.Deliver(t.Context())
		if second%7200 == 0 { // a restart begins no new row of tries
			o, err = Open(t.Context(), s, []Channel{j}, c.now, quiet)
			require.NoError(t, err)
		}
		c.add(20 * time.Second)
	}
	// 30 s, 1, 2, 4, 8, 16 min and then every half hour are 53 tries in a day; each
	// wait is spread by half either way.
	assert.Less(t, all, 75, "tries of the channel, however many letters wait")
	h := o.Health()[0]
	assert.Equal(t, "503", h.Failing)
	assert.Equal(t, 100, h.Waiting)
	assert.True(t, h.Next.After(c.now().Add(-time.Minute)), "the page says when it is tried again")

	down, all = false, 0
	c.add(time.Hour)
	o.Deliver(t.Context())
	assert.Equal(t, 100, all, "with the first that arrives the others follow, once")
	assert.Zero(t, o.Health()[0].Waiting)
	assert.True(t, o.Health()[0].Next.IsZero())
}

func TestALetterThatNeverArrivesHoldsNoOtherUp(t *testing.T) {
	for name, failure := range map[string]error{"the channel's fault, as far as it can tell": errors.New("500"),
		"its own": fmt.Errorf("452: %w", ErrThisLetter), "refused": fmt.Errorf("550: %w", ErrRefused)} {
		c := &clock{t: time.Date(2026, 12, 1, 17, 0, 0, 0, time.UTC)}
		j := &judged{tries: map[string]int{}, say: func(key string) error {
			if key == message(0, time.Time{}).Key || key == message(7, time.Time{}).Key {
				return failure
			}
			return nil
		}}
		o, err := Open(t.Context(), &shelf{}, []Channel{j}, c.now, quiet)
		require.NoError(t, err)
		for n := range 20 {
			require.NoError(t, o.Post(t.Context(), "line", "", message(n, c.now())))
		}
		for range 3 {
			o.Deliver(t.Context())
			c.add(time.Minute)
		}
		sent := 0
		for _, l := range o.Of("larkfield-9") {
			if !l.Sent.IsZero() {
				sent++
			}
		}
		assert.Equal(t, 18, sent, name)
	}
}

func TestOneAddressThatTakesNoMailIsNotTheServersFailure(t *testing.T) {
	server := startChoosyMail(t)
	m, err := NewMail(MailOptions{Host: "127.0.0.1", Port: server.Port, TLS: "starttls", From: "roof@example.org",
		CAFile: server.CertFile})
	require.NoError(t, err)
	assert.ErrorIs(t, m.Send(t.Context(), message(1, time.Now()), "full@example.org"), ErrThisLetter)
	assert.ErrorIs(t, m.Send(t.Context(), message(1, time.Now()), "nobody@example.org"), ErrRefused)

	c := &clock{t: time.Now()}
	o, err := Open(t.Context(), &shelf{}, []Channel{m}, c.now, quiet)
	require.NoError(t, err)
	for _, to := range []string{"full@example.org", "nobody@example.org", "ann@example.org"} {
		require.NoError(t, o.Post(t.Context(), "mail", to, message(1, c.now())))
	}
	o.Deliver(t.Context())
	require.Len(t, server.letters(), 1, "the others' trouble is not hers")
	assert.Empty(t, o.Health()[0].Failing)
	assert.Equal(t, 1, o.Health()[0].Waiting)
	for _, l := range o.Of("larkfield-9") {
		assert.Equal(t, l.To == "nobody@example.org", !l.GaveUp.IsZero(), l.To)
		assert.Equal(t, l.To == "ann@example.org", l.Error == "", l.To)
	}
}

func TestAChannelTakenOutOfTheConfigurationIsNoFailingOne(t *testing.T) {
	c, s := &clock{t: time.Now()}, &shelf{}
	o, err := Open(t.Context(), s, []Channel{&line{down: true}}, c.now, quiet)
	require.NoError(t, err)
	require.NoError(t, o.Post(t.Context(), "line", "", message(1, time.Now())))
	o.Deliver(t.Context())
	c.add(time.Hour)
	var logged bytes.Buffer
	o, err = Open(t.Context(), s, nil, c.now, slog.New(slog.NewTextHandler(&logged, nil)))
	require.NoError(t, err)
	o.Deliver(t.Context())
	assert.Empty(t, o.Health())
	require.Len(t, o.Of("larkfield-9"), 1)
	assert.False(t, o.Of("larkfield-9")[0].GaveUp.IsZero())
	assert.Contains(t, logged.String(), "given up")
}
