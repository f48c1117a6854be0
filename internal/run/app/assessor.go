package app

import (
	"context"
	"fmt"
	"log/slog"
	"math"
	"sync"
	"time"

	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/kept"
	"dewcase/internal/flow/record"
	"dewcase/internal/roof"
)

// assessor caches each case's assessment and recomputes it only when its readings or
// its file changed. It computes one at a time, and in the background on one
// processor, so that ingest always has one left on a small board.
type assessor struct {
	record *record.Reader
	now    func() time.Time
	log    *slog.Logger
	base   context.Context // of work that nobody waits for
	shelf  record.Shelf    // nil: no answer outlives this assessor
	method string
	made   func(caseID string) // told of every new answer; may be nil

	work       sync.Mutex
	mu         sync.Mutex
	by         map[string]answer
	refreshing map[string]bool // cases being reassessed in the background
	running    sync.WaitGroup
}

type answer struct {
	c        *roof.Case
	version  int64
	readings int64 // that it rests on
	at       time.Time
	took     time.Duration
	answer   assessment.Answer
	ahead    *assessment.Foresight // what works would do, where it was asked for
	seen     int64                 // version that it rests on
}

// A page may show an assessment that lacks the latest readings, but at most a
// hundredth of them, so that no page shows half a winter after an import. It is
// refreshed in the background at most once per refreshAfter.
const (
	refreshAfter = time.Minute
	staleFor     = 36 * time.Hour
	behindShare  = 0.01
	maxAnswers   = 200
)

func newAssessor(base context.Context, r *record.Reader, now func() time.Time, log *slog.Logger) *assessor {
	return &assessor{record: r, now: now, log: log, base: base, by: map[string]answer{}, refreshing: map[string]bool{}}
}

// kept is the last answer: at hand, or from the shelf.
func (d *assessor) kept(ctx context.Context, c *roof.Case) (answer, bool) {
	d.mu.Lock()
	k, ok := d.by[c.ID]
	d.mu.Unlock()
	if ok && k.c == c {
		return k, true
	}
	if k, ok = d.takeDown(ctx, c); ok {
		d.put(k)
	}
	return k, ok
}

// put has an answer at hand.
func (d *assessor) put(k answer) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if len(d.by) >= maxAnswers {
		clear(d.by)
	}
	d.by[k.c.ID] = k
}

// behind is how many readings came since an answer was worked out, as a share of
// those that it rests on.
func (d *assessor) behind(ctx context.Context, c *roof.Case, readings int64) (float64, error) {
	now, err := d.record.Readings(ctx, c)
	if err != nil || now == readings {
		return 0, err
	}
	if readings == 0 {
		return 1, nil
	}
	return math.Abs(float64(now-readings)) / float64(readings), nil
}

// Current is the assessment of everything that was stored when it was asked for.
func (d *assessor) Current(ctx context.Context, c *roof.Case) (assessment.Answer, error) {
	k, err := d.current(ctx, c, false, SideBySide)
	return k.answer, err
}

// Foreseen is Current with what works would do, and how predictions fared, taken
// into it.
func (d *assessor) Foreseen(ctx context.Context, c *roof.Case) (assessment.Answer, *assessment.Foresight, error) {
	k, err := d.current(ctx, c, true, SideBySide)
	if err != nil {
		return k.answer, nil, err
	}
	k.answer.Take(k.ahead)
	return k.answer, k.ahead, nil
}

func (d *assessor) current(ctx context.Context, c *roof.Case, ahead bool, by roof.Workers) (answer, error) {
	asked := d.record.Version(c.ID)
	enough := func(k answer, ok bool) bool {
		return ok && k.version >= asked && (!ahead || k.ahead != nil && k.seen >= asked)
	}
	if k, ok := d.kept(ctx, c); enough(k, ok) {
		return k, nil
	}
	d.work.Lock()
	defer d.work.Unlock()
	// Whoever had the assessor before may have begun after this was asked: readings
	// that keep coming must not make everybody in the queue work it out again.
	k, ok := d.kept(ctx, c)
	if enough(k, ok) {
		return k, nil
	}
	began := time.Now()
	version := d.record.Version(c.ID)
	rests, err := d.restsOn(ctx, c)
	if err != nil {
		return answer{}, fmt.Errorf("assessing case %s: %w", c.ID, err)
	}
	readings, err := d.record.Readings(ctx, c)
	if err != nil {
		return answer{}, fmt.Errorf("assessing case %s: %w", c.ID, err)
	}
	set, err := d.record.Whole(ctx, c, by)
	if err != nil {
		return answer{}, fmt.Errorf("assessing case %s: %w", c.ID, err)
	}
	if again, err := d.restsOn(ctx, c); err != nil || again != rests {
		rests = kept.Digest{} // it is not known which readings were read
	}
	if !ok {
		k = answer{version: -1} // of another case file
	}
	if k.version != version {
		k = answer{c: c, version: version, readings: readings, at: d.now(), answer: assessment.OfBy(by, set), ahead: k.ahead,
			seen: k.seen}
		k.took = time.Since(began)
		d.keep(ctx, c, k, rests)
	}
	if ahead {
		k.ahead, k.seen = assessment.Foresee(set, k.answer, k.ahead), version
	}
	d.put(k)
	if d.made != nil {
		d.made(c.ID)
	}
	return k, nil
}

