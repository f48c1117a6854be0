package bell

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"dewcase/internal/door/http/homepage"
	"dewcase/internal/door/notify"
	"dewcase/internal/flow/qc"
	"dewcase/internal/flow/watch"
	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// house is what is at hand of one case.
type house struct {
	mu      sync.Mutex  // a look, an acknowledgement, a hand-over: one at a time
	book    *alert.Book // nil until it is needed, and again where it is not
	saved   [sha256.Size]byte
	version int64
	c       *roof.Case
	at      time.Time
	slow    *watch.Slow
	fault   string // why the last look failed

	// What the days' readings say of the loggers, and when that was asked.
	days     map[string]dayOf
	daysAt   time.Time
	daysCalm *qc.Calm // as Flagged gave it then

	// What the last look found for the household's page.
	chance *float64
	nights []watch.Night
	where  string
	wet    string // position of the surface that these are of
	before beforeWork
	heard  time.Time // the newest reading of any logger

	gone   bool         // another instance keeps it now
	used   atomic.Int64 // when it was held last, by count
	booked atomic.Bool  // the book is at hand
}

// beforeWork is a surface's last nights before a repair, as the record of one
// version has them.
type beforeWork struct {
	surface string
	at      time.Time
	version int64
	nights  []words.Night
}

// hold locks a house, which is loaded the first time; whoever holds it unlocks
// its mu. Nobody holds two, and nobody waits for the network meanwhile.
func (b *Bell) hold(ctx context.Context, id string) (*house, error) {
	b.mu.Lock()
	h := b.houses[id]
	if h == nil {
		h = &house{}
		b.houses[id] = h
	}
	b.holds++
	h.used.Store(b.holds)
	if b.books.Load() >= maxBooks && !h.booked.Load() {
		b.putAway()
	}
	b.mu.Unlock()
	h.mu.Lock()
	if h.gone {
		h.mu.Unlock()
		return nil, fmt.Errorf("house %s is kept by another instance: %w", id, roof.ErrNotFound)
	}
	if h.book != nil {
		return h, nil
	}
	book := &alert.Book{}
	blob, err := b.State.State(ctx, kindBook, id)
	if err == nil {
		err = json.Unmarshal(blob, book)
	} else if errors.Is(err, roof.ErrNotFound) {
		err = nil
	}
	if err != nil {
		h.mu.Unlock()
		return nil, fmt.Errorf("reading the alerts of %s: %w", id, err)
	}
	h.book, h.saved = book, sha256.Sum256(blob)
	h.booked.Store(true)
	b.books.Add(1)
	if blob, err = b.State.State(ctx, kindSlow, id); err == nil {
		h.slow = &watch.Slow{}
		if json.Unmarshal(blob, h.slow) != nil {
			h.slow = nil
		}
	}
	return h, nil
}

// putAway makes room for books by those that have not been needed for longest; it
// is called with b.mu held, and takes none that is in use.
func (b *Bell) putAway() {
	var at []*house
	for _, h := range b.houses {
		if h.booked.Load() {
			at = append(at, h)
		}
	}
	slices.SortFunc(at, func(x, y *house) int { return cmp.Compare(x.used.Load(), y.used.Load()) })
	for _, h := range at[:len(at)/20] {
		if !h.mu.TryLock() {
			continue
		}
		h.book, h.slow, h.nights, h.before, h.at = nil, nil, nil, beforeWork{}, time.Time{}
		h.booked.Store(false)
		b.books.Add(-1)
		h.mu.Unlock()
	}
}

// glance takes one case a step further, without the nightly work, which can take
// seconds: what its record shows, what that raises or clears, and whom that must
// be told. The first glance waits until that work was tried once.
func (b *Bell) glance(ctx context.Context, c *roof.Case) error {
	h, err := b.hold(ctx, c.ID)
	if err != nil {
		return err
	}
	defer h.mu.Unlock()
	if _, err := b.Cases.Case(ctx, c.ID); errors.Is(err, roof.ErrNotFound) {
		return nil // it left since it was listed
	}
	if w, _ := b.sentries.nightly(c.ID); h.slow == nil && w.tried.IsZero() {
		b.sentries.later(c.ID, b.now().Add(lookEvery)) // or when it is done
		wake(b.unknown)
		return nil
	}
	return b.step(ctx, c, h)
}

