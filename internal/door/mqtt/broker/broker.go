// Package broker is the MQTT broker embedded in the daemon. Loggers publish to
// it, and other programs of the household may subscribe. It acknowledges a
// message only after the handler has made it durable, and does not interpret
// payloads.
//
// # Acknowledgements
//
// A publisher with many messages in flight must not wait for one disk write
// per message. The broker therefore sends its own acknowledgements instead of
// the library's: messages waiting on a connection go to the handler as a
// batch, in order of arrival, and are acknowledged in that order once durable.
//
// # Memory
//
// One budget covers all connections. When it is used up, the broker stops
// reading from the loggers. The library copies each message for every
// subscriber; here subscribers share one copy, and a subscriber that lets too
// much accumulate is disconnected (see post).
package broker

import (
	"bytes"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"sync"
	"sync/atomic"
	"time"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	"golang.org/x/sync/semaphore"

	"dewcase/internal/door/floodlog"
	"dewcase/internal/door/mqtt/mqttframe"
)

// What arrives and what takes it are the same at either door.
type (
	// Message is one PUBLISH as it arrived.
	Message = mqttframe.Message
	// Batch takes the messages that wait on one connection; what it gives an error
	// for the logger sends again. The batches of a connection follow one another,
	// those of different connections come at the same time.
	Batch = mqttframe.Batch
	// Handler is a Batch for one message.
	Handler = mqttframe.Handler
)

// Options say how the broker runs. Listen and one of Handler and Batch are needed.
type Options struct {
	Listen string      // HOST:PORT; port 0 picks a free one
	TLS    *tls.Config // nil: plain TCP

	// Authenticate checks a user's password and says what that user may do. It
	// may be slow (a password hash); failures are slowed down per address. nil
	// admits everyone and is allowed on loopback only.
	Authenticate func(user, password string) (Rights, bool)
	// Own are the topic filters that the daemon alone publishes to.
	Own []string
	// Forbidden is told of each publish that was refused; it must not block.
	Forbidden func(Forbidden)

	MaxClients      int // at one time; default 512
	MaxPayloadBytes int // of one message; default 256 KiB, room for a long catch-up
	// MaxPendingBytes bounds what all messages not yet durable may hold; default 16 MiB.
	MaxPendingBytes int64

	Handler Handler
	Batch   Batch // takes precedence
	Logger  *slog.Logger
	Now     func() time.Time // the clock that arrivals are dated by; default time.Now
}

// Limits that are not worth a key of the configuration.
const (
	perConnection    = 1024             // messages of one connection not yet acknowledged
	perBatch         = 512              // of them handed over together
	idleBatch        = 16               // the room for more is given up once nothing waits
	messageOverhead  = 2 << 10          // bytes reckoned for a message beside topic and payload: its packet
	connectTimeout   = 10 * time.Second // from TCP connection to CONNECT, TLS included
	closeLibrary     = 2 * time.Second  // for the library's own closing, after everything is durable
	writeTimeout     = 10 * time.Second // a client that reads nothing for so long is dropped
	maxForwardBytes  = 32 << 10         // larger messages are stored but not passed on to subscribers
	maxTopicBytes    = 512              // of filters, and of topics passed on
	maxTopicLevels   = 32
	maxFilters       = 256   // subscriptions of one client
	maxAllFilters    = 10000 // of all
	sessionLifetime  = 3600  // seconds a subscriber may be away before it is forgotten
	retainedLifetime = 10 * 365 * 24 * 3600
)

// Broker is a running or startable broker.
type Broker struct {
	opts     Options
	log      *slog.Logger
	srv      *mqtt.Server
	listener *listener
	budget   *semaphore.Weighted
	base     context.Context
	cancel   context.CancelFunc
	draining atomic.Bool
	pending  sync.WaitGroup // messages in the handler
	drainMu  sync.RWMutex   // orders pending.Add before the wait of Stop
	conns    sync.Map       // *mqtt.Client -> *conn
	guard    *guard
	post     *post
	warnings floodlog.Log
	stats    counters
	addr     string
	stopped  sync.Once
	stopErr  error
}

// ErrNeedsCredentials refuses to listen beyond this machine with the door open.
var ErrNeedsCredentials = errors.New("MQTT listening beyond loopback needs users with passwords")

// New checks the options; nothing listens yet.
func New(opts Options) (*Broker, error) {
	if opts.Handler == nil && opts.Batch == nil {
		return nil, errors.New("a broker without a handler would lose what it acknowledges")
	}
	host, _, err := net.SplitHostPort(opts.Listen)
	if err != nil {
		return nil, fmt.Errorf("MQTT listen address %q: want HOST:PORT, for example 127.0.0.1:1883: %w", opts.Listen, err)
	}
	if opts.Authenticate == nil && !isLoopbackHost(host) {
		return nil, fmt.Errorf("%w: %s listens wider", ErrNeedsCredentials, opts.Listen)
	}
	if opts.Now == nil {
		opts.Now = time.Now
	}
	if opts.MaxClients <= 0 {
		opts.MaxClients = 512
	}
	if opts.MaxPayloadBytes <= 0 {
		opts.MaxPayloadBytes = 256 << 10
	}
	if opts.MaxPendingBytes <= 0 {
		opts.MaxPendingBytes = 16 << 20
	}
	// One message of the largest size must always fit.
	opts.MaxPendingBytes = max(opts.MaxPendingBytes, int64(opts.MaxPayloadBytes)+1<<17)
	if opts.Batch == nil {
		opts.Batch = opts.Handler.Together
	}
	b := &Broker{opts: opts, log: opts.Logger, budget: semaphore.NewWeighted(opts.MaxPendingBytes), guard: newGuard()}
	if b.log == nil {
		b.log = slog.New(slog.DiscardHandler)
	}
	b.post, b.warnings = newPost(b), floodlog.Log{To: b.log, Lines: 5, Within: time.Second}
	b.base, b.cancel = context.WithCancel(context.Background())
	return b, nil
}

