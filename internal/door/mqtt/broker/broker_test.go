package broker

import (
	"context"
	"errors"
	"fmt"
	"net"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"dewcase/internal/testkit/patience"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"
)

// recorder is a handler that remembers what it was given.
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

func start(t testing.TB, opts Options) *Broker {
	t.Helper()
	if opts.Listen == "" {
		opts.Listen = "127.0.0.1:0"
	}
	b, err := New(opts)
	require.NoError(t, err)
	require.NoError(t, b.Start())
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), patience.Long)
		defer cancel()
		require.NoError(t, b.Stop(ctx))
	})
	return b
}

// connect makes a client of the usual kind; change alters its options.
func connect(t testing.TB, b *Broker, id string, change func(*paho.ClientOptions)) paho.Client {
	t.Helper()
	c, err := dial(b, id, change)
	require.NoError(t, err)
	t.Cleanup(func() { c.Disconnect(100) })
	return c
}

func dial(b *Broker, id string, change func(*paho.ClientOptions)) (paho.Client, error) {
	o := paho.NewClientOptions().AddBroker("tcp://" + b.Addr()).SetClientID(id).SetAutoReconnect(false).
		SetProtocolVersion(4).SetConnectTimeout(patience.Long)
	if change != nil {
		change(o)
	}
	c := paho.NewClient(o)
	tok := c.Connect()
	if !tok.WaitTimeout(patience.Long) {
		return nil, errors.New("no answer to CONNECT")
	}
	return c, tok.Error()
}

func wait(t testing.TB, tok paho.Token) {
	t.Helper()
	require.True(t, tok.WaitTimeout(patience.Long), "no acknowledgement")
	require.NoError(t, tok.Error())
}

func TestMain(m *testing.M) { patience.Main(m) }

func TestAcknowledgementComesOnlyAfterTheHandlerSaysDurable(t *testing.T) {
	entered, release := make(chan struct{}), make(chan struct{})
	b := start(t, Options{Handler: func(context.Context, Message) error { close(entered); <-release; return nil }})
	c := connect(t, b, "k7", nil)
	tok := c.Publish("dewcase/a/k7", 1, false, `{"temp_c":4.3}`)
	<-entered
	select {
	case <-tok.Done():
		t.Fatal("acknowledged before it was durable")
	case <-time.After(50 * time.Millisecond):
	}
	close(release)
	wait(t, tok)
	patience.Until(t, "counted", func() bool { return b.Stats().Accepted == 1 })
}

func TestAMessageThatIsNotDurableIsNotAcknowledgedAndComesAgain(t *testing.T) {
	r := &recorder{}
	r.fail.Store(1)
	b := start(t, Options{Handler: r.handle})
	c := connect(t, b, "k7", func(o *paho.ClientOptions) {
		o.SetCleanSession(false).SetAutoReconnect(true).SetMaxReconnectInterval(50 * time.Millisecond)
	})
	c.Publish("dewcase/a/k7", 1, false, "again") // the token ends at the reconnect already, so it proves nothing
	patience.Until(t, "came again", func() bool { return len(r.messages()) == 1 })
	require.EqualValues(t, 1, b.Stats().NotDurable)
	require.True(t, r.messages()[0].Redelivered, "it says that it was sent before")
	require.NotZero(t, r.messages()[0].Packet)
}

func TestManyMessagesOfOneClientAreInTheHandlerTogether(t *testing.T) {
	const n = 300
	entered, release := make(chan struct{}, n), make(chan struct{})
	var mu sync.Mutex
	var sizes []int
	b := start(t, Options{Batch: func(_ context.Context, m []Message) []error {
		mu.Lock()
		sizes = append(sizes, len(m))
		mu.Unlock()
		entered <- struct{}{}
		<-release
		return make([]error, len(m))
	}})
	c := connect(t, b, "k7", nil)
	toks := []paho.Token{c.Publish("dewcase/a/k7", 1, false, "first")}
	<-entered // the disk is busy with the first
	for i := range n {
		toks = append(toks, c.Publish("dewcase/a/k7", 1, false, fmt.Sprint(i)))
	}
	patience.Until(t, "all taken", func() bool { return b.Stats().Received == n+1 })
	close(release)
	for _, tok := range toks {
		wait(t, tok)
	}
	require.Equal(t, []int{1, n}, sizes)
}

