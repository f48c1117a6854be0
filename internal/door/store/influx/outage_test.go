package influx

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os/exec"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/influxdata/influxdb-client-go/v2/api/write"
	"github.com/stretchr/testify/require"

	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/patience"
	"dewcase/internal/testkit/storetest"
)

// running copies in the background until the test ends.
func running(t testing.TB, d *Drain) {
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		d.Run(ctx)
	}()
	t.Cleanup(func() { stop(); <-done })
}

func count(t testing.TB, c *Client, what string) int {
	t.Helper()
	s, err := c.query(context.Background(), `SELECT count(temp_c) FROM `+what)
	require.NoError(t, err)
	if len(s) == 0 {
		return 0
	}
	n, err := wholeNumber(s[0].Values[0][1].String())
	require.NoError(t, err)
	return int(n)
}

// The engine is killed, refuses, is slow, loses answers and comes back, while
// readings go on arriving: none is lost, none doubled, and appending never
// waits for it.
func TestNothingIsLostOrDoubledWhateverTheEngineDoes(t *testing.T) {
	e := newEngine(t)
	local, client := old(t), e.bucket(t, t.Name())
	drain := NewDrain(client, local, DrainOptions{Batch: 200, MinPause: 2 * time.Millisecond,
		MaxPause: 20 * time.Millisecond,
		Regular:  10 * time.Millisecond})
	s := NewStore(local, client, drain, Options{Now: wayAhead, Keep: -1})
	running(t, drain)
	var want []roof.Reading
	add := func(n int) {
		for range n {
			k := len(want)
			want = append(want, storetest.TRH("k7", float64(k*60), float64(k)/3, float64(k%100)))
			began := time.Now()
			require.Equal(t, []roof.Outcome{roof.Stored}, storetest.Put(t, s, house, want[k]))
			require.Less(t, time.Since(began), requestTimeout/2, "appending does not wait for the engine")
		}
	}
	state := func() DrainState {
		st, err := drain.State(t.Context())
		require.NoError(t, err)
		return st
	}
	add(100)
	patience.Until(t, "the first are copied", func() bool { return state().Waiting == 0 })
	for _, mode := range []int32{refuseAll, loseTheAnswer, beSlow} {
		e.mode.Store(mode)
		add(300)
		if mode != beSlow {
			patience.Until(t, "the failure is seen", func() bool { return state().Err != nil })
			require.Positive(t, state().Waiting)
			require.False(t, state().Since.IsZero())
		}
		e.mode.Store(passOn)
		patience.Until(t, "the backlog is copied", func() bool { return state().Waiting == 0 && state().Err == nil })
	}
	e.stop()
	add(300)
	patience.Until(t, "the failure is seen", func() bool { return state().Err != nil })
	require.EqualValues(t, 300, state().Waiting)
	storetest.Same(t, want, storetest.All(t, s, house, "k7"))
	e.start(t)
	patience.Until(t, "the backlog is copied", func() bool { return state().Waiting == 0 })

	require.Equal(t, len(want), count(t, client, ofReading))
	got, err := client.Readings(t.Context(), house, "k7", time.Time{}, wayAhead())
	require.NoError(t, err)
	storetest.Same(t, want, got)
}

// Killed between the engine's confirmation and its own note of it, the daemon
// sends again what is there already.
func TestSendingAgainAfterAKillDoublesNothing(t *testing.T) {
	e := newEngine(t)
	client := e.bucket(t, t.Name())
	dir := t.TempDir()
	opt := sqlite.Options{Now: wayAhead, SealAfter: -1, Outbox: true}
	local, err := sqlite.Open(t.Context(), dir, opt)
	require.NoError(t, err)
	var want []roof.Reading
	for i := range 50 {
		want = append(want, storetest.TRH("k7", float64(i*60), float64(i), 50))
	}
	storetest.Put(t, local, house, want...)
	require.NoError(t, NewDrain(client, neverNotes{local}, quick).Empty(t.Context()))
	require.Equal(t, 50, count(t, client, ofReading))
	require.NoError(t, local.Close())

	local, err = sqlite.Open(t.Context(), dir, opt)
	require.NoError(t, err)
	defer local.Close()
	waiting, _, err := local.Backlog(t.Context())
	require.NoError(t, err)
	require.EqualValues(t, 50, waiting)
	require.NoError(t, NewDrain(client, local, quick).Empty(t.Context()))
	require.Equal(t, 50, count(t, client, ofReading))
}

// neverNotes forgets what was sent, as a kill would.
type neverNotes struct{ Outbox }

func (neverNotes) Sent(context.Context, int64) error { return nil }