// isLoopbackHost reports that a listen host can be reached from this machine only.
func isLoopbackHost(host string) bool {
	if host == "localhost" {
		return true
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}

// Start opens the listener and serves until Stop.
func (b *Broker) Start() error {
	inner, err := net.Listen("tcp", b.opts.Listen)
	if err != nil {
		return fmt.Errorf("listening for MQTT on %s: %w", b.opts.Listen, err)
	}
	b.addr = inner.Addr().String()
	b.listener = newListener(inner, b.opts.TLS, b.opts.MaxClients+16, b.opts.MaxPayloadBytes, b.log)
	caps := mqtt.NewDefaultServerCapabilities()
	caps.MaximumClients = int64(b.opts.MaxClients)
	caps.MaximumPacketSize = uint32(b.opts.MaxPayloadBytes) + 1<<17 // topic and properties come on top
	caps.MaximumSessionExpiryInterval = sessionLifetime
	caps.MaximumMessageExpiryInterval = retainedLifetime
	caps.MaximumClientWritesPending = 1 // post writes
	caps.MaximumInflight = maxUnacknowledged
	caps.ReceiveMaximum = perConnection
	caps.TopicAliasMaximum = 0 // an alias would be checked for rights under an empty topic
	b.srv = mqtt.New(&mqtt.Options{
		Capabilities:             caps,
		ClientNetReadBufferSize:  8 << 10,
		ClientNetWriteBufferSize: 2 << 10,
		// The library measures memory for every $SYS round, stopping the world.
		SysTopicResendInterval: 24 * 3600,
		Logger:                 slog.New(slog.DiscardHandler), // it logs every refused packet; what matters is logged here
	})
	if err := b.srv.AddHook(&hook{b: b}, nil); err != nil {
		return errors.Join(fmt.Errorf("preparing the MQTT broker: %w", err), inner.Close())
	}
	if err := b.srv.AddListener(listeners.NewNet("mqtt", b.listener)); err != nil {
		return errors.Join(fmt.Errorf("preparing the MQTT broker: %w", err), inner.Close())
	}
	if err := b.srv.Serve(); err != nil {
		return errors.Join(fmt.Errorf("starting the MQTT broker: %w", err), inner.Close())
	}
	return nil
}

// Addr returns the address listened on, HOST:PORT; empty before Start.
func (b *Broker) Addr() string { return b.addr }

// Publish sends one of our own messages to the subscribers; it is never handed
// to the handler.
func (b *Broker) Publish(topic string, payload []byte, retained bool) error {
	if b.srv == nil || b.draining.Load() {
		return errors.New("publishing: the MQTT broker is not running")
	}
	b.post.publish(&outgoing{topic: topic, payload: bytes.Clone(payload), qos: 1, retain: retained, own: true,
		created: time.Now().Unix(), weight: int64(len(topic) + len(payload) + messageOverhead)})
	return nil
}

// Part ends the connections of users who are not what they were; what they had
// not had acknowledged they send again.
func (b *Broker) Part(changed func(user string) bool) {
	for _, cl := range b.srv.Clients.GetAll() {
		if !cl.Closed() && changed(string(cl.Properties.Username)) {
			cl.Stop(errors.New("the user was changed"))
		}
	}
}

// Stop takes no more messages, waits until those under way are durable and
// acknowledged, or ctx ends, and closes every connection; for the library's own
// closing it waits two seconds more at the most.
func (b *Broker) Stop(ctx context.Context) error {
	b.stopped.Do(func() { b.stopErr = b.stop(ctx) })
	return b.stopErr
}

func (b *Broker) stop(ctx context.Context) error {
	defer b.cancel()
	if b.srv == nil {
		return nil
	}
	b.drainMu.Lock()
	b.draining.Store(true)
	b.drainMu.Unlock()
	_ = b.listener.Close() // no new connections; the old ones stay for their acknowledgements
	drained := make(chan struct{})
	go func() { b.pending.Wait(); close(drained) }()
	var undone error
	select {
	case <-drained:
	case <-ctx.Done():
		undone = errors.New("some messages were not yet durable; their loggers will send them again")
	}
	b.cancel()
	b.listener.closeAll()
	closed := make(chan error, 1)
	go func() { closed <- b.srv.Close() }()
	// Everything taken is durable and every connection closed by now: what is left
	// is the library's own housekeeping, which has been seen to hang when it is
	// stopped just after it began. Nothing is lost by leaving it behind.
	select {
	case err := <-closed:
		return errors.Join(undone, err)
	case <-time.After(closeLibrary):
		b.log.Warn("the MQTT library did not close in time and is left behind")
		return undone
	}
}
