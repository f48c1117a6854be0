// Package mqttfeed takes messages from an MQTT broker outside the daemon. It
// does not interpret payloads.
//
// # Durability
//
// The outside broker keeps a message until the handler has made it durable.
// The feed uses one client for its whole life, a persistent session under a
// fixed client identifier, quality of service 1, and manual acknowledgements
// in order of arrival. Messages that a killed daemon had not acknowledged are
// sent again.
//
// Memory is bounded: when MaxPending messages are not yet durable, the feed
// disconnects, leaving the queue on the broker's disk, and reconnects when
// there is room.
//
// # Throughput
//
// Throughput depends on how many messages the broker sends without waiting for
// acknowledgements. Mosquitto's max_inflight_messages defaults to 20; 500
// suits a daemon that commits many readings at once and fits MaxPending.
package mqttfeed

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"net"
	"net/url"
	"os"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"golang.org/x/sync/semaphore"

	"dewcase/internal/door/mqtt/mqttframe"
)

// What arrives and what takes it are the same at either door.
type (
	// Message is one PUBLISH as it arrived.
	Message = mqttframe.Message
	// Batch takes the messages that wait; what it gives an error for is offered
	// again until it is durable. One batch follows the other.
	Batch = mqttframe.Batch
	// Handler is a Batch for one message.
	Handler = mqttframe.Handler
)

// Options say which broker, as whom, and what to take. URL, ClientID, Topics and
// one of Handler and Batch are needed.
type Options struct {
	URL      string // mqtt://HOST:PORT or mqtts://HOST:PORT
	ClientID string // fixed for life and used by nobody else: the broker's queue hangs on it
	Topics   []string

	Username string
	// Password is asked for at every connection, so that a changed file counts;
	// it never appears in logs or errors. nil: none.
	Password func() (string, error)

	// CAFile holds the certificates (PEM) that may sign the broker's; empty: the
	// system's. CertFile and KeyFile are our own certificate, where the broker
	// asks for one. They are read at every connection.
	CAFile, CertFile, KeyFile string

	MaxPayloadBytes int   // of one message; default 256 KiB
	MaxPending      int   // messages not yet durable; default 1024
	MaxPendingBytes int64 // what they may hold; default 16 MiB
	KeepAlive       time.Duration

	// Presence is what is said, retained, of whether we are connected; nil: nothing.
	Presence *Presence

	// Own recognises topics that we publish ourselves and hear back; they are
	// acknowledged and not handed on. nil: none.
	Own func(topic string) bool

	Handler Handler
	Batch   Batch // takes precedence
	Logger  *slog.Logger

	leavesNothing bool // a session that ends with the connection
}

// Presence is a topic and its two words: On once we are connected and subscribed,
// Off when we leave, and by the broker, as our last will, when we are lost. On and
// Off are said only while Wanted says so: Mosquitto ends the connection of whoever
// publishes what its access list forbids, while it drops a forbidden will.
type Presence struct {
	Topic, On, Off string
	Wanted         func() bool
}

// pauses are how long the feed waits; tests shorten them.
type pauses struct {
	first, most time.Duration // between attempts to connect, doubling
	refused     time.Duration // after a refusal that only a person can cure
	usurped     time.Duration // while another program uses our client identifier
	full        time.Duration // for a place, before the feed leaves the broker
	retry       time.Duration // first wait before a message that was not durable is tried again
	settled     time.Duration // a connection that lasted so long clears the doubling
}

var usual = pauses{first: 500 * time.Millisecond, most: time.Minute, refused: 30 * time.Second, usurped: time.Minute,
	full: 2 * time.Second, retry: time.Second, settled: 10 * time.Second}

// connectTimeout bounds TCP, TLS and MQTT greeting together.
const connectTimeout = 10 * time.Second

// Feed is one broker's messages flowing to the handler.
type Feed struct {
	opts   Options
	pause  pauses
	log    *slog.Logger
	host   string
	server *url.URL
	secure bool
	client paho.Client

	base     context.Context
	cancel   context.CancelFunc
	running  sync.WaitGroup
	started  atomic.Bool
	stopping atomic.Bool
	full     atomic.Bool // left the broker until there is room

	budget   *semaphore.Weighted
	queue    chan *item // arrived
	room     chan struct{}
	lost     chan error
	link     atomic.Pointer[link]
	topics   atomic.Pointer[[]string]
	changed  chan struct{} // other topics are wanted
	asked    []string      // topics last asked for; used by the connecting goroutine alone
	password string        // as last read; used by the connecting goroutine alone

	stopped sync.Once
	stopErr error
	state   state
}