// What the engine refuses takes nothing with it and is not forgotten.
func TestRefusedReadingIsSetAsideAndTheOthersGo(t *testing.T) {
	e := newEngine(t)
	local, client := old(t), e.bucket(t, t.Name())
	var rs []roof.Reading
	for i := range 200 {
		rs = append(rs, storetest.TRH("k7", float64(i*60), float64(i), 50))
	}
	far := storetest.TRH("k7", 0, 1, 1)
	far.At = time.Date(2300, 1, 1, 0, 0, 0, 0, time.UTC)
	storetest.Put(t, local, house, append(append([]roof.Reading{}, rs[:77]...),
		append([]roof.Reading{far}, rs[77:]...)...)...)
	drain := NewDrain(client, local, quick)
	require.NoError(t, drain.Empty(t.Context()))
	st, err := drain.State(t.Context())
	require.NoError(t, err)
	require.Equal(t, []int64{0, 1}, []int64{st.Waiting, st.Refused})
	require.Equal(t, 200, count(t, client, ofReading))

	// A field of another type, as another program might have made it.
	other := e.bucket(t, t.Name()+"2")
	require.NoError(t, other.lines(t.Context(),
		fmt.Appendf(nil, "reading,case=x,logger=k8 temp_c=1i %d\n", storetest.Epoch.UnixMilli())))
	require.NoError(t, local.PostAll(t.Context()))
	drain = NewDrain(other, local, quick)
	require.NoError(t, drain.Empty(t.Context()))
	st, err = drain.State(t.Context())
	require.NoError(t, err)
	require.Positive(t, st.Refused)
	_, err = local.Seal(t.Context())
	require.NoError(t, err)
	days, err := NewStore(local, other, drain, Options{Now: wayAhead}).Release(t.Context())
	require.NoError(t, err)
	require.Zero(t, days, "what was refused stays here")
}

func TestAnswersAreToldInWordsAndWithoutTheToken(t *testing.T) {
	const token = "s3cr3t-token"
	status := http.StatusUnauthorized
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		w.WriteHeader(status)
		fmt.Fprintf(w, `{"code":"x","message":"token %s"}`, token)
	}))
	defer srv.Close()
	c, err := NewClient(Server{URL: srv.URL, Bucket: "b", Token: token})
	require.NoError(t, err)
	defer c.Close()
	for s, want := range map[int]string{401: "does not accept the token", 404: `no bucket "b"`, 500: "writing to InfluxDB",
		400: "refused"} {
		status = s
		err := c.Write(t.Context(), []roof.Outgoing{{Case: house, Reading: storetest.TRH("k7", 0, 1, 1)}})
		require.ErrorContains(t, err, want)
		require.NotContains(t, err.Error(), token)
		require.Equal(t, s == 400, errors.Is(err, ErrRefused))
	}
	require.NotContains(t, c.Ping(t.Context()).Error(), token)
	for _, bad := range []Server{{URL: "localhost:8086", Bucket: "b"}, {URL: "http://x"}, {URL: "ftp://x", Bucket: "b"}} {
		_, err := NewClient(bad)
		require.Error(t, err)
	}
}

func TestATagIsOneNameAndNeedsNoEscaping(t *testing.T) {
	seen := map[string]string{}
	for _, name := range []string{"", "k7", "a b", "k,=\\\"7", "k'7", "ké", "A", "%41", "%", "a%", "-", ".."} {
		got := tag(name)
		require.Regexp(t, `^[A-Za-z0-9._%-]+$`, got)
		require.NotContains(t, seen, got)
		seen[got] = name
	}
}

// The write path against a second engine of another maker, which speaks the v2
// write API by itself: every value comes back bit for bit by its export.
func TestVictoriaMetricsHoldsTheSameBits(t *testing.T) {
	_, err := exec.LookPath("victoria-metrics")
	require.NoError(t, err, "victoria-metrics (Debian package) is needed")
	addr := freeAddr(t)
	cmd := exec.Command("victoria-metrics", "-storageDataPath="+t.TempDir(), "-httpListenAddr="+addr,
		"-retentionPeriod=100y", "-loggerLevel=ERROR")
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	require.NoError(t, cmd.Start())
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	patience.Until(t, "victoria-metrics answers", func() bool {
		res, err := http.Get("http://" + addr + "/health")
		if err != nil {
			return false
		}
		defer res.Body.Close()
		return res.StatusCode == http.StatusOK
	})
	client, err := NewClient(Server{URL: "http://" + addr, Bucket: "b", Org: "o"})
	require.NoError(t, err)
	defer client.Close()
	local := old(t)
	rng := rand.New(rand.NewPCG(3, 4))
	var rs []roof.Reading
	base := time.Now().Add(-time.Hour).Truncate(time.Minute).UTC()
	for i := range 500 {
		r := storetest.TRH("k7.loft-a_b", 0, math.Round(rng.NormFloat64()*1000)/100, math.Round(rng.Float64()*1000)/10)
		r.At, r.Arrived = base.Add(time.Duration(i)*time.Second), base.Add(time.Duration(i)*time.Second)
		rs = append(rs, r)
	}
	storetest.Put(t, local, house, rs...)
	require.NoError(t, NewDrain(client, local, quick).Empty(t.Context()))

	export := func(field string) (values []float64, times []int64) {
		res, err := http.Get("http://" + addr + "/api/v1/export?match[]=" +
			url.QueryEscape(`{__name__="reading_`+field+`",case="`+house+`",logger="k7.loft-a_b"}`))
		require.NoError(t, err)
		defer res.Body.Close()
		for lines := bufio.NewScanner(res.Body); lines.Scan(); {
			var row struct {
				Values     []float64 `json:"values"`
				Timestamps []int64   `json:"timestamps"`
			}
			require.NoError(t, json.Unmarshal(lines.Bytes(), &row))
			values, times = append(values, row.Values...), append(times, row.Timestamps...)
		}
		return values, times
	}
	patience.Until(t, "the points can be read", func() bool {
		v, _ := export("temp_c")
		return len(v) == len(rs)
	})
	for _, q := range []roof.Quantity{roof.TempC, roof.RHPct} {
		values, times := export(q.String())
		require.Len(t, values, len(rs))
		for i, r := range rs {
			want, _ := r.Values.Get(q)
			require.Equal(t, math.Float64bits(want), math.Float64bits(values[i]), "%s number %d: %v, want %v", q, i, values[i],
				want)
			require.Equal(t, r.At.UnixMilli(), times[i])
		}
	}
}

