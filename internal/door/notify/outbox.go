// Package notify delivers messages to people and to home automation by mail,
// signed webhook and retained MQTT topic. Its outbox survives a restart,
// retries at growing intervals, and delivers each message once.
package notify

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"time"

	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
)

// State keeps the outbox; the default store does.
type State interface {
	PutState(ctx context.Context, kind, key string, blob []byte) error
	States(ctx context.Context, kind string) ([]roof.KeptState, error)
	DeleteState(ctx context.Context, kind, key string) error
}

// Channel is one way to reach somebody.
type Channel interface {
	// Name is the channel's name in the log and on the pages.
	Name() string
	// Send delivers to an address, where the channel has addresses. It must be
	// safe to call again after an error; a receiver tells a repeat by the
	// message's key.
	Send(ctx context.Context, m alert.Message, to string) error
}

// Kinds of state.
const (
	// BoxKind is that of letters, under their keys.
	BoxKind  = "outbox" // letters not yet delivered, and what became of the others
	keepDone = 70 * 24 * time.Hour
	// giveUp is how long a letter is tried: news a week old is no news.
	giveUp     = 7 * 24 * time.Hour
	firstWait  = 30 * time.Second
	longest    = 30 * time.Minute
	sendFor    = 30 * time.Second
	finishFor  = 2 * time.Second // at a stop
	maxLetters = 2000            // not yet delivered; beyond it the oldest are given up
)

// Letter is one message on one channel.
type Letter struct {
	Key     string        `json:"key"` // message key, channel and address
	Channel string        `json:"channel"`
	To      string        `json:"to,omitempty"`
	Message alert.Message `json:"message"`
	Tries   int           `json:"tries"`
	Next    time.Time     `json:"next"`
	Tried   time.Time     `json:"tried,omitzero"`  // last
	Error   string        `json:"error,omitempty"` // of the last try
	// Channels says that the last try failed by the channel's fault, so that the
	// channel's other letters wait as well.
	Channels bool      `json:"channels,omitempty"`
	Sent     time.Time `json:"sent,omitzero"` // delivered
	GaveUp   time.Time `json:"gave_up,omitzero"`
}

// Done reports that nothing more is tried.
func (l Letter) Done() bool { return !l.Sent.IsZero() || !l.GaveUp.IsZero() }

// ErrRefused is wrapped by a channel's error that no repeat will mend.
var ErrRefused = errors.New("refused for good")

// ErrThisLetter is wrapped by a channel's error that lies with one letter alone,
// such as a mailbox that is full: the channel itself works.
var ErrThisLetter = errors.New("this letter has to wait")

// Outbox keeps letters until they are delivered.
type Outbox struct {
	state    State
	channels map[string]Channel
	log      *slog.Logger
	now      func() time.Time

	one     sync.Mutex // round of deliveries at a time
	mu      sync.Mutex
	letters map[string]*Letter
	health  map[string]Health
	holds   map[string]hold
	wake    chan struct{}
	jitter  func() float64
	away    func(caseID string) bool // houses whose letters another instance delivers; nil: none
}

// hold is a failing channel's pause: all its letters wait for it, or many waiting
// letters would take turns in trying.
type hold struct {
	fails int // running
	until time.Time
}

// Health is how a channel does.
type Health struct {
	Channel string    `json:"channel"`
	Waiting int       `json:"waiting"`
	Sent    int64     `json:"sent"` // since the start
	Failing string    `json:"failing,omitempty"`
	Since   time.Time `json:"since,omitzero"` // failing
	Next    time.Time `json:"next,omitzero"`  // tried again, where it fails
}

