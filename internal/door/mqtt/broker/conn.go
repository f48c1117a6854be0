package broker

import (
	"encoding/binary"
	"errors"
	"sync/atomic"
	"time"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// Acknowledgement packets without a reason or properties are the same four bytes
// in MQTT 3.1.1 and 5 (3.4 and 3.5 of either).
const (
	pubackByte = packets.Puback << 4
	pubrecByte = packets.Pubrec << 4
)

var errNoResult = errors.New("the handler gave no result")

// conn acknowledges one client's messages in the order they came in (MQTT 3.1.1,
// 4.6.0-2), each after it is durable.
type conn struct {
	b      *Broker
	cl     *mqtt.Client
	queue  chan *waiting
	failed atomic.Bool
}

// waiting is a message that was taken and the client has no word about yet. A
// packet has over a kilobyte of fields for every use of MQTT: room for all that may
// wait would be two megabytes of every connection.
type waiting struct {
	message Message
	pk      packets.Packet
	weight  int64
}

func (b *Broker) newConn(cl *mqtt.Client) *conn {
	c := &conn{b: b, cl: cl, queue: make(chan *waiting, perConnection)}
	go c.work()
	return c
}

// take puts a message in line; it blocks while the budget or the
// connection's own share of messages under way is used up. It reports false when
// the broker is stopping and the message was not taken.
func (c *conn) take(pk packets.Packet, m Message) bool {
	if c.failed.Load() {
		return false // its acknowledgement could only come out of order
	}
	weight := min(int64(len(m.Payload)+len(m.Topic)+messageOverhead), c.b.opts.MaxPendingBytes)
	if err := c.b.budget.Acquire(c.b.base, weight); err != nil {
		return false
	}
	c.b.drainMu.RLock()
	if c.b.draining.Load() {
		c.b.drainMu.RUnlock()
		c.b.budget.Release(weight)
		return false
	}
	c.b.pending.Add(1)
	c.b.drainMu.RUnlock()
	c.b.stats.received.Add(1)
	c.queue <- &waiting{message: m, pk: pk, weight: weight}
	return true
}

// work hands over what waits and acknowledges it, until the connection has ended
// and all its messages have their result.
func (c *conn) work() {
	var (
		group    []*waiting
		messages []Message
		acks     []byte
	)
	for w := range c.queue {
		group = append(group[:0], w)
		for len(group) < perBatch && len(c.queue) > 0 {
			group = append(group, <-c.queue) // only this goroutine takes from the queue
		}
		messages = messages[:0]
		for _, w := range group {
			messages = append(messages, w.message)
		}
		results := c.b.opts.Batch(c.b.base, messages)
		for i, w := range group {
			c.b.budget.Release(w.weight)
			if err := resultOf(results, i); err != nil {
				acks = c.send(acks)
				c.fail(err)
				continue
			}
			acks = c.accept(acks, &w.pk)
		}
		acks = c.send(acks)
		for i, w := range group { // after the publisher has its word
			if resultOf(results, i) == nil && w.message.TooLarge == 0 {
				c.b.passOn(c.cl, w.pk)
			}
		}
		c.b.pending.Add(-len(group))
		clear(group)
		clear(messages) // payloads must not be kept alive by an idle connection
		if len(group) > idleBatch && len(c.queue) == 0 {
			group, messages, acks = nil, nil, nil
		}
	}
}

// resultOf treats a missing result as what it is: no word of durability.
func resultOf(results []error, i int) error {
	if i >= len(results) {
		return errNoResult
	}
	return results[i]
}

// accept adds a durable message's acknowledgement to those that go out next.
func (c *conn) accept(acks []byte, pk *packets.Packet) []byte {
	if !c.failed.Load() {
		switch pk.FixedHeader.Qos {
		case 1:
			acks = append(acks, pubackByte, 2)
			acks = binary.BigEndian.AppendUint16(acks, pk.PacketID)
		case 2:
			// The library answers the PUBREL that follows if it knows the PUBREC.
			ack := packets.Packet{FixedHeader: packets.FixedHeader{Type: packets.Pubrec}, PacketID: pk.PacketID,
				Created: pk.Created, Expiry: pk.Created + retainedLifetime}
			if c.cl.State.Inflight.Set(ack) {
				atomic.AddInt64(&c.b.srv.Info.Inflight, 1)
			}
			acks = append(acks, pubrecByte, 2)
			acks = binary.BigEndian.AppendUint16(acks, pk.PacketID)
		}
		c.b.stats.accepted.Add(1)
	}
	return acks
}

// send writes acknowledgements in one go. The client's own lock keeps them from
// falling into the middle of another packet.
func (c *conn) send(acks []byte) []byte {
	if len(acks) == 0 || c.failed.Load() {
		return acks[:0]
	}
	c.cl.Lock()
	_, err := c.cl.Net.Conn.Write(acks)
	c.cl.Unlock()
	if err != nil {
		c.cl.Stop(err) // durable all the same; the logger sends them again and they count once
		c.failed.Store(true)
	}
	return acks[:0]
}

// fail ends the connection: a message that is not durable must not be
// acknowledged, and the logger sends it again only on a new connection.
func (c *conn) fail(err error) {
	c.b.stats.notDurable.Add(1)
	if c.failed.CompareAndSwap(false, true) {
		c.b.warnings.Warn("closing an MQTT connection: its message could not be stored and will come again",
			"client", short(c.cl.ID), "error", err)
		c.cl.Stop(err)
	}
}

// passOn gives a client's message, or its will, to the subscribers.
func (b *Broker) passOn(cl *mqtt.Client, pk packets.Packet) {
	size := max(pk.FixedHeader.Remaining, len(pk.TopicName)+len(pk.Payload)) // properties count
	if size > maxForwardBytes+maxTopicBytes || !modestTopic(pk.TopicName) {
		return
	}
	m := &outgoing{topic: pk.TopicName, payload: pk.Payload, qos: pk.FixedHeader.Qos, retain: pk.FixedHeader.Retain,
		origin: cl.ID, created: time.Now().Unix(), props: pk.Properties.Copy(false),
		weight: int64(size + messageOverhead)}
	if e := pk.Properties.MessageExpiryInterval; e > 0 {
		m.expiry = m.created + int64(e)
	}
	b.post.publish(m)
}
