// Package ingest is the write path. It turns a message or a file into
// readings, checks each one, rejects it with a reason or makes it durable,
// counts it, and notifies whoever waits for it.
package ingest

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"sync"
	"time"

	"dewcase/internal/flow/csvreadings"
	"dewcase/internal/flow/payload"
	"dewcase/internal/flow/qc"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// ErrUnusable is wrapped when nothing of an input can be used.
var ErrUnusable = roof.NewError(roof.Unusable, "nothing in it can be used")

// Cases knows which cases and loggers there are.
type Cases interface {
	Known(caseID string) bool
	Fitted(caseID, logger string) bool // named in the case file
}

// Rejects keeps what could not be used; it is bounded in size and must not hold
// ingest up.
type Rejects interface {
	Keep(ctx context.Context, rejects []roof.Reject)
	Heard(caseID, logger string, at time.Time)
}

// Counter counts what became of readings, one each.
type Counter interface {
	Outcome(o roof.Outcome)
	Rejected(reason roof.Reason, n int)
}

// Path takes readings from messages and files into the store. All exported fields
// are needed. It is safe for concurrent use.
type Path struct {
	Decoder    *payload.Decoder
	Store      roof.ReadingStore
	Cases      Cases
	Rejects    Rejects
	Count      Counter
	MaxLoggers int                                                                   // unknown names kept a case
	Stored     func(caseID string, readings []roof.Reading, outcomes []roof.Outcome) // told after it is durable
	Now        func() time.Time
	// Serves says which cases are this instance's; those of others are left to them.
	// Nil serves all.
	Serves func(caseID string) bool

	again redeliveries

	mu    sync.Mutex
	names map[string]map[string]bool // case -> names heard that no case file knows
}

// taken is what a message holds once everything in it was judged.
type taken struct {
	caseID   string
	readings []roof.Reading
	rejects  []roof.Reject
	another  bool // another instance's case, of which nothing is kept here
}

func (p *Path) another(caseID string) bool {
	return p.Serves != nil && caseID != "" && !p.Serves(caseID)
}

// judge decodes a message and decides about each of its readings; nothing is
// stored or counted yet.
func (p *Path) judge(ctx context.Context, m payload.Message) (taken, error) {
	known := p.again.first(&m)
	caseID, readings, rejects := p.Decoder.Decode(m)
	if p.another(caseID) {
		return taken{caseID: caseID, another: true}, nil
	}
	kept, bad := checked(m, caseID, readings)
	rejects = append(rejects, bad...)
	if len(kept) > 0 && !p.Cases.Known(caseID) {
		p.Rejects.Heard(caseID, kept[0].Logger, m.Arrived)
		for _, r := range kept {
			rejects = append(rejects, roof.Reject{At: m.Arrived, Case: caseID, Logger: r.Logger, Source: m.Topic,
				Reason: roof.UnknownCase,
				Detail: "no case file has this id; create the case or correct the topic", Payload: m.Payload,
				Retained: m.Retained})
		}
		kept = nil
	}
	names := kept
	kept = kept[:0]
	for _, r := range names {
		ok, err := p.admit(ctx, caseID, r.Logger, m.Arrived, p.MaxLoggers)
		if err != nil {
			return taken{}, err
		}
		if !ok {
			many := p.tooMany(caseID, r, m.Topic, 0, p.MaxLoggers)
			many.Payload, many.Retained = m.Payload, m.Retained
			rejects = append(rejects, many)
			continue
		}
		kept = append(kept, r)
	}
	if err := p.again.settle(ctx, p.Store, caseID, m, known, kept); err != nil {
		return taken{}, err
	}
	if m.User != "" {
		for i := range rejects {
			rejects[i].Detail += " (sent by user " + m.User + ")"
		}
	}
	return taken{caseID: caseID, readings: kept, rejects: rejects}, nil
}

