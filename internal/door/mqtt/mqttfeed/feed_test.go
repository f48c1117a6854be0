package mqttfeed

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/mosquittotest"
	"dewcase/internal/testkit/patience"
)

func TestMain(m *testing.M) { patience.Main(m) }

// recorder is a handler that remembers what it made durable.
type recorder struct {
	mu   sync.Mutex
	got  []Message
	fail atomic.Int64 // how many of the next messages are not durable
}

func (r *recorder) handle(_ context.Context, m Message) error {
	if r.fail.Add(-1) >= 0 {
		return errors.New("no space left on device")
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.got = append(r.got, m)
	return nil
}

func (r *recorder) messages() []Message {
	r.mu.Lock()
	defer r.mu.Unlock()
	return append([]Message(nil), r.got...)
}

func (r *recorder) payloads() []string {
	var out []string
	for _, m := range r.messages() {
		out = append(out, string(m.Payload))
	}
	return out
}

// quick are waits for tests.
var quick = pauses{first: 20 * time.Millisecond, most: 200 * time.Millisecond, refused: 200 * time.Millisecond,
	usurped: 300 * time.Millisecond, full: 50 * time.Millisecond, retry: 10 * time.Millisecond, settled: 10 * time.Second}

func options(b *mosquittotest.Broker, r *recorder) Options {
	return Options{URL: "mqtt://" + b.Addr(), ClientID: "dewcase", Topics: []string{"dewcase/#"}, Handler: r.handle}
}

func start(t testing.TB, opts Options) *Feed {
	t.Helper()
	f, err := New(opts)
	require.NoError(t, err)
	f.pause = quick
	require.NoError(t, f.Start())
	t.Cleanup(func() { _ = f.Stop(within(t)) })
	return f
}

func stop(t testing.TB, f *Feed) {
	t.Helper()
	require.NoError(t, f.Stop(within(t)))
}

func within(t testing.TB) context.Context {
	ctx, cancel := context.WithTimeout(context.Background(), patience.Long)
	t.Cleanup(cancel)
	return ctx
}

// abandon ends a feed as a kill would: nothing more is acknowledged.
func abandon(f *Feed) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_ = f.Stop(ctx)
	f.running.Wait()
}

func ready(t testing.TB, f *Feed) {
	t.Helper()
	patience.Until(t, "the feed is ready", func() bool { return f.Status().Ready() })
	require.Empty(t, f.Status().Error)
}

// publisher is a logger on the other side of the broker.
func publisher(t testing.TB, b *mosquittotest.Broker) paho.Client {
	t.Helper()
	c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + b.Addr()).SetClientID("logger").SetAutoReconnect(
		false))
	wait(t, c.Connect())
	t.Cleanup(func() { c.Disconnect(100) })
	return c
}

func wait(t testing.TB, tok paho.Token) {
	t.Helper()
	require.True(t, tok.WaitTimeout(patience.Long))
	require.NoError(t, tok.Error())
}

func publish(t testing.TB, c paho.Client, from, to int) {
	t.Helper()
	var toks []paho.Token
	for i := from; i < to; i++ {
		toks = append(toks, c.Publish(fmt.Sprintf("dewcase/a/k%d", i%5), 1, false, fmt.Sprint(i)))
	}
	for _, tok := range toks {
		wait(t, tok)
	}
}

func numbers(from, to int) (out []string) {
	for i := from; i < to; i++ {
		out = append(out, fmt.Sprint(i))
	}
	return out
}

func TestTheBrokerKeepsReadingsWhileTheDaemonIsDown(t *testing.T) {
	b := mosquittotest.Start(t, mosquittotest.Quick)
	r := &recorder{}
	f := start(t, options(b, r))
	ready(t, f)
	stop(t, f)
	c := publisher(t, b)
	publish(t, c, 0, 2000)
	c.Disconnect(100)
	b.Restart() // its queue is on disk
	second := start(t, options(b, r))
	patience.Until(t, "all arrive", func() bool { return len(r.messages()) >= 2000 })
	require.ElementsMatch(t, numbers(0, 2000), r.payloads())
	patience.Until(t, "all acknowledged", func() bool { return second.Status().Unacked == 0 })
	require.EqualValues(t, 2000, second.Status().Accepted)
}

