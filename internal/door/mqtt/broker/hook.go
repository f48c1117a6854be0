package broker

import (
	"errors"
	"sync/atomic"

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
	case mqtt.OnConnect, mqtt.OnConnectAuthenticate, mqtt.OnACLCheck, mqtt.OnSessionEstablished, mqtt.OnDisconnect,
		mqtt.OnPacketRead, mqtt.OnPacketProcessed, mqtt.OnSubscribe, mqtt.OnPublish, mqtt.OnWill, mqtt.OnClientExpired:
		return true
	}
	return false
}

// OnSessionEstablished comes just before the first packet is read.
func (h *hook) OnSessionEstablished(cl *mqtt.Client, pk packets.Packet) {
	h.b.conns.Store(cl, h.b.newConn(cl))
	h.b.post.connected(cl, h.b.guard.of(cl), pk.Connect.Clean)
}

// OnDisconnect comes after the last packet was handled.
func (h *hook) OnDisconnect(cl *mqtt.Client, _ error, expire bool) {
	if c, ok := h.b.conns.LoadAndDelete(cl); ok {
		close(c.(*conn).queue)
	}
	// A pure publisher has no session worth keeping; kept ones cost memory.
	expire = expire || cl.State.Subscriptions.Len() == 0
	if !h.b.post.left(cl, expire) && !cl.IsTakenOver() {
		h.b.endSession(cl)
	}
}

// OnClientExpired comes when a subscriber stayed away too long. The library
// forgets the client, but not what it had subscribed to.
func (h *hook) OnClientExpired(cl *mqtt.Client) {
	h.b.post.expired(cl)
	h.b.endSession(cl)
}

// endSession forgets a client that will not be known again.
func (b *Broker) endSession(cl *mqtt.Client) {
	b.srv.UnsubscribeClient(cl)
	if now, ok := b.srv.Clients.Get(cl.ID); ok && now == cl {
		b.srv.Clients.Delete(cl.ID)
	}
	b.guard.forget(cl)
}

// OnPacketRead takes acknowledgements of what we wrote away from the library,
// which knows of none; its list is of what it received, by the same numbers.
func (h *hook) OnPacketRead(cl *mqtt.Client, pk packets.Packet) (packets.Packet, error) {
	if pk.FixedHeader.Type == packets.Puback {
		h.b.post.acknowledged(cl, pk.PacketID)
		pk.PacketID = 0
	}
	return pk, nil
}

// OnSubscribe notes who asked for retained messages with new subscriptions only.
func (h *hook) OnSubscribe(cl *mqtt.Client, pk packets.Packet) packets.Packet {
	for i, sub := range pk.Filters {
		if _, had := cl.State.Subscriptions.Get(sub.Filter); had && sub.RetainHandling == 1 {
			pk.Filters[i].RetainHandling = 2
		}
	}
	return pk
}

// OnPacketProcessed hands out retained messages after a SUBACK.
func (h *hook) OnPacketProcessed(cl *mqtt.Client, pk packets.Packet, err error) {
	if pk.FixedHeader.Type == packets.Subscribe && err == nil {
		h.b.post.subscribed(cl, pk.Filters)
	}
}

// OnPublish takes every message of a client away from the library, which would
// acknowledge it before it is durable.
func (h *hook) OnPublish(cl *mqtt.Client, pk packets.Packet) (packets.Packet, error) {
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
		QoS: pk.FixedHeader.Qos, Arrived: h.b.opts.Now().UTC(), Redelivered: pk.FixedHeader.Dup, Packet: pk.PacketID,
		User: string(cl.Properties.Username)}
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

type counters struct{ received, accepted, notDurable, tooLarge, badLogins atomic.Int64 }

// Stats are running totals since the start, and the clients connected now.
type Stats struct {
	Clients      int64
	Received     int64 // messages handed to the handler
	Accepted     int64 // durable or rejected for good, so acknowledged
	NotDurable   int64 // could not be stored; not acknowledged
	TooLarge     int64 // payloads discarded unread
	FailedLogins int64
	Missed       int64 // messages that a subscriber did not get: it read too slowly or was away
	Cut          int64 // subscribers cut, or forgotten while away, because too much waited
	Waiting      int64 // bytes that wait for subscribers now
}

// Stats reads the totals.
func (b *Broker) Stats() Stats {
	s := Stats{Received: b.stats.received.Load(), Accepted: b.stats.accepted.Load(), NotDurable: b.stats.notDurable.Load(),
		TooLarge: b.stats.tooLarge.Load(), FailedLogins: b.stats.badLogins.Load()}
	b.post.mu.Lock()
	s.Missed, s.Cut, s.Waiting = b.post.missed, b.post.cuts, b.post.bytes
	b.post.mu.Unlock()
	if b.srv != nil {
		s.Clients = atomic.LoadInt64(&b.srv.Info.ClientsConnected)
	}
	return s
}