// checked are the readings of a message that can be, flagged, and why the others
// cannot.
func checked(m payload.Message, caseID string, readings []roof.Reading) (kept []roof.Reading, rejects []roof.Reject) {
	kept = readings[:0]
	for _, r := range readings {
		flags, bad := qc.Check(r, m.Arrived)
		if bad != nil {
			rejects = append(rejects, roof.Reject{At: m.Arrived, Case: caseID, Logger: r.Logger, Source: m.Topic,
				Reason: bad.Reason, Detail: bad.Detail, Payload: m.Payload, Retained: m.Retained})
			continue
		}
		r.Flags |= flags
		kept = append(kept, r)
	}
	return kept, rejects
}

// append makes readings durable and tells everyone.
func (p *Path) append(ctx context.Context, caseID string, readings []roof.Reading) ([]roof.Outcome, error) {
	if len(readings) == 0 {
		return nil, nil
	}
	outcomes, err := p.Store.Append(ctx, caseID, readings)
	if err != nil {
		return nil, fmt.Errorf("storing %d readings of case %s: %w", len(readings), caseID, err)
	}
	for _, o := range outcomes {
		p.Count.Outcome(o)
	}
	if p.Stored != nil {
		p.Stored(caseID, readings, outcomes)
	}
	return outcomes, nil
}

func (p *Path) reject(ctx context.Context, rejects []roof.Reject) {
	for _, r := range rejects {
		p.Count.Rejected(r.Reason, 1)
	}
	if len(rejects) > 0 {
		p.Rejects.Keep(ctx, rejects)
	}
}

func (p *Path) tooMany(caseID string, r roof.Reading, source string, line, limit int) roof.Reject {
	return roof.Reject{At: p.Now(), Case: caseID, Logger: r.Logger, Source: source, Line: line,
		Reason: roof.TooManyLoggers,
		Detail: fmt.Sprintf("the case has %d loggers already that its case file does not know; name this one in the case "+
			"file, or raise mqtt.max_loggers", limit)}
}