// Other topics are asked for on the same connection, and those no longer wanted
// taken back from the session that the broker keeps.
func TestOtherTopicsAreTakenWithoutANewConnection(t *testing.T) {
	b := mosquittotest.Start(t, mosquittotest.Quick)
	var r recorder
	opts := options(b, &r)
	opts.Topics = []string{"dewcase/#", "old/#"}
	f := start(t, opts)
	ready(t, f)
	c := publisher(t, b)
	say := func(topic, payload string) { wait(t, c.Publish(topic, 1, false, payload)) }
	say("old/a", "1")
	say("new/a", "not asked for")
	patience.Until(t, "the old topic", func() bool { return slices.Equal(r.payloads(), []string{"1"}) })
	f.Take([]string{"dewcase/#", "new/#"})
	n := 0
	patience.Until(t, "the new topic", func() bool {
		n++
		say("new/a", "2")
		return len(r.payloads()) > 1
	})
	say("old/a", "not asked for any more")
	say("dewcase/c/l", "3")
	patience.Until(t, "the one that stayed", func() bool { return slices.Contains(r.payloads(), "3") })
	require.NotContains(t, r.payloads(), "not asked for any more")
	require.NotContains(t, r.payloads(), "not asked for")
	require.EqualValues(t, 1, f.Status().Connections)
	stop(t, f)
	say("old/a", "nor while it is down")
	say("dewcase/c/l", "4")
	f = start(t, Options{URL: opts.URL, ClientID: opts.ClientID, Topics: []string{"dewcase/#"}, Handler: r.handle})
	patience.Until(t, "what came meanwhile", func() bool { return slices.Contains(r.payloads(), "4") })
	require.NotContains(t, r.payloads(), "nor while it is down")
	stop(t, f)
}

func TestMessagesAreHandedOverInTheOrderOfArrival(t *testing.T) {
	b := mosquittotest.Start(t, mosquittotest.Quick)
	var mu sync.Mutex
	var order []string
	o := options(b, nil)
	o.Handler = nil
	o.Batch = func(_ context.Context, messages []Message) []error {
		mu.Lock()
		defer mu.Unlock()
		for _, m := range messages {
			order = append(order, string(m.Payload))
		}
		return make([]error, len(messages))
	}
	f := start(t, o)
	ready(t, f)
	c := publisher(t, b)
	for i := range 500 {
		c.Publish("dewcase/a/k7", 1, false, fmt.Sprint(i))
	}
	patience.Until(t, "all came", func() bool { return f.Status().Accepted == 500 })
	require.Equal(t, numbers(0, 500), order)
}

func TestWhatWasNotDurableIsNotAcknowledgedAndComesAgainToTheNextDaemon(t *testing.T) {
	b := mosquittotest.Start(t, mosquittotest.Quick)
	stuck := make(chan struct{})
	var inside atomic.Int64
	o := options(b, nil)
	o.Handler = func(ctx context.Context, _ Message) error {
		inside.Add(1)
		select {
		case <-stuck:
		case <-ctx.Done():
		}
		return errors.New("killed before the commit")
	}
	f := start(t, o)
	ready(t, f)
	publish(t, publisher(t, b), 0, 100)
	patience.Until(t, "all taken, some in the handler", func() bool {
		return f.Status().Unacked == 100 && inside.Load() > 0
	})
	abandon(f)
	r := &recorder{}
	second := start(t, options(b, r))
	patience.Until(t, "all come again", func() bool { return len(r.messages()) >= 100 })
	require.ElementsMatch(t, numbers(0, 100), r.payloads())
	require.EqualValues(t, 100, second.Status().Received)
	for _, m := range r.messages() {
		require.True(t, m.Redelivered, "it says that it was sent before")
		require.NotZero(t, m.Packet)
	}
}

func TestAMessageThatCouldNotBeStoredIsTriedAgainOnTheSameConnection(t *testing.T) {
	b := mosquittotest.Start(t, mosquittotest.Quick)
	r := &recorder{}
	f := start(t, options(b, r))
	ready(t, f)
	r.fail.Store(1 << 40)
	publish(t, publisher(t, b), 0, 20)
	patience.Until(t, "said", func() bool { return strings.Contains(f.Status().StoreError, "no space left") })
	require.False(t, f.Status().Ready())
	require.Equal(t, "no space left on device", f.Status().StoreError)
	require.Empty(t, r.messages())
	r.fail.Store(0)
	patience.Until(t, "stored", func() bool { return len(r.messages()) == 20 })
	ready(t, f)
	require.EqualValues(t, 1, f.Status().Connections)
	require.Positive(t, f.Status().NotDurable)
}

func TestARetainedMessageSaysThatItIs(t *testing.T) {
	b := mosquittotest.Start(t, mosquittotest.Quick)
	c := publisher(t, b)
	wait(t, c.Publish("dewcase/a/old", 1, true, "from last winter"))
	r := &recorder{}
	f := start(t, options(b, r))
	ready(t, f)
	wait(t, c.Publish("dewcase/a/new", 1, true, "just now"))
	patience.Until(t, "both", func() bool { return len(r.messages()) == 2 })
	got := map[string]bool{}
	for _, m := range r.messages() {
		got[m.Topic] = m.Retained
		require.Equal(t, time.UTC, m.Arrived.Location())
		require.False(t, m.Redelivered, "sent once")
	}
	require.Equal(t, map[string]bool{"dewcase/a/old": true, "dewcase/a/new": false}, got)
}