// Open loads what was not delivered.
func Open(ctx context.Context, state State, channels []Channel, now func() time.Time, log *slog.Logger) (*Outbox,
	error) {
	o := &Outbox{state: state, channels: map[string]Channel{}, log: log, now: now, letters: map[string]*Letter{},
		health: map[string]Health{}, holds: map[string]hold{},
		wake: make(chan struct{}, 1), jitter: rand.Float64}
	for _, c := range channels {
		o.channels[c.Name()] = c
		o.health[c.Name()] = Health{Channel: c.Name()}
	}
	kept, err := state.States(ctx, BoxKind)
	if err != nil {
		return nil, fmt.Errorf("reading the outbox: %w", err)
	}
	for _, k := range kept {
		var l Letter
		if err := json.Unmarshal(k.Blob, &l); err != nil {
			log.Error("a letter of the outbox cannot be read and is left", "letter", k.Key, "error", err)
			continue
		}
		o.letters[l.Key] = &l
		o.holdAgain(l)
	}
	return o, nil
}

// LeaveOut has the letters of houses left undelivered that another instance keeps
// now, from when it returns on: one that is under way is finished before. What waits
// of the others is looked through.
func (o *Outbox) LeaveOut(away func(caseID string) bool) {
	o.one.Lock()
	defer o.one.Unlock()
	o.mu.Lock()
	o.away = away
	o.mu.Unlock()
	o.wakeUp()
}

func (o *Outbox) wakeUp() {
	select {
	case o.wake <- struct{}{}:
	default:
	}
}

// waits reports whether a letter is still to be delivered from here; mu is held.
func (o *Outbox) waits(l *Letter) bool {
	return !l.Done() && (o.away == nil || !o.away(l.Message.Case))
}

// LettersOf are a house's letters as the state keeps them.
func (o *Outbox) LettersOf(caseID string) (out []roof.HouseState, err error) {
	for _, l := range o.Of(caseID) {
		blob, err := json.Marshal(l)
		if err != nil {
			return nil, fmt.Errorf("writing letter %s: %w", l.Key, err)
		}
		out = append(out, roof.HouseState{Kind: BoxKind, Key: l.Key, Blob: blob})
	}
	return out, nil
}

// Take takes over a letter of a house that came from another instance, as the
// state keeps it. What was delivered there is not delivered again.
func (o *Outbox) Take(ctx context.Context, s roof.HouseState) error {
	var l Letter
	if err := json.Unmarshal(s.Blob, &l); err != nil {
		return fmt.Errorf("reading letter %s: %w", s.Key, err)
	}
	o.mu.Lock()
	had := o.letters[l.Key]
	newer := had == nil || !had.Done()
	o.mu.Unlock()
	if !newer {
		return nil
	}
	if err := o.keep(ctx, &l); err != nil {
		return err
	}
	o.mu.Lock()
	o.letters[l.Key] = &l
	o.mu.Unlock()
	o.wakeUp()
	return nil
}

// holdAgain takes up a failing channel's pause where the last run left it.
func (o *Outbox) holdAgain(l Letter) {
	h, has := o.health[l.Channel]
	if !has || l.Done() || !l.Channels {
		return
	}
	k := o.holds[l.Channel]
	if l.Next.After(k.until) {
		k.until, h.Failing, h.Since, h.Next = l.Next, l.Error, l.Tried, l.Next
	}
	k.fails += l.Tries
	o.holds[l.Channel], o.health[l.Channel] = k, h
}

// Post takes a message for a channel; the same message again changes nothing.
// When it returns without an error the message is durable.
func (o *Outbox) Post(ctx context.Context, channel, to string, m alert.Message) error {
	l := &Letter{Key: m.Key + " " + channel + " " + to, Channel: channel, To: to, Message: m, Next: m.After}
	o.mu.Lock()
	_, had := o.letters[l.Key]
	o.mu.Unlock()
	if had {
		return nil
	}
	if err := o.keep(ctx, l); err != nil {
		return err
	}
	o.mu.Lock()
	o.letters[l.Key] = l
	o.mu.Unlock()
	o.wakeUp()
	return nil
}

func (o *Outbox) keep(ctx context.Context, l *Letter) error {
	b, err := json.Marshal(l)
	if err != nil {
		return fmt.Errorf("writing letter %s: %w", l.Key, err)
	}
	if err := o.state.PutState(ctx, BoxKind, l.Key, b); err != nil {
		return fmt.Errorf("keeping letter %s: %w", l.Key, err)
	}
	return nil
}

