package mqttfeed

import (
	"context"
	"encoding/binary"
	"errors"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"

	"dewcase/internal/door/mqtt/mqttframe"
)

const (
	messageOverhead = 512 // bytes reckoned for a message beside topic and payload
	perBatch        = 512 // messages handed over together
	pubackByte      = packets.Puback << 4
)

var errNoResult = errors.New("the handler gave no result")

// item is a message from its arrival to its acknowledgement.
type item struct {
	Message
	id      uint16
	from    *link // acknowledgements go where the message came from
	weight  int64
	durable bool
}

// arrive is called by the library for one message after the other and must not
// hold it up for long: it could not answer the broker's pings.
func (f *Feed) arrive(_ paho.Client, m paho.Message) {
	if f.stopping.Load() || f.full.Load() {
		f.leave(m) // not acknowledged, so the broker sends it again
		return
	}
	now := time.Now().UTC()
	f.state.received.Add(1)
	it := &item{Message: Message{Topic: m.Topic(), Payload: m.Payload(), Retained: m.Retained(), QoS: m.Qos(),
		Arrived:     now,
		Redelivered: m.Duplicate(), Packet: m.MessageID()},
		id: m.MessageID(), from: f.link.Load()}
	if f.opts.Own(it.Topic) {
		f.state.accepted.Add(1)
		it.from.acknowledge(appendAck(nil, it))
		return
	}
	if size, yes := mqttframe.TooLarge(it.Payload); yes {
		it.Payload, it.TooLarge = nil, size
		f.state.tooLarge.Add(1)
	}
	it.weight = min(int64(len(it.Topic)+len(it.Payload)+messageOverhead), f.opts.MaxPendingBytes)
	if !f.place(it) {
		if f.base.Err() == nil && f.full.CompareAndSwap(false, true) {
			f.log.Warn("the store does not keep up: leaving the broker until there is room; the broker keeps the readings")
			f.drop(errFull)
		}
		f.leave(m)
	}
}

// leave counts what is lost for good: quality of service 0 never comes again.
func (f *Feed) leave(m paho.Message) {
	if m.Qos() == 0 {
		f.state.lostQoS0.Add(1)
	}
}

// place queues a message, waiting a little for room.
func (f *Feed) place(it *item) bool {
	f.state.unacked.Add(1)
	if f.budget.TryAcquire(it.weight) {
		select {
		case f.queue <- it:
			return true
		default:
			f.budget.Release(it.weight)
		}
	}
	ctx, cancel := context.WithTimeout(f.base, f.pause.full)
	defer cancel()
	if f.budget.Acquire(ctx, it.weight) == nil {
		select {
		case f.queue <- it:
			return true
		case <-ctx.Done():
			f.budget.Release(it.weight)
		}
	}
	f.state.unacked.Add(-1)
	return false
}

// work hands over what waits and acknowledges it, until the feed ends.
func (f *Feed) work() {
	group := make([]*item, 0, perBatch)
	for {
		select {
		case <-f.base.Done():
			return
		case it := <-f.queue:
			group = append(group[:0], it)
		}
		for len(group) < perBatch && len(f.queue) > 0 {
			group = append(group, <-f.queue) // only this goroutine takes from the queue
		}
		if !f.untilDurable(group) {
			return
		}
		clear(group)
	}
}

// untilDurable offers messages to the handler, again as long as they are not
// durable: on a healthy connection the broker would not. They are acknowledged
// in their order (MQTT 3.1.1, 4.6.0-2).
func (f *Feed) untilDurable(group []*item) bool {
	wait := f.pause.retry
	for {
		var offered []*item
		var messages []Message
		for _, it := range group {
			if !it.durable {
				offered = append(offered, it)
				messages = append(messages, it.Message)
			}
		}
		results := f.opts.Batch(f.base, messages)
		var failed error
		for i, it := range offered {
			err := errNoResult
			if i < len(results) {
				err = results[i]
			}
			if err == nil {
				it.durable = true
				continue
			}
			f.state.notDurable.Add(1)
			failed = err
		}
		group = f.acknowledge(group)
		if len(group) == 0 {
			f.state.stored(f.log)
			return true
		}
		if f.base.Err() != nil {
			return false
		}
		f.state.notStored(f.log, failed)
		if !f.sleep(jitter(wait)) {
			return false
		}
		wait = min(2*wait, 30*f.pause.retry)
	}
}

// acknowledge tells the broker of the durable messages at the front and returns
// the others. An acknowledgement for a connection that has ended goes nowhere:
// the broker sends the message again, and the store knows it already.
func (f *Feed) acknowledge(group []*item) []*item {
	acks := make([]byte, 0, 4*len(group))
	var to *link
	n := 0
	for ; n < len(group) && group[n].durable; n++ {
		it := group[n]
		if it.from != to {
			to.acknowledge(acks)
			acks, to = acks[:0], it.from
		}
		acks = appendAck(acks, it)
		f.budget.Release(it.weight)
	}
	to.acknowledge(acks)
	f.state.unacked.Add(int64(-n))
	f.state.accepted.Add(int64(n))
	offer(f.room, struct{}{})
	return group[n:]
}

// appendAck adds a message's PUBACK (MQTT 3.1.1, 3.4).
func appendAck(acks []byte, it *item) []byte {
	if it.QoS == 0 {
		return acks
	}
	return binary.BigEndian.AppendUint16(append(acks, pubackByte, 2), it.id)
}

// outgoing keeps our own messages until the broker has them. What comes in is
// kept by the broker and needs no second place here.
type outgoing struct{ paho.Store }

// Put implements paho.Store; keys of incoming messages begin with "i.".
func (o outgoing) Put(key string, message packets.ControlPacket) {
	if len(key) > 0 && key[0] == 'o' {
		o.Store.Put(key, message)
	}
}
