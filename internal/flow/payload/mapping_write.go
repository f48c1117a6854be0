package payload

import (
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"dewcase/internal/flow/strictyaml"
	"dewcase/internal/roof"
)

// maxMappingsBytes is the longest list of mappings that is read.
const maxMappingsBytes = 256 << 10

// ReadMappings reads a list of mappings as they stand under mappings: in the
// configuration, and everything that is wrong with them. An empty text is none.
func ReadMappings(name string, text []byte) (all []Mapping, faults roof.Faults) {
	if strings.TrimSpace(string(text)) == "" {
		return nil, nil
	}
	doc := strictyaml.Parse(name, text, maxMappingsBytes)
	for _, n := range doc.Root().List() {
		all = append(all, ReadMapping(n))
	}
	return all, doc.Faults()
}

// WriteMappings writes mappings as ReadMappings and the configuration read them.
func WriteMappings(all []Mapping) string {
	if len(all) == 0 {
		return "[]\n"
	}
	var b strings.Builder
	for _, m := range all {
		b.WriteString(m.write())
	}
	return b.String()
}

func (m Mapping) write() string {
	var w yamlKeys
	w.text("topic", m.Topic)
	w.text("case", m.Case)
	w.text("logger", m.Logger)
	w.text("logger_pointer", m.LoggerPointer)
	var names yamlKeys
	for _, from := range slices.Sorted(maps.Keys(m.Loggers)) {
		names = append(names, quoted(from)+": "+quoted(m.Loggers[from]))
	}
	w.add("loggers", names.flow())
	w.yes("only_listed", m.OnlyListed)
	w.yes("only_present", m.OnlyPresent)
	w.text("form", string(m.Form))
	w.text("data", m.Data)
	w.text("each", m.Each)
	w.text("each_name", string(m.EachName))
	w.add("where", writeConditions(m.Where))
	w.add("present", list(m.Present))
	w.add("fields", writeFields(m.Fields, "    "))
	if len(m.Probes) > 0 {
		var b strings.Builder
		for _, p := range m.Probes {
			var one yamlKeys
			one.text("suffix", p.Suffix)
			one.text("logger", p.Logger)
			one.text("names", p.Names)
			one.add("where", writeConditions(p.Where))
			one.add("fields", writeFields(p.Fields, "        "))
			b.WriteString("\n    - " + strings.Join(one, "\n      "))
		}
		w.add("probes", b.String())
	}
	if t := m.Time; t != nil {
		var one yamlKeys
		one.text("pointer", t.Pointer)
		one.text("date", t.Date)
		one.text("form", t.Form)
		one.text("layout", t.Layout)
		one.text("zone", t.Zone)
		w.add("time", one.flow())
	}
	w.text("retained", m.Retained)
	if m.Pair != 0 {
		w.add("pair_s", number(m.Pair.Seconds()))
	}
	return "- " + strings.Join(w, "\n  ") + "\n"
}

func writeConditions(all []Condition) string {
	var w yamlKeys
	for _, c := range all {
		w = append(w, quoted(c.Pointer)+": "+quoted(c.Equals))
	}
	return w.flow()
}

func writeFields(all []Field, indent string) string {
	var b strings.Builder
	for _, f := range all {
		var w yamlKeys
		w.text("quantity", f.Quantity.String())
		w.text("segment", f.Segment)
		w.text("pointer", f.Pointer)
		w.add("where", writeConditions(f.Where))
		w.text("unit", string(f.Unit))
		w.yes("text", f.Text)
		w.text("decimal", f.Decimal)
		w.text("suffix", f.Suffix)
		w.add("invalid", list(f.Invalid))
		if f.Scale != 0 {
			w.add("scale", number(f.Scale))
		}
		b.WriteString("\n" + indent + "- " + w.flow())
	}
	return b.String()
}

// yamlKeys are the keys of one mapping of YAML, each as it is written.
type yamlKeys []string

func (w *yamlKeys) add(key, written string) {
	switch {
	case written == "":
	case written[0] == '\n':
		*w = append(*w, key+":"+written)
	default:
		*w = append(*w, key+": "+written)
	}
}

func (w *yamlKeys) text(key, s string) {
	if s != "" {
		w.add(key, quoted(s))
	}
}

func (w *yamlKeys) yes(key string, is bool) {
	if is {
		w.add(key, "yes")
	}
}

func (w yamlKeys) flow() string {
	if len(w) == 0 {
		return ""
	}
	return "{" + strings.Join(w, ", ") + "}"
}

func list(all []string) string {
	if len(all) == 0 {
		return ""
	}
	out := make([]string, len(all))
	for i, s := range all {
		out[i] = quoted(s)
	}
	return "[" + strings.Join(out, ", ") + "]"
}

func number(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

var plainYAML = regexp.MustCompile(`^[A-Za-z/][A-Za-z0-9_./-]*$`)

// quoted writes a text so that it is read as that text: plain where it can be
// taken for nothing else.
func quoted(s string) string {
	switch strings.ToLower(s) {
	case "y", "n", "yes", "no", "on", "off", "true", "false", "null":
	default:
		if plainYAML.MatchString(s) {
			return s
		}
	}
	return strconv.Quote(s)
}
