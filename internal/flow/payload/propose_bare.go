package payload

import (
	"slices"
	"strings"
)

// bareNumbers proposes a mapping of topics whose payload is one number: a level
// of the topic must say of what.
func (f *family) bareNumbers(p *Proposal) bool {
	at, ok := f.quantityLevel()
	if !ok {
		return false
	}
	by := map[string][]leaf{}
	var segments []string
	for _, one := range f.all {
		segment := one.levels[at]
		if by[segment] == nil {
			segments = append(segments, segment)
		}
		by[segment] = append(by[segment], leaf{"/" + escapeToken(segment), one.root})
	}
	slices.Sort(segments)
	var all [][]leaf
	for _, s := range segments {
		for _, l := range by[s] {
			all = append(all, []leaf{l})
		}
	}
	keys := gather(all)
	before, after, mixed := aroundQuantity(segments)
	if !mixed && !probes(&p.Mapping, keys) {
		return false
	}
	if mixed {
		// What stands around the quantity's word is the logger.
		at2 := map[string]*gathered{}
		for _, g := range keys {
			if word := before(g.Pointer); g.Like && at2[word] == nil {
				at2[word] = g
				field := g.field("")
				field.Segment = word
				p.Mapping.Fields = append(p.Mapping.Fields, field)
			}
		}
		if len(at2) == 0 {
			return false
		}
	}
	for i := range p.Mapping.Fields {
		fieldOfSegment(&p.Mapping.Fields[i])
	}
	for _, probe := range p.Mapping.Probes {
		for i := range probe.Fields {
			fieldOfSegment(&probe.Fields[i])
		}
	}
	if mixed {
		levels := f.literals("+")
		levels[at] = after
		p.Mapping.Topic = strings.Join(levels, "/")
	} else {
		f.loggerLevel(&p.Mapping, at)
	}
	for _, g := range keys {
		g.Pointer = strings.TrimPrefix(g.Pointer, "/")
		p.Keys = append(p.Keys, g.Key)
	}
	f.rename(&p.Mapping)
	return true
}

// fieldOfSegment turns a field that was read by a pointer into one of a level.
func fieldOfSegment(f *Field) {
	if f.Segment == "" {
		token, _ := parsePointer(f.Pointer)
		f.Segment = token.tokens[0]
	}
	f.Pointer, f.Text = "", false
}

// quantityLevel is the last level at which every topic's word names a quantity, or
// at which at least one does and all others are the same.
func (f *family) quantityLevel() (at int, ok bool) {
	best, most := 0, 0
	for i := range f.all[0].levels {
		n := 0
		for _, one := range f.all {
			if nameOfPointer("/" + escapeToken(one.levels[i])).ok {
				n++
			}
		}
		if n > 0 && n >= most {
			best, most = i, n
		}
	}
	return best, most > 0
}

// aroundQuantity looks whether levels are a logger's name and a quantity in one,
// such as loft_temperature. word is then the part of a level that names the
// quantity, and template the level of the mapping's topic.
func aroundQuantity(segments []string) (word func(pointer string) string, template string, mixed bool) {
	cut := func(s string) (name, quantity string, first bool) {
		for _, sign := range []string{"_", "-", "."} {
			if i := strings.LastIndex(s, sign); i > 0 && i < len(s)-1 {
				if n := nameOfPointer("/" + s[i+1:]); n.ok && n.rest == "" && !nameOfPointer("/"+s[:i]).ok {
					return s[:i], s[i+1:], false
				}
			}
			if i := strings.Index(s, sign); i > 0 && i < len(s)-1 {
				if n := nameOfPointer("/" + s[:i]); n.ok && n.rest == "" && !nameOfPointer("/"+s[i+1:]).ok {
					return s[i+1:], s[:i], true
				}
			}
		}
		return "", "", false
	}
	names := map[string]bool{}
	for _, s := range segments {
		name, quantity, first := cut(s)
		if name == "" {
			continue
		}
		if _, ok := unitWords[strings.ToLower(name)]; ok || otherWords[strings.ToLower(name)] {
			continue
		}
		sign := s[len(name) : len(s)-len(quantity)]
		t := "{logger}" + sign + "{quantity}"
		if first {
			sign = s[len(quantity) : len(s)-len(name)]
			t = "{quantity}" + sign + "{logger}"
		}
		if template != "" && t != template {
			continue
		}
		template = t
		names[name] = true
	}
	word = func(pointer string) string {
		token, _ := parsePointer(pointer)
		_, quantity, _ := cut(token.tokens[0])
		return quantity
	}
	return word, template, len(names) > 0
}
