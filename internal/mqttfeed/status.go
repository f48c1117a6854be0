package mqttfeed

import (
	"log/slog"
	"slices"
	"sync"
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

	LastMessage time.Time
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

// Trouble says in plain words why the feed is not ready; empty when it is.
func (s Status) Trouble() string {
	switch {
	case s.Ready():
		return ""
	case s.Error != "":
		return s.Error
	case s.StoreError != "":
		return "readings cannot be stored: " + s.StoreError
	}
	return "not connected"
}

// state guards the status and sees to it that each trouble is logged once.
type state struct {
	mu     sync.Mutex
	status Status
	logged string
}

// Status tells how the feed is doing now.
func (f *Feed) Status() Status {
	f.state.mu.Lock()
	defer f.state.mu.Unlock()
	s := f.state.status
	s.Broker = f.server.Host
	s.Refused = slices.Clone(s.Refused)
	return s
}

func (s *state) add(change func(*Status)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	change(&s.status)
}

func (s *state) received(at time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.status.Received++
	s.status.LastMessage = at
}

// say sets what is wrong; the same trouble again is no news.
func (s *state) say(log *slog.Logger, trouble string) {
	s.mu.Lock()
	s.status.Error = trouble
	news := trouble != "" && s.logged != trouble
	s.logged = trouble
	s.mu.Unlock()
	if news {
		log.Warn("MQTT broker: " + trouble)
	}
}

func (s *state) connection(up bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if up {
		s.status.Connections++
	}
	if s.status.Connected != up {
		s.status.Connected, s.status.Since = up, time.Now()
	}
}

func (s *state) notStored(log *slog.Logger, err error) {
	s.mu.Lock()
	s.status.NotDurable++
	news := s.status.StoreError == ""
	s.status.StoreError = err.Error()
	s.mu.Unlock()
	if news {
		log.Error("readings cannot be stored; they are not acknowledged and are tried again", "error", err)
	}
}

func (s *state) stored(log *slog.Logger) {
	s.mu.Lock()
	news := s.status.StoreError != ""
	s.status.StoreError = ""
	s.mu.Unlock()
	if news {
		log.Info("readings can be stored again")
	}
}
