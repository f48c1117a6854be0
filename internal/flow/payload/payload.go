// Package payload decodes a topic and its payload into readings as received,
// or into rejects that say what was wrong. It never guesses a unit or invents
// a value.
package payload

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"
	"unicode/utf8"

	"dewcase/internal/roof"
)

// Message is one PUBLISH as it arrived, at the daemon's own broker or from an
// outside one: the same value from the socket to here.
type Message struct {
	Topic   string
	Payload []byte
	// Retained says of a message from an outside broker that it was kept there
	// from before, so that its age is unknown; at our own broker it is the
	// publisher's own retain bit.
	Retained bool
	QoS      byte
	Arrived  time.Time
	// Redelivered says that it was sent before and not acknowledged (MQTT's DUP),
	// so that it may have been taken already; Packet is its packet identifier,
	// which stays the same when it comes again, and 0 at quality of service 0.
	Redelivered bool
	Packet      uint16
	// User is who sent it to our own broker, "" where nobody had to say.
	User string
	// TooLarge is the size of a payload over the limit, which was discarded
	// unread (Payload is then empty); 0 when the payload is whole.
	TooLarge int64
}

// Prefix is the first level of the native topic dewcase/{case}/{logger}.
const Prefix = "dewcase"

// defaultMaxBytes is the largest payload that is read unless an option says
// otherwise; a week of five-minute readings caught up in one array fits.
const defaultMaxBytes = 1 << 20

// keptBytes is how much of what came a reject carries.
const keptBytes = roof.RejectPayloadBytes

// Decoder decodes messages; it is safe for concurrent use.
type Decoder struct {
	changing sync.Mutex           // held while mappings are exchanged
	sets     [setCount][]*mapping // as they were put last
	mappings atomic.Pointer[[]*mapping]
	maxBytes int
	interval func(caseID, logger string) time.Duration

	mu     sync.Mutex
	pairer Pairer
	heard  map[heardFrame]time.Time // frames by their first arrival

	watching sync.Mutex
	watched  map[string]*watched // by topic
}

// Option sets what is not a mapping.
type Option func(*Decoder)

// MaxBytes sets the largest payload that is read.
func MaxBytes(n int) Option { return func(d *Decoder) { d.maxBytes = n } }

// Intervals tells the decoder each logger's nominal interval, 0 for unknown;
// the window in which bare numbers are paired is never over half of it.
func Intervals(of func(caseID, logger string) time.Duration) Option {
	return func(d *Decoder) { d.interval = of }
}

// Set is one of the sets of mappings that a decoder reads by.
type Set int

// The sets, in the order in which mappings are tried.
const (
	OfConfiguration Set = iota
	OfHouses            // made on the pages and kept with the houses
	setCount
)

// New makes a decoder of native messages and of those that the configuration's
// mappings describe. An error names every mapping that is wrong.
func New(mappings []Mapping, options ...Option) (*Decoder, error) {
	d := &Decoder{maxBytes: defaultMaxBytes}
	for _, o := range options {
		o(d)
	}
	put, err := d.Remap(OfConfiguration, mappings)
	if err != nil {
		return nil, err
	}
	put()
	return d, nil
}

// Afresh is a decoder by the mappings that are in force now, for which no half of a
// reading waits.
func (d *Decoder) Afresh() *Decoder {
	out := &Decoder{maxBytes: d.maxBytes, interval: d.interval}
	out.mappings.Store(d.mappings.Load())
	return out
}

// Remap compiles other mappings of one set; put makes them those in force, all at
// once for every message that is decoded from then on. Halves that wait for their
// other half are kept. An error names every mapping that is wrong.
func (d *Decoder) Remap(set Set, mappings []Mapping) (put func(), err error) {
	compiled, err := compileAll(mappings)
	if err != nil {
		return nil, err
	}
	return func() {
		d.changing.Lock()
		defer d.changing.Unlock()
		d.sets[set] = compiled
		all := slices.Concat(d.sets[:]...)
		d.mappings.Store(&all)
		d.forgetUntaken()
	}, nil
}

func compileAll(mappings []Mapping) (all []*mapping, err error) {
	var wrong []string
	for i, m := range mappings {
		compiled, problems := compile(m)
		for _, p := range problems {
			wrong = append(wrong, fmt.Sprintf("mapping %d (topic %q): %s: %s; %s", i+1, m.Topic, p.key, p.problem, p.remedy))
		}
		all = append(all, compiled)
	}
	if len(wrong) > 0 {
		return nil, fmt.Errorf("%s", strings.Join(wrong, "\n"))
	}
	return all, nil
}

// Filters are the MQTT topic filters to subscribe to.
func (d *Decoder) Filters() []string {
	out := []string{Prefix + "/#"}
	for _, m := range *d.mappings.Load() {
		if f := m.template.filter(); !slices.Contains(out, f) {
			out = append(out, f)
		}
	}
	return out
}

// problem says why something cannot be used.
type problem struct {
	reason roof.Reason
	detail string
}

func wrong(reason roof.Reason, format string, args ...any) *problem {
	return &problem{reason, fmt.Sprintf(format, args...)}
}

