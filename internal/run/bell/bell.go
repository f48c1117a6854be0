// Package bell is the alert service. It examines every house at intervals,
// tells household and consultant what concerns them, and serves the data of
// the alert pages and the household page.
//
// It depends on four small interfaces: the cases in force, their record, kept
// state, and the outbox of messages. Each house has a lock of its own. One
// worker publishes case states by MQTT after every lock was released, so that
// a hanging broker blocks no page.
package bell

import (
	"context"
	"fmt"
	"iter"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"dewcase/internal/door/notify"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/qc"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/flow/watch"
	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
)

// Cases are the cases in force.
type Cases interface {
	All() []*roof.Case
	// Case is one of them; an error wraps roof.ErrNotFound.
	Case(ctx context.Context, id string) (*roof.Case, error)
}

// Record is what was measured, and what follows from all of it.
type Record interface {
	// Version changes with every reading and every change of the case.
	Version(caseID string) int64
	Hours(ctx context.Context, c *roof.Case, fromMS, untilMS int64) ([]timeline.Row, error)
	Spans(ctx context.Context, caseID string) ([]roof.LoggerSpan, error)
	// Flagged gives the readings of each logger from a time on, flagged, and some of
	// before: those of qc.Reach, unless calm is what it gave the last time.
	Flagged(ctx context.Context, c *roof.Case, from time.Time, calm *qc.Calm) (
		func(logger string) iter.Seq2[roof.Reading, error], *qc.Calm, error)
	// Current is the assessment of the whole record; it may take seconds.
	Current(ctx context.Context, c *roof.Case) (assessment.Answer, error)
	// Soon is the assessment at hand, which the consultant's pages show; where there
	// is none it is waited for until ctx ends.
	Soon(ctx context.Context, c *roof.Case) (assessment.Answer, bool)
}

// State keeps what must outlive a restart; the error of State wraps
// roof.ErrNotFound where nothing is kept.
type State interface {
	notify.State
	State(ctx context.Context, kind, key string) ([]byte, error)
}

// Outbox takes messages to people.
type Outbox interface {
	// Post makes a message durable; the same once more changes nothing.
	Post(ctx context.Context, channel, to string, m alert.Message) error
	Of(caseID string) []notify.Letter // newest first
	Health() []notify.Health          // one a channel that is set up
}

// Kinds of state that the alerts keep.
const (
	kindBook = "alert_book" // by case
	kindSlow = "alert_slow" // what the nightly work found, by case
	// theDaemon keeps the troubles of the daemon itself; no case can be named so.
	theDaemon = "_daemon"
)

const (
	lookEvery  = time.Minute      // whether any house is due, and at the daemon itself
	lookAnyway = 10 * time.Minute // for a page that is asked for
	settleFor  = 5 * time.Second  // after readings came
	// roundLooks is how many houses are examined before those that are due are
	// listed again, so that what is urgent overtakes what is merely regular.
	roundLooks = 100
	// maxBooks is how many houses' books are at hand; others are read from the
	// state again.
	maxBooks = 2000
)

// Options are what the alert service stands on. All but Publish, Places,
// Troubles, Changed and DigestAt are needed.
type Options struct {
	Record Record
	Reach  *Reach
	Outbox Outbox
	// Publish sends a message to the broker that is in use; it may hang.
	Publish func(topic string, payload []byte, retained bool) error
	// Places are a case's figures of now where they are announced; nil elsewhere.
	Places func(ctx context.Context, caseID string) map[string]notify.PlaceNow
	// Troubles are those of the daemon's parts, its channels to people aside.
	Troubles func() []watch.Trouble
	// Changed is called when alerts of a house were raised, seen, quieted or cleared;
	// byHand says that a person did it. It must not ask the service. It may be nil.
	Changed  func(caseID string, byHand bool)
	DigestAt string // "07:30": when consultants get their daily summary, "" never
	Demo     bool   // the data is invented
	// Pace is how much faster than the world the clock runs, in load tests; 0 is 1.
	Pace float64
	Log  *slog.Logger
}