// foreseenFor is how long a page shows what works would do from readings that
// were since added to: it changes once a day.
const foreseenFor = 6 * time.Hour

// Ahead is what works would do, for a page: of the last answer at hand where
// that is recent.
func (d *assessor) Ahead(ctx context.Context, c *roof.Case) (*assessment.Foresight, error) {
	k, ok := d.kept(ctx, c)
	came := d.record.Version(c.ID) - k.seen
	if !ok || k.ahead == nil || d.now().Sub(k.at) > foreseenFor || float64(came) > behindShare*float64(k.readings) {
		_, f, err := d.Foreseen(ctx, c)
		return f, err
	}
	return k.ahead, nil
}

// AheadSoon is what works would do where it is at hand; where it is not, it is
// worked out in the background.
func (d *assessor) AheadSoon(c *roof.Case) (*assessment.Foresight, bool) {
	if k, ok := d.kept(d.base, c); ok && k.ahead != nil {
		return k.ahead, true
	}
	d.begin(c, "foreseeing what works would do failed", func() error {
		_, err := d.current(d.base, c, true, roof.InTurn)
		return err
	})
	return nil, false
}

// Recent returns an assessment for a page: a slightly stale one at once, which is
// then refreshed in the background.
func (d *assessor) Recent(ctx context.Context, c *roof.Case) (assessment.Answer, error) {
	k, ok := d.kept(ctx, c)
	if !ok || d.now().Sub(k.at) > staleFor {
		return d.Current(ctx, c)
	}
	if k.version == d.record.Version(c.ID) {
		return k.answer, nil
	}
	switch came, err := d.behind(ctx, c, k.readings); {
	case err != nil:
		return assessment.Answer{}, err
	case came > behindShare:
		return d.Current(ctx, c)
	}
	d.refreshIfDue(c, k)
	return k.answer, nil
}

// Soon returns the last answer, however old, and refreshes it in the background.
// Where there is none, it waits until the context ends.
func (d *assessor) Soon(ctx context.Context, c *roof.Case) (assessment.Answer, bool) {
	k, ok := d.kept(ctx, c)
	if !ok {
		d.refresh(c)
	} else if k.version != d.record.Version(c.ID) {
		d.refreshIfDue(c, k)
	}
	for !ok && ctx.Err() == nil {
		select {
		case <-ctx.Done():
		case <-time.After(50 * time.Millisecond):
		}
		k, ok = d.kept(ctx, c)
	}
	return k.answer, ok
}

// refreshIfDue refreshes an answer that is old enough: looking at one house takes
// no more than a fiftieth of a processor, however fast its readings come.
func (d *assessor) refreshIfDue(c *roof.Case, k answer) {
	if d.now().Sub(k.at) > max(refreshAfter, 50*k.took) {
		d.refresh(c)
	}
}

func (d *assessor) refresh(c *roof.Case) {
	d.begin(c, "refreshing an assessment failed", func() error {
		_, err := d.current(d.base, c, false, roof.InTurn)
		return err
	})
}

// begin works on a case in the background, once at a time.
func (d *assessor) begin(c *roof.Case, failed string, work func() error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.refreshing[c.ID] || d.base.Err() != nil {
		return
	}
	d.refreshing[c.ID] = true
	d.running.Go(func() {
		if err := work(); err != nil && d.base.Err() == nil {
			d.log.Error(failed, "case", c.ID, "error", err)
		}
		d.mu.Lock()
		delete(d.refreshing, c.ID)
		d.mu.Unlock()
	})
}
