package payload

import (
	"slices"

	"dewcase/internal/roof"
)

// notMapped says that no mapping took a message.
const notMapped = -1

// Became is what a message became.
type Became struct {
	Message  Message
	Case     string
	Readings []roof.Reading
	Rejects  []roof.Reject
	Mapping  int // the mapping that took it, counted from 0; -1 where none did, as of a native message
	Untaken  []Untaken
}

// Become says what messages would become under mappings and no others, in their
// order, as halves of a reading that come apart are joined. Nothing is stored. An
// error names every mapping that is wrong.
func Become(mappings []Mapping, messages []Message, options ...Option) ([]Became, error) {
	d, err := New(mappings, options...)
	if err != nil {
		return nil, err
	}
	out := make([]Became, len(messages))
	for i, m := range messages {
		one := d.decodeOne(m, true)
		out[i] = Became{m, one.caseID, one.readings, one.rejects, one.by, nil}
		for _, l := range one.left {
			out[i].Untaken = append(out[i].Untaken, Untaken{Topic: m.Topic, Case: one.caseID, Pointer: l.pointer,
				Quantity: l.quantity, Example: printable(l.text, 60), Count: 1, First: one.Arrived, Last: one.Arrived})
		}
	}
	return out, nil
}

// Place is where a mapping stands, for a person.
type Place struct {
	House  string // with which it is kept; "" in the configuration
	Number int    // among those of the house, or of the configuration, from 1
	Topic  string
}

// PlaceOf is the place of a mapping among those of the configuration, of which there
// are some, and of the houses behind them.
func PlaceOf(all []Mapping, ofConfiguration, i int) Place {
	if i < ofConfiguration {
		return Place{Number: i + 1, Topic: all[i].Topic}
	}
	p := Place{House: all[i].Case, Topic: all[i].Topic}
	for _, m := range all[ofConfiguration : i+1] {
		if m.Case == p.House {
			p.Number++
		}
	}
	return p
}

// Shadow is a mapping that another, which stands before it, leaves nothing or
// only what that one cannot use.
type Shadow struct {
	Mapping, By Place
	Whole       bool // it gets no message at all; else those in which the other finds no value
}

// Shadows lists the mappings in force that an earlier one shadows: on every topic
// of theirs the earlier is tried first, without a condition that it could fail.
func (d *Decoder) Shadows() []Shadow {
	d.changing.Lock()
	all, n := *d.mappings.Load(), len(d.sets[OfConfiguration])
	d.changing.Unlock()
	return shadows(all, n)
}

// Shadows lists which of these mappings an earlier one shadows; so many are of the
// configuration, the others of houses. Mappings that are wrong shadow nothing.
func Shadows(mappings []Mapping, ofConfiguration int) []Shadow {
	all, err := compileAll(mappings)
	if err != nil {
		return nil
	}
	return shadows(all, ofConfiguration)
}

func shadows(all []*mapping, ofConfiguration int) (out []Shadow) {
	plain := make([]Mapping, len(all))
	for i, m := range all {
		plain[i] = m.Mapping
	}
	for i, m := range all {
		for j, by := range all[:i] {
			if !by.shadows(m) {
				continue
			}
			out = append(out, Shadow{PlaceOf(plain, ofConfiguration, i), PlaceOf(plain, ofConfiguration, j), !by.form.pointers})
			break
		}
	}
	return out
}

// shadows reports whether a mapping before another takes what the other could.
func (m *mapping) shadows(other *mapping) bool {
	if !m.template.covers(other.template) || m.OnlyListed ||
		!subset(m.Where, other.Where) || !subset(m.Present, other.Present) {
		return false
	}
	if !m.segments {
		return true
	}
	// It takes the quantities of its own segments only.
	return other.segments && subset(segmentsOf(other.Mapping), segmentsOf(m.Mapping))
}

// subset reports whether all of a are among b.
func subset[T comparable](a, b []T) bool {
	return !slices.ContainsFunc(a, func(x T) bool { return !slices.Contains(b, x) })
}