// Bell is the alert service. It is safe for concurrent use.
type Bell struct {
	*Reach
	opt   Options
	topic *notify.Topic
	told  saying

	mu     sync.Mutex // guards the map and the count alone
	houses map[string]*house
	holds  int64
	books  atomic.Int64 // at hand

	sentries sentries
	news     chan struct{} // a house is due
	unknown  chan struct{} // a house was never assessed

	examined, assessed atomic.Int64
}

// New makes the service; Run lets it look.
func New(opt Options) *Bell {
	return &Bell{Reach: opt.Reach, opt: opt, topic: notify.NewTopic(opt.Publish), houses: map[string]*house{},
		told:     saying{unsaid: map[string]notify.CaseState{}, wake: make(chan struct{}, 1)},
		sentries: sentries{by: map[string]*sentry{}}, news: make(chan struct{}, 1),
		unknown: make(chan struct{}, 1)}
}

// Run looks at the houses until ctx ends.
func (b *Bell) Run(ctx context.Context) {
	var working sync.WaitGroup
	defer working.Wait()
	working.Go(func() { b.speak(ctx) })
	working.Go(func() { b.nights(ctx) })
	t := time.NewTicker(b.paced(lookEvery))
	defer t.Stop()
	for {
		if b.round(ctx) && ctx.Err() == nil {
			continue
		}
		b.aside(ctx)
		select {
		case <-ctx.Done():
			return
		case <-t.C:
		case <-b.news:
			// What comes together is looked at together.
			rest(ctx, b.paced(settleFor))
		}
	}
}

// paced is how long the world waits while the clock goes on by d.
func (b *Bell) paced(d time.Duration) time.Duration {
	if b.opt.Pace > 0 {
		return time.Duration(float64(d) / b.opt.Pace)
	}
	return d
}

// Examined counts the looks at houses since the start.
func (b *Bell) Examined() int64 { return b.examined.Load() }

// Assessed counts the assessments of the nightly work since the start.
func (b *Bell) Assessed() int64 { return b.assessed.Load() }

// Behind is how long the house that has been due for longest has waited to be
// examined.
func (b *Bell) Behind() time.Duration { return b.sentries.behind(b.now()) }

// stir has a house examined soon.
func (b *Bell) stir(caseID string) {
	b.sentries.stir(caseID, b.now())
	wake(b.news)
}

// wake has the houses looked at soon.
func wake(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}

// round looks at the cases that are due, up to a number, and reports whether there
// are more.
func (b *Bell) round(ctx context.Context) (more bool) {
	due := b.sentries.due(b.Cases.All(), b.now())
	for _, c := range due[:min(len(due), roundLooks)] {
		if ctx.Err() != nil {
			return false
		}
		err := b.glance(ctx, c)
		if err == nil || ctx.Err() != nil {
			continue
		}
		b.sentries.stir(c.ID, b.now().Add(lookEvery))
		h, held := b.hold(ctx, c.ID)
		if held != nil || h.fault != err.Error() {
			b.opt.Log.Error("a case could not be watched", "case", c.ID, "error", err)
		}
		if held == nil {
			h.fault = err.Error()
			h.mu.Unlock()
		}
	}
	return len(due) > roundLooks
}

// aside is what is to be done beside the houses.
func (b *Bell) aside(ctx context.Context) {
	now := b.now()
	if b.sentries.unseen(b.Cases.All(), now) {
		// A summary of the day speaks of all houses.
	} else if err := b.digest(ctx, now); err != nil && ctx.Err() == nil {
		b.opt.Log.Error("a summary could not be sent", "error", err)
	}
	if err := b.daemon(ctx); err != nil && ctx.Err() == nil {
		b.opt.Log.Error("the daemon's own troubles could not be judged", "error", err)
	}
}

// saying is what is to be published, the newest of each case.
type saying struct {
	mu     sync.Mutex
	unsaid map[string]notify.CaseState
	wake   chan struct{}
}

func (s *saying) later(c notify.CaseState) {
	s.mu.Lock()
	s.unsaid[c.Case] = c
	s.mu.Unlock()
	wake(s.wake)
}