// New checks the options, certificates included; nothing connects yet.
func New(opts Options) (*Feed, error) {
	f := &Feed{opts: opts, pause: usual, log: opts.Logger}
	if opts.Handler == nil && opts.Batch == nil {
		return nil, errors.New("a feed without a handler would lose what it acknowledges")
	}
	if opts.ClientID == "" {
		return nil, errors.New("mqtt.client_id: empty; a fixed name of its own makes the broker keep readings while the " +
			"daemon is down")
	}
	if len(opts.Topics) == 0 {
		return nil, errors.New("no topics to subscribe to")
	}
	if err := f.parseURL(opts.URL); err != nil {
		return nil, err
	}
	if f.log == nil {
		f.log = slog.New(slog.DiscardHandler)
	}
	o := &f.opts
	o.MaxPayloadBytes = cmp.Or(max(o.MaxPayloadBytes, 0), 256<<10)
	o.MaxPending = cmp.Or(max(o.MaxPending, 0), 1024)
	o.MaxPendingBytes = max(cmp.Or(max(o.MaxPendingBytes, 0), 16<<20), int64(o.MaxPayloadBytes)+1<<17)
	o.KeepAlive = cmp.Or(max(o.KeepAlive, 0), 30*time.Second)
	if o.Batch == nil {
		o.Batch = o.Handler.Together
	}
	if o.Own == nil {
		o.Own = func(string) bool { return false }
	}
	if _, err := f.tlsConfig(); err != nil {
		return nil, err
	}
	f.budget = semaphore.NewWeighted(o.MaxPendingBytes)
	f.queue = make(chan *item, o.MaxPending)
	f.room = make(chan struct{}, 1)
	f.lost = make(chan error, 1)
	f.changed = make(chan struct{}, 1)
	f.topics.Store(&o.Topics)
	f.base, f.cancel = context.WithCancel(context.Background())
	f.state.trouble = "not connected yet"
	f.client = f.newClient()
	return f, nil
}

// newClient makes the one client the feed has for life.
func (f *Feed) newClient() paho.Client {
	o := paho.NewClientOptions()
	o.Servers = []*url.URL{f.server}
	o.SetClientID(f.opts.ClientID).SetCleanSession(f.opts.leavesNothing).SetProtocolVersion(4)
	o.SetOrderMatters(true).SetAutoAckDisabled(true).SetDefaultPublishHandler(f.arrive)
	// Reconnecting is our own loop: it can be interrupted, adds jitter and knows
	// which refusals are not worth hurrying for.
	o.SetAutoReconnect(false).SetConnectRetry(false)
	o.SetKeepAlive(f.opts.KeepAlive).SetPingTimeout(max(f.opts.KeepAlive/3, 500*time.Millisecond))
	o.SetConnectTimeout(connectTimeout).SetWriteTimeout(writeTimeout)
	o.SetConnectionLostHandler(func(_ paho.Client, err error) { offer(f.lost, err) })
	o.SetCustomOpenConnectionFn(f.open)
	o.SetStore(outgoing{paho.NewMemoryStore()})
	o.SetCredentialsProvider(func() (user, password string) { return f.opts.Username, f.password })
	if p := f.opts.Presence; p != nil {
		o.SetWill(p.Topic, p.Off, 1, true)
	}
	return paho.NewClient(o)
}

// present says whether we are there.
func (f *Feed) present(there bool) {
	p := f.opts.Presence
	if p == nil || !p.Wanted() || !f.client.IsConnectionOpen() {
		return
	}
	word := p.Off
	if there {
		word = p.On
	}
	f.client.Publish(p.Topic, 1, true, word).WaitTimeout(time.Second)
}

// parseURL takes mqtt:// and mqtts:// apart.
func (f *Feed) parseURL(raw string) error {
	u, err := url.Parse(raw)
	if err != nil {
		return errors.New("mqtt.broker: not a URL; want mqtt://HOST:PORT or mqtts://HOST:PORT") // err would repeat a password
	}
	if u.User != nil {
		return errors.New("mqtt.broker: leave user and password out of the URL, where others can read them; set " +
			"mqtt.username and mqtt.password_file")
	}
	port := "1883"
	switch u.Scheme {
	case "mqtt":
	case "mqtts":
		f.secure, port = true, "8883"
	default:
		return fmt.Errorf("mqtt.broker: %q: want mqtt://HOST:PORT or mqtts://HOST:PORT", raw)
	}
	if u.Hostname() == "" || strings.Trim(u.Path, "/") != "" || u.RawQuery != "" {
		return fmt.Errorf("mqtt.broker: %q: want %s://HOST:PORT and nothing after it", raw, u.Scheme)
	}
	if !f.secure && (f.opts.CAFile != "" || f.opts.CertFile != "" || f.opts.KeyFile != "") {
		return errors.New("mqtt.broker: certificates are given, but mqtt:// is not encrypted; use mqtts://")
	}
	if u.Port() != "" {
		port = u.Port()
	}
	f.host = u.Hostname()
	f.server = &url.URL{Scheme: "tcp", Host: net.JoinHostPort(f.host, port)}
	return nil
}