// Run delivers until ctx ends.
func (o *Outbox) Run(ctx context.Context) {
	for ctx.Err() == nil {
		next := o.Deliver(ctx)
		wait := time.Minute
		if !next.IsZero() {
			wait = min(wait, max(next.Sub(o.now()), 200*time.Millisecond))
		}
		t := time.NewTimer(wait)
		select {
		case <-ctx.Done():
		case <-o.wake:
		case <-t.C:
		}
		t.Stop()
	}
}

// Deliver tries every letter that is due, each channel's in order and the
// channels side by side, and says when the next is due. A failing channel is
// tried with one letter when its pause is over; the others follow once that one
// arrived.
func (o *Outbox) Deliver(ctx context.Context) (next time.Time) {
	o.one.Lock() // two rounds at once would send a letter twice
	defer o.one.Unlock()
	o.tidy(ctx)
	now := o.now()
	due := map[string][]*Letter{}
	o.mu.Lock()
	for _, l := range o.letters {
		if o.waits(l) && !o.dueAt(l).After(now) {
			due[l.Channel] = append(due[l.Channel], l)
		}
	}
	o.mu.Unlock()
	var all sync.WaitGroup
	for name, letters := range due {
		o.order(name, letters)
		all.Go(func() {
			worked := false
			for _, l := range letters {
				if ctx.Err() != nil {
					return
				}
				ok := o.try(ctx, name, l, worked)
				if !ok && !worked {
					return // what stands behind a failing channel waits with it
				}
				// After a letter that arrived a failure lies with its letter; two
				// running, with the channel.
				worked = ok
			}
		})
	}
	all.Wait()
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, l := range o.letters {
		if at := o.dueAt(l); o.waits(l) && (next.IsZero() || at.Before(next)) {
			next = at
		}
	}
	return next
}

// dueAt is when a letter may be tried; the lock is held.
func (o *Outbox) dueAt(l *Letter) time.Time {
	if until := o.holds[l.Channel].until; until.After(l.Next) {
		return until
	}
	return l.Next
}

// order puts letters in the order of their planning. The first after a failure is
// the one tried least, so that a letter which can never arrive does not stand in
// front of those that can.
func (o *Outbox) order(channel string, letters []*Letter) {
	slices.SortFunc(letters, func(a, b *Letter) int { return strings.Compare(a.Key, b.Key) })
	o.mu.Lock()
	fails := o.holds[channel].fails
	o.mu.Unlock()
	if fails == 0 {
		return
	}
	first := slices.MinFunc(letters, func(a, b *Letter) int { return a.Tries - b.Tries })
	copy(letters[1:slices.Index(letters, first)+1], letters)
	letters[0] = first
}

// try sends one letter; false where it did not arrive and will be tried again.
// worked says that the channel brought another letter just now.
func (o *Outbox) try(ctx context.Context, name string, l *Letter, worked bool) bool {
	c, ok := o.channels[name]
	var err error
	if !ok {
		err = fmt.Errorf("the channel %s is not set up any more: %w", name, ErrRefused)
	} else {
		sending, cancel := context.WithTimeout(context.WithoutCancel(ctx), sendFor)
		// A letter that is on its way when the daemon stops may arrive all the same:
		// given up, it would be sent again.
		stopped := context.AfterFunc(ctx, func() { time.AfterFunc(finishFor, cancel) })
		err = c.Send(sending, l.Message, l.To)
		stopped()
		cancel()
	}
	if ctx.Err() != nil && err != nil {
		return false // stopping: not the channel's fault
	}
	done := o.booked(l, err, worked)
	if kerr := o.keep(context.WithoutCancel(ctx), &done); kerr != nil {
		// Delivered but not noted: after a crash now it would go out a second
		// time, with the same key. The next try of anything notes it.
		o.log.Error("what became of a letter could not be kept", "letter", l.Key, "error", kerr)
	}
	return err == nil || errors.Is(err, ErrRefused) || errors.Is(err, ErrThisLetter)
}

