package mqttframe

import (
	"context"
	"sync"

	"dewcase/internal/flow/payload"
)

// Message is what the write path takes in, whichever door it came through.
type Message = payload.Message

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
