package ingest

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/payload"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/mem"
)

// desk stands in for everything around the path and remembers what it was told.
type desk struct {
	mu       sync.Mutex
	outcomes map[roof.Outcome]int
	rejects  map[roof.Reason]int
	heard    []string
}

func (d *desk) Known(caseID string) bool                      { return caseID != "elsewhere" }
func (d *desk) Fitted(_, logger string) bool                  { return logger[0] == 'k' }
func (d *desk) Keep(_ context.Context, rejects []roof.Reject) {}
func (d *desk) Heard(caseID, logger string, _ time.Time) {
	d.heard = append(d.heard, caseID+"/"+logger)
}
func (d *desk) Outcome(o roof.Outcome) { d.mu.Lock(); d.outcomes[o]++; d.mu.Unlock() }
func (d *desk) Rejected(reason roof.Reason, n int) {
	d.mu.Lock()
	d.rejects[reason] += n
	d.mu.Unlock()
}

// picky refuses appends that hold a reading of one logger, and counts them.
type picky struct {
	roof.ReadingStore
	refuse  string
	appends int
}

func (p *picky) Append(ctx context.Context, caseID string, readings []roof.Reading) ([]roof.Outcome, error) {
	p.appends++
	for _, r := range readings {
		if r.Logger == p.refuse {
			return nil, errors.New("no space left on device")
		}
	}
	return p.ReadingStore.Append(ctx, caseID, readings)
}

var arrived = time.Date(2026, 2, 1, 12, 0, 0, 0, time.UTC)

func path(t *testing.T, refuse string) (*Path, *desk, *picky) {
	t.Helper()
	dec, err := payload.New(nil)
	require.NoError(t, err)
	d := &desk{outcomes: map[roof.Outcome]int{}, rejects: map[roof.Reason]int{}}
	s := &picky{ReadingStore: mem.New(), refuse: refuse}
	return &Path{Decoder: dec, Store: s, Cases: d, Rejects: d, Count: d, MaxLoggers: 2,
		Now: func() time.Time { return arrived }}, d, s
}

func in(topic string, minute int, tempC float64) payload.Message {
	at := arrived.Add(time.Duration(minute) * time.Minute).Format(time.RFC3339)
	return payload.Message{Topic: topic, Payload: fmt.Appendf(nil, `{"time":%q,"temp_c":%g}`, at, tempC),
		Arrived: arrived}
}

func TestMessagesThatWaitTogetherShareAnAppendAndKeepTheirOrder(t *testing.T) {
	p, d, s := path(t, "")
	results := p.Messages(context.Background(),
		[]payload.Message{in("dewcase/a/k1", -5, 4), in("dewcase/a/k1", -5, 9), in("dewcase/a/k1", -5, 4),
			in("dewcase/a/k2", -5, 5)})
	require.Equal(t, make([]error, 4), results)
	require.Equal(t, 1, s.appends)
	require.Equal(t, map[roof.Outcome]int{roof.Stored: 2, roof.Conflict: 1, roof.Duplicate: 1}, d.outcomes)
}

func TestOneMessageThatCannotBeStoredHoldsNoOtherUp(t *testing.T) {
	p, d, _ := path(t, "k2")
	results := p.Messages(context.Background(),
		[]payload.Message{in("dewcase/a/k1", -5, 4), in("dewcase/a/k2", -5, 4), in("dewcase/a/k3", -5, 4),
			in("dewcase/b/k1", -5, 4)})
	require.NoError(t, results[0])
	require.ErrorContains(t, results[1], "no space left")
	require.NoError(t, results[2])
	require.NoError(t, results[3])
	require.Equal(t, 3, d.outcomes[roof.Stored])
	require.Error(t, p.Message(context.Background(), in("dewcase/a/k2", -4, 4)))
}

func TestAFailingDiskIsNotAskedForEveryMessage(t *testing.T) {
	p, _, s := path(t, "k2")
	var all []payload.Message
	for i := range 100 {
		all = append(all, in("dewcase/a/k2", -i, 4))
	}
	for _, err := range p.Messages(context.Background(), all) {
		require.ErrorContains(t, err, "no space left")
	}
	require.Equal(t, 3, s.appends)
}

