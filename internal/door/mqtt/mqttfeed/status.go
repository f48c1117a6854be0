package mqttfeed

import (
	"log/slog"
	"slices"
	"sync"
	"sync/atomic"
	"time"
)

// Status is how the feed is doing: for readiness, metrics and a page.
type Status struct {
	Broker    string
	Connected bool
	Since     time.Time // of the connection, or of its loss
	Error     string    // in plain words, what is wrong with the connection and what to do; empty when all is well
	Refused   []string  // subscriptions the broker refuses
	// StoreError is why messages are not becoming durable at the moment.
	StoreError string

	Connections int64 // made since the start
	Received    int64 // messages that arrived, repeats included
	Accepted    int64 // durable or rejected for good, so acknowledged
	NotDurable  int64 // attempts to store that failed
	TooLarge    int64 // payloads discarded unread
	LostQoS0    int64 // sent without the wish to be kept, while there was no room
	Unacked     int64 // in the handler now
}

// Ready reports that readings can arrive and be kept.
func (s Status) Ready() bool { return s.Connected && len(s.Refused) == 0 && s.StoreError == "" }

// state is what Status is made of; it sees to it that each trouble is logged once.
type state struct {
	received, accepted, notDurable, tooLarge, lostQoS0, unacked atomic.Int64

	mu          sync.Mutex
	connected   bool
	since       time.Time
	connections int64
	trouble     string
	logged      string
	refused     []string
	storeError  string
	failing     atomic.Bool // mirrors storeError for the quick path
}

// Status tells how the feed is doing now.
func (f *Feed) Status() Status {
	s := &f.state
	s.mu.Lock()
	defer s.mu.Unlock()
	return Status{Broker: f.server.Host, Connected: s.connected, Since: s.since, Error: s.trouble,
		Refused:    slices.Clone(s.refused),
		StoreError: s.storeError, Connections: s.connections, Received: s.received.Load(), Accepted: s.accepted.Load(),
		NotDurable: s.notDurable.Load(), TooLarge: s.tooLarge.Load(), LostQoS0: s.lostQoS0.Load(), Unacked: s.unacked.Load()}
}

// say sets what is wrong; the same trouble again is no news.
func (s *state) say(log *slog.Logger, trouble string) {
	s.mu.Lock()
	s.trouble = trouble
	news := trouble != "" && s.logged != trouble
	s.logged = trouble
	s.mu.Unlock()
	if news {
		log.Warn("MQTT broker: " + trouble)
	}
}

func (s *state) refuses(topics []string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.refused = topics
}

func (s *state) connection(up bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if up {
		s.connections++
	}
	if s.connected != up {
		s.connected, s.since = up, time.Now()
	}
}

func (s *state) notStored(log *slog.Logger, err error) {
	s.mu.Lock()
	news := s.storeError == ""
	s.storeError = err.Error()
	s.failing.Store(true)
	s.mu.Unlock()
	if news {
		log.Error("readings cannot be stored; they are not acknowledged and are tried again", "error", err)
	}
}

func (s *state) stored(log *slog.Logger) {
	if !s.failing.Load() {
		return
	}
	s.mu.Lock()
	s.storeError = ""
	s.failing.Store(false)
	s.mu.Unlock()
	log.Info("readings can be stored again")
}
