package payload

import (
	"regexp"
	"slices"
	"strings"
)

// template is the topic of a mapping, level by level.
type template struct {
	levels []level
	tells  map[string]bool // which of {case}, {logger} and {quantity} it has
}

// level is one level of a template: a literal, + or #, one of the three names
// alone, or names with text around them, such as {logger}_{quantity}.
type level struct {
	text  string
	names []string       // of a mixed level, in their order
	mixed *regexp.Regexp // matches a mixed level; a group a name
}

var templateNames = regexp.MustCompile(`\{(?:case|logger|quantity)\}`)

// levelFault is a level that cannot be read.
type levelFault struct {
	level string
	twice bool // a name that the template has already
}

// parseTemplate reads a topic's template. In a level with text around its names
// {quantity} stands for one of the segments, so that what is left of and right of
// it can be told.
func parseTemplate(topic string, segments []string) (t template, bad []levelFault) {
	t.tells = map[string]bool{}
	texts := strings.Split(topic, "/")
	for i, text := range texts {
		l := level{text: text, names: templateNames.FindAllString(text, -1)}
		for _, name := range l.names {
			if t.tells[name] {
				bad = append(bad, levelFault{name, true})
			}
			t.tells[name] = true
		}
		rest := templateNames.ReplaceAllString(text, "")
		switch {
		case text == "+" || text == "#" && i == len(texts)-1:
		case strings.ContainsAny(rest, "+#{}"),
			rest == "" && len(l.names) > 1: // nothing says where one ends
			bad = append(bad, levelFault{text, false})
		case rest != "" && len(l.names) > 0:
			l.mixed = mixedLevel(text, segments)
		}
		t.levels = append(t.levels, l)
	}
	return t, bad
}

// mixedLevel is the expression of a level with text around its names.
func mixedLevel(text string, segments []string) *regexp.Regexp {
	var b strings.Builder
	b.WriteString(`^`)
	from := 0
	for _, at := range templateNames.FindAllStringIndex(text, -1) {
		b.WriteString(regexp.QuoteMeta(text[from:at[0]]))
		if text[at[0]:at[1]] == "{quantity}" {
			quoted := make([]string, len(segments))
			for i, s := range segments {
				quoted[i] = regexp.QuoteMeta(s)
			}
			b.WriteString(`(` + strings.Join(quoted, "|") + `)`)
		} else {
			b.WriteString(`(.+)`)
		}
		from = at[1]
	}
	b.WriteString(regexp.QuoteMeta(text[from:]) + `$`)
	return regexp.MustCompile(b.String())
}

// segmentsOf lists what the fields take for {quantity}.
func segmentsOf(m Mapping) (out []string) {
	for _, f := range allFields(m) {
		if f.Segment != "" && !slices.Contains(out, f.Segment) {
			out = append(out, f.Segment)
		}
	}
	return out
}

// allFields are those of the message's logger and of its probes.
func allFields(m Mapping) []Field {
	out := slices.Clone(m.Fields)
	for _, p := range m.Probes {
		out = append(out, p.Fields...)
	}
	return out
}

// filter is the MQTT topic filter of the template.
func (t template) filter() string {
	out := make([]string, len(t.levels))
	for i, l := range t.levels {
		if out[i] = l.text; len(l.names) > 0 {
			out[i] = "+"
		}
	}
	return strings.Join(out, "/")
}

// captured is what a topic tells.
type captured struct{ caseID, logger, quantity string }

func (c *captured) set(name, text string) {
	switch name {
	case "{case}":
		c.caseID = text
	case "{logger}":
		c.logger = text
	case "{quantity}":
		c.quantity = text
	}
}

// match holds a topic against the template.
func (t template) match(topic []string) (c captured, ok bool) {
	for i, l := range t.levels {
		if l.text == "#" {
			return c, true
		}
		if i >= len(topic) {
			return c, false
		}
		switch {
		case l.text == "+":
		case l.mixed != nil:
			found := l.mixed.FindStringSubmatch(topic[i])
			if found == nil {
				return c, false
			}
			for j, name := range l.names {
				c.set(name, found[j+1])
			}
		case len(l.names) == 1:
			c.set(l.names[0], topic[i])
		case l.text != topic[i]:
			return c, false
		}
	}
	return c, len(topic) == len(t.levels)
}

// covers reports whether every topic of the other template is one of this.
func (t template) covers(other template) bool {
	for i, l := range t.levels {
		if l.text == "#" {
			return true
		}
		if i >= len(other.levels) {
			return false
		}
		o := other.levels[i]
		free := l.text == "+" || len(l.names) == 1 && l.mixed == nil
		literal := o.text != "+" && o.text != "#" && len(o.names) == 0
		switch {
		case o.text == "#":
			return false
		case free || l.text == o.text:
		case l.mixed != nil && literal && l.mixed.MatchString(o.text):
		default:
			return false
		}
	}
	return len(t.levels) == len(other.levels)
}
