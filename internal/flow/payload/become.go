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

// Shadow is a mapping that another, which stands before it, leaves nothing or
// only what that one cannot use. Both are counted from 0.
type Shadow struct {
	Mapping, By int
	Topic       string // of the shadowed mapping
	ByTopic     string
	Whole       bool // it gets no message at all; else those in which the other finds no value
}

// Shadows lists the mappings in force that an earlier one shadows: on every topic
// of theirs the earlier is tried first, without a condition that it could fail.
func (d *Decoder) Shadows() []Shadow { return shadows(*d.mappings.Load()) }

// Shadows lists which of these mappings an earlier one shadows; mappings that are
// wrong shadow nothing.
func Shadows(mappings []Mapping) []Shadow {
	all, err := compileAll(mappings)
	if err != nil {
		return nil
	}
	return shadows(all)
}

func shadows(all []*mapping) (out []Shadow) {
	for i, m := range all {
		for j, by := range all[:i] {
			if !by.shadows(m) {
				continue
			}
			out = append(out, Shadow{i, j, m.Topic, by.Topic, !by.form.pointers})
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
