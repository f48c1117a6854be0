package payload

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"dewcase/internal/roof"
)

// Mapping says how messages of one family of topics become readings. The zero
// value of a key is its default.
type Mapping struct {
	// Topic is the template: literal levels, + for a level that does not
	// matter, # as the last for any that follow, and {case}, {logger} and
	// {quantity} once each for a level that tells one.
	Topic string
	Case  string // fixed, where no level tells it
	// Logger is the fixed name, where no level tells it; LoggerPointer picks it
	// out of the payload.
	Logger        string
	LoggerPointer string
	Loggers       map[string]string // renames what the topic or payload says, such as a hardware address
	OnlyListed    bool              // names that Loggers does not list are other devices', and no faults
	OnlyPresent   bool              // a message in which no field finds a value is another device's, and no fault
	Form          Form              // json
	Data          string            // bthome, rawv2: pointer to the bytes as hexadecimal or base64; the whole payload
	Each          string            // pointer to an array or object whose elements or members are read one by one
	EachName      EachName          // what the name of a member of Each, or the number of an element, says
	Where         []Condition       // all must hold, else the message is not for this mapping
	Present       []string          // pointers at which there must be something, else likewise
	Fields        []Field
	Probes        []Probe       // further loggers of the same message
	Time          *Clock        // nil: arrival
	Retained      string        // accept, ignore; accept
	Pair          time.Duration // longest time between halves of a reading; DefaultPair
}

// EachName says what the name of a member of Mapping.Each is used for.
type EachName string

// The uses of a member's name.
const (
	NameIgnored EachName = ""       // nothing
	NameLogger  EachName = "logger" // it is the logger's name
	NameSuffix  EachName = "suffix" // it stands behind the logger's name, parted by a -
)

// Probe is a further logger of the same message: a node that measures the air of
// a loft and the underside of the slates is two loggers. What a message does not
// hold of a probe is not missed.
type Probe struct {
	Suffix string      // put behind the name of the message's logger
	Logger string      // or a name of its own
	Names  string      // senml: what the names of its records begin with, as senml has no fields
	Where  []Condition // all must hold in the element
	Fields []Field
}

// Condition holds where the value at the pointer is a scalar with this text, or
// is the same number.
type Condition struct{ Pointer, Equals string }

// Field says where one quantity stands and in what unit.
type Field struct {
	Quantity roof.Quantity
	Segment  string      // the topic's {quantity} level that brings it
	Pointer  string      // where pointers lead; from the element of each, or with # in front from the whole payload
	Where    []Condition // all must hold in the element
	Unit     Unit        // needed where a quantity has several
	Text     bool        // numbers may come as text
	Decimal  string      // "." or ","; "." (a comma implies text)
	Suffix   string      // cut off the text, such as a unit
	Invalid  []string    // sentinels that mean not measured, such as 85 or -127, before scaling
	Scale    float64     // multiplies the number before its unit is applied; 1
}

// Clock says where the time of measurement stands and how it is written.
type Clock struct {
	Pointer string
	Date    string // pointer to the date, where it stands apart; the layout then has a space between
	Form    string // rfc3339, s, ms, us, ns, layout
	Layout  string // of YYYY MM DD hh mm ss and what stands between, AM for a 12-hour clock, Z for an offset
	Zone    string // IANA zone of a layout without an offset
}

// mapping is a Mapping made ready.
type mapping struct {
	Mapping
	form     formRow
	template template
	logger   pointer
	each     pointer
	data     pointer
	where    []condition
	present  []pointer
	probes   []*probe // the message's logger first, where it has fields
	clock    *clock
	segments bool // the topic tells the quantity
}

// probe is a Probe made ready, or the fields of the mapping itself.
type probe struct {
	suffix, logger string
	names          string
	where          []condition
	fields         []*field
}

type condition struct {
	pointer
	equals string
}

type field struct {
	Field
	at    pointer
	where []condition
}

// fault is what is wrong with a mapping.
type fault struct{ key, problem, remedy string }

