package payload

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"dewcase/internal/roof"
)

// mapped decodes a message by a mapping that its topic matches; false means
// that the message is not for this mapping, by its conditions or because nothing
// in it is what the mapping looks for: why is then kept in missed.
func (d *Decoder) mapped(m *decoding, p *mapping, c captured) bool {
	switch {
	case p.form.decode == nil:
		return m.missed == nil // what another mapping looked for in vain is no matter to ignore
	case m.Retained && p.Retained == "ignore", len(m.Payload) == 0:
		return true
	}
	if p.segments && p.fieldsOf(c.quantity) == nil {
		// Another topic of the same device.
		m.use(value{kind: objectKind, names: []string{c.quantity},
			items: []value{{kind: textKind, text: string(m.Payload)}}}, nil)
		return false
	}
	m.left = nil
	m.caseID = p.Case
	if c.caseID != "" {
		m.caseID = c.caseID
	}
	if !roof.ValidCaseID(m.caseID) {
		m.caseID = ""
		m.reject(wrong(roof.BadTopic, "%.80q cannot name a case; 1 to 64 of a-z, 0-9 and - can", c.caseID), m.Payload)
		return true
	}
	m.base = ""
	if p.LoggerPointer == "" && p.EachName != NameLogger && !p.eachNamed() {
		if m.base = p.Logger; m.base == "" {
			m.base = c.logger
		}
		if p.unlisted(m.base) {
			m.caseID = ""
			return false
		}
		if len(p.probes) == 0 || p.probes[0].suffix+p.probes[0].logger == "" {
			if problem := m.nameLogger(p, nil, m.base); problem != nil {
				m.reject(problem, m.Payload)
				return true
			}
		}
	}
	if p.form.decode(d, m, p, c) {
		return true
	}
	m.caseID, m.logger = "", ""
	return false
}

// fieldsOf lists the probes' fields that a topic's quantity level brings; nil
// where it is none of theirs.
func (m *mapping) fieldsOf(segment string) [][]*field {
	out, some := make([][]*field, len(m.probes)), false
	for i, p := range m.probes {
		for _, f := range p.fields {
			if f.Segment == segment {
				out[i] = append(out[i], f)
				some = true
			}
		}
	}
	if !some {
		return nil
	}
	return out
}

// unlisted reports whether a name is another device's.
func (m *mapping) unlisted(name string) bool {
	if !m.OnlyListed {
		return false
	}
	_, listed := m.Loggers[name]
	return !listed
}

// nameLogger names the logger of a probe (nil: the message's own) from what the
// topic or payload says.
func (d *decoding) nameLogger(p *mapping, of *probe, name string) *problem {
	renamed := func(s string) string {
		if to, ok := p.Loggers[s]; ok {
			return to
		}
		return s
	}
	switch {
	case of == nil || of.suffix == "" && of.logger == "":
		name = renamed(name)
	case of.logger != "":
		name = of.logger
	case p.Loggers[name+of.suffix] != "":
		name = p.Loggers[name+of.suffix]
	default:
		name = renamed(name) + of.suffix
	}
	if d.logger = name; !roof.ValidID(name) {
		d.logger = ""
		return wrong(roof.BadLogger, "%.80q cannot name a logger; give it an id of A-Z, a-z, 0-9, . _ - under loggers: in "+
			"the mapping", name)
	}
	return nil
}

