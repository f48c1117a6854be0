package payload

import (
	"cmp"
	"slices"
	"strings"

	"dewcase/internal/roof"
)

// Role is what a proposal uses a key for.
type Role string

// The roles of keys.
const (
	NoRole       Role = ""
	QuantityRole Role = "quantity"
	TimeRole     Role = "time"
	LoggerRole   Role = "logger"
)

// Reason says what speaks for the role or unit of a key, or why it has none.
type Reason string

// The reasons of a proposal.
const (
	ByName       Reason = "name"        // a word of the key names it
	ByLetter     Reason = "letter"      // a single letter does
	ByUnitNamed  Reason = "unit_named"  // a word of the key, or of the text, names the unit
	ByUnitBeside Reason = "unit_beside" // another key beside it names the unit
	ByRange      Reason = "range"       // its values leave one unit only
	ByGuess      Reason = "guess"       // they leave several: a person must say
	ByScale      Reason = "scale"       // they can be only tenths or hundredths: a person must say
	ByForm       Reason = "form"        // it is written as a time
	ZoneUnknown  Reason = "zone"        // a local time: a person must say of which zone
	ZoneFits     Reason = "zone_fits"   // of the house's and UTC, one alone agrees with when the messages came
	DatesUnclear Reason = "dates"       // day and month could be the other way round
	NotNear      Reason = "not_near"    // written as a time, but not near the arrival
	SecondOfKind Reason = "second"      // the same quantity stands at another key in a better unit
)

// Key is one place of the messages, and what a proposal makes of it.
type Key struct {
	Pointer   string // a JSON Pointer, or of bare numbers the topic's level
	Example   string
	Seen      int // messages that held it
	Numeric   bool
	Low, High float64 // of numbers
	Changes   bool    // more than one value came
	Role      Role
	Quantity  roof.Quantity // of QuantityRole, or what it looks like without a role
	Like      bool          // without a role: it looks like Quantity all the same
	Unit      Unit
	Probe     string // suffix of its probe; "" the message's logger
	By        []Reason
}

// Doubtful reports whether a person must confirm what is proposed of the key.
func (k Key) Doubtful() bool {
	return slices.ContainsFunc(k.By, func(r Reason) bool {
		return r == ByGuess || r == ByScale || r == ZoneUnknown || r == DatesUnclear || r == ByLetter
	})
}

// Proposal is a mapping that messages suggest. Nothing in it is in force: units
// that only the range of values suggests are a person's to confirm.
type Proposal struct {
	Mapping  Mapping
	Topics   []string // that it was made from
	Messages int
	Taken    int // of them that the mapping makes readings of
	Loggers  []string
	Keys     []Key
}

// TimesUnread are keys that are named and written as times and that the proposal does
// not read as one: readings then get their time of arrival.
func (p Proposal) TimesUnread() (out []Key) {
	if p.Mapping.Time != nil {
		return nil
	}
	for _, k := range p.Keys {
		digits := strings.Count(strings.Map(func(r rune) rune {
			if r >= '0' && r <= '9' {
				return '0'
			}
			return -1
		}, k.Example), "0")
		if k.Role == NoRole && slices.Contains(k.By, NotNear) && (strings.Contains(k.Example, ":") || digits >= 8) {
			out = append(out, k)
		}
	}
	return out
}

// KeyOf is the key of a proposal that a field reads.
func KeyOf(f Field) string {
	if len(f.Where) > 0 {
		return "/" + escapeToken(f.Where[0].Equals)
	}
	return cmp.Or(f.Pointer, f.Segment)
}

// maxProposeMessages bounds the messages that are looked at, the newest of them.
const maxProposeMessages = 2000

// Propose makes mappings for the case from messages that none reads, by the names,
// units and ranges of what stands in them and by what of their topics changes. The
// zone, of the house, is that in which local times are read.
// Those that need no mapping, or of which nothing is recognised, give none. The
// mapping that takes most messages comes first.
func Propose(caseID, zone string, messages []Message) (out []Proposal) {
	messages = messages[max(0, len(messages)-maxProposeMessages):]
	for _, f := range families(messages) {
		p, ok := f.propose(caseID, zone)
		if !ok {
			continue
		}
		became, err := Become([]Mapping{whole(p.Mapping)}, f.messages())
		if err != nil {
			continue
		}
		for _, b := range became {
			if len(b.Readings) > 0 {
				p.Taken++
			}
			for _, r := range b.Readings {
				if !slices.Contains(p.Loggers, r.Logger) {
					p.Loggers = append(p.Loggers, r.Logger)
				}
			}
		}
		if p.Taken > 0 {
			slices.Sort(p.Loggers)
			out = append(out, p)
		}
	}
	slices.SortStableFunc(out, func(a, b Proposal) int { return cmp.Compare(b.Taken, a.Taken) })
	return out
}