// booked notes what became of a try, of the letter and of its channel.
func (o *Outbox) booked(l *Letter, err error, worked bool) Letter {
	now := o.now()
	o.mu.Lock()
	defer o.mu.Unlock()
	done, h, k := *l, o.health[l.Channel], o.holds[l.Channel]
	done.Tries++
	done.Tried, done.Channels = now, false
	refused := errors.Is(err, ErrRefused)
	// The other side took one, or said what is wrong with this one: it works.
	works := err == nil || refused || errors.Is(err, ErrThisLetter)
	switch {
	case works:
		k, h.Failing, h.Since, h.Next = hold{}, "", time.Time{}, time.Time{}
	case !worked:
		k.fails++
		k.until = now.Add(o.wait(k.fails))
		if h.Since.IsZero() {
			h.Since = now
			o.log.Warn("a message could not be delivered; it is tried again", "channel", l.Channel, "letter", l.Key, "error",
				err)
		}
		h.Failing, h.Next = err.Error(), k.until
	}
	switch {
	case err == nil:
		done.Sent, done.Error = now, ""
		h.Sent++
	case refused, now.Sub(l.Message.After) > giveUp:
		done.GaveUp, done.Error = now, err.Error()
		o.log.Warn("a message was given up", "channel", l.Channel, "letter", l.Key, "error", err)
	case works || worked:
		done.Error, done.Next = err.Error(), now.Add(o.wait(done.Tries))
	default:
		done.Error, done.Next, done.Channels = err.Error(), k.until, true
	}
	if _, is := o.channels[l.Channel]; is { // not one that was taken out of the configuration
		o.health[l.Channel], o.holds[l.Channel] = h, k
	}
	*l = done
	return done
}

// wait grows from half a minute to half an hour, spread by half either way so
// that many letters do not come together.
func (o *Outbox) wait(tries int) time.Duration {
	d := longest
	if tries < 8 {
		d = min(longest, firstWait<<(tries-1))
	}
	return time.Duration(float64(d) * (0.5 + o.jitter()))
}

// tidy forgets letters long done and gives up the oldest beyond the bound.
func (o *Outbox) tidy(ctx context.Context) {
	now := o.now()
	var drop []string
	var waiting []*Letter
	o.mu.Lock()
	for k, l := range o.letters {
		at := l.Sent
		if at.IsZero() {
			at = l.GaveUp
		}
		if l.Done() && now.Sub(at) > keepDone {
			drop = append(drop, k)
		}
		if !l.Done() {
			waiting = append(waiting, l)
		}
	}
	if over := len(waiting) - maxLetters; over > 0 {
		slices.SortFunc(waiting, func(a, b *Letter) int { return a.Message.At.Compare(b.Message.At) })
		for _, l := range waiting[:over] {
			drop = append(drop, l.Key)
		}
	}
	for _, k := range drop {
		delete(o.letters, k)
	}
	o.mu.Unlock()
	for _, k := range drop {
		if err := o.state.DeleteState(ctx, BoxKind, k); err != nil {
			o.log.Error("an old letter could not be dropped", "letter", k, "error", err)
		}
	}
}

// Of lists what became of a case's messages, newest first.
func (o *Outbox) Of(caseID string) []Letter {
	o.mu.Lock()
	defer o.mu.Unlock()
	var out []Letter
	for _, l := range o.letters {
		if l.Message.Case == caseID {
			out = append(out, *l)
		}
	}
	slices.SortFunc(out, func(a, b Letter) int { return strings.Compare(b.Key, a.Key) })
	return out
}

// Health lists the channels and how they do.
func (o *Outbox) Health() []Health {
	o.mu.Lock()
	defer o.mu.Unlock()
	waiting := map[string]int{}
	for _, l := range o.letters {
		if o.waits(l) {
			waiting[l.Channel]++
		}
	}
	var out []Health
	for _, name := range slices.Sorted(maps.Keys(o.health)) {
		h := o.health[name]
		h.Waiting = waiting[name]
		out = append(out, h)
	}
	return out
}
