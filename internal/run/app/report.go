package app

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"html/template"
	"net/http"
	"sync"
	"time"

	"github.com/go-chi/chi/v5"

	"dewcase/internal/door/http/gate"
	"dewcase/internal/door/http/web"
	"dewcase/internal/door/report"
	"dewcase/internal/flow/casebook"
	"dewcase/internal/flow/curves"
	"dewcase/internal/flow/record"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/roof"
)

// reports puts the report of each case on the router, in the pages' style.
func (a *App) reports(r chi.Router, p *web.Pages) error {
	d := &reportDesk{book: a.book, assessor: a.assessor, once: a.reportOnce, by: map[reportKey]madeReport{},
		making: map[reportKey]*making{}}
	return report.Mount(r, report.Options{Style: p.Style(), Fail: p.Fail,
		Top:      func(r *http.Request, id string) (template.HTML, error) { return p.Top(r, id, "report") },
		Document: d.document})
}

// A report is worked out in seconds and readings come all the time. One that was
// made is given again for reportAfter, and for reportFor where little came since,
// while a newer one is made for whoever asks next. It is the same document each
// time, of one state of the record, and says when it was made and up to when its
// record goes; where a reading came of before that, so that its digest is not that
// of what can be downloaded, it is made anew.
const (
	reportAfter = 5 * time.Minute
	reportFor   = foreseenFor
	maxReports  = 20 // with their pictures some MB each
)

// reportDesk keeps the reports that were made, and those that are being made.
type reportDesk struct {
	book     *casebook.Book
	assessor *assessor
	once     func(ctx context.Context, key reportKey, by roof.Workers, told bool) (madeReport, bool, error)

	mu     sync.Mutex
	by     map[reportKey]madeReport
	making map[reportKey]*making
}

// reportKey is what a report is made of and by whom, as it says.
type reportKey struct{ id, who string }

type madeReport struct {
	document *report.Document
	etag     string // of the case file
	readings int64  // that its answer rests on
	at,
	until time.Time
	changes *record.Changes
}

// making is a report that is being made; what came of it stands once it is done.
type making struct {
	done     chan struct{}
	document *report.Document
	err      error
}

// document is the report of a case for whoever asks. The work goes on where the
// asker has no patience left, so that it is there when they ask again.
func (d *reportDesk) document(ctx context.Context, id string) (*report.Document, error) {
	key := reportKey{id, gate.Who(ctx)}
	for {
		if k, err := d.standing(ctx, key); k != nil || err != nil {
			return k, err
		}
		m, begun := d.begin(key, SideBySide)
		select {
		case <-m.done:
			if begun || m.err != nil {
				return m.document, m.err
			} // else it was begun before this was asked for
		case <-ctx.Done():
			return nil, fmt.Errorf("making the report of case %s: %w", id, ctx.Err())
		}
	}
}

// standing is a report that was made and can be given again; nil where there is none.
func (d *reportDesk) standing(ctx context.Context, key reportKey) (*report.Document, error) {
	e, err := d.book.Get(key.id)
	if err != nil {
		return nil, err
	}
	d.mu.Lock()
	k, ok := d.by[key]
	d.mu.Unlock()
	if !ok || k.etag != e.ETag || !k.changes.None(k.until) {
		return nil, nil
	}
	behind, err := d.assessor.behind(ctx, e.Case, k.readings)
	if err != nil {
		return nil, err
	}
	switch age := d.assessor.now().Sub(k.at); {
	case behind > behindShare || age > reportFor:
		return nil, nil
	case age <= reportAfter:
	case behind == 0: // made anew in no time, with what is no reading
		return nil, nil
	default:
		d.begin(key, roof.InTurn)
	}
	return k.document, nil
}

// begin has a report made, unless it is being made.
func (d *reportDesk) begin(key reportKey, by roof.Workers) (m *making, begun bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if m = d.making[key]; m != nil {
		return m, false
	}
	m = &making{done: make(chan struct{})}
	d.making[key] = m
	d.assessor.running.Go(func() {
		k, err := d.make(key, by)
		d.mu.Lock()
		defer d.mu.Unlock()
		delete(d.making, key)
		if m.document, m.err = k.document, err; err == nil {
			d.keep(key, k)
		}
		close(m.done)
	})
	return m, true
}

// make makes a report, of one state of the record: where something comes in
// meanwhile that bears on it, it is begun again once. Later readings do not bear on
// it: a report ends where its answer ends.
func (d *reportDesk) make(key reportKey, by roof.Workers) (madeReport, error) {
	k, same, err := d.once(d.assessor.base, key, by, false)
	if err == nil && !same {
		k.changes.Close()
		k, _, err = d.once(d.assessor.base, key, by, true)
	}
	return k, err
}