// compile makes a mapping ready and tells everything that is wrong with it.
func compile(m Mapping) (*mapping, []fault) {
	c := &compiler{out: &mapping{Mapping: m}}
	if c.out.Form == "" {
		c.out.Form = JSONForm
	}
	var known bool
	if c.out.form, known = c.out.Form.row(); !known {
		c.fault("form", fmt.Sprintf("%q is not known", c.out.Form), "write "+oneOf(formNames()))
	}
	c.topic()
	c.names()
	c.out.where = c.conditions("where", m.Where)
	c.fields()
	switch {
	case m.Time != nil:
		c.clock(*m.Time)
	case c.out.Form == LineForm:
		c.clock(Clock{Pointer: "/time", Form: "ns"})
	}
	if m.Retained != "" && m.Retained != "accept" && m.Retained != "ignore" {
		c.fault("retained", fmt.Sprintf("%q is not known", m.Retained), "write accept or ignore")
	}
	if m.Pair < 0 || m.Pair > time.Hour {
		c.fault("pair_s", fmt.Sprintf("%v cannot be", m.Pair.Seconds()), "write 0 to 3600 seconds")
	}
	return c.out, c.faults
}

type compiler struct {
	out    *mapping
	faults []fault
}

func (c *compiler) fault(key, problem, remedy string) {
	c.faults = append(c.faults, fault{key, problem, remedy})
}

func (c *compiler) pointer(key, s string) pointer {
	p, err := parsePointer(s)
	if err != nil {
		c.fault(key, fmt.Sprintf("%q is %v", s, err), "start each step with /, and write ~1 for / and ~0 for ~ in a name")
	}
	return p
}

func (c *compiler) conditions(key string, all []Condition) (out []condition) {
	for _, w := range all {
		out = append(out, condition{c.pointer(key, w.Pointer), w.Equals})
	}
	return out
}

func (c *compiler) topic() {
	t := c.out.Topic
	const remedy = "write levels parted by /, with {case}, {logger}, {quantity} where one tells it, + for one that " +
		"does not matter"
	if t == "" || len(t) > 1000 || !utf8.ValidString(t) || strings.ContainsRune(t, 0) || strings.HasPrefix(t, "$") {
		c.fault("topic", fmt.Sprintf("%.80q is not a topic that can be read", t), remedy)
		return
	}
	var bad []levelFault
	c.out.template, bad = parseTemplate(t, segmentsOf(c.out.Mapping))
	for _, f := range bad {
		if f.twice {
			c.fault("topic", f.level+" occurs twice", "keep one of the two")
		} else {
			c.fault("topic", fmt.Sprintf("the level %q mixes a sign with text or is not known", f.level), remedy)
		}
	}
	if levels := c.out.template.levels; levels[0].text == Prefix && len(levels) == 3 {
		c.fault("topic", "is the native topic, which needs no mapping", "leave this mapping out, or map another topic")
	}
	seen := c.out.template.tells
	c.out.segments = seen["{quantity}"]
	told := map[bool]string{true: "both the topic and the mapping tell it", false: "nothing tells it"}
	if c.out.Form == IgnoreForm {
		return
	}
	if seen["{case}"] == (c.out.Case != "") {
		c.fault("case", told[seen["{case}"]], "either put {case} into the topic or write case: with the case's id")
	}
	ways := 0
	for _, way := range []bool{seen["{logger}"], c.out.Logger != "", c.out.LoggerPointer != "",
		c.out.EachName == NameLogger} {
		if way {
			ways++
		}
	}
	if ways != 1 && !c.out.eachNamed() {
		c.fault("logger", told[ways > 1], "put {logger} into the topic, or write logger: with its id, or logger_pointer: "+
			"to where the payload tells it")
	}
}

// eachNamed reports whether each probe has a logger's name of its own.
func (m *Mapping) eachNamed() bool {
	return len(m.Fields) == 0 && len(m.Probes) > 0 && m.Logger == "" && m.LoggerPointer == "" &&
		!slices.ContainsFunc(m.Probes, func(p Probe) bool { return p.Logger == "" })
}