func TestABrokerKilledAndRestartedIsFoundAgain(t *testing.T) {
	b := mosquittotest.Start(t, mosquittotest.Quick)
	r := &recorder{}
	f := start(t, options(b, r))
	ready(t, f)
	publish(t, publisher(t, b), 0, 10)
	patience.Until(t, "first", func() bool { return len(r.messages()) == 10 })
	b.Kill()
	patience.Until(t, "said", func() bool { return strings.Contains(f.Status().Error, "no broker answers at "+b.Addr()) })
	require.False(t, f.Status().Connected)
	b.Restart() // without its session: it was killed, so the feed must subscribe anew
	ready(t, f)
	publish(t, publisher(t, b), 10, 20)
	patience.Until(t, "second", func() bool { return len(r.messages()) >= 20 })
	require.Subset(t, r.payloads(), numbers(0, 20))
}

func TestABrokerThatFallsSilentIsNoticed(t *testing.T) {
	b := mosquittotest.Start(t, mosquittotest.Quick)
	r := &recorder{}
	o := options(b, r)
	o.KeepAlive = 2 * time.Second
	f := start(t, o)
	ready(t, f)
	b.Signal(syscall.SIGSTOP)
	patience.Until(t, "noticed", func() bool { return !f.Status().Connected })
	b.Signal(syscall.SIGCONT)
	ready(t, f)
	publish(t, publisher(t, b), 0, 10)
	patience.Until(t, "flows again", func() bool { return len(r.messages()) >= 10 }) // more where it fell silent again
	require.Subset(t, r.payloads(), numbers(0, 10))
}

func TestALateAcknowledgementAfterAReconnectIsHarmless(t *testing.T) {
	b := mosquittotest.Start(t, mosquittotest.Quick)
	release := make(chan struct{})
	var seen sync.Map
	o := options(b, nil)
	o.Handler = func(ctx context.Context, m Message) error {
		select {
		case <-release:
		case <-ctx.Done():
			return ctx.Err()
		}
		seen.Store(string(m.Payload), true)
		return nil
	}
	f := start(t, o)
	ready(t, f)
	publish(t, publisher(t, b), 0, 50)
	patience.Until(t, "under way", func() bool { return f.Status().Unacked == 50 })
	f.drop(errors.New("pulled the cable"))
	patience.Until(t, "sent again", func() bool { return f.Status().Unacked == 100 })
	close(release)
	patience.Until(t, "all done", func() bool { return f.Status().Unacked == 0 })
	publish(t, publisher(t, b), 50, 60)
	patience.Until(t, "still flowing", func() bool { _, ok := seen.Load("59"); return ok })
	stop(t, f)
	r := &recorder{}
	start(t, options(b, r))
	time.Sleep(200 * time.Millisecond) // that nothing comes is the point
	require.Empty(t, r.messages(), "all was acknowledged")
}