// senMLPack decodes SenML, JSON or CBOR, on a topic that is not the native one.
func (*Decoder) senMLPack(m *decoding, p *mapping, _ captured) bool {
	if isCBORArray(m.Payload) {
		elements, bad := senMLOfCBOR(m.Payload)
		if bad != nil {
			m.reject(bad, m.Payload)
			return true
		}
		m.senML(p, elements, m.Payload)
		return true
	}
	elements, err := splitArray(m.Payload)
	if firstByte(m.Payload) != '[' || err != nil {
		m.reject(wrong(roof.BadPayload, "not a SenML pack, which is an array of JSON or CBOR: %v", err), m.Payload)
		return true
	}
	m.senML(p, elements, m.Payload)
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
	i := slices.IndexFunc(p.fieldsOf(c.quantity), func(f []*field) bool { return len(f) > 0 })
	f := p.fieldsOf(c.quantity)[i][0]
	bare := *f
	bare.Text = true // all of it is text
	x, measured, problem := bare.number(value{kind: textKind, text: string(m.Payload)})
	if problem == nil && !measured {
		return true
	}
	if problem == nil {
		problem = m.nameLogger(p, p.probes[i], m.base)
	}
	if problem == nil {
		r := m.reading()
		r.Values.Set(f.Quantity, x)
		if r, problem = m.timed(r, time.Time{}, false); problem == nil {
			d.pair(m, p, r)
		}
	}
	if problem != nil {
		m.reject(problem, m.Payload)
	}
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

// json decodes JSON by pointers.
func (d *Decoder) json(m *decoding, p *mapping, c captured) bool {
	root, err := parseJSON(m.Payload)
	if err != nil {
		m.reject(wrong(roof.BadPayload, "not JSON as it must be: %v", err), m.Payload)
		return true
	}
	return d.tree(m, p, c, root)
}

// cbor decodes CBOR by pointers.
func (d *Decoder) cbor(m *decoding, p *mapping, c captured) bool {
	root, err := parseCBOR(m.Payload)
	if err != nil {
		m.reject(wrong(roof.BadPayload, "not CBOR as it must be: %v", err), m.Payload)
		return true
	}
	return d.tree(m, p, c, root)
}

// tree decodes what a payload holds by pointers.
func (d *Decoder) tree(m *decoding, p *mapping, c captured, root value) bool {
	if !hold(p.where, root, root) || !present(p.present, root) {
		return false
	}
	elements, problem := p.elements(root)
	if problem != nil {
		if problem.reason == roof.NoQuantity {
			if !p.OnlyPresent {
				m.miss(problem)
			}
			return false
		}
		m.reject(problem, m.Payload)
		return true
	}
	return d.read(m, p, c, root, elements)
}

// read reads the elements of a payload one by one; false where no field found a
// value.
func (d *Decoder) read(m *decoding, p *mapping, c captured, root value, elements []element) bool {
	if m.look {
		m.left = nil
		m.use(whatCame(root, elements), p.takenBy(elements, c))
	}
	fields := p.fieldsOf(c.quantity)
	found, others := false, 0
	m.absent = nil
	for _, e := range elements {
		base, problem := m.nameOf(p, root, e)
		if problem == nil && p.unlisted(base) {
			others++
			continue
		}
		for i, probe := range p.probes {
			if !hold(probe.where, root, e.value) {
				continue
			}
			unnamed := problem
			if unnamed == nil {
				unnamed = m.nameLogger(p, probe, base)
			}
			r, some, bad := m.element(p, fields[i], root, e)
			if some && bad == nil {
				bad = unnamed
			}
			if bad != nil {
				m.reject(bad, m.Payload)
				found = true
				continue
			}
			if !some {
				continue
			}
			found = true
			if p.Pair > 0 || p.segments && r.Flags&roof.FlagArrivalTime != 0 {
				d.pair(m, p, r)
				continue
			}
			m.join(r)
		}
	}
	switch {
	case found || p.OnlyPresent || others > 0 && others == len(elements):
	case m.absent != nil:
		m.miss(wrong(roof.NoQuantity, "nothing was measured: what stands at %s says so", strings.Join(m.absent, ", ")))
	default:
		m.miss(wrong(roof.NoQuantity, "none of the mapping's pointers found a value (%s); %s", p.pointers(),
			came(whatCame(root, elements))))
	}
	return found
}

// whatCame is what a reject names: of a frame what was decoded.
func whatCame(root value, elements []element) value {
	if len(elements) > 0 && elements[0].framed {
		return elements[0].value
	}
	return root
}

// element is one element or member of each, or the whole payload.
type element struct {
	value
	name   string // of a member, or the number of an element from 0
	path   string // where it stands in the payload
	framed bool   // decoded out of the payload, which time and logger's name stand in
}

// around is what pointers of the time and of the logger's name begin from.
func (e element) around(root value) value {
	if e.framed {
		return root
	}
	return e.value
}

// elements are what the mapping reads one by one.
func (m *mapping) elements(root value) ([]element, *problem) {
	if m.Each == "" {
		return []element{{value: root}}, nil
	}
	var out []element
	lists := m.each.allOf(root, root)
	for n, list := range lists {
		switch list.kind {
		case nullKind:
			continue
		case arrayKind, objectKind:
		default:
			return nil, wrong(roof.BadPayload, "there is %s at %s, where the mapping's each needs an array or an object",
				list.kind, m.Each)
		}
		for i, v := range list.items {
			e := element{value: v, name: strconv.Itoa(i)}
			if list.kind == objectKind {
				e.name = list.names[i]
			}
			e.path = list.path + "/" + escapeToken(e.name)
			switch {
			case list.member != "":
				e.name = list.member
			case len(lists) > 1:
				e.name = strconv.Itoa(n) + "-" + e.name
			}
			out = append(out, e)
		}
	}
	if len(out) == 0 && !slices.ContainsFunc(lists, func(v listed) bool { return v.kind != nullKind }) {
		return nil, wrong(roof.NoQuantity, "there is nothing at %s, where the mapping's each points; %s", m.Each, came(root))
	}
	return out, nil
}

// nameOf is the name that the topic, the payload or the element gives a logger.
func (d *decoding) nameOf(p *mapping, root value, e element) (string, *problem) {
	name := d.base
	switch {
	case p.LoggerPointer != "":
		v, ok := p.logger.of(root, e.around(root))
		if !ok || v.kind != textKind && v.kind != numberKind {
			return "", wrong(roof.BadLogger, "there is no name at %s, where the mapping's logger_pointer points",
				p.LoggerPointer)
		}
		name = v.text
	case p.EachName == NameLogger:
		return e.name, nil
	}
	if p.EachName == NameSuffix {
		name += "-" + e.name
	}
	return name, nil
}

// element reads one element; some is false where no field found a value.
func (d *decoding) element(p *mapping, fields []*field, root value, e element) (r roof.Reading, some bool,
	problem *problem) {
	r = d.reading()
	for _, f := range fields {
		if r.Values.Has(f.Quantity) || !hold(f.where, root, e.value) {
			continue
		}
		v, ok := f.at.of(root, e.value)
		if !ok {
			continue
		}
		x, measured, problem := f.number(v)
		if problem != nil {
			return r, false, problem
		}
		if measured {
			r.Values.Set(f.Quantity, x)
		} else if !slices.Contains(d.absent, f.Pointer) {
			d.absent = append(d.absent, f.Pointer)
		}
	}
	if r.Values.Empty() {
		return r, false, nil
	}
	var at time.Time
	own := false
	if p.clock != nil {
		if at, own, problem = p.clock.read(root, e.around(root), d.Arrived); problem != nil {
			return r, false, problem
		}
	}
	r, problem = d.timed(r, at, own)
	return r, problem == nil, problem
}

func (m *mapping) pointers() string {
	var out []string
	for _, f := range allFields(m.Mapping) {
		if !slices.Contains(out, f.Pointer) {
			out = append(out, f.Pointer)
		}
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

// present reports whether there is something at every pointer.
func present(all []pointer, root value) bool {
	for _, p := range all {
		if v, ok := p.of(root, root); !ok || v.kind == nullKind {
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