func (c *compiler) names() {
	m := c.out
	switch {
	case m.EachName != NameIgnored && m.EachName != NameLogger && m.EachName != NameSuffix:
		c.fault("each_name", fmt.Sprintf("%q is not known", m.EachName), "write logger or suffix")
	case m.EachName != NameIgnored && m.Each == "":
		c.fault("each_name", "goes with each", "write each: with where the members stand, or leave it out")
	}
	if m.OnlyListed && len(m.Loggers) == 0 {
		c.fault("only_listed", "leaves no logger", "list names under loggers:, or leave it out")
	}
	if m.Case != "" && !roof.ValidCaseID(m.Case) {
		c.fault("case", fmt.Sprintf("%q cannot name a case", m.Case), "write 1 to 64 of a-z, 0-9 and -")
	}
	if m.Logger != "" && !roof.ValidID(m.Logger) {
		c.fault("logger", fmt.Sprintf("%q cannot name a logger", m.Logger), "write 1 to 64 of A-Z, a-z, 0-9, . _ -")
	}
	for _, from := range slices.Sorted(maps.Keys(m.Loggers)) { // so that the faults' order is always the same
		if to := m.Loggers[from]; !roof.ValidID(to) {
			c.fault("loggers", fmt.Sprintf("%q, for %q, cannot name a logger", to, from),
				"write 1 to 64 of A-Z, a-z, 0-9, . _ -")
		}
	}
	m.logger = c.pointer("logger_pointer", m.LoggerPointer)
	m.each = c.pointer("each", m.Each)
	m.data = c.pointer("data", m.Data)
	if m.Data != "" && !m.form.units {
		c.fault("data", "goes with form bthome or rawv2", "leave it out")
	}
	if m.Each != "" && m.form.each {
		c.fault("each", fmt.Sprintf("is told by form %s itself", m.Form), "leave it out")
	}
	if m.LoggerPointer != "" && !m.form.pointers {
		c.fault("logger_pointer", "only a payload of form json can tell the logger",
			"put {logger} into the topic or write logger:")
	}
}

// pointed reports whether a key beside the fields points into the payload.
func (m *Mapping) pointed() bool {
	return m.Time != nil || len(m.Where) > 0 || m.Each != "" || len(m.Present) > 0
}

func (c *compiler) fields() {
	m := c.out
	if m.form.units && len(m.Fields)+len(m.Probes) == 0 {
		m.Fields, m.Probes = frameFields()
	}
	switch some := len(m.Fields) > 0 || len(m.Probes) > 0; {
	case m.form.fields && !some:
		c.fault("fields", "are missing", "list at least one quantity with its unit")
	case m.form.form != "" && !m.form.fields && (len(m.Fields) > 0 || m.Form != SenMLForm && some || m.pointed()):
		c.fault("form", fmt.Sprintf("%s has no fields, time, where or each", m.Form), "leave them out, or use form json")
	}
	if m.Form == NumberForm && !m.segments && len(m.Fields)+len(m.Probes) > 1 {
		c.fault("fields", "a bare number is one quantity",
			"put {quantity} into the topic and give each field its segment, or keep one field")
	}
	if m.form.fields && !m.form.pointers && m.pointed() {
		c.fault("form", "a bare number has no time, where or each", "leave them out, or use form json")
	}
	for _, at := range m.Present {
		m.present = append(m.present, c.pointer("present", at))
	}
	if len(m.Fields) > 0 {
		m.probes = append(m.probes, &probe{fields: c.list("fields", m.Fields)})
	}
	names := map[string]bool{}
	for i, p := range m.Probes {
		key := fmt.Sprintf("probes[%d]", i)
		name := p.Suffix + "\x00" + p.Logger
		switch {
		case (p.Names != "") != (m.Form == SenMLForm):
			c.fault(key+".names", "goes with form senml", "write what the names of the probe's records begin with; "+
				"probes of other forms have fields")
		case m.Form == SenMLForm && len(p.Fields)+len(p.Where) > 0:
			c.fault(key+".fields", "are told by SenML itself", "leave fields and where out")
		case len(p.Fields) == 0 && m.Form != SenMLForm:
			c.fault(key+".fields", "are missing", "list at least one quantity of the probe with its unit")
		case (p.Suffix == "") == (p.Logger == ""):
			c.fault(key+".suffix", "or logger names the probe, one of them",
				"write suffix: with what stands behind the message's logger, such as -slate, or logger: with an id")
		case p.Suffix != "" && !roof.ValidID(p.Suffix):
			c.fault(key+".suffix", fmt.Sprintf("%q cannot be part of a logger's name", p.Suffix),
				"write A-Z, a-z, 0-9, . _ -")
		case p.Logger != "" && !roof.ValidID(p.Logger):
			c.fault(key+".logger", fmt.Sprintf("%q cannot name a logger", p.Logger),
				"write 1 to 64 of A-Z, a-z, 0-9, . _ -")
		case names[name]:
			c.fault(key+".suffix", "names two probes", "give each probe a name of its own")
		}
		names[name] = true
		if len(p.Where) > 0 && !m.form.pointers {
			c.fault(key+".where", "needs a payload that keys point into", "leave it out, or use form json")
		}
		m.probes = append(m.probes, &probe{p.Suffix, p.Logger, p.Names, c.conditions(key+".where", p.Where),
			c.list(key+".fields", p.Fields)})
	}
}