// speak publishes states one after the other, holding no lock. One that could
// not be published is said again after the next look.
func (b *Bell) speak(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case <-b.told.wake:
		}
		b.told.mu.Lock()
		unsaid := b.told.unsaid
		b.told.unsaid = map[string]notify.CaseState{}
		b.told.mu.Unlock()
		for id, s := range unsaid {
			if ctx.Err() != nil {
				return
			}
			if b.opt.Places != nil {
				s.Places = b.opt.Places(ctx, id)
			}
			if err := b.topic.Say(ctx, s, b.now()); err != nil {
				b.opt.Log.Debug("a case's state could not be published", "case", id, "error", err)
			}
		}
	}
}

// daemon watches the daemon itself; its troubles reach the consultant only.
func (b *Bell) daemon(ctx context.Context) error {
	now := b.now()
	c := &roof.Case{ID: theDaemon, Property: roof.Property{Label: "dewcase", Zone: time.UTC},
		Contacts: roof.Contacts{Consultant: b.Consultant}}
	view := watch.Look(watch.Input{Case: c, Now: now, Trouble: b.troubles()})
	h, err := b.hold(ctx, theDaemon)
	if err != nil {
		return err
	}
	defer h.mu.Unlock()
	h.c = c
	plan := alert.PlanInput{}
	if b.PublicURL != "" {
		plan.Links.Alerts = b.PublicURL + "/alerts"
	}
	return b.raise(ctx, c, h, view.Signs, plan, now)
}

func (b *Bell) troubles() (out []watch.Trouble) {
	if b.opt.Troubles != nil {
		out = b.opt.Troubles()
	}
	for _, h := range b.opt.Outbox.Health() {
		t := watch.Trouble{Part: h.Channel}
		if h.Failing != "" {
			t.Words, t.Since = fmt.Sprintf("messages waiting %d: %s", h.Waiting, h.Failing), h.Since
		}
		out = append(out, t)
	}
	return out
}

// Leave ends the work at a house that another instance keeps now, or begins it anew
// with what the state holds of one that came from there. A step under way is
// finished before it returns.
func (b *Bell) Leave(ctx context.Context, caseID string) error {
	h, err := b.hold(ctx, caseID)
	if err != nil {
		return err
	}
	defer h.mu.Unlock()
	b.mu.Lock()
	delete(b.houses, caseID)
	b.mu.Unlock()
	if h.booked.Swap(false) {
		b.books.Add(-1)
	}
	h.gone = true
	b.sentries.forget(caseID)
	return nil
}

// change lets a person change an alert of a case.
func (b *Bell) change(ctx context.Context, caseID string, do func(*alert.Book, time.Time) error) error {
	c, err := b.Cases.Case(ctx, caseID)
	if err != nil {
		return err
	}
	h, err := b.hold(ctx, caseID)
	if err != nil {
		return err
	}
	defer h.mu.Unlock()
	if h.at.IsZero() { // what is said of the house after the change rests on a look
		if err := b.visit(ctx, c, h); err != nil {
			return err
		}
	}
	if err := do(h.book, b.now()); err != nil {
		return err
	}
	b.tell(caseID, true)
	return b.settle(ctx, c, h)
}

// tell says that alerts of a house have changed.
func (b *Bell) tell(caseID string, byHand bool) {
	if b.opt.Changed != nil && caseID != theDaemon {
		b.opt.Changed(caseID, byHand)
	}
}

// Acknowledge marks an alert as seen.
func (b *Bell) Acknowledge(ctx context.Context, caseID, id, by string) error {
	return b.change(ctx, caseID, func(k *alert.Book, now time.Time) error {
		_, err := k.Acknowledge(id, by, now)
		return err
	})
}

// Snooze keeps an alert quiet until a time.
func (b *Bell) Snooze(ctx context.Context, caseID, id, by string, until time.Time) error {
	return b.change(ctx, caseID, func(k *alert.Book, now time.Time) error {
		_, err := k.Snooze(id, by, until, now)
		return err
	})
}