// decoding is one message being decoded.
type decoding struct {
	Message
	caseID   string
	logger   string
	base     string       // what the topic or the mapping calls the message's logger
	missed   *roof.Reject // of the first mapping that looked in vain
	absent   []string     // pointers at which a value stands for none
	readings []roof.Reading
	rejects  []roof.Reject
	look     bool            // for what is not taken
	left     []like          // what looks like a quantity and is not taken
	by       int             // the mapping that took the message, counted from 0; notMapped
	joined   map[joinKey]int // index of the last reading joined by the key
}

func (d *decoding) reject(p *problem, what []byte) {
	d.rejects = append(d.rejects, d.rejected(p, what))
}

func (d *decoding) rejected(p *problem, what []byte) roof.Reject {
	return roof.Reject{At: d.Arrived, Case: d.caseID, Logger: d.logger, Source: printable(d.Topic, 300),
		Reason: p.reason, Detail: printable(p.detail, 400), Payload: slices.Clone(what[:min(len(what), keptBytes)]),
		Retained: d.Retained}
}

// Decode returns a message's case and readings, each with its own time or the
// time of arrival and the flags that tell which, and one reject for each
// reading, or for the whole message, that cannot be used. A message that is
// not meant for a reading (a removed retained message, a topic or condition
// that a mapping leaves aside) gives neither.
//
// Package qc does the range checks.
func (d *Decoder) Decode(m Message) (caseID string, readings []roof.Reading, rejects []roof.Reject) {
	one := d.decodeOne(m, d.due(m.Topic, m.Arrived))
	if len(one.left) > 0 {
		d.note(one)
	}
	return one.caseID, one.readings, one.rejects
}

func (d *Decoder) decodeOne(m Message, look bool) *decoding {
	m.Arrived = m.Arrived.UTC().Truncate(time.Millisecond)
	one := &decoding{Message: m, by: notMapped, look: look}
	d.decode(one)
	return one
}

func (d *Decoder) decode(m *decoding) {
	switch {
	case strings.HasPrefix(m.Topic, "$"):
		return // the broker's own
	case !utf8.ValidString(m.Topic) || strings.ContainsRune(m.Topic, 0):
		m.reject(wrong(roof.BadTopic, "the topic is not UTF-8 text"), m.Payload)
		return
	case len(m.Payload) == 0 && m.Retained:
		return // a retained message was removed
	case len(m.Payload) > d.maxBytes:
		m.caseID, m.logger = Named(m.Topic)
		m.reject(wrong(roof.TooLarge, "the payload is %d bytes; at most %d are read, send catch-up readings in smaller "+
			"arrays", len(m.Payload), d.maxBytes), m.Payload)
		return
	}
	levels := strings.Split(m.Topic, "/")
	if levels[0] == Prefix && len(levels) == 3 {
		d.native(m, levels[1], levels[2])
		return
	}
	matched := false
	for i, p := range *d.mappings.Load() {
		c, ok := p.template.match(levels)
		if !ok {
			continue
		}
		matched = true
		if d.mapped(m, p, c) {
			m.by = i
			return
		}
	}
	switch {
	case m.missed != nil:
		m.caseID = m.missed.Case
		m.rejects = append(m.rejects, *m.missed)
	case !matched:
		m.reject(unknownTopic(levels[0]), m.Payload)
	}
}

// miss keeps why a mapping found nothing in a message, which the next may read.
func (d *decoding) miss(p *problem) {
	if d.missed == nil {
		r := d.rejected(p, d.Payload)
		d.missed = &r
	}
}

func unknownTopic(first string) *problem {
	switch first {
	case "spBv1.0":
		return wrong(roof.Unsupported, "Sparkplug B is not read; let the gateway also publish JSON, on %s/{case}/{logger} "+
			"or with a mapping", Prefix)
	case "homie":
		return wrong(roof.Unsupported, "Homie is not read by itself; add a mapping for topic "+
			"homie/5/+/{logger}/{quantity} with form number")
	case Prefix:
		return wrong(roof.BadTopic, "the topic has not the three levels %s/{case}/{logger}", Prefix)
	}
	return wrong(roof.BadTopic, "no mapping has this topic; publish on %s/{case}/{logger} or add a mapping", Prefix)
}

// reading starts a reading of the message.
func (d *decoding) reading() roof.Reading {
	r := roof.Reading{Logger: d.logger, Arrived: d.Arrived}
	if d.Retained {
		r.Flags |= roof.FlagRetained
	}
	return r
}

// timed gives a reading its own time, or the time of arrival with a flag; that
// of a retained message is not known.
func (d *decoding) timed(r roof.Reading, at time.Time, own bool) (roof.Reading, *problem) {
	if own {
		r.At = at.Truncate(time.Millisecond)
		return r, nil
	}
	if d.Retained {
		return r, wrong(roof.RetainedNoTime, "a retained message without a time of its own: how old it is cannot be "+
			"known; send the time, or do not retain")
	}
	r.At = d.Arrived
	r.Flags |= roof.FlagArrivalTime
	return r, nil
}

// printable cuts text that somebody else wrote and takes control characters
// out.
func printable(s string, limit int) string {
	if len(s) > limit {
		s = strings.ToValidUTF8(s[:limit], "") + "..."
	}
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r >= 0x80 && r < 0xa0 || r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069 {
			return '\ufffd'
		}
		return r
	}, strings.ToValidUTF8(s, "\ufffd"))
}
