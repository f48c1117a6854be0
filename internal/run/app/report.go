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
	"dewcase/internal/flow/curves"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/roof"
)

// reports puts the report of each case on the router, in the pages' style.
func (a *App) reports(r chi.Router, p *web.Pages) error {
	d := &digests{by: map[string]digested{}}
	return report.Mount(r, report.Options{Style: p.Style(), Fail: p.Fail,
		Top: func(r *http.Request, id string) (template.HTML, error) { return p.Top(r, id, "report") },
		Source: func(ctx context.Context, id string) (report.Source, error) {
			return a.reportSource(ctx, id, d)
		}})
}

// digests keeps the digest of each case's readings until they change.
type digests struct {
	mu sync.Mutex
	by map[string]digested
}

type digested struct {
	version int64
	until   time.Time
	sum     string
}

// The most that is counted of what could not be used.
const (
	rejectPage  = 1000
	rejectPages = 20
)

// reportSource gathers everything that the report of a case stands on, of one
// state of the record: where something comes in meanwhile that bears on it, it
// begins again once. Later readings do not: a report ends where its answer ends.
func (a *App) reportSource(ctx context.Context, id string, d *digests) (s report.Source, err error) {
	for range 2 {
		var same bool
		if s, same, err = a.reportOnce(ctx, id, d); err != nil || same {
			return s, err
		}
	}
	s.Intake.Notes = append(s.Intake.Notes,
		"readings came in while this report was being made: make it again for digests that match it for certain")
	return s, nil
}

// reportOnce gathers it, and reports whether it is of one state of the record.
func (a *App) reportOnce(ctx context.Context, id string, d *digests) (s report.Source, same bool, err error) {
	e, err := a.book.Get(id)
	if err != nil {
		return s, false, err
	}
	file, etag, err := a.book.File(ctx, id)
	if err != nil {
		return s, false, err
	}
	watch := a.record.Watch(id)
	defer watch.Close()
	version := a.record.Version(id)
	s = report.Source{Case: e.Case, Version: a.opt.Version, MadeAt: a.opt.Now(), MadeBy: gate.Who(ctx), Demo: a.opt.Demo}
	if s.Answer, _, err = a.assessor.Foreseen(ctx, e.Case); err != nil {
		return s, false, err
	}
	s.Laid = func(from, until time.Time, step time.Duration) (timeline.View, error) {
		return a.views().Timeline(ctx, id, from, until, step)
	}
	s.Curves = func(keys []curves.Key, from, until time.Time, stepMS int64,
		changes ...curves.Change) (curves.View, error) {
		return a.curves.Columns(ctx, e.Case, keys, from.UnixMilli(), until.UnixMilli(), stepMS, changes...)
	}
	sum := sha256.Sum256(file)
	s.CaseFile = report.Digest{SHA256: hex.EncodeToString(sum[:]),
		Of:  "of the version kept on " + e.Updated.In(e.Case.Property.Zone).Format("2 Jan 2006 15:04 MST"),
		Get: fmt.Sprintf("GET /api/cases/%s/file/history/%s", id, hex.EncodeToString(sum[:]))}
	if u := s.Answer.Until; u != nil {
		if s.Readings, err = a.readingsDigest(ctx, id, version, u.Add(time.Millisecond), d); err != nil {
			return s, false, err
		}
	}
	if s.Originals, err = a.fileDesk().Originals(ctx, id); err != nil {
		return s, false, err
	}
	if s.Intake, err = a.counted(ctx, id); err != nil {
		return s, false, err
	}
	until := s.MadeAt
	if s.Answer.Until != nil {
		until = *s.Answer.Until
	}
	return s, etag == e.ETag && watch.Same(until), nil
}

func (a *App) readingsDigest(ctx context.Context, id string, version int64, until time.Time, d *digests) (report.Digest,
	error) {
	of := report.Digest{Of: "of all readings of the record, as the program exports them",
		Get: fmt.Sprintf("GET /api/cases/%s/readings.csv?to=%s", id, until.UTC().Format("2006-01-02T15:04:05.000Z"))}
	d.mu.Lock()
	k, ok := d.by[id]
	d.mu.Unlock()
	if ok && k.version == version && k.until.Equal(until) {
		of.SHA256 = k.sum
		return of, nil
	}
	h := sha256.New()
	if err := a.intake().Export(ctx, id, time.Time{}, until, h); err != nil {
		return report.Digest{}, fmt.Errorf("taking the digest of the readings of case %s: %w", id, err)
	}
	k = digested{version, until, hex.EncodeToString(h.Sum(nil))}
	d.mu.Lock()
	defer d.mu.Unlock()
	if len(d.by) >= maxAnswers {
		clear(d.by)
	}
	d.by[id] = k
	of.SHA256 = k.sum
	return of, nil
}

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
