package app

import (
	"context"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/record"
	"dewcase/internal/roof"
)

// assessor caches each case's assessment and recomputes it only when its readings or
// its file changed. It computes one at a time, so that ingest always has a
// processor left on a small board.
type assessor struct {
	record *record.Reader
	now    func() time.Time
	log    *slog.Logger
	base   context.Context // of work that nobody waits for

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
	answer   assessment.Answer
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

func (d *assessor) kept(c *roof.Case) (answer, bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	k, ok := d.by[c.ID]
	return k, ok && k.c == c
}

// Current is the assessment of everything that was stored when it was asked for.
func (d *assessor) Current(ctx context.Context, c *roof.Case) (assessment.Answer, error) {
	asked := d.record.Version(c.ID)
	if k, ok := d.kept(c); ok && k.version == asked {
		return k.answer, nil
	}
	d.work.Lock()
	defer d.work.Unlock()
	// Whoever had the assessor before may have begun after this was asked: readings
	// that keep coming must not make everybody in the queue work it out again.
	if k, ok := d.kept(c); ok && k.version >= asked {
		return k.answer, nil
	}
	version := d.record.Version(c.ID)
	readings, err := d.record.Readings(ctx, c)
	if err != nil {
		return assessment.Answer{}, fmt.Errorf("assessing case %s: %w", c.ID, err)
	}
	set, err := d.record.Whole(ctx, c)
	if err != nil {
		return assessment.Answer{}, fmt.Errorf("assessing case %s: %w", c.ID, err)
	}
	k := answer{c, version, readings, d.now(), assessment.Of(set)}
	d.mu.Lock()
	defer d.mu.Unlock()
	if len(d.by) >= maxAnswers {
		clear(d.by)
	}
	d.by[c.ID] = k
	return k.answer, nil
}

// Recent returns an assessment for a page: a slightly stale one at once, which is
// then refreshed in the background.
func (d *assessor) Recent(ctx context.Context, c *roof.Case) (assessment.Answer, error) {
	k, ok := d.kept(c)
	came := d.record.Version(c.ID) - k.version
	if !ok || d.now().Sub(k.at) > staleFor || float64(came) > behindShare*float64(k.readings) {
		return d.Current(ctx, c)
	}
	if k.version != d.record.Version(c.ID) && d.now().Sub(k.at) > refreshAfter {
		d.refresh(c)
	}
	return k.answer, nil
}

// Soon returns the last answer, however old, and refreshes it in the background.
// Where there is none, it waits until the context ends.
func (d *assessor) Soon(ctx context.Context, c *roof.Case) (assessment.Answer, bool) {
	k, ok := d.kept(c)
	if !ok || k.version != d.record.Version(c.ID) && d.now().Sub(k.at) > refreshAfter {
		d.refresh(c)
	}
	for !ok && ctx.Err() == nil {
		select {
		case <-ctx.Done():
		case <-time.After(50 * time.Millisecond):
		}
		k, ok = d.kept(c)
	}
	return k.answer, ok
}

func (d *assessor) refresh(c *roof.Case) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.refreshing[c.ID] || d.base.Err() != nil {
		return
	}
	d.refreshing[c.ID] = true
	d.running.Go(func() {
		if _, err := d.Current(d.base, c); err != nil && d.base.Err() == nil {
			d.log.Error("refreshing an assessment failed", "case", c.ID, "error", err)
		}
		d.mu.Lock()
		delete(d.refreshing, c.ID)
		d.mu.Unlock()
	})
}
