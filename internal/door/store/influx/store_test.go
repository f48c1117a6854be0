package influx

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/patience"
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
	return releasedTo(t, e.bucket(t, name))
}

func releasedTo(t testing.TB, client *Client) *released {
	local := old(t)
	return &released{Store: NewStore(local, client, NewDrain(client, local, quick), Options{Now: wayAhead}), local: local}
}

func TestStoreKeepsTheContractReadingFromTheEngine(t *testing.T) {
	e := newEngine(t)
	for name, at := range e.ways() {
		t.Run(name, func(t *testing.T) {
			storetest.Run(t, func(t *testing.T) roof.ReadingStore { return releasedTo(t, e.bucketAt(t, at, t.Name())) })
		})
	}
}

func TestStoreKeepsTheContractWhileItCopies(t *testing.T) {
	e := newEngine(t)
	for name, at := range e.ways() {
		t.Run(name, func(t *testing.T) {
			storetest.Run(t, func(t *testing.T) roof.ReadingStore {
				local, client := old(t), e.bucketAt(t, at, t.Name())
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
		})
	}
}

// Debian's InfluxDB has no /api/v2/write and answers 404 there: everything is
// moved out, read back bit for bit and moved back all the same.
func TestAnEngineWithoutTheV2WriteAPIIsWrittenToByItsOwn(t *testing.T) {
	e := newEngine(t)
	client := e.bucketAt(t, "http://"+e.addr, t.Name())
	res, err := http.Post("http://"+e.addr+"/api/v2/write?bucket=b", "text/plain", nil)
	require.NoError(t, err)
	require.NoError(t, res.Body.Close())
	require.Equal(t, http.StatusNotFound, res.StatusCode, "the engine is one without")
	local := old(t)
	var want []roof.Reading
	for i := range 3 * 288 {
		want = append(want, storetest.TRH("k7", float64(i*300), float64(i)/3, float64(i%100)))
	}
	storetest.Put(t, local, house, want...)
	_, err = local.Seal(t.Context())
	require.NoError(t, err)
	require.NoError(t, client.RoundTrip(t.Context()))
	m, err := MoveOut(t.Context(), local, client, quick)
	require.NoError(t, err)
	require.Equal(t, Moved{Days: 3, Readings: 3 * 288}, m)
	m, err = MoveBack(t.Context(), local, client)
	require.NoError(t, err)
	require.Equal(t, Moved{Days: 3, Readings: 3 * 288}, m)
	storetest.Same(t, want, storetest.All(t, local, house, "k7"))

	none, err := NewClient(Server{URL: "http://" + e.addr, Bucket: "nowhere"})
	require.NoError(t, err)
	defer none.Close()
	err = none.Write(t.Context(), []roof.Outgoing{{Case: house, Reading: want[0]}})
	require.ErrorIs(t, err, errSetUp)
	require.ErrorContains(t, err, `version 1.6`)
	require.ErrorContains(t, err, `has no bucket "nowhere"`)
}

func TestTheVersionSaysHowAnEngineIsWrittenTo(t *testing.T) {
	for version, want := range map[string]bool{"1.6.7~rc0": true, "1.7.11": true, "v1.7": true, "0.13.0": true,
		"1.8.0": false, "1.8.10": false, "1.11.8": false, "1.10.0-c1.10": false, "2.7.5": false, "v2.0.0": false,
		"3.0": false, "": false, "unknown": false} {
		require.Equal(t, want, withoutV2(version), version)
	}
}

// Moving ends with the reason, whatever the engine does.
func TestMovingToAnEngineThatCannotBeUsedEnds(t *testing.T) {
	hang := make(chan struct{})
	t.Cleanup(func() { close(hang) })
	for name, c := range map[string]struct {
		answer http.HandlerFunc
		is     error
		says   string
	}{
		"nothing is there": {http.NotFound, errSetUp, `has no bucket "b"`},
		"the token is wrong": {func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusUnauthorized) },
			errSetUp, "does not accept the token"},
		"it never answers": {func(_ http.ResponseWriter, r *http.Request) {
			select {
			case <-hang:
			case <-r.Context().Done():
			}
		}, context.DeadlineExceeded, "asking for its version"},
		"it starts for ever": {func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusServiceUnavailable) },
			nil, "503"},
		"it can be written to only": {func(w http.ResponseWriter, r *http.Request) {
			if strings.HasSuffix(r.URL.Path, "/query") {
				http.NotFound(w, r)
				return
			}
			w.WriteHeader(http.StatusNoContent)
		}, errWriteOnly, "good for a mirror"},
		"it takes the first and then no more": {func() http.HandlerFunc {
			var writes atomic.Int64
			return func(w http.ResponseWriter, r *http.Request) {
				switch {
				case strings.HasSuffix(r.URL.Path, "/query"):
					fmt.Fprint(w, `{"results":[{"series":[{"columns":["time","value"],"values":[[1,1]]}]}]}`)
				case strings.HasSuffix(r.URL.Path, "/write") && writes.Add(1) > 1:
					w.WriteHeader(http.StatusServiceUnavailable)
				default:
					w.WriteHeader(http.StatusNoContent)
				}
			}
		}(), nil, "503"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			srv := httptest.NewServer(c.answer)
			t.Cleanup(srv.Close)
			client, err := NewClient(Server{URL: srv.URL, Bucket: "b"})
			require.NoError(t, err)
			t.Cleanup(client.Close)
			local := old(t)
			storetest.Put(t, local, house, storetest.TRH("k7", 0, 1, 1))
			opt := quick
			opt.GiveUp = 200 * time.Millisecond
			began := time.Now()
			_, err = MoveOut(t.Context(), local, client, opt)
			require.ErrorContains(t, err, c.says)
			if c.is != nil {
				require.ErrorIs(t, err, c.is)
			}
			require.Less(t, time.Since(began), askTimeout+requestTimeout)
			require.Len(t, storetest.All(t, local, house, "k7"), 1, "all of it is still here")
		})
	}
}

// A store whose engine does not give back what it takes keeps everything here,
// and says so.
func TestAnEngineThatCanBeWrittenToOnlyIsSaid(t *testing.T) {
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasSuffix(r.URL.Path, "/query") {
			fmt.Fprint(w, `{"results":[{}]}`)
			return
		}
		w.WriteHeader(http.StatusNoContent)
	}))
	t.Cleanup(srv.Close)
	client, err := NewClient(Server{URL: srv.URL, Bucket: "b"})
	require.NoError(t, err)
	t.Cleanup(client.Close)
	local := old(t)
	s := NewStore(local, client, NewDrain(client, local, quick), Options{Now: wayAhead})
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		s.Run(ctx)
	}()
	t.Cleanup(func() { stop(); <-done })
	require.Equal(t, []roof.Outcome{roof.Stored}, storetest.Put(t, s, house, storetest.TRH("k7", 0, 1, 1)))
	patience.Until(t, "it is said", func() bool { return s.WriteOnly() != nil })
	require.ErrorIs(t, s.WriteOnly(), errWriteOnly)
	require.Len(t, storetest.All(t, s, house, "k7"), 1)
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
	_, err = MoveOut(ctx, local, client, DrainOptions{Batch: 100, MinPause: time.Millisecond})
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
