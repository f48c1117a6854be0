package payload

import (
	"strconv"
	"strings"
	"time"

	"dewcase/internal/roof"
)

// mapped decodes a message by a mapping that its topic matches; false means
// that the message does not meet the mapping's conditions.
func (d *Decoder) mapped(m *decoding, p *mapping, c captured) bool {
	switch {
	case p.form.decode == nil, m.Retained && p.Retained == "ignore", len(m.Payload) == 0:
		return true
	}
	if p.segments && p.fieldsOf(c.quantity) == nil {
		return true // another topic of the same device
	}
	m.caseID = p.Case
	if c.caseID != "" {
		m.caseID = c.caseID
	}
	if !roof.ValidCaseID(m.caseID) {
		m.caseID = ""
		m.reject(wrong(roof.BadTopic, "%.80q cannot name a case; 1 to 64 of a-z, 0-9 and - can", c.caseID), m.Payload)
		return true
	}
	if p.LoggerPointer == "" {
		name := p.Logger
		if name == "" {
			name = c.logger
		}
		if problem := m.nameLogger(p, name); problem != nil {
			m.reject(problem, m.Payload)
			return true
		}
	}
	return p.form.decode(d, m, p, c)
}

// fieldsOf lists the fields that a topic's quantity level brings.
func (m *mapping) fieldsOf(segment string) (out []*field) {
	for _, f := range m.fields {
		if f.Segment == segment {
			out = append(out, f)
		}
	}
	return out
}

func (d *decoding) nameLogger(p *mapping, name string) *problem {
	if to, ok := p.Loggers[name]; ok {
		name = to
	}
	if d.logger = name; !roof.ValidID(name) {
		d.logger = ""
		return wrong(roof.BadLogger, "%.80q cannot name a logger; give it an id of A-Z, a-z, 0-9, . _ - under loggers: in "+
			"the mapping", name)
	}
	return nil
}

// senMLPack decodes SenML on a topic that is not the native one.
func (*Decoder) senMLPack(m *decoding, _ *mapping, _ captured) bool {
	elements, err := splitArray(m.Payload)
	if firstByte(m.Payload) != '[' || err != nil {
		m.reject(wrong(roof.BadPayload, "not a SenML pack, which is a JSON array: %v", err), m.Payload)
		return true
	}
	m.senML(elements, m.Payload)
	return true
}

// nativeOnOtherTopic decodes the native shapes on a topic that is not the native
// one.
func (*Decoder) nativeOnOtherTopic(m *decoding, _ *mapping, _ captured) bool {
	m.nativeBody(m.Payload)
	return true
}

// number decodes a bare number.
func (d *Decoder) number(m *decoding, p *mapping, c captured) bool {
	f := p.fieldsOf(c.quantity)[0]
	text := value{kind: textKind, text: string(m.Payload)}
	bare := *f
	bare.Text = true // all of it is text
	x, measured, problem := bare.number(text)
	if problem != nil {
		m.reject(problem, m.Payload)
		return true
	}
	if !measured {
		return true
	}
	r := m.reading()
	r.Values.Set(f.Quantity, x)
	if r, problem = m.timed(r, time.Time{}, false); problem != nil {
		m.reject(problem, m.Payload)
		return true
	}
	d.pair(m, p, r)
	return true
}

// pair joins a reading that came in parts and without a time.
func (d *Decoder) pair(m *decoding, p *mapping, r roof.Reading) {
	window := p.Pair
	if window == 0 {
		window = defaultPair
	}
	if d.interval != nil {
		if half := d.interval(m.caseID, r.Logger) / 2; half > 0 {
			window = min(window, half)
		}
	}
	d.mu.Lock()
	r, ready := d.pairer.Pair(m.caseID, r, window)
	d.mu.Unlock()
	if ready {
		m.readings = append(m.readings, r)
	}
}

// json decodes by pointers; false means that the conditions do not hold.
func (d *Decoder) json(m *decoding, p *mapping, c captured) bool {
	root, err := parseJSON(m.Payload)
	if err != nil {
		m.reject(wrong(roof.BadPayload, "not JSON as it must be: %v", err), m.Payload)
		return true
	}
	if !hold(p.where, root, root) {
		m.caseID, m.logger = "", ""
		return false
	}
	elements := []value{root}
	if p.Each != "" {
		list, ok := p.each.of(root, root)
		if !ok || list.kind == nullKind {
			m.reject(wrong(roof.NoQuantity, "there is nothing at %s, where the mapping's each points", p.Each), m.Payload)
			return true
		}
		if list.kind != arrayKind {
			m.reject(wrong(roof.BadPayload, "there is %s at %s, where the mapping's each needs an array", list.kind, p.Each),
				m.Payload)
			return true
		}
		elements = list.items
	}
	found := false
	for _, e := range elements {
		r, some, problem := m.element(p, p.fieldsOf(c.quantity), root, e)
		if problem != nil {
			m.reject(problem, m.Payload)
			found = true
			continue
		}
		if !some {
			continue
		}
		found = true
		if r.Flags&roof.FlagArrivalTime != 0 && (p.segments || p.Pair > 0) {
			d.pair(m, p, r)
			continue
		}
		m.join(r)
	}
	if !found {
		m.reject(wrong(roof.NoQuantity, "none of the mapping's pointers found a value (%s)", p.pointers()), m.Payload)
	}
	return true
}

// element reads one element; some is false where no field found a value.
func (d *decoding) element(p *mapping, fields []*field, root, e value) (r roof.Reading, some bool, problem *problem) {
	r = d.reading()
	for _, f := range fields {
		if r.Values.Has(f.Quantity) || !hold(f.where, root, e) {
			continue
		}
		v, ok := f.at.of(root, e)
		if !ok {
			continue
		}
		x, measured, problem := f.number(v)
		if problem != nil {
			return r, false, problem
		}
		if measured {
			r.Values.Set(f.Quantity, x)
		}
	}
	if r.Values.Empty() {
		return r, false, nil
	}
	if p.LoggerPointer != "" {
		name, ok := p.logger.of(root, e)
		if !ok || name.kind != textKind && name.kind != numberKind {
			return r, false, wrong(roof.BadLogger, "there is no name at %s, where the mapping's logger_pointer points",
				p.LoggerPointer)
		}
		if problem := d.nameLogger(p, name.text); problem != nil {
			return r, false, problem
		}
		r.Logger = d.logger
	}
	var at time.Time
	own := false
	if p.clock != nil {
		if at, own, problem = p.clock.read(root, e, d.Arrived); problem != nil {
			return r, false, problem
		}
	}
	r, problem = d.timed(r, at, own)
	return r, problem == nil, problem
}

func (m *mapping) pointers() string {
	var out []string
	for _, f := range m.fields {
		out = append(out, f.Pointer)
	}
	return strings.Join(out, ", ")
}

// hold reports whether all conditions hold in an element.
func hold(all []condition, root, element value) bool {
	for _, c := range all {
		v, ok := c.of(root, element)
		if !ok || !c.equal(v) {
			return false
		}
	}
	return true
}

func (c condition) equal(v value) bool {
	switch v.kind {
	case nullKind:
		return c.equals == "null"
	case numberKind:
		x, err1 := strconv.ParseFloat(v.text, 64)
		y, err2 := strconv.ParseFloat(c.equals, 64)
		return err1 == nil && err2 == nil && x == y
	case textKind, boolKind:
		return v.text == c.equals
	}
	return false
}
