package broker

import (
	"errors"
	"sync"
	"sync/atomic"
	"time"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"

	"dewcase/internal/door/mqtt/mqttframe"
)

// maxUnreleased is how many QoS 2 messages a client may leave without PUBREL.
const maxUnreleased = 1024

var (
	errStopping   = errors.New("the broker is stopping")
	errUnreleased = errors.New("too many QoS 2 messages were left without PUBREL")
)

// hook joins the library to the broker.
type hook struct {
	mqtt.HookBase
	b *Broker
}

// ID names the hook.
func (h *hook) ID() string { return "dewcase" }

// Provides lists the events wanted.
func (h *hook) Provides(event byte) bool {
	switch event {
	case mqtt.OnConnect, mqtt.OnConnectAuthenticate, mqtt.OnACLCheck, mqtt.OnSessionEstablished,
		mqtt.OnDisconnect, mqtt.OnPublish, mqtt.OnWill, mqtt.OnPublishDropped, mqtt.OnClientExpired:
		return true
	}
	return false
}

// OnSessionEstablished comes just before the first packet is read.
func (h *hook) OnSessionEstablished(cl *mqtt.Client, _ packets.Packet) {
	h.b.conns.Store(cl, h.b.newConn(cl))
}

// OnDisconnect comes after the last packet was handled.
func (h *hook) OnDisconnect(cl *mqtt.Client, _ error, expire bool) {
	if c, ok := h.b.conns.LoadAndDelete(cl); ok {
		close(c.(*conn).queue)
	}
	// A pure publisher has no session worth keeping; kept ones cost memory.
	if len(cl.State.Subscriptions.GetAll()) == 0 && !cl.IsTakenOver() {
		if now, ok := h.b.srv.Clients.Get(cl.ID); ok && now == cl {
			h.b.srv.Clients.Delete(cl.ID)
		}
		expire = true
	}
	if expire {
		h.b.guard.forget(cl)
	}
}

// OnClientExpired comes when a subscriber stayed away too long.
func (h *hook) OnClientExpired(cl *mqtt.Client) { h.b.guard.forget(cl) }

// OnPublish takes every message of a client away from the library, which would
// acknowledge it before it is durable.
func (h *hook) OnPublish(cl *mqtt.Client, pk packets.Packet) (packets.Packet, error) {
	if cl.Net.Inline {
		return pk, nil // our own, or one passed on after it became durable
	}
	v, ok := h.b.conns.Load(cl)
	if !ok {
		return pk, packets.ErrRejectPacket
	}
	c := v.(*conn)
	if pk.FixedHeader.Qos == 2 && cl.State.Inflight.Len() > maxUnreleased {
		cl.Stop(errUnreleased)
		return pk, packets.ErrRejectPacket
	}
	m := Message{Topic: pk.TopicName, Payload: pk.Payload, Retained: pk.FixedHeader.Retain,
		QoS: pk.FixedHeader.Qos, Arrived: h.b.opts.Now().UTC(), Redelivered: pk.FixedHeader.Dup, Packet: pk.PacketID}
	if size, yes := mqttframe.TooLarge(pk.Payload); yes {
		m.Payload, m.TooLarge, pk.Payload = nil, size, nil
		pk.FixedHeader.Retain = false
		h.b.stats.tooLarge.Add(1)
	}
	if !c.take(pk, m) {
		if h.b.draining.Load() {
			cl.Stop(errStopping)
		}
	}
	return pk, packets.ErrRejectPacket
}

// OnPublishDropped counts what a slow subscriber missed; readings are stored by then.
func (h *hook) OnPublishDropped(*mqtt.Client, packets.Packet) { h.b.stats.missed.Add(1) }

type counters struct {
	received, accepted, notDurable, tooLarge, missed, badLogins atomic.Int64

	logMu            sync.Mutex
	logSince         time.Time
	logged, unlogged int
}

// Stats are running totals since the start, and the clients connected now.
type Stats struct {
	Clients      int64
	Received     int64 // messages handed to the handler
	Accepted     int64 // durable or rejected for good, so acknowledged
	NotDurable   int64 // could not be stored; not acknowledged
	TooLarge     int64 // payloads discarded unread
	MissedBySlow int64 // messages a slow subscriber did not get
	FailedLogins int64
}

// Stats reads the totals.
func (b *Broker) Stats() Stats {
	s := Stats{Received: b.stats.received.Load(), Accepted: b.stats.accepted.Load(), NotDurable: b.stats.notDurable.Load(),
		TooLarge: b.stats.tooLarge.Load(), MissedBySlow: b.stats.missed.Load(), FailedLogins: b.stats.badLogins.Load()}
	if b.srv != nil {
		s.Clients = atomic.LoadInt64(&b.srv.Info.ClientsConnected)
	}
	return s
}