// The bar: drained at no less than 0.7 of what the client alone writes.
func BenchmarkDrain(b *testing.B) {
	const n = 200_000
	e := newEngine(b)
	readings := make([]roof.Reading, n)
	for i := range readings {
		readings[i] = storetest.TRH(fmt.Sprint("k", i%6), float64(i/6*60), math.Round(math.Sin(float64(i))*1000)/100,
			float64(i%1000)/10)
	}
	for round := range b.N {
		alone := e.bucket(b, fmt.Sprint("alone", round))
		began := time.Now()
		for i := 0; i < n; i += 5000 {
			var points []*write.Point
			for _, r := range readings[i:min(i+5000, n)] {
				fields := map[string]any{fieldFlags: float64(r.Flags), fieldArrived: float64(r.Arrived.UnixMilli())}
				for q := range roof.Quantity(roof.QuantityCount) {
					if x, ok := r.Values.Get(q); ok {
						fields[q.String()] = x
					}
				}
				points = append(points, write.NewPoint(ofReading, map[string]string{"case": house, "logger": r.Logger}, fields,
					r.At))
			}
			require.NoError(b, alone.write.WritePoint(context.Background(), points...))
		}
		byItself := time.Since(began)

		client := e.bucket(b, fmt.Sprint("drained", round))
		local, err := sqlite.Open(context.Background(), b.TempDir(), sqlite.Options{SealAfter: -1, Outbox: true})
		require.NoError(b, err)
		for i := 0; i < n; i += 5000 {
			_, err := local.Append(context.Background(), house, readings[i:min(i+5000, n)])
			require.NoError(b, err)
		}
		began = time.Now()
		require.NoError(b, NewDrain(client, local, DrainOptions{}).Empty(context.Background()))
		drained := time.Since(began)
		require.Equal(b, n, count(b, client, ofReading))
		require.NoError(b, local.Close())
		b.ReportMetric(n/drained.Seconds(), "drained/s")
		b.ReportMetric(n/byItself.Seconds(), "alone/s")
		b.ReportMetric(byItself.Seconds()/drained.Seconds(), "ratio")
	}
}

// Appending with the outbox on against off, as with a mirror, the engine taking
// what comes meanwhile.
func BenchmarkAppendWithMirror(b *testing.B) {
	e := newEngine(b)
	var off float64
	for _, on := range []bool{false, true} {
		b.Run(fmt.Sprint("mirror=", on), func(b *testing.B) {
			local, err := sqlite.Open(context.Background(), b.TempDir(), sqlite.Options{SealAfter: -1, Outbox: on})
			require.NoError(b, err)
			defer local.Close()
			ctx, stop := context.WithCancel(context.Background())
			var wg sync.WaitGroup
			if on {
				wg.Go(func() {
					NewDrain(e.bucket(b, fmt.Sprint("m", b.N)), local, DrainOptions{Regular: 100 * time.Millisecond}).Run(ctx)
				})
			}
			var next atomic.Int64
			b.SetParallelism(32)
			b.ResetTimer()
			b.RunParallel(func(pb *testing.PB) {
				name := fmt.Sprint("k", next.Add(1))
				for i := 0; pb.Next(); i++ {
					if _, err := local.Append(ctx, house, []roof.Reading{storetest.TRH(name, float64(i*60), 4.31, 92.4)}); err != nil {
						b.Error(err)
						return
					}
				}
			})
			b.StopTimer()
			rate := float64(b.N) / b.Elapsed().Seconds()
			b.ReportMetric(rate, "readings/s")
			if on {
				b.ReportMetric(rate/off, "ratio")
			} else {
				off = rate
			}
			stop()
			wg.Wait()
		})
	}
}