// visit is a glance for a page: where nothing is new since the last, that serves.
func (b *Bell) visit(ctx context.Context, c *roof.Case, h *house) error {
	if now := b.now(); h.c == c && h.version == b.opt.Record.Version(c.ID) && now.Sub(h.at) < lookAnyway &&
		len(h.book.Planned) == 0 {
		return nil
	}
	return b.step(ctx, c, h)
}

// step is a glance at a house that is held.
func (b *Bell) step(ctx context.Context, c *roof.Case, h *house) error {
	now, version := b.now(), b.opt.Record.Version(c.ID)
	b.sentries.begin(c.ID, now)
	in, err := b.input(ctx, c, h, now)
	if err != nil {
		return err
	}
	b.examined.Add(1)
	view := watch.Look(in)
	h.chance = in.Chance
	h.nights, h.where, h.wet = wettest(in)
	h.heard = time.Time{}
	next := now.Add(watch.Hourly)
	for _, l := range in.Loggers {
		if l.Last.After(h.heard) {
			h.heard = l.Last
		}
		if l.CatchingUp {
			next = now.Add(movesWithin)
		}
	}
	h.c, h.version, h.at, h.fault = c, version, now, ""
	h.book.Judge(view.Level, now)
	plan := alert.PlanInput{Links: b.pageLinks(c.ID)}
	if h.slow != nil {
		plan.Cause = h.slow.Cause(c.Property.Zone)
	}
	if err := b.raise(ctx, c, h, view.Signs, plan, now); err != nil {
		return err
	}
	if _, clock := h.book.Due(c, alert.RulesOf(c.Alerts), now); clock.Before(next) {
		next = clock
	}
	b.sentries.examined(c, view, h.book, next, now)
	return nil
}

// wettest is the fortnight of the surface that the household's page shows.
func wettest(in watch.Input) (nights []watch.Night, where, position string) {
	worst := -1.0
	for _, p := range watch.HouseholdSurfaces(in.Case, in.Now) {
		n := watch.Last(watch.Nights(in, p.ID), homepage.Nights)
		wet := 0.0
		for _, x := range n {
			wet += x.Wet
		}
		if wet > worst {
			worst, nights, where, position = wet, n, words.HomeSurface(in.Case, p), p.ID
		}
	}
	return nights, where, position
}

// raise books what the last look found, and whom that must be told.
func (b *Bell) raise(ctx context.Context, c *roof.Case, h *house, signs []alert.Sign, plan alert.PlanInput,
	now time.Time) error {
	plan.Case, plan.Rules = c, alert.RulesOf(c.Alerts)
	if len(alert.Step(h.book, signs, plan.Rules, now)) > 0 {
		b.tell(c.ID, false)
	}
	h.book.Planned = append(h.book.Planned, alert.Plan(h.book, plan, now)...)
	return b.settle(ctx, c, h)
}

// settle makes a step durable and hands over what is due. The messages are kept
// with the step that planned them and dropped once the outbox has them, so that
// a crash at any point neither loses nor doubles one.
func (b *Bell) settle(ctx context.Context, c *roof.Case, h *house) error {
	if err := b.save(ctx, c.ID, h); err != nil {
		return err
	}
	if len(h.book.Planned) > 0 {
		for _, m := range h.book.Planned {
			if err := b.post(ctx, c, m); err != nil {
				return err
			}
		}
		h.book.Planned = nil
		if err := b.save(ctx, c.ID, h); err != nil {
			return err
		}
	}
	if c.ID != theDaemon && b.opt.Publish != nil {
		said, _ := homeOf(c, h, h.slow, b.now())
		b.told.later(notify.StateOf(c.ID, strings.Join(said.Lead().Lines, " "), h.book, h.chance, b.now()))
	}
	return nil
}

func (b *Bell) save(ctx context.Context, id string, h *house) error {
	blob, err := json.Marshal(h.book)
	if err != nil {
		return fmt.Errorf("writing the alerts of %s: %w", id, err)
	}
	sum := sha256.Sum256(blob)
	if sum == h.saved {
		return nil
	}
	if err := b.State.PutState(ctx, kindBook, id, blob); err != nil {
		return fmt.Errorf("keeping the alerts of %s: %w", id, err)
	}
	h.saved = sum
	return nil
}