func TestMessagesOfAConnectionAreHandedOverInTheirOrder(t *testing.T) {
	var mu sync.Mutex
	var order []string
	b := start(t, Options{Batch: func(_ context.Context, messages []Message) []error {
		mu.Lock()
		defer mu.Unlock()
		for _, m := range messages {
			order = append(order, string(m.Payload))
		}
		return make([]error, len(messages))
	}})
	c := connect(t, b, "k7", nil)
	var want []string
	var last paho.Token
	for i := range 500 {
		want = append(want, fmt.Sprint(i))
		last = c.Publish("dewcase/a/k7", byte(i%2), false, fmt.Sprint(i))
	}
	wait(t, last)
	require.Equal(t, want, order)
}

func TestEveryQualityOfServiceIsHandledOnce(t *testing.T) {
	r := &recorder{}
	b := start(t, Options{Handler: r.handle})
	c := connect(t, b, "k7", nil)
	for qos := range byte(3) {
		for i := range 20 {
			wait(t, c.Publish("dewcase/a/k7", qos, false, fmt.Sprint(qos, i)))
		}
	}
	patience.Until(t, "all 60 handled", func() bool { return len(r.messages()) == 60 })
	seen := map[string]byte{}
	for _, m := range r.messages() {
		seen[string(m.Payload)] = m.QoS
		require.WithinDuration(t, time.Now(), m.Arrived, time.Minute)
		require.Equal(t, time.UTC, m.Arrived.Location())
	}
	require.Len(t, seen, 60)
	require.EqualValues(t, 2, seen["2 7"])
}

func TestThePublishersRetainBitIsHandedOn(t *testing.T) {
	r := &recorder{}
	b := start(t, Options{Handler: r.handle})
	c := connect(t, b, "k7", nil)
	wait(t, c.Publish("dewcase/a/k7", 1, true, "kept"))
	wait(t, c.Publish("dewcase/a/k7", 1, false, "live"))
	got := map[string]bool{}
	for _, m := range r.messages() {
		got[string(m.Payload)] = m.Retained
	}
	require.Equal(t, map[string]bool{"kept": true, "live": false}, got)
}

func TestSubscribersGetStoredMessagesAndOurOwnWhichAreNotIngested(t *testing.T) {
	r := &recorder{}
	b := start(t, Options{Handler: r.handle})
	require.NoError(t, b.Publish("dewcase/a/state/loft", []byte("dry"), true))
	got := make(chan string, 10)
	home := connect(t, b, "home", nil)
	wait(t, home.Subscribe("dewcase/#", 1, func(_ paho.Client, m paho.Message) {
		got <- fmt.Sprint(m.Topic(), " ", string(m.Payload()), " ", m.Retained())
	}))
	require.Equal(t, "dewcase/a/state/loft dry true", <-got)
	wait(t, connect(t, b, "k7", nil).Publish("dewcase/a/k7", 1, false, "21.5"))
	require.Equal(t, "dewcase/a/k7 21.5 false", <-got)
	require.NoError(t, b.Publish("dewcase/a/state/loft", []byte("at risk"), true))
	require.Equal(t, "dewcase/a/state/loft at risk false", <-got)
	require.Len(t, r.messages(), 1, "our own messages are not readings")
}

