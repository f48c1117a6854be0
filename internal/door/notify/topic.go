package notify

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"sync"
	"time"

	"dewcase/internal/reason/alert"
)

// TopicPrefix begins every topic of ours. It is not the loggers' prefix, so that
// what we say never comes back as a reading.
const TopicPrefix = "dewcase-state/"

// Topic publishes each case's state, retained, for home automation.
type Topic struct {
	publish func(topic string, payload []byte, retained bool) error

	mu   sync.Mutex
	last map[string]published
}

// published is what was last said of a case, and when.
type published struct {
	said string
	at   time.Time
}

// sayAgain is how long a broker is trusted to hold a retained message: one that
// was restarted may have lost it.
const sayAgain = 30 * time.Minute

// NewTopic publishes by the function given.
func NewTopic(publish func(topic string, payload []byte, retained bool) error) *Topic {
	return &Topic{publish: publish, last: map[string]published{}}
}

// CaseState is what a case's topic says.
type CaseState struct {
	Case     string       `json:"case"`
	Wet      *bool        `json:"wet"` // water forms somewhere now; null where nothing is known
	Sentence string       `json:"sentence"`
	Tonight  *float64     `json:"chance_tonight"` // 0..1, null where not known
	Alerts   []TopicAlert `json:"alerts"`
	Evidence *time.Time   `json:"evidence"` // newest reading behind it
	// Places are the positions' figures now, where they are announced.
	Places map[string]PlaceNow `json:"places,omitempty"`
}

// PlaceNow are the figures of one position by name: margin_k of a surface,
// dew_point_c of air; nil is not observed.
type PlaceNow map[string]*float64

// TopicAlert is one alert in force.
type TopicAlert struct {
	ID        string    `json:"id"`
	Condition string    `json:"condition"`
	Position  string    `json:"position"`
	State     string    `json:"state"`
	Since     time.Time `json:"since"`
}

// known is how old what is known of a surface may be to speak of now.
const known = 6 * time.Hour

// StateOf is a case's state from its book.
func StateOf(caseID, sentence string, b *alert.Book, chance *float64, now time.Time) CaseState {
	s := CaseState{Case: caseID, Sentence: sentence, Alerts: []TopicAlert{}}
	if chance != nil { // in whole per cent: it moves a little with every reading
		p := math.Round(*chance*100) / 100
		s.Tonight = &p
	}
	for _, a := range b.Alerts {
		if a.Condition == alert.SurfaceWet && now.Sub(a.At) <= known {
			wet := a.Open() || s.Wet != nil && *s.Wet
			s.Wet = &wet
		}
		if !a.Open() {
			continue
		}
		s.Alerts = append(s.Alerts, TopicAlert{a.ID, string(a.Condition), a.Position, string(a.State), a.Since.UTC()})
		if s.Evidence == nil || a.At.After(*s.Evidence) {
			at := a.At.UTC()
			s.Evidence = &at
		}
	}
	return s
}

// Say publishes a case's state where it differs from what was published last.
// The evidence's time alone is no difference: the topic changes when something
// happened. A failure is tried again at the next call, and half an hour later the
// same is said once more.
func (t *Topic) Say(_ context.Context, s CaseState, now time.Time) error {
	plain := s
	plain.Evidence = nil
	sum, err := json.Marshal(plain)
	if err != nil {
		return fmt.Errorf("writing the state of case %s: %w", s.Case, err)
	}
	t.mu.Lock()
	before := t.last[s.Case]
	same := before.said == string(sum) && now.Sub(before.at) < sayAgain
	t.mu.Unlock()
	if same {
		return nil
	}
	body, err := json.Marshal(s)
	if err != nil {
		return fmt.Errorf("writing the state of case %s: %w", s.Case, err)
	}
	if err := t.publish(TopicPrefix+s.Case, body, true); err != nil {
		return fmt.Errorf("publishing the state of case %s: %w", s.Case, err)
	}
	t.mu.Lock()
	t.last[s.Case] = published{string(sum), now}
	t.mu.Unlock()
	return nil
}