// Start begins to connect and returns at once; Status says how it goes. A broker
// that is down is no reason not to start.
func (f *Feed) Start() error {
	if !f.started.CompareAndSwap(false, true) {
		return errors.New("the feed was started before")
	}
	f.running.Go(f.work)
	f.running.Go(f.stayConnected)
	return nil
}

// Take asks for other topics from now on. What was asked for and is no longer
// wanted is taken back, since the broker keeps subscriptions with the session.
func (f *Feed) Take(topics []string) {
	if before := f.topics.Swap(&topics); slices.Equal(*before, topics) {
		return
	}
	offer(f.changed, struct{}{}) // or it will look anyway
}

// offer puts a value where none waits yet.
func offer[T any](to chan<- T, v T) {
	select {
	case to <- v:
	default:
	}
}

// Try connects and subscribes once, under a client identifier of its own and
// with a session that leaves nothing at the broker. It says in plain words what
// would keep readings from arriving; nothing that arrives is acknowledged.
func Try(ctx context.Context, opts Options) error {
	opts.ClientID = fmt.Sprintf("%s-%08x", opts.ClientID, rand.Uint32())
	opts.leavesNothing, opts.Presence = true, nil
	opts.Handler = func(context.Context, Message) error { return nil }
	f, err := New(opts)
	if err != nil {
		return err
	}
	defer context.AfterFunc(ctx, f.cancel)()
	defer f.cancel()
	if err := f.connect(); err != nil {
		said, _ := f.explain(err)
		return errors.New(said)
	}
	f.client.Disconnect(100)
	if s := f.Status(); s.Error != "" {
		return errors.New(s.Error)
	}
	return nil
}

// plainFileError names the key; the path is the user's own, the content stays out.
func plainFileError(key string, err error) string {
	var p *os.PathError
	if errors.As(err, &p) {
		return fmt.Sprintf("%s: %s: %v", key, p.Path, p.Err)
	}
	return key + ": " + err.Error()
}

// Publish sends one of our own messages through the broker; it waits a little
// for the broker's word and does not queue while there is no connection.
func (f *Feed) Publish(topic string, payload []byte, retained bool) error {
	if !f.started.Load() || f.stopping.Load() || !f.client.IsConnectionOpen() {
		return fmt.Errorf("publishing to %s: not connected to the broker", topic)
	}
	tok := f.client.Publish(topic, 1, retained, payload)
	if !tok.WaitTimeout(5 * time.Second) {
		return fmt.Errorf("publishing to %s: no answer from the broker within 5 s", topic)
	}
	if err := tok.Error(); err != nil {
		return fmt.Errorf("publishing to %s: %w", topic, err)
	}
	return nil
}

// Stop takes no more messages, waits until those under way are durable and
// acknowledged, or ctx ends, and disconnects. What is left the broker keeps.
func (f *Feed) Stop(ctx context.Context) error {
	f.stopped.Do(func() { f.stopErr = f.stop(ctx) })
	return f.stopErr
}

func (f *Feed) stop(ctx context.Context) error {
	defer f.cancel()
	if !f.started.Load() {
		return nil
	}
	f.stopping.Store(true)
	var undone error
	for f.state.unacked.Load() > 0 {
		select {
		case <-f.room:
			continue
		case <-time.After(10 * time.Millisecond):
			continue
		case <-ctx.Done():
			undone = errors.New("some messages were not yet durable; the broker keeps them")
		}
		break
	}
	f.present(false)
	f.client.Disconnect(250)
	f.cancel()
	if l := f.link.Load(); l != nil {
		_ = l.Close()
	}
	ended := make(chan struct{})
	go func() { f.running.Wait(); close(ended) }()
	select {
	case <-ended:
		return undone
	case <-ctx.Done():
		select {
		case <-ended:
			return undone
		case <-time.After(200 * time.Millisecond):
			return errors.Join(undone, fmt.Errorf("leaving the MQTT broker: %w", ctx.Err()))
		}
	}
}

// jitter spreads a wait over half to one and a half times its length, so that
// many daemons do not return to a broker in step.
func jitter(d time.Duration) time.Duration {
	return d/2 + time.Duration(rand.Int64N(int64(d)+1))
}

// sleep waits, unless the feed is stopped meanwhile.
func (f *Feed) sleep(d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-f.base.Done():
		return false
	}
}
