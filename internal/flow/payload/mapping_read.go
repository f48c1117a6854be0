package payload

import (
	"fmt"
	"time"

	"dewcase/internal/flow/strictyaml"
	"dewcase/internal/roof"
)

// ReadMapping reads one mapping of the configuration file and notes everything
// that is wrong with it in the document, with its key and line:
//
//	mappings:
//	  - topic: kestrel/roof/{logger}      # {case}, {logger}, {quantity}, +, #
//	    case: larkfield-9                 # where no level tells it; likewise logger:
//	    logger_pointer: /dev/id           # or the payload tells the logger
//	    loggers: {70b3d57ed0001a2b: k7-loft}
//	    form: json                        # json | number | senml | native | ignore
//	    where: {/fPort: 2}
//	    only_listed: no                   # yes: other names than those of loggers are no faults
//	    only_present: no                  # yes: messages in which no field is found are no faults
//	    each: /data                       # elements of an array, or members of an object
//	    each_name: suffix                 # logger | suffix: what a member's name is
//	    present: [/t]                     # else the message is not for this mapping
//	    fields:
//	      - {quantity: temp_c, pointer: /t, unit: C, invalid: [85, -127]}
//	      - {quantity: rh_pct, pointer: /h, unit: fraction, text: yes, decimal: ","}
//	    probes:                           # further loggers of the same message
//	      - suffix: -slate                # behind the logger's name; or logger:
//	        fields: [{quantity: temp_c, pointer: /t2, unit: C}]
//	    time: {pointer: "#/ts", form: ms} # rfc3339 | s | ms | us | ns | layout with layout: and zone:
//	    retained: accept                  # accept | ignore
//	    pair_s: 90                        # of bare numbers
func ReadMapping(n strictyaml.Node) Mapping {
	m := n.Map("topic", "case", "logger", "logger_pointer", "loggers", "only_listed", "only_present", "form", "data",
		"each", "each_name",
		"where", "present", "fields", "probes", "time", "retained", "pair_s")
	var out Mapping
	out.Topic, _ = m.Need("topic", "write the topic's template, such as kestrel/roof/{logger}").Text()
	out.Case, _ = m.Get("case").Text()
	out.Logger, _ = m.Get("logger").Text()
	out.LoggerPointer, _ = m.Get("logger_pointer").Text()
	if names := m.Get("loggers").Map(); len(names.Keys()) > 0 {
		out.Loggers = map[string]string{}
		for _, from := range names.Keys() {
			out.Loggers[from], _ = names.Get(from).Text()
		}
	}
	form, _ := m.Get("form").Word(formNames()...)
	out.Form = Form(form)
	out.Each, _ = m.Get("each").Text()
	name, _ := m.Get("each_name").Word(string(NameLogger), string(NameSuffix))
	out.EachName = EachName(name)
	out.OnlyListed, _ = m.Get("only_listed").YesNo()
	out.OnlyPresent, _ = m.Get("only_present").YesNo()
	out.Data, _ = m.Get("data").Text()
	out.Where = readConditions(m.Get("where"))
	for _, at := range m.Get("present").List() {
		if text, ok := at.Text(); ok {
			out.Present = append(out.Present, text)
		}
	}
	for _, f := range m.Get("fields").List() {
		out.Fields = append(out.Fields, readField(f))
	}
	for _, n := range m.Get("probes").List() {
		out.Probes = append(out.Probes, readProbe(n))
	}
	if t := m.Get("time").Map("pointer", "date", "form", "layout", "zone"); t.Present() {
		out.Time = &Clock{}
		out.Time.Pointer, _ = t.Get("pointer").Text()
		out.Time.Date, _ = t.Get("date").Text()
		out.Time.Form, _ = t.Get("form").Text()
		out.Time.Layout, _ = t.Get("layout").Text()
		out.Time.Zone, _ = t.Get("zone").Text()
	}
	out.Retained, _ = m.Get("retained").Word("accept", "ignore")
	if s, ok := m.Get("pair_s").Number(0, 3600); ok {
		out.Pair = time.Duration(s * float64(time.Second))
	}
	if m.Get("topic").Present() {
		_, faults := compile(out)
		for _, f := range faults {
			strictyaml.Under(m, f.key).Fault(f.problem, f.remedy)
		}
	}
	return out
}

func readConditions(n strictyaml.Node) (out []Condition) {
	m := n.Map()
	for _, pointer := range m.Keys() {
		text, _ := m.Get(pointer).Text()
		out = append(out, Condition{pointer, text})
	}
	return out
}

func readProbe(n strictyaml.Node) (p Probe) {
	m := n.Map("suffix", "logger", "names", "where", "fields")
	p.Suffix, _ = m.Get("suffix").Text()
	p.Logger, _ = m.Get("logger").Text()
	p.Names, _ = m.Get("names").Text()
	p.Where = readConditions(m.Get("where"))
	for _, f := range m.Get("fields").List() {
		p.Fields = append(p.Fields, readField(f))
	}
	return p
}

func readField(n strictyaml.Node) (f Field) {
	m := n.Map("quantity", "segment", "pointer", "where", "unit", "text", "decimal", "suffix", "invalid", "scale")
	var names []string
	for q := range roof.Quantity(roof.QuantityCount) {
		names = append(names, q.String())
	}
	if name, ok := m.Need("quantity", fmt.Sprintf("write one of %v", names)).Word(names...); ok {
		f.Quantity, _ = roof.ParseQuantity(name)
	}
	f.Segment, _ = m.Get("segment").Text()
	f.Pointer, _ = m.Get("pointer").Text()
	f.Where = readConditions(m.Get("where"))
	unit, _ := m.Get("unit").Text()
	if f.Unit = Unit(unit); unit == "%" {
		f.Unit = Percent
	}
	f.Text, _ = m.Get("text").YesNo()
	f.Decimal, _ = m.Get("decimal").Text()
	f.Suffix, _ = m.Get("suffix").Text()
	for _, word := range m.Get("invalid").List() {
		if text, ok := word.Text(); ok {
			f.Invalid = append(f.Invalid, text)
		}
	}
	if x, ok := m.Get("scale").Number(-1e9, 1e9); ok {
		f.Scale = x
	}
	return f
}
