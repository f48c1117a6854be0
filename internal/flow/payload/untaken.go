package payload

import (
	"cmp"
	"maps"
	"slices"
	"strings"
	"time"

	"dewcase/internal/roof"
)

// Untaken is a value of messages that looks like a quantity of ours and that
// nothing takes, such as that of a second probe which no mapping names.
type Untaken struct {
	Topic    string
	Case     string // "" where no reading came of the message
	Pointer  string
	Quantity roof.Quantity // what it looks like
	Example  string
	Count    int64 // messages on the topic since it was found
	First    time.Time
	Last     time.Time
}

// maxWatched bounds the topics whose messages are looked at for such values, and
// maxUntaken the values kept of one.
const (
	maxWatched = 2000
	maxUntaken = 20
)

// watched is one topic whose messages are looked at.
type watched struct {
	messages int64
	last     time.Time
	found    []Untaken
}

// due counts a message of a topic and reports whether it is looked at: the first
// few, then ever fewer, as messages of one topic are alike.
func (d *Decoder) due(topic string, at time.Time) bool {
	d.watching.Lock()
	defer d.watching.Unlock()
	w := d.watched[topic]
	if w == nil {
		if len(d.watched) >= maxWatched {
			return false
		}
		if d.watched == nil {
			d.watched = map[string]*watched{}
		}
		w = &watched{}
		d.watched[topic] = w
	}
	w.messages++
	w.last = at
	return w.messages <= 8 || w.messages%256 == 0
}

// note keeps what a message held and nothing took, in place of what earlier ones
// of the topic did that hold the same keys.
func (d *Decoder) note(m *decoding) {
	d.watching.Lock()
	defer d.watching.Unlock()
	w := d.watched[m.Topic]
	for _, l := range m.left {
		i := slices.IndexFunc(w.found, func(u Untaken) bool { return u.Pointer == l.pointer })
		if i < 0 && len(w.found) < maxUntaken {
			i = len(w.found)
			w.found = append(w.found, Untaken{Topic: m.Topic, Pointer: l.pointer, First: m.Arrived, Count: -w.messages + 1})
		}
		if i >= 0 {
			u := &w.found[i]
			u.Case, u.Quantity, u.Example = m.caseID, l.quantity, printable(l.text, 60)
		}
	}
}

// Untaken lists what looks like a quantity and was not taken, by topic and place,
// since the decoder or its mappings were made.
func (d *Decoder) Untaken() (out []Untaken) {
	d.watching.Lock()
	defer d.watching.Unlock()
	for _, topic := range slices.Sorted(maps.Keys(d.watched)) {
		w := d.watched[topic]
		for _, u := range w.found {
			u.Count += w.messages
			u.Last = w.last
			out = append(out, u)
		}
	}
	return out
}

// forgetUntaken begins anew, as other mappings take other values.
func (d *Decoder) forgetUntaken() {
	d.watching.Lock()
	defer d.watching.Unlock()
	d.watched = nil
}

// use notes what of a payload is taken, by absolute pointers; what stands beside
// and looks like a quantity is left. Another unit of a value that is taken is not.
func (d *decoding) use(root value, taken map[string]bool) {
	if !d.look {
		return
	}
	type place struct {
		quantity roof.Quantity
		rest     string
	}
	had := map[place]bool{}
	all := leaves(root, maxLeaves)
	for _, l := range all {
		if n := nameOfPointer(l.pointer); n.ok && taken[l.pointer] {
			had[place{n.quantity, n.rest}] = true
		}
	}
	for _, l := range all {
		q, ok := quantityLike(l)
		if !ok || taken[l.pointer] || had[place{q, nameOfPointer(l.pointer).rest}] {
			continue
		}
		d.leave(l, q)
	}
}

// leave notes a value that looks like a quantity and is not taken.
func (d *decoding) leave(l leaf, q roof.Quantity) {
	if d.look && len(d.left) < maxUntaken &&
		!slices.ContainsFunc(d.left, func(have like) bool { return have.pointer == l.pointer }) {
		d.left = append(d.left, like{l, q})
	}
}

// takenBy lists the absolute pointers of a mapping's fields in the elements that
// it reads.
func (m *mapping) takenBy(elements []element, c captured) map[string]bool {
	out := map[string]bool{}
	for _, fields := range m.fieldsOf(c.quantity) {
		for _, f := range fields {
			at := "/" + strings.Join(escaped(f.at.tokens), "/")
			if f.at.root || m.Each == "" && m.Form != LineForm {
				out[at] = true
				continue
			}
			for _, e := range elements {
				out[cmp.Or(e.path, "/"+escapeToken(e.name))+at] = true
			}
		}
	}
	if m.clock != nil {
		out["/"+strings.Join(escaped(m.clock.at.tokens), "/")] = true
	}
	return out
}

func escaped(tokens []string) []string {
	out := make([]string, len(tokens))
	for i, t := range tokens {
		out[i] = escapeToken(t)
	}
	return out
}