func TestWhatIsRejectedForGoodMayBeAcknowledgedAndCountsOnce(t *testing.T) {
	p, d, s := path(t, "")
	large := in("dewcase/a/k1", -5, 4)
	large.TooLarge, large.Payload = 10<<20, nil
	bad := in("dewcase/a/k1", -5, 4)
	bad.Payload = []byte("{")
	retained := in("dewcase/a/k1", -5, 4)
	retained.Payload, retained.Retained = []byte(`{"temp_c":4}`), true
	results := p.Messages(context.Background(),
		[]payload.Message{large, bad, retained, in("dewcase/elsewhere/k1", -5, 4), in("dewcase/a/new1", -5, 4),
			in("dewcase/a/new2", -5, 4), in("dewcase/a/new3", -5, 4), in("dewcase/a/k1", -5, 200)})
	require.Equal(t, make([]error, 8), results)
	require.Equal(t, map[roof.Reason]int{roof.TooLarge: 1, roof.BadPayload: 1, roof.RetainedNoTime: 1, roof.UnknownCase: 1,
		roof.TooManyLoggers: 1, roof.TempOutOfRange: 1}, d.rejects)
	require.Equal(t, 2, d.outcomes[roof.Stored])
	require.Contains(t, d.heard, "elsewhere/k1")
	require.Equal(t, 1, s.appends)
}

func TestRejectsOfAMessageThatMustComeAgainAreNotCountedYet(t *testing.T) {
	p, d, s := path(t, "k2")
	m := in("dewcase/a/k2", -5, 4)
	m.Payload = fmt.Appendf(nil, `[{"time":%q,"temp_c":4},{"time":%q,"temp_c":200}]`, arrived.Format(time.RFC3339),
		arrived.Format(time.RFC3339))
	require.Error(t, p.Messages(context.Background(), []payload.Message{m})[0])
	require.Empty(t, d.rejects)
	s.refuse = ""
	require.NoError(t, p.Messages(context.Background(), []payload.Message{m})[0])
	require.Equal(t, map[roof.Reason]int{roof.TempOutOfRange: 1}, d.rejects)
}

// The limit of unknown names guards against a broken publisher; rows of a file
// that somebody chose are kept and reported (contract, section 2).
func TestRowsOfManyUnknownLoggersAreKept(t *testing.T) {
	p, d, _ := path(t, "")
	rep, err := csvOf(p, strings.NewReader("time,logger,temp_c,rh_pct\n"+
		"2026-01-31T12:00:00Z,"+
		"u1,4,90\n2026-01-31T12:00:00Z,u2,4,90\n2026-01-31T12:00:00Z,u3,4,90\n2026-01-31T12:00:00Z,u4,4,90\n"))
	require.NoError(t, err)
	require.Equal(t, 4, rep.Stored)
	require.Equal(t, []string{"u1", "u2", "u3", "u4"}, rep.Unknown)
	require.Empty(t, d.rejects)
}

// What another instance serves leaves no trace here, unless its sender waits for
// an answer.
func TestAnotherInstancesCaseIsLeftToIt(t *testing.T) {
	p, d, store := path(t, "")
	p.Serves = func(caseID string) bool { return strings.HasPrefix(caseID, "north-") }
	body := []byte(`{"time":"2026-02-01T11:00:00Z","temp_c":4,"rh_pct":80}`)
	for _, house := range []string{"north-1", "south-1", "elsewhere"} {
		require.NoError(t, p.Message(t.Context(), payload.Message{Topic: "dewcase/" + house + "/k1", Payload: body,
			Arrived: arrived}))
	}
	p.TooLarge(t.Context(), "dewcase/south-1/k1", 1<<30, arrived)
	require.Equal(t, 1, store.appends)
	require.Equal(t, map[roof.Outcome]int{roof.Stored: 1}, d.outcomes)
	require.Empty(t, d.rejects)
	require.Empty(t, d.heard)
	n, rejects, err := p.Push(t.Context(), payload.Message{Topic: "dewcase/south-1/k1", Payload: body, Arrived: arrived})
	require.NoError(t, err)
	require.Zero(t, n)
	require.Len(t, rejects, 1)
	require.Contains(t, rejects[0].Detail, "another instance")
}