// admit reports whether a logger's readings are kept: always where the case
// file knows it, else while the case has fewer than limit names that it does not.
func (p *Path) admit(ctx context.Context, caseID, logger string, at time.Time, limit int) (bool, error) {
	if p.Cases.Fitted(caseID, logger) {
		return true, nil
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	names, ok := p.names[caseID]
	if !ok {
		spans, err := p.Store.Spans(ctx, caseID)
		if err != nil {
			return false, fmt.Errorf("listing the loggers of case %s: %w", caseID, err)
		}
		names = map[string]bool{}
		for _, s := range spans {
			if !p.Cases.Fitted(caseID, s.Logger) {
				names[s.Logger] = true
			}
		}
		if p.names == nil {
			p.names = map[string]map[string]bool{}
		}
		p.names[caseID] = names
	}
	if names[logger] {
		p.Rejects.Heard(caseID, logger, at)
		return true, nil
	}
	if len(names) >= limit {
		return false, nil
	}
	names[logger] = true
	p.Rejects.Heard(caseID, logger, at)
	return true, nil
}

// CaseChanged drops the counts of unknown loggers of a case whose file changed.
func (p *Path) CaseChanged(caseID string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	delete(p.names, caseID)
}

// TooLarge rejects a message whose payload, of size bytes, was over the limit and
// was discarded unread.
func (p *Path) TooLarge(ctx context.Context, topic string, size int64, at time.Time) {
	caseID, logger := payload.Named(topic)
	if p.another(caseID) {
		return
	}
	p.reject(ctx, []roof.Reject{{At: at, Case: caseID, Logger: logger, Source: topic, Reason: roof.TooLarge,
		Detail: fmt.Sprintf("a payload of %d bytes is over the limit; send catch-up readings in smaller arrays, or raise "+
			"mqtt.max_payload_kb", size)}})
}

// Report is what became of an imported file.
type Report struct {
	Stored     int           `json:"stored"`
	Merged     int           `json:"merged" doc:"rows that completed a reading of the same logger and time"`
	Duplicates int           `json:"duplicates"`
	Conflicts  int           `json:"conflicts"`
	Against    []Against     `json:"conflicting_rows" doc:"the first rows that say otherwise than what is kept"`
	Rejected   []RejectedRow `json:"rejected"`
	RejectedN  int           `json:"rejected_count" doc:"all rejected rows; the list is cut at some thousands"`
	Unknown    []string      `json:"unknown_loggers" doc:"kept, but the case file does not know them"`
	Notes      []string      `json:"notes"`
	Doubts     []string      `json:"doubts" doc:"loggers of the file whose units cannot be"`
}

func (r *Report) count(outcomes []roof.Outcome) {
	for _, o := range outcomes {
		switch o {
		case roof.Stored:
			r.Stored++
		case roof.Merged:
			r.Merged++
		case roof.Duplicate:
			r.Duplicates++
		case roof.Conflict:
			r.Conflicts++
		}
	}
}

// Against is one row whose logger has other values at its time already, which are kept.
type Against struct {
	Line   int       `json:"line"`
	Logger string    `json:"logger"`
	At     time.Time `json:"time"`
	Row    string    `json:"row"`
	Kept   string    `json:"kept"`
}

// maxAgainst bounds the rows that are listed so; all are counted and kept aside.
const maxAgainst = 20

// against lists the first rows of a batch that were kept aside, with what is kept.
func (p *Path) against(ctx context.Context, rep *Report, caseID string, batch []roof.Reading, lines []int,
	outcomes []roof.Outcome) error {
	for i, o := range outcomes {
		if o != roof.Conflict || len(rep.Against) == maxAgainst {
			continue
		}
		r := batch[i]
		one := Against{Line: lines[i], Logger: r.Logger, At: r.At, Row: said(r.Values)}
		for kept, err := range p.Store.Range(ctx, caseID, r.Logger, r.At, r.At.Add(time.Millisecond)) {
			if err != nil {
				return fmt.Errorf("reading what is kept beside line %d: %w", lines[i], err)
			}
			one.Kept = said(kept.Values)
		}
		rep.Against = append(rep.Against, one)
	}
	return nil
}

// said writes what was measured.
func said(v roof.Values) string {
	var out []string
	for q := range roof.Quantity(roof.QuantityCount) {
		if x, ok := v.Get(q); ok {
			out = append(out, words.Measured(q.String(), x))
		}
	}
	return words.List(out)
}

// RejectedRow is one row that could not be used.
type RejectedRow struct {
	Line   int    `json:"line"`
	Column string `json:"column"`
	Reason string `json:"reason"`
	Detail string `json:"detail"`
}

// batchRows is how many rows are made durable together: a week of six loggers at a
// reading a minute, so that few days of a file are written twice; 9 MB of memory.
const batchRows = 1 << 16

// maxFileLoggers is how many unknown names files may bring to a case. Somebody
// chose the file, so MaxLoggers, which guards against a broken publisher, does
// not hold; this bounds the memory.
const maxFileLoggers = 10_000

// maxListed bounds the rows listed by line; all are counted.
const maxListed = 5000

// Rows hands on each good reading of a file with its line, and sums up the rest.
type Rows func(now time.Time, each func(r roof.Reading, line int) error) (csvreadings.Summary, error)

// File stores the good rows of a file, whatever the others are, and reports what
// became of each. The error wraps ErrUnusable where the file cannot be read or
// holds no good row, and the report then says why; any other is the store's.
func (p *Path) File(ctx context.Context, caseID, name string, rows Rows) (Report, error) {
	rep := Report{Against: []Against{}, Rejected: []RejectedRow{}, Unknown: []string{}, Notes: []string{},
		Doubts: []string{}}
	loggers := map[string]*fileLogger{}
	now := p.Now()
	batch, lines := make([]roof.Reading, 0, batchRows), make([]int, 0, batchRows)
	batches := 1
	flush := func() error {
		outcomes, err := p.append(ctx, caseID, batch)
		rep.count(outcomes)
		if err == nil {
			err = p.against(ctx, &rep, caseID, batch, lines, outcomes)
		}
		batch, lines = batch[:0], lines[:0]
		batches++
		return err
	}
	var rejects []roof.Reject
	sum, err := rows(now, func(reading roof.Reading, line int) error {
		l := loggers[reading.Logger]
		if l == nil || l.admitted != batches {
			ok, err := p.admit(ctx, caseID, reading.Logger, now, max(p.MaxLoggers, maxFileLoggers))
			if err != nil {
				return err
			}
			if !ok {
				rejects = append(rejects, p.tooMany(caseID, reading, name, line, max(p.MaxLoggers, maxFileLoggers)))
				return nil
			}
			if l == nil {
				l = &fileLogger{}
				loggers[reading.Logger] = l
				if !p.Cases.Fitted(caseID, reading.Logger) {
					rep.Unknown = append(rep.Unknown, reading.Logger)
				}
			}
			l.admitted = batches
		}
		l.gather(&reading)
		if batch, lines = append(batch, reading), append(lines, line); len(batch) == batchRows {
			return flush()
		}
		return nil
	})
	if flushErr := flush(); err == nil {
		err = flushErr
	}
	for _, logger := range slices.Sorted(maps.Keys(loggers)) {
		// Where it is fitted is the case file's to say; a file asks as of outdoor air.
		if kind, value, ok := loggers[logger].units.Doubt(roof.OutdoorAir); ok {
			said, step := words.UnitDoubt(string(kind), logger, value)
			rep.Doubts = append(rep.Doubts, said+" "+words.Sentence(step))
		}
	}
	p.report(ctx, &rep, sum, rejects, caseID, name, now)
	if errors.Is(err, csvreadings.ErrNoGoodRow) || isFault(err) {
		return rep, fmt.Errorf("%w: %w", ErrUnusable, err)
	}
	return rep, err
}

// fileLogger is a logger of the file that is being stored.
type fileLogger struct {
	admitted int // the batch that it was last admitted to
	units    evidence.Units
}

// gather notes what one reading says of its logger's units.
func (l *fileLogger) gather(r *roof.Reading) {
	if rh, ok := r.Values.Get(roof.RHPct); ok {
		l.units.Humidity(r.At.UnixMilli(), rh)
	}
	if t, ok := r.Values.Get(roof.TempC); ok {
		l.units.Temperature(r.At.UnixMilli(), t)
	}
}

func isFault(err error) bool {
	var f roof.Faults
	return errors.As(err, &f)
}

func (p *Path) report(ctx context.Context, rep *Report, sum csvreadings.Summary, late []roof.Reject, caseID,
	name string, now time.Time) {
	// Beyond the listed rows only the counts by reason are left.
	listed := map[roof.Reason]int{}
	for _, r := range sum.Rejected {
		listed[r.Reason]++
	}
	for reason, n := range sum.ByReason {
		if more := n - listed[reason]; more > 0 {
			p.Count.Rejected(reason, more)
		}
	}
	rejects := make([]roof.Reject, 0, len(sum.Rejected)+len(late))
	columns := map[int]string{}
	for _, r := range sum.Rejected {
		columns[r.Line] = r.Column
		rejects = append(rejects, roof.Reject{At: now, Case: caseID, Source: name, Line: r.Line, Reason: r.Reason,
			Detail: r.Detail, Payload: []byte(r.Row)})
	}
	rejects = append(rejects, late...)
	for _, r := range rejects {
		if len(rep.Rejected) < maxListed {
			rep.Rejected = append(rep.Rejected, RejectedRow{r.Line, cmp.Or(columns[r.Line], "logger"), string(r.Reason),
				r.Detail})
		}
	}
	rep.RejectedN = sum.Bad + len(late)
	rep.Notes = append(rep.Notes, sum.Notes...)
	p.reject(ctx, rejects)
}
