package influx

import (
	"context"
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/storetest"
)

const house = "larkfield-9"

// released is a store that after every append has all of it in the engine and
// nothing here, so that each read comes from the engine.
type released struct {
	*Store
	local *sqlite.Store
	mu    sync.Mutex
}

func (r *released) Append(ctx context.Context, caseID string, readings []roof.Reading) ([]roof.Outcome, error) {
	out, err := r.Store.Append(ctx, caseID, readings)
	if err != nil {
		return nil, err
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	return out, r.away(ctx)
}

func (r *released) away(ctx context.Context) error {
	if err := r.drain.Empty(ctx); err != nil {
		return err
	}
	if _, err := r.local.Seal(ctx); err != nil {
		return err
	}
	_, err := r.Store.Release(ctx)
	return err
}

func released1(t testing.TB, e *engine, name string) *released {
	local, client := old(t), e.bucket(t, name)
	return &released{Store: NewStore(local, client, NewDrain(client, local, quick), Options{Now: wayAhead}), local: local}
}

func TestStoreKeepsTheContractReadingFromTheEngine(t *testing.T) {
	e := newEngine(t)
	storetest.Run(t, func(t *testing.T) roof.ReadingStore { return released1(t, e, t.Name()) })
}

func TestStoreKeepsTheContractWhileItCopies(t *testing.T) {
	e := newEngine(t)
	storetest.Run(t, func(t *testing.T) roof.ReadingStore {
		local, client := old(t), e.bucket(t, t.Name())
		s := NewStore(local, client, NewDrain(client, local, quick), Options{Now: wayAhead})
		ctx, stop := context.WithCancel(context.Background())
		done := make(chan struct{})
		go func() {
			defer close(done)
			s.Run(ctx)
		}()
		t.Cleanup(func() { stop(); <-done })
		return s
	})
}

func TestEverythingInTheEngineIsWhatWasStored(t *testing.T) {
	e := newEngine(t)
	s := released1(t, e, t.Name())
	var want []roof.Reading
	for i := range 5 * 288 {
		r := storetest.TRH("k7", float64(i*300), float64(i)/3, float64(i%100))
		r.Flags = roof.FlagRetained
		want = append(want, r)
	}
	storetest.Put(t, s, house, want...)
	away, err := s.local.Elsewhere(t.Context(), house, "k7", time.Time{}, time.Time{})
	require.NoError(t, err)
	require.Len(t, away, 5, "nothing of it is left here")
	storetest.Same(t, want, storetest.All(t, s, house, "k7"))
	m, err := Verify(t.Context(), s.local, s.client)
	require.NoError(t, err)
	require.Equal(t, Moved{Days: 5, Readings: 1440}, m)

	// A late reading takes its day back, and only that.
	late := storetest.TRH("k7", 2*86400+60, 7, 7)
	out, err := s.Store.Append(t.Context(), house, []roof.Reading{want[2*288], late})
	require.NoError(t, err)
	require.Equal(t, []roof.Outcome{roof.Duplicate, roof.Stored}, out)
	away, err = s.local.Elsewhere(t.Context(), house, "k7", time.Time{}, time.Time{})
	require.NoError(t, err)
	require.Len(t, away, 4)
	require.Len(t, storetest.All(t, s, house, "k7"), 1441)
	r, err := s.local.Check(t.Context())
	require.NoError(t, err)
	require.NoError(t, r.Err())
	require.EqualValues(t, 4*288, r.Elsewhere)
}

func TestAlteredReadingInTheEngineIsNeverServed(t *testing.T) {
	e := newEngine(t)
	s := released1(t, e, t.Name())
	storetest.Put(t, s, house, storetest.TRH("k7", 0, 4.31, 92.4), storetest.TRH("k7", 86400, 5, 90))
	other := storetest.TRH("k7", 0, 4.32, 92.4)
	require.NoError(t, s.client.Write(t.Context(), []roof.Outgoing{{Case: house, Reading: other}}))
	var err error
	for _, err = range s.Range(t.Context(), house, "k7", time.Time{}, time.Time{}) {
		break
	}
	require.ErrorIs(t, err, roof.ErrDamaged)
	require.ErrorContains(t, err, "day 2026-11-25")
	_, err = Verify(t.Context(), s.local, s.client)
	require.ErrorIs(t, err, roof.ErrDamaged)
	_, err = s.Append(t.Context(), house, []roof.Reading{storetest.TRH("k7", 60, 1, 1)})
	require.ErrorIs(t, err, roof.ErrDamaged)
	require.Len(t, storetest.Read(t, s, house, "k7", storetest.Epoch.Add(day), time.Time{}), 1,
		"the day beside it is well")
}

func TestMigrationBothWaysBrokenOffAndResumed(t *testing.T) {
	e := newEngine(t)
	local, client := old(t), e.bucket(t, t.Name())
	want := map[string][]roof.Reading{}
	for c := range 3 {
		name := fmt.Sprint("k", c)
		for i := range 20 * 48 {
			want[name] = append(want[name], storetest.TRH(name, float64(i*1800), float64(i)/7, float64(i%100)))
		}
		storetest.Put(t, local, house, want[name]...)
	}
	require.Equal(t, []roof.Outcome{roof.Conflict}, storetest.Put(t, local, house, storetest.TRH("k0", 0, 99, 99)))
	_, err := local.Seal(t.Context())
	require.NoError(t, err)

	ctx, stop := context.WithCancel(t.Context())
	e.mode.Store(beSlow)
	time.AfterFunc(60*time.Millisecond, stop)
	_, err = MoveOut(ctx, local, client, DrainOptions{Batch: 100, Least: time.Millisecond})
	require.ErrorIs(t, err, context.Canceled)
	e.mode.Store(passOn)
	m, err := MoveOut(t.Context(), local, client, quick)
	require.NoError(t, err)
	require.EqualValues(t, 3*20*48, m.Readings)
	again, err := MoveOut(t.Context(), local, client, quick)
	require.NoError(t, err)
	require.Zero(t, again.Days)

	s := NewStore(local, client, NewDrain(client, local, quick), Options{Now: wayAhead})
	for name, rs := range want {
		storetest.Same(t, rs, storetest.All(t, s, house, name))
	}
	ctx, stop = context.WithCancel(t.Context())
	stop()
	_, err = MoveBack(ctx, local, client)
	require.ErrorIs(t, err, context.Canceled)
	m, err = MoveBack(t.Context(), local, client)
	require.NoError(t, err)
	require.EqualValues(t, 3*20*48, m.Readings)
	for name, rs := range want {
		storetest.Same(t, rs, storetest.All(t, local, house, name))
	}
	r, err := local.Check(t.Context())
	require.NoError(t, err)
	require.NoError(t, r.Err())
	require.Zero(t, r.Elsewhere)
}

func TestFirstUseOfABucketCopiesWhatIsThereAlready(t *testing.T) {
	e := newEngine(t)
	client := e.bucket(t, t.Name())
	dir := t.TempDir()
	before, err := sqlite.Open(t.Context(), dir, sqlite.Options{SealAfter: -1})
	require.NoError(t, err)
	storetest.Put(t, before, house, storetest.TRH("k7", 0, 1, 1), storetest.TRH("k7", 60, 1, 1),
		storetest.TRH("k7", 0, 2, 2))
	require.NoError(t, before.Close())
	local, err := sqlite.Open(t.Context(), dir, sqlite.Options{SealAfter: -1, Outbox: true})
	require.NoError(t, err)
	defer local.Close()
	drain := NewDrain(client, local, quick)
	for range 2 {
		require.NoError(t, Begin(t.Context(), local, local, client.server))
		require.NoError(t, drain.Empty(t.Context()))
	}
	require.Equal(t, 2, count(t, client, ofReading))
	require.Equal(t, 1, count(t, client, ofAside))
	st, err := drain.State(t.Context())
	require.NoError(t, err)
	require.EqualValues(t, 3, st.Written, "once")
}