func TestAMessageThatIsNotDurableReachesNoSubscriber(t *testing.T) {
	r := &recorder{}
	b := start(t, Options{Handler: r.handle})
	got := make(chan string, 10)
	home := connect(t, b, "home", nil)
	wait(t, home.Subscribe("#", 1, func(_ paho.Client, m paho.Message) { got <- string(m.Payload()) }))
	r.fail.Store(1)
	connect(t, b, "bad", nil).Publish("dewcase/a/k7", 1, false, "lost")
	patience.Until(t, "refused", func() bool { return b.Stats().NotDurable == 1 })
	wait(t, connect(t, b, "good", nil).Publish("dewcase/a/k7", 1, false, "kept"))
	require.Equal(t, "kept", <-got)
}

func TestStopWaitsForMessagesUnderWayAndAcknowledgesThem(t *testing.T) {
	entered, release := make(chan struct{}), make(chan struct{})
	b, err := New(Options{Listen: "127.0.0.1:0",
		Handler: func(context.Context, Message) error { close(entered); <-release; return nil }})
	require.NoError(t, err)
	require.NoError(t, b.Start())
	c := connect(t, b, "k7", nil)
	tok := c.Publish("dewcase/a/k7", 1, false, "x")
	<-entered
	stopped := make(chan error, 1)
	go func() {
		ctx, cancel := context.WithTimeout(context.Background(), patience.Long)
		defer cancel()
		stopped <- b.Stop(ctx)
	}()
	patience.Until(t, "draining", b.draining.Load)
	patience.Until(t, "no new connections", func() bool {
		conn, err := net.DialTimeout("tcp", b.Addr(), time.Second)
		if err == nil {
			_ = conn.Close()
		}
		return err != nil
	})
	close(release)
	wait(t, tok)
	require.NoError(t, <-stopped)
	require.Error(t, b.Publish("a", nil, false))
	require.NoError(t, b.Stop(context.Background()), "a second stop is harmless")
}

func TestStopDoesNotWaitLongerThanAllowed(t *testing.T) {
	entered := make(chan struct{})
	b, err := New(Options{Listen: "127.0.0.1:0", Handler: func(ctx context.Context, _ Message) error {
		close(entered)
		<-ctx.Done() // a disk that never answers
		return ctx.Err()
	}})
	require.NoError(t, err)
	require.NoError(t, b.Start())
	c := connect(t, b, "k7", nil)
	tok := c.Publish("dewcase/a/k7", 1, false, "x")
	<-entered
	ctx, cancel := context.WithTimeout(context.Background(), 50*time.Millisecond)
	defer cancel()
	require.ErrorContains(t, b.Stop(ctx), "not yet durable")
	require.False(t, tok.WaitTimeout(10*time.Millisecond) && tok.Error() == nil, "not acknowledged")
	patience.Until(t, "connection closed", func() bool { return !c.IsConnectionOpen() })
}

func TestOptionsThatWouldLoseReadingsOrOpenTheDoorAreRefused(t *testing.T) {
	_, err := New(Options{Listen: "127.0.0.1:0"})
	require.ErrorContains(t, err, "handler")
	h := (&recorder{}).handle
	for _, wide := range []string{":1883", "0.0.0.0:1883", "[::]:1883", "192.0.2.7:1883", "loggers.example:1883"} {
		_, err = New(Options{Listen: wide, Handler: h})
		require.ErrorIs(t, err, ErrNeedsCredentials, wide)
	}
	for _, near := range []string{"127.0.0.1:0", "[::1]:0", "localhost:0", "127.3.2.1:0"} {
		_, err = New(Options{Listen: near, Handler: h})
		require.NoError(t, err, near)
	}
	_, err = New(Options{Listen: "1883", Handler: h})
	require.ErrorContains(t, err, "HOST:PORT")
}

func TestAPortInUseIsSaidPlainly(t *testing.T) {
	b := start(t, Options{Handler: (&recorder{}).handle})
	second, err := New(Options{Listen: b.Addr(), Handler: (&recorder{}).handle})
	require.NoError(t, err)
	require.ErrorContains(t, second.Start(), "listening for MQTT on "+b.Addr())
	require.NoError(t, second.Stop(context.Background()))
}