func TestWithoutRoomTheFeedLeavesTheBrokerAndComesBack(t *testing.T) {
	b := mosquittotest.Start(t, mosquittotest.Quick)
	release := make(chan struct{})
	r := &recorder{}
	o := options(b, nil)
	o.MaxPending = 40
	o.Handler = func(ctx context.Context, m Message) error {
		select {
		case <-release:
			return r.handle(ctx, m)
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	f := start(t, o)
	ready(t, f)
	publish(t, publisher(t, b), 0, 1000)
	patience.Until(t, "left", func() bool { return !f.Status().Connected && f.Status().Error == errFull.Error() })
	require.LessOrEqual(t, f.Status().Unacked, int64(2*40+1), "bounded: queued, in the handler and in hand")
	close(release)
	patience.Until(t, "all arrive in the end", func() bool {
		have := map[string]bool{}
		for _, p := range r.payloads() {
			have[p] = true
		}
		return len(have) == 1000
	})
	ready(t, f)
}

func TestAPayloadTooLargeIsDiscardedAndTheNextOneArrives(t *testing.T) {
	b := mosquittotest.Start(t, mosquittotest.Quick)
	r := &recorder{}
	f := start(t, options(b, r))
	ready(t, f)
	c := publisher(t, b)
	wait(t, c.Publish("dewcase/a/big", 1, false, make([]byte, 10<<20)))
	wait(t, c.Publish("dewcase/a/k7", 1, false, "good"))
	patience.Until(t, "both", func() bool { return len(r.messages()) == 2 })
	require.EqualValues(t, 10<<20, r.messages()[0].TooLarge+r.messages()[1].TooLarge)
	require.EqualValues(t, 1, f.Status().TooLarge)
	patience.Until(t, "acknowledged, so not sent again", func() bool { return f.Status().Accepted == 2 })
	require.EqualValues(t, 1, f.Status().Connections)
}

func TestOurOwnMessagesAreNotReadings(t *testing.T) {
	b := mosquittotest.Start(t, mosquittotest.Quick)
	r := &recorder{}
	o := options(b, r)
	o.Own = func(topic string) bool { return strings.HasSuffix(topic, "/state") }
	f := start(t, o)
	require.Error(t, (&Feed{}).Publish("a", nil, false))
	ready(t, f)
	got := make(chan string, 1)
	home := publisher(t, b)
	wait(t, home.Subscribe("dewcase/+/+/state", 1, func(_ paho.Client, m paho.Message) { got <- string(m.Payload()) }))
	require.NoError(t, f.Publish("dewcase/a/loft/state", []byte("at risk"), true))
	require.Equal(t, "at risk", <-got)
	patience.Until(t, "acknowledged", func() bool { return f.Status().Accepted == 1 })
	require.Empty(t, r.messages())
}

func TestStopWaitsForMessagesUnderWay(t *testing.T) {
	b := mosquittotest.Start(t, mosquittotest.Quick)
	entered, release := make(chan struct{}), make(chan struct{})
	o := options(b, nil)
	o.Handler = func(context.Context, Message) error { close(entered); <-release; return nil }
	f := start(t, o)
	ready(t, f)
	publish(t, publisher(t, b), 0, 1)
	<-entered
	stopped := make(chan struct{})
	go func() { defer close(stopped); stop(t, f) }()
	patience.Until(t, "stopping", f.stopping.Load)
	close(release)
	<-stopped
	require.EqualValues(t, 1, f.Status().Accepted)
	r := &recorder{}
	second := start(t, options(b, r))
	ready(t, second)
	publish(t, publisher(t, b), 1, 2)
	patience.Until(t, "the next one only", func() bool { return len(r.messages()) >= 1 })
	require.Equal(t, []string{"1"}, r.payloads())
}

func TestStopIsBoundedWithoutABroker(t *testing.T) {
	f := start(t, Options{URL: "mqtt://127.0.0.1:1", ClientID: "x", Topics: []string{"a"}, Handler: (&recorder{}).handle})
	patience.Until(t, "tried", func() bool { return strings.Contains(f.Status().Error, "refused") })
	stop(t, f)
	idle, err := New(Options{URL: "mqtt://127.0.0.1:1", ClientID: "x", Topics: []string{"a"},
		Handler: (&recorder{}).handle})
	require.NoError(t, err)
	stop(t, idle)
}

func TestOptionsAreCheckedBeforeAnythingConnects(t *testing.T) {
	dir := t.TempDir()
	empty := filepath.Join(dir, "empty.pem")
	require.NoError(t, os.WriteFile(empty, nil, 0o600))
	good := Options{URL: "mqtts://broker.example", ClientID: "x", Topics: []string{"a"}, Handler: (&recorder{}).handle}
	for name, c := range map[string]struct {
		change func(*Options)
		want   string
	}{
		"no handler":           {func(o *Options) { o.Handler = nil }, "handler"},
		"no client identifier": {func(o *Options) { o.ClientID = "" }, "mqtt.client_id"},
		"no topic":             {func(o *Options) { o.Topics = nil }, "topics"},
		"another scheme":       {func(o *Options) { o.URL = "http://x" }, "want mqtt://HOST:PORT"},
		"no host":              {func(o *Options) { o.URL = "mqtt://:1883" }, "HOST:PORT"},
		"a path":               {func(o *Options) { o.URL = "mqtt://h:1/dewcase" }, "nothing after it"},
		"no url":               {func(o *Options) { o.URL = "mqtt://h:99999999999x" }, "not a URL"},
		"password in the url":  {func(o *Options) { o.URL = "mqtt://u:hunter2@h:1" }, "mqtt.password_file"},
		"certificates unused":  {func(o *Options) { o.URL, o.CAFile = "mqtt://h", empty }, "use mqtts://"},
		"no such ca":           {func(o *Options) { o.CAFile = filepath.Join(dir, "none") }, "mqtt.ca_file"},
		"empty ca":             {func(o *Options) { o.CAFile = empty }, "no certificate in PEM form"},
		"half a pair":          {func(o *Options) { o.CertFile = empty }, "both or neither"},
		"an empty pair":        {func(o *Options) { o.CertFile, o.KeyFile = empty, empty }, "does not go with"},
	} {
		o := good
		c.change(&o)
		_, err := New(o)
		require.ErrorContains(t, err, c.want, name)
		require.NotContains(t, err.Error(), "hunter2")
	}
	f, err := New(good)
	require.NoError(t, err)
	require.Equal(t, "broker.example:8883", f.Status().Broker)
}
