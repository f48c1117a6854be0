package bell

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/door/notify"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/casefile"
	"dewcase/internal/flow/record"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/mem"
)

// town is some cases in force.
type town struct {
	mu sync.Mutex
	by map[string]*roof.Case
}

func (x *town) put(t *testing.T, file string) *roof.Case {
	t.Helper()
	c, faults := casefile.Parse("case.yaml", []byte(file))
	require.NoError(t, faults.Err())
	x.have(c)
	return c
}

func (x *town) have(c *roof.Case) {
	x.mu.Lock()
	defer x.mu.Unlock()
	x.by[c.ID] = c
}

func (x *town) All() (out []*roof.Case) {
	x.mu.Lock()
	defer x.mu.Unlock()
	for _, c := range x.by {
		out = append(out, c)
	}
	slices.SortFunc(out, func(a, b *roof.Case) int { return strings.Compare(a.ID, b.ID) })
	return out
}

func (x *town) Case(_ context.Context, id string) (*roof.Case, error) {
	x.mu.Lock()
	defer x.mu.Unlock()
	c, ok := x.by[id]
	if !ok {
		return nil, fmt.Errorf("case %s: %w", id, roof.ErrNotFound)
	}
	return c, nil
}

// drawer keeps state in memory.
type drawer struct {
	mu sync.Mutex
	by map[string]map[string][]byte // kind, key
}

func (d *drawer) State(_ context.Context, kind, key string) ([]byte, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	blob, ok := d.by[kind][key]
	if !ok {
		return nil, roof.ErrNotFound
	}
	return blob, nil
}

func (d *drawer) PutState(_ context.Context, kind, key string, blob []byte) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.by[kind] == nil {
		d.by[kind] = map[string][]byte{}
	}
	d.by[kind][key] = slices.Clone(blob)
	return nil
}

func (d *drawer) States(_ context.Context, kind string) (out []roof.KeptState, err error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for key, blob := range d.by[kind] {
		out = append(out, roof.KeptState{Key: key, Blob: blob})
	}
	return out, nil
}

func (d *drawer) DeleteState(_ context.Context, kind, key string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	delete(d.by[kind], key)
	return nil
}

// logbook is a record in memory that counts what it is asked.
type logbook struct {
	*record.Reader
	roof.ReadingStore
	mu      sync.Mutex
	gathers int
	nights  map[string][]time.Time // when each case was assessed
	atHand  assessment.Answer      // what Soon gives
	honest  atomic.Bool            // the assessment is that of the record, not an empty one
}

func newLogbook() *logbook {
	store := mem.New()
	return &logbook{Reader: record.New(store), ReadingStore: store, nights: map[string][]time.Time{}}
}

func (l *logbook) Hours(ctx context.Context, c *roof.Case, fromMS, untilMS int64) ([]timeline.Row, error) {
	l.mu.Lock()
	l.gathers++
	l.mu.Unlock()
	return l.Reader.Hours(ctx, c, fromMS, untilMS)
}

func (l *logbook) Current(ctx context.Context, c *roof.Case) (assessment.Answer, error) {
	l.mu.Lock()
	l.nights[c.ID] = append(l.nights[c.ID], time.Now())
	l.mu.Unlock()
	if !l.honest.Load() {
		fromMS, untilMS, ok, err := l.Span(ctx, c)
		if err != nil || !ok {
			return assessment.Answer{}, err
		}
		from, until := time.UnixMilli(fromMS).UTC(), time.UnixMilli(untilMS).UTC()
		return assessment.Answer{Assessment: assessment.Assessment{From: &from, Until: &until}}, nil
	}
	set, err := l.Whole(ctx, c, roof.InTurn)
	if err != nil {
		return assessment.Answer{}, err
	}
	return assessment.Of(set), nil
}

// Soon is what the consultant's pages have at hand.
func (l *logbook) Soon(context.Context, *roof.Case) (assessment.Answer, bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.atHand, l.atHand.Until != nil
}

// store takes readings in as the write path does.
func (l *logbook) store(t *testing.T, b *Bell, caseID string, readings ...roof.Reading) {
	outcomes, err := l.Append(t.Context(), caseID, readings)
	require.NoError(t, err)
	l.Appended(caseID, readings, outcomes)
	b.Took(caseID, readings, outcomes)
}

// letterbox delivers everything.
type letterbox struct {
	name string
	mu   sync.Mutex
	got  []alert.Message
}

func (l *letterbox) Name() string { return l.name }
func (l *letterbox) Send(_ context.Context, m alert.Message, _ string) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.got = append(l.got, m)
	return nil
}

// newBell is the service over a town of one lived-in house, nothing of which
// outlives the test.
func newBell(t *testing.T, change func(*ReachOptions, *Options)) *Bell {
	t.Helper()
	houses, state := &town{by: map[string]*roof.Case{}}, &drawer{by: map[string]map[string][]byte{}}
	houses.put(t, lived)
	r := ReachOptions{Cases: houses, State: state, Now: time.Now, Log: slog.New(slog.DiscardHandler)}
	outbox, err := notify.Open(t.Context(), state, []notify.Channel{&letterbox{name: "mail"}}, time.Now, r.Log)
	require.NoError(t, err)
	o := Options{Record: newLogbook(), Outbox: outbox, Log: r.Log}
	change(&r, &o)
	o.Reach, err = NewReach(t.Context(), r)
	require.NoError(t, err)
	return New(o)
}