// keep has a report at hand.
func (d *reportDesk) keep(key reportKey, k madeReport) {
	if old, ok := d.by[key]; ok {
		old.changes.Close()
	} else if len(d.by) >= maxReports {
		for _, old := range d.by {
			old.changes.Close()
		}
		clear(d.by)
	}
	d.by[key] = k
}

// reportOnce gathers everything that the report of a case stands on and makes it,
// and reports whether it is of one state of the record; told says in the report
// where it is not.
func (a *App) reportOnce(ctx context.Context, key reportKey, by roof.Workers, told bool) (k madeReport, same bool,
	err error) {
	e, err := a.book.Get(key.id)
	if err != nil {
		return k, false, err
	}
	file, etag, err := a.book.File(ctx, key.id)
	if err != nil {
		return k, false, err
	}
	k = madeReport{etag: e.ETag, at: a.opt.Now(), changes: a.record.Changes(key.id)}
	defer func() {
		if err != nil {
			k.changes.Close()
		}
	}()
	s := report.Source{Case: e.Case, Version: a.opt.Version, MadeAt: k.at, MadeBy: key.who, Demo: a.opt.Demo}
	answer, err := a.assessor.current(ctx, e.Case, true, by)
	if err != nil {
		return k, false, err
	}
	k.readings, s.Answer = answer.readings, answer.answer
	s.Answer.Take(answer.ahead)
	s.Laid = func(from, until time.Time, step time.Duration) (timeline.View, error) {
		return a.views().Timeline(ctx, key.id, from, until, step)
	}
	s.Curves = func(keys []curves.Key, from, until time.Time, stepMS int64,
		changes ...curves.Change) (curves.View, error) {
		return a.curves.Columns(ctx, e.Case, keys, from.UnixMilli(), until.UnixMilli(), stepMS, changes...)
	}
	sum := sha256.Sum256(file)
	s.CaseFile = report.Digest{SHA256: hex.EncodeToString(sum[:]),
		Of:  "of the version kept on " + e.Updated.In(e.Case.Property.Zone).Format("2 Jan 2006 15:04 MST"),
		Get: fmt.Sprintf("GET /api/cases/%s/file/history/%s", key.id, hex.EncodeToString(sum[:]))}
	k.until = k.at
	if u := s.Answer.Until; u != nil {
		k.until = *u
		if s.Readings, err = a.readingsDigest(ctx, key.id, u.Add(time.Millisecond)); err != nil {
			return k, false, err
		}
	}
	if s.Originals, err = a.fileDesk().Originals(ctx, key.id); err != nil {
		return k, false, err
	}
	if s.Intake, err = a.counted(ctx, key.id); err != nil {
		return k, false, err
	}
	if k.document, err = report.New(s); err != nil {
		return k, false, err
	}
	same = etag == e.ETag && k.changes.None(k.until)
	if !same && told {
		s.Intake.Notes = append(s.Intake.Notes,
			"readings came in while this report was being made: make it again for digests that match it for certain")
		k.document, err = report.New(s)
	}
	return k, same, err
}

func (a *App) readingsDigest(ctx context.Context, id string, until time.Time) (report.Digest, error) {
	h := sha256.New()
	if err := a.intake().Export(ctx, id, time.Time{}, until, h); err != nil {
		return report.Digest{}, fmt.Errorf("taking the digest of the readings of case %s: %w", id, err)
	}
	return report.Digest{SHA256: hex.EncodeToString(h.Sum(nil)),
		Of:  "of all readings of the record, as the program exports them",
		Get: fmt.Sprintf("GET /api/cases/%s/readings.csv?to=%s", id, until.UTC().Format("2006-01-02T15:04:05.000Z"))}, nil
}

// The most that is counted of what could not be used.
const (
	rejectPage  = 1000
	rejectPages = 20
)

// counted is what of a case could not be used, by reason.
func (a *App) counted(ctx context.Context, id string) (report.Intake, error) {
	in := report.Intake{Known: true}
	counts := map[roof.Reason]int{}
	before := int64(0)
	for page := 0; ; page++ {
		if page == rejectPages {
			in.AtLeast = true
			break
		}
		list, err := a.store.Rejects(ctx, id, rejectPage, before)
		if err != nil {
			return in, fmt.Errorf("counting the rejects of case %s: %w", id, err)
		}
		for _, r := range list {
			counts[r.Reason]++
			before = r.ID
		}
		if len(list) < rejectPage {
			break
		}
	}
	for _, reason := range roof.Reasons() {
		if n := counts[reason]; n > 0 {
			in.Rejected = append(in.Rejected, report.Rejected{Reason: string(reason), Count: n})
		}
	}
	aside, err := a.readings.Conflicts(ctx, id, rejectPage*rejectPages)
	if err != nil {
		return in, fmt.Errorf("counting the conflicts of case %s: %w", id, err)
	}
	n := len(aside)
	in.Conflicts = &n
	return in, nil
}