// whole fills in what only a person can say, so that a mapping can be tried.
func whole(m Mapping) Mapping {
	m.Case = cmp.Or(m.Case, "x")
	if m.Time != nil && m.Time.Form == "layout" && m.Time.Zone == "" && !strings.HasSuffix(m.Time.Layout, "Z") {
		clock := *m.Time
		clock.Zone = "UTC"
		m.Time = &clock
	}
	return m
}

// cameMessage is one message with what stands in it.
type cameMessage struct {
	Message
	levels []string
	root   value
	leaves []leaf
}

// family are the messages that one mapping may read.
type family struct {
	form Form
	data string // pointer to the advertisement of a gateway's message
	all  []cameMessage
	keys map[string]bool // pointers of what looks like a quantity
}

func (f *family) messages() (out []Message) {
	for _, m := range f.all {
		out = append(out, m.Message)
	}
	return out
}

// maxLeaves bounds the values of a payload that are looked at.
const maxLeaves = 200

// families sorts messages by their form and topics: one topic is of one family,
// and so are topics of as many levels that hold the same keys.
func families(messages []Message) (out []*family) {
	of := map[string]*family{}
	for _, m := range messages {
		levels := strings.Split(m.Topic, "/")
		if levels[0] == Prefix || strings.HasPrefix(m.Topic, "$") || len(m.Payload) == 0 {
			continue
		}
		form, data, root, ok := formOf(m.Payload)
		if !ok {
			continue
		}
		one := cameMessage{m, levels, root, leaves(root, maxLeaves)}
		like := map[string]bool{}
		for _, l := range one.leaves {
			if _, ok := quantityLike(l); ok {
				like[l.pointer] = true
			}
		}
		key := string(form) + data + " " + m.Topic
		f := of[key]
		if f == nil {
			i := slices.IndexFunc(out, func(g *family) bool {
				keyed := form == JSONForm || form == CBORForm || form == TextForm
				return g.form == form && g.data == data && len(g.all[0].levels) == len(levels) &&
					(!keyed || shares(g.keys, like) || byQuantity(g.all[0].levels, levels)) && alike(g.all[0].levels, levels) > 0
			})
			if i < 0 {
				out = append(out, &family{form: form, data: data, keys: map[string]bool{}})
				i = len(out) - 1
			}
			f = out[i]
			of[key] = f
		}
		f.all = append(f.all, one)
		for k := range like {
			f.keys[k] = true
		}
	}
	return out
}

func shares(a, b map[string]bool) bool {
	for k := range b {
		if a[k] {
			return true
		}
	}
	return false
}

// byQuantity reports whether two topics differ in one level only, which names a
// quantity in each: halves of one device.
func byQuantity(a, b []string) bool {
	for i := range a {
		if a[i] != b[i] && !(namesQuantity(a[i]) && namesQuantity(b[i])) {
			return false
		}
	}
	return alike(a, b) == len(a)-1
}

// namesQuantity reports whether a topic's level names a quantity and no logger.
func namesQuantity(level string) bool {
	n := nameOfPointer("/" + escapeToken(level))
	return n.ok && !n.weak && strings.Trim(n.rest, "0123456789") == ""
}

// alike counts the levels that two topics share.
func alike(a, b []string) (n int) {
	for i := range a {
		if a[i] == b[i] {
			n++
		}
	}
	return n
}