func (c *compiler) list(key string, fields []Field) (out []*field) {
	for i, f := range fields {
		one := fmt.Sprintf("%s[%d]", key, i)
		c.field(one, f)
		out = append(out, &field{Field: f, at: c.pointer(one+".pointer", f.Pointer),
			where: c.conditions(one+".where", f.Where)})
	}
	return out
}

func (c *compiler) field(key string, f Field) {
	units := unitsOf(f.Quantity)
	known := f.Unit == "" && len(units) == 1
	names := make([]string, len(units))
	for i, u := range units {
		known = known || f.Unit == u
		names[i] = string(u)
	}
	if !known {
		problem := fmt.Sprintf("%q is not a unit of %s", f.Unit, f.Quantity)
		if f.Unit == "" {
			problem = "is missing, and a unit is never guessed"
		}
		c.fault(key+".unit", problem, "write one of "+strings.Join(names, ", "))
	}
	if f.Decimal != "" && f.Decimal != "." && f.Decimal != "," {
		c.fault(key+".decimal", fmt.Sprintf("%q is not known", f.Decimal), `write "." or ","`)
	}
	if c.out.segments != (f.Segment != "") {
		c.fault(key+".segment", "goes with {quantity} in the topic", "use both or neither")
	}
	if c.out.form.pointers && f.Pointer == "" {
		c.fault(key+".pointer", "is missing", "write where the value stands, such as /env/temp/c, or form: number if the "+
			"payload is one bare number")
	}
	if c.out.form.fields && !c.out.form.pointers && f.Pointer != "" {
		c.fault(key+".pointer", "a bare number has no pointer", "leave it out, or use form json")
	}
}

func (c *compiler) clock(t Clock) {
	clock := &clock{form: t.Form, at: c.pointer("time.pointer", t.Pointer)}
	if t.Pointer == "" {
		c.fault("time.pointer", "is missing", "write where the time stands, such as /ts; leave time out for the time of "+
			"arrival")
	}
	switch t.Form {
	case "rfc3339", "s", "ms", "us", "ns":
		if t.Layout != "" || t.Zone != "" || t.Date != "" {
			c.fault("time.layout", "goes with form layout", "leave layout, zone and date out, or write form: layout")
		}
	case "layout":
		layout, offset, ok := goLayout(t.Layout)
		if !ok {
			c.fault("time.layout", fmt.Sprintf("%q cannot be read", t.Layout), "write one of YYYY, MM, DD, hh and mm each, "+
				"ss if there are seconds, AM for a 12-hour clock, Z at the end for an offset, and the signs between them, such as "+
				"DD.MM.YYYY hh:mm")
		}
		zone, err := time.LoadLocation(t.Zone)
		if (err != nil || t.Zone == "" || t.Zone == "Local") && (!offset || t.Zone != "") {
			c.fault("time.zone", fmt.Sprintf("%q is not a known time zone", t.Zone),
				"write the IANA zone that the logger's clock is set to, such as Europe/London")
		}
		clock.layout, clock.zone, clock.offset = layout, zone, offset
		if t.Date != "" {
			date := c.pointer("time.date", t.Date)
			clock.date = &date
		}
	default:
		c.fault("time.form", fmt.Sprintf("%q is not known", t.Form), "write rfc3339, s, ms, us, ns or layout")
	}
	c.out.clock = clock
}
