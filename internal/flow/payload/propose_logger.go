package payload

import (
	"slices"
	"strings"
)

// idWords name a device, the better first; common practice.
var idWords = []string{"eui", "deveui", "mac", "addr", "address", "serial", "sn", "entity", "device", "dev", "id",
	"sensor", "node", "name", "host"}

// gatewayWords name what passes messages on for others.
var gatewayWords = []string{"gw", "gateway", "bridge", "hub", "receiver", "repeater", "rx"}

// loggerKey finds the key that names the logger, where the topics do not: where
// it tells more than one of one topic, or tells the elements of an array apart. outer
// are the keys around an array.
func (f *family) loggerKey(m *Mapping, keys, outer []*gathered) {
	parts := m.Each != "" || f.form == LineForm
	usable := func(g *gathered) bool {
		return g.Role == NoRole && (g.first.kind == textKind || g.first.kind == numberKind) && (!g.Numeric || g.whole) &&
			len(g.texts) < maxTexts && !slices.ContainsFunc(words(g.Pointer), func(w string) bool {
			return slices.Contains(gatewayWords, w)
		})
	}
	pick := func(among []*gathered) (best *gathered) {
		rank := len(idWords)
		for _, g := range among {
			name := words(g.Pointer[strings.LastIndexByte(g.Pointer, '/')+1:])
			i := slices.IndexFunc(idWords, func(w string) bool { return slices.Contains(name, w) })
			if i >= 0 && i < rank && usable(g) && (!parts || f.tellsApart(m, g.Pointer)) {
				best, rank = g, i
			}
		}
		return best
	}
	inner := slices.DeleteFunc(slices.Clone(keys), func(g *gathered) bool { return slices.Contains(outer, g) })
	take := func(g *gathered, pointer string) {
		m.LoggerPointer, g.Role = pointer, LoggerRole
		g.By = append(g.By, ByName)
	}
	best := pick(inner)
	if best == nil && parts { // whatever else tells the elements apart, such as the tag of a room
		at := slices.IndexFunc(inner, func(g *gathered) bool {
			return usable(g) && g.first.kind == textKind && g.Changes && f.tellsApart(m, g.Pointer)
		})
		if at >= 0 {
			best = inner[at]
		}
	}
	switch {
	case best != nil && (parts || f.several(best.Pointer) || f.form == BTHomeForm || f.form == RAWv2Form):
		take(best, best.Pointer)
	case strings.HasSuffix(m.Each, "/*") && !f.innerStar(m.Each):
		m.EachName = NameLogger
	case best == nil && parts:
		if around := pick(outer); around != nil && f.several(around.Pointer) {
			take(around, "#"+around.Pointer)
		}
		if m.Each != "" && !f.tellsApart(m, "") {
			m.EachName = NameSuffix
		}
	}
}

// innerStar reports whether the last * of each stands for an array's elements.
func (f *family) innerStar(each string) bool {
	at, _ := parsePointer(strings.TrimSuffix(each, "/*"))
	v, _ := at.of(f.all[0].root, f.all[0].root)
	return opened(v).kind != objectKind
}

// several reports whether a key tells more than one logger of one topic.
func (f *family) several(pointer string) bool {
	topics := map[string]map[string]bool{}
	at, _ := parsePointer(pointer)
	for _, one := range f.all {
		if v, ok := at.of(one.root, one.root); ok {
			if topics[one.Topic] == nil {
				topics[one.Topic] = map[string]bool{}
			}
			topics[one.Topic][v.text] = true
			if n := len(topics[one.Topic]); n > 1 && n < max(len(f.all), 3) {
				return true
			}
		}
	}
	return false
}

// parts are the elements of a message that are read one by one.
func (f *family) parts(m *Mapping, one cameMessage) (out []value) {
	if f.form == LineForm {
		return one.root.items
	}
	at, _ := parsePointer(m.Each)
	for _, list := range at.allOf(one.root, one.root) {
		out = append(out, list.items...)
	}
	return out
}

// tellsApart reports whether no two elements of a message with one value of the key and
// one time hold the same quantity: read by it, none would take another's place. Of no
// key ("") it is the time alone that must differ.
func (f *family) tellsApart(m *Mapping, key string) bool {
	name, _ := parsePointer(key)
	var at pointer
	if m.Time != nil {
		at, _ = parsePointer(m.Time.Pointer)
	}
	for _, one := range f.all {
		seen := map[string]bool{}
		for _, e := range f.parts(m, one) {
			of, ok := name.of(one.root, e)
			which := ""
			if key != "" {
				which = of.text
			}
			if m.Time != nil {
				if v, ok := at.of(one.root, e); ok {
					which += "\x00" + v.text
				}
			}
			for _, field := range allFields(*m) {
				p, _ := parsePointer(field.Pointer)
				if v, there := p.of(one.root, e); !there || v.kind == nullKind {
					continue
				}
				if !ok || seen[which+"\x00"+field.Pointer] {
					return false
				}
				seen[which+"\x00"+field.Pointer] = true
			}
		}
	}
	return true
}
