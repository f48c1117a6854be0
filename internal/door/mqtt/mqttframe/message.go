package mqttframe

import (
	"context"
	"sync"
	"time"
)

// Message is one PUBLISH as it arrived, at the daemon's own broker or from an
// outside one.
type Message struct {
	Topic   string
	Payload []byte
	// Retained is, from an outside broker, that it was kept there from earlier, so
	// that its age is unknown; at our own it is the publisher's own retain bit.
	Retained bool
	QoS      byte
	Arrived  time.Time
	// Redelivered is MQTT's DUP: it was sent before and not acknowledged. Packet
	// is the identifier under which it is sent each time, 0 at QoS 0.
	Redelivered bool
	Packet      uint16
	// TooLarge is the size of a payload over the limit, which was discarded
	// unread (Payload is then empty); 0 when the payload is whole.
	TooLarge int64
}

// Batch makes messages durable or rejects them for good, in their order, and
// says so for each: nil is acknowledged; an error is not, and the message is
// offered again, by whoever keeps it, until it is durable. It may block for
// back-pressure and should return when ctx ends.
type Batch func(ctx context.Context, messages []Message) []error

// Handler is a Batch for one message. Many run at the same time, so messages
// that come close together can overtake each other; where the order matters use
// Batch.
type Handler func(ctx context.Context, m Message) error

// Together runs the handler for all messages of a batch at once.
func (h Handler) Together(ctx context.Context, messages []Message) []error {
	results := make([]error, len(messages))
	var all sync.WaitGroup
	for i := range messages {
		all.Go(func() { results[i] = h(ctx, messages[i]) })
	}
	all.Wait()
	return results
}
