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
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"log/slog"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"dewcase/internal/door/http/homepage"
	"dewcase/internal/door/notify"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/flow/watch"
	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
	"dewcase/internal/words"
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
	Range(ctx context.Context, caseID, logger string, from, until time.Time) iter.Seq2[roof.Reading, error]
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
	lookEvery  = time.Minute      // whether anything is new
	lookAnyway = 10 * time.Minute // also where no reading came: silence is a sign
	settleFor  = 5 * time.Second  // after readings came
)

// Options are what the alert service stands on. All but Publish, Places,
// Troubles and DigestAt are needed.
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

	mu     sync.Mutex // guards the map alone
	houses map[string]*house

	arrivals arrivals
	news     chan struct{} // readings came

	examined, assessed atomic.Int64
}

// house is what is at hand of one case.
type house struct {
	mu      sync.Mutex // a look, an acknowledgement, a hand-over: one at a time
	book    *alert.Book
	saved   []byte
	version int64
	c       *roof.Case
	at      time.Time
	view    watch.View
	slow    *watch.Slow
	slowAt  time.Time // when the nightly work was last tried
	fault   string    // why the last look failed

	// What the last look found for the household's page.
	chance *float64
	nights []watch.Night
	where  string
	wet    string    // position of the surface that these are of
	before beforeWork
	heard  time.Time // the newest reading of any logger
}

// beforeWork is a surface's last nights before a repair, as the record of one
// version has them.
type beforeWork struct {
	surface string
	at      time.Time
	version int64
	nights  []words.Night
}

// New makes the service; Run lets it look.
func New(opt Options) *Bell {
	return &Bell{Reach: opt.Reach, opt: opt, topic: notify.NewTopic(opt.Publish), houses: map[string]*house{},
		told:     saying{unsaid: map[string]notify.CaseState{}, wake: make(chan struct{}, 1)},
		arrivals: arrivals{by: map[string]map[string]*heardLogger{}, fresh: map[string]time.Time{}},
		news:     make(chan struct{}, 1)}
}

// Run looks at the houses until ctx ends.
func (b *Bell) Run(ctx context.Context) {
	var speaking sync.WaitGroup
	defer speaking.Wait()
	speaking.Go(func() { b.speak(ctx) })
	t := time.NewTicker(b.paced(lookEvery))
	defer t.Stop()
	for {
		b.round(ctx)
		select {
		case <-ctx.Done():
			return
		case <-t.C:
		case <-b.news:
			// What comes together is looked at together.
			select {
			case <-ctx.Done():
				return
			case <-time.After(b.paced(settleFor)):
			}
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

// Behind is how long the oldest reading has waited to be examined.
func (b *Bell) Behind() time.Duration { return b.arrivals.behind(b.now()) }

// wake has the houses looked at soon.
func wake(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}

// round looks at every case that has something new, and at the daemon itself.
func (b *Bell) round(ctx context.Context) {
	for _, c := range b.Cases.All() {
		if ctx.Err() != nil {
			return
		}
		b.nightly(ctx, c)
		err := b.glance(ctx, c)
		if err == nil || ctx.Err() != nil {
			continue
		}
		h, held := b.hold(ctx, c.ID)
		if held != nil || h.fault != err.Error() {
			b.opt.Log.Error("a case could not be watched", "case", c.ID, "error", err)
		}
		if held == nil {
			h.fault = err.Error()
			h.mu.Unlock()
		}
	}
	if err := b.digest(ctx, b.now()); err != nil && ctx.Err() == nil {
		b.opt.Log.Error("a summary could not be sent", "error", err)
	}
	if err := b.daemon(ctx); err != nil && ctx.Err() == nil {
		b.opt.Log.Error("the daemon's own troubles could not be judged", "error", err)
	}
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
	b.mu.Unlock()
	h.mu.Lock()
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
	h.book, h.saved = book, blob
	if blob, err = b.State.State(ctx, kindSlow, id); err == nil {
		h.slow = &watch.Slow{}
		if json.Unmarshal(blob, h.slow) != nil {
			h.slow = nil
		}
	}
	return h, nil
}

// glance takes one case a step further, without the nightly work, which can take
// seconds: what its record shows, what that raises or clears, and whom that must
// be told.
func (b *Bell) glance(ctx context.Context, c *roof.Case) error {
	h, err := b.hold(ctx, c.ID)
	if err != nil {
		return err
	}
	defer h.mu.Unlock()
	return b.step(ctx, c, h)
}

// step is a glance at a house that is held.
func (b *Bell) step(ctx context.Context, c *roof.Case, h *house) error {
	now, version := b.now(), b.opt.Record.Version(c.ID)
	if h.c == c && h.version == version && now.Sub(h.at) < lookAnyway && len(h.book.Planned) == 0 {
		return nil
	}
	came := b.arrivals.examine(c.ID)
	in, err := b.input(ctx, c, h, now)
	if err != nil {
		b.arrivals.unexamined(c.ID, came)
		return err
	}
	b.examined.Add(1)
	h.view, h.chance = watch.Look(in), in.Chance
	h.nights, h.where, h.wet = wettest(in)
	h.heard = time.Time{}
	for _, l := range in.Loggers {
		if l.Last.After(h.heard) {
			h.heard = l.Last
		}
	}
	h.c, h.version, h.at, h.fault = c, version, now, ""
	h.book.Judge(h.view.Level, now)
	plan := alert.PlanInput{Links: b.pageLinks(c.ID)}
	if h.slow != nil {
		plan.Cause = h.slow.Cause(c.Property.Zone)
	}
	return b.raise(ctx, c, h, plan, now)
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
func (b *Bell) raise(ctx context.Context, c *roof.Case, h *house, plan alert.PlanInput, now time.Time) error {
	plan.Case, plan.Rules = c, alert.RulesOf(c.Alerts)
	alert.Step(h.book, h.view.Signs, plan.Rules, now)
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
	if string(blob) == string(h.saved) {
		return nil
	}
	if err := b.State.PutState(ctx, kindBook, id, blob); err != nil {
		return fmt.Errorf("keeping the alerts of %s: %w", id, err)
	}
	h.saved = blob
	return nil
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
	h.c, h.view = c, view
	plan := alert.PlanInput{}
	if b.PublicURL != "" {
		plan.Links.Alerts = b.PublicURL + "/alerts"
	}
	return b.raise(ctx, c, h, plan, now)
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
	if err := do(h.book, b.now()); err != nil {
		return err
	}
	return b.settle(ctx, c, h)
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
