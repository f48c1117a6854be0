package mqttfeed

import (
	"context"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"dewcase/internal/mqttframe"
)

// messageOverhead is reckoned for a message beside topic and payload.
const messageOverhead = 512

// item is a message from its arrival to its acknowledgement.
type item struct {
	Message
	ack    func()
	done   <-chan error
	weight int64
}

// arrive is called by the library for one message after the other and must not
// hold it up for long: it could not answer the broker's pings.
func (f *Feed) arrive(_ paho.Client, m paho.Message) {
	if f.stopping.Load() || f.full.Load() {
		f.leave(m) // not acknowledged, so the broker sends it again
		return
	}
	f.state.received(time.Now())
	if f.opts.Own(m.Topic()) {
		m.Ack()
		f.state.add(func(s *Status) { s.Accepted++ })
		return
	}
	it := &item{Message: Message{Topic: m.Topic(), Payload: m.Payload(), Retained: m.Retained(), QoS: m.Qos(), Arrived: time.Now().UTC()}, ack: m.Ack}
	if size, yes := mqttframe.TooLarge(it.Payload); yes {
		it.Payload, it.TooLarge = nil, size
		f.state.add(func(s *Status) { s.TooLarge++ })
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
		f.state.add(func(s *Status) { s.LostQoS0++ })
	}
}

// place queues a message, waiting a little for room.
func (f *Feed) place(it *item) bool {
	f.state.add(func(s *Status) { s.Unacked++ })
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
	f.state.add(func(s *Status) { s.Unacked-- })
	return false
}

// admitAll hands messages to the handler in their order.
func (f *Feed) admitAll() {
	defer close(f.admits)
	for {
		select {
		case <-f.base.Done():
			return
		case it := <-f.queue:
			it.done = f.opts.Admit(f.base, it.Message)
			select {
			case f.admits <- it:
			case <-f.base.Done():
				return
			}
		}
	}
}

// acknowledgeAll acknowledges messages in their order, each after it is durable.
func (f *Feed) acknowledgeAll() {
	for it := range f.admits {
		if !f.untilDurable(it) {
			return
		}
		// After a reconnect the library drops this acknowledgement; the broker
		// sends the message again, and the store knows it already.
		it.ack()
		f.budget.Release(it.weight)
		f.state.add(func(s *Status) { s.Unacked--; s.Accepted++ })
		select {
		case f.room <- struct{}{}:
		default:
		}
	}
}

// untilDurable waits for a message's result and offers the message again as long
// as it is not durable: on a healthy connection the broker would not.
func (f *Feed) untilDurable(it *item) bool {
	wait := f.pause.retry
	for {
		var err error
		select {
		case err = <-it.done:
		case <-f.base.Done():
			return false
		}
		if err == nil {
			f.state.stored(f.log)
			return true
		}
		if f.base.Err() != nil {
			return false
		}
		f.state.notStored(f.log, err)
		if !f.sleep(jitter(wait)) {
			return false
		}
		wait = min(2*wait, 30*f.pause.retry)
		it.done = f.opts.Admit(f.base, it.Message)
	}
}