// propose makes the family's mapping; false where nothing is recognised.
func (f *family) propose(caseID, zone string) (Proposal, bool) {
	p := Proposal{Mapping: Mapping{Case: caseID, Form: f.form}, Messages: len(f.all)}
	for _, m := range f.all {
		if !slices.Contains(p.Topics, m.Topic) {
			p.Topics = append(p.Topics, m.Topic)
		}
	}
	slices.Sort(p.Topics)
	switch f.form {
	case NumberForm:
		return p, f.bareNumbers(&p)
	case SenMLForm:
		p.Mapping.Probes = f.senMLProbes()
	default:
		if p.Mapping.Data = f.data; f.form == JSONForm {
			p.Mapping.Form = ""
		}
		if !f.byPointers(&p, zone) {
			return p, false
		}
	}
	if p.Mapping.LoggerPointer == "" && p.Mapping.EachName != NameLogger {
		f.loggerLevel(&p.Mapping, -1)
	} else {
		p.Mapping.Topic = strings.Join(f.literals("+"), "/")
	}
	f.rename(&p.Mapping)
	return p, true
}

// literals are the levels that all topics share, and a sign for the others.
func (f *family) literals(sign string) []string {
	out := slices.Clone(f.all[0].levels)
	for _, m := range f.all {
		for i, l := range m.levels {
			if out[i] != l {
				out[i] = sign
			}
		}
	}
	return out
}

// generalLevels are levels of topics that name no logger; common practice.
var generalLevels = map[string]bool{"state": true, "status": true, "data": true, "up": true, "uplink": true,
	"event": true, "events": true, "sensor": true, "sensors": true, "telemetry": true, "tele": true, "stat": true,
	"adv": true, "update": true, "json": true, "attributes": true, "rpc": true, "value": true, "values": true,
	"device": true, "devices": true, "readings": true, "measurements": true, "metrics": true, "senml": true,
	"ble": true, "info": true, "result": true, "notify": true, "online": true, "application": true, "raw": true}

// loggerLevel says which level of the topics names the logger: the last that
// changes from one to another; of a single topic the last that says something.
// taken is a level that is used already.
func (f *family) loggerLevel(m *Mapping, taken int) {
	levels := f.literals("+")
	at := -1
	ofQuantities := make([]bool, len(levels)) // of which a device has several
	for i, l := range levels {
		ofQuantities[i] = l == "+" && !slices.ContainsFunc(f.all, func(m cameMessage) bool {
			return !namesQuantity(m.levels[i])
		})
		if l == "+" && i != taken && !ofQuantities[i] {
			at = i
		}
	}
	for i := len(levels) - 1; i >= 0 && at < 0; i-- {
		if i != taken && !ofQuantities[i] && levels[i] != "" && !generalLevels[strings.ToLower(levels[i])] {
			at = i
		}
	}
	if at >= 0 && (at > 0 || len(levels) == 1 || levels[at] == "+") {
		levels[at] = "{logger}"
	} else if at == 0 {
		m.Logger = nameFrom(levels[0]) // a filter that begins with + would hear too much
	} else {
		m.Logger = nameFrom(f.all[0].Topic)
	}
	if taken >= 0 {
		levels[taken] = "{quantity}"
	}
	m.Topic = strings.Join(levels, "/")
}

// nameFrom makes a logger's name of a text.
func nameFrom(text string) string {
	var b strings.Builder
	for _, r := range text {
		if r < 0x80 && roof.ValidID(string(r)) {
			b.WriteRune(r)
		} else if s := b.String(); s != "" && !strings.HasSuffix(s, "-") {
			b.WriteByte('-')
		}
	}
	name := strings.Trim(b.String(), "-.")
	if name = name[:min(len(name), 60)]; name == "" {
		return "logger"
	}
	return name
}

// rename gives names that cannot be a logger's one that can.
func (f *family) rename(m *Mapping) {
	compiled, faults := compile(whole(*m))
	if len(faults) > 0 {
		return
	}
	for _, one := range f.all {
		c, ok := compiled.template.match(one.levels)
		if !ok {
			continue
		}
		d := &decoding{Message: one.Message, base: cmp.Or(m.Logger, c.logger)}
		elements, problem := compiled.elements(one.root)
		if problem != nil {
			continue
		}
		if f.form == LineForm {
			elements = nil
			for _, item := range one.root.items {
				elements = append(elements, element{value: item})
			}
		}
		for _, e := range elements {
			name, problem := d.nameOf(compiled, one.root, e)
			if problem != nil || name == "" || roof.ValidID(name) || len(name) > 200 {
				continue
			}
			if m.Loggers == nil {
				m.Loggers = map[string]string{}
			}
			m.Loggers[name] = nameFrom(name)
		}
	}
}
