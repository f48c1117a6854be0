package payload

import (
	"maps"
	"slices"
	"strconv"
	"strings"

	"dewcase/internal/roof"
)

// byPointers proposes the fields, probes, time and logger of payloads that keys
// point into.
func (f *family) byPointers(p *Proposal, zone string) bool {
	m := &p.Mapping
	if f.form == JSONForm || f.form == CBORForm {
		m.Each = f.each()
	}
	var outer []*gathered
	all := make([][]leaf, 0, len(f.all))
	for _, one := range f.all {
		if f.form == LineForm {
			for _, item := range one.root.items {
				all = append(all, leaves(item, maxLeaves))
			}
			continue
		}
		if m.Each == "" {
			all = append(all, one.leaves)
			continue
		}
		for _, item := range f.parts(m, one) {
			all = append(all, leaves(item, maxLeaves))
		}
	}
	keys := gather(all)
	if m.Each == "" {
		columnsAside(keys)
	}
	framed := f.form == BTHomeForm || f.form == RAWv2Form
	byType := false
	if !framed && !probes(m, keys) {
		if keys, byType = f.byTypes(m); !byType {
			return false
		}
	}
	m.OnlyPresent = true
	prefix := ""
	clock := f.clock(keys)
	if clock == nil && m.Each != "" { // the time of the whole
		roots := make([][]leaf, 0, len(f.all))
		for _, one := range f.all {
			roots = append(roots, slices.DeleteFunc(slices.Clone(one.leaves), func(l leaf) bool {
				return within(l.pointer, strings.TrimPrefix(m.Each, "#"))
			}))
		}
		outer = gather(roots)
		clock, prefix = f.clock(outer), "#"
		keys = append(keys, outer...)
	}
	if clock != nil {
		clock.Pointer = prefix + clock.Pointer
		if clock.Date != "" {
			clock.Date = prefix + clock.Date
		}
		if clock.Form == "layout" && !strings.HasSuffix(clock.Layout, "Z") {
			f.zoneOf(m, clock, keys, zone)
		}
		m.Time = clock
	}
	if byType {
		for _, g := range keys {
			p.Keys = append(p.Keys, g.Key)
		}
		return true
	}
	f.otherUnits(m, keys, all)
	f.loggerKey(m, keys, outer)
	if apart(all, m) {
		m.Pair = defaultPair
	}
	for _, g := range keys {
		p.Keys = append(p.Keys, g.Key)
	}
	return true
}

// each finds the array of objects that hold quantities: of nested ones the
// innermost, with a * for the place in those around it.
func (f *family) each() string {
	for _, one := range f.all {
		for _, l := range one.leaves {
			if _, ok := quantityLike(l); !ok {
				continue
			}
			steps, inner := strings.Split(l.pointer, "/"), 0
			all := slices.Clone(steps)
			for i := 1; i < len(steps)-1; i++ {
				at, err := parsePointer(strings.Join(steps[:i], "/"))
				list, ok := at.of(one.root, one.root)
				if err == nil && ok && opened(list).kind == arrayKind {
					all[i], inner = "*", i
				}
			}
			if inner > 0 {
				f.eachOfMembers(all[:inner+1], steps)
				return "#" + strings.Join(all[:inner], "/")
			}
		}
	}
	return ""
}

// eachOfMembers puts a * for the name of an object's member where several members are
// arrays alike: {"node 1": [...], "node 2": [...]}. The member is then the logger.
func (f *family) eachOfMembers(all, steps []string) {
	last := len(all) - 2 // the array's own step
	if last < 1 || all[last] == "*" {
		return
	}
	around, _ := parsePointer(strings.Join(steps[:last], "/"))
	names := map[string]bool{}
	for _, one := range f.all {
		object, ok := around.of(one.root, one.root)
		if object = opened(object); !ok || object.kind != objectKind {
			return
		}
		for i, item := range object.items {
			if item.kind == arrayKind && len(item.items) > 0 && item.items[0].kind == objectKind {
				names[object.names[i]] = true
			}
		}
	}
	if len(names) > 1 && !slices.ContainsFunc(slices.Collect(maps.Keys(names)), func(n string) bool {
		return nameOfPointer("/" + escapeToken(n)).ok
	}) {
		all[last] = "*"
	}
}

// within reports whether a pointer leads into an array or object of each.
func within(pointer, each string) bool {
	steps, of := strings.Split(pointer, "/"), strings.Split(each, "/")
	if len(steps) <= len(of) {
		return false
	}
	for i, step := range of {
		if step != "*" && step != steps[i] {
			return false
		}
	}
	return true
}

// columnsAside leaves out numbers that stand in arrays beside an array of times: they
// are one quantity over and over, not one of several probes.
func columnsAside(keys []*gathered) {
	in := func(g *gathered) (name string, ok bool) {
		steps := strings.Split(g.Pointer, "/")
		last := steps[len(steps)-1]
		if len(steps) < 3 || strings.IndexFunc(last, func(r rune) bool { return r < '0' || r > '9' }) >= 0 {
			return "", false
		}
		return steps[len(steps)-2], true
	}
	times := slices.ContainsFunc(keys, func(g *gathered) bool {
		name, ok := in(g)
		return ok && slices.ContainsFunc(words(name), func(w string) bool { return slices.Contains(timeWords, w) })
	})
	for _, g := range keys {
		if _, ok := in(g); ok && times {
			g.Like = false
		}
	}
}

// probes sorts what looks like quantities into the message's logger and further
// probes, by what their keys have in common; false where there is nothing.
func probes(m *Mapping, keys []*gathered) bool {
	var stems []string
	at := map[string][]*gathered{}
	count := map[roof.Quantity]int{}
	for _, g := range keys {
		if g.Like && g.Quantity != roof.BatteryPct {
			count[g.Quantity]++
		}
	}
	single := true // every quantity at one place only: one logger, wherever they stand
	for _, n := range count {
		single = single && n == 1
	}
	for _, g := range keys {
		if !g.Like {
			continue
		}
		stem := g.rest
		if single || g.Quantity == roof.BatteryPct {
			stem = ""
		}
		if at[stem] == nil {
			stems = append(stems, stem)
		}
		at[stem] = append(at[stem], g)
	}
	if len(count) == 0 {
		return false
	}
	besideNumber(stems, at)
	main := mainStem(stems, at)
	if battery := at[""]; main != "" && battery != nil &&
		!slices.ContainsFunc(battery, func(g *gathered) bool { return g.Quantity != roof.BatteryPct }) {
		at[main] = append(at[main], battery...)
		delete(at, "")
	}
	shared := sharedSteps(stems)
	for _, stem := range stems {
		if at[stem] == nil {
			continue
		}
		fields := fieldsAt(at[stem], keys)
		if stem == main {
			m.Fields = fields
			continue
		}
		suffix := "-" + nameFrom(strings.Join(strings.Split(stem, "/")[min(shared, strings.Count(stem, "/")):], "-"))
		if stem == "" {
			suffix = "-0"
		}
		for _, g := range at[stem] {
			g.Probe = suffix
		}
		m.Probes = append(m.Probes, Probe{Suffix: suffix, Fields: fields})
	}
	return true
}

// besideNumber puts a humidity that has a number of its own to the temperature with the
// number before it, else the one behind: channels of one probe are counted on.
func besideNumber(stems []string, at map[string][]*gathered) {
	only := func(stem string, q roof.Quantity) bool {
		return len(at[stem]) > 0 && !slices.ContainsFunc(at[stem], func(g *gathered) bool { return g.Quantity != q })
	}
	for _, stem := range stems {
		head := strings.TrimRight(stem, "0123456789")
		n, err := strconv.Atoi(stem[len(head):])
		if err != nil || !only(stem, roof.RHPct) {
			continue
		}
		for _, beside := range []int{n - 1, n + 1} {
			if to := head + strconv.Itoa(beside); only(to, roof.TempC) {
				at[to] = append(at[to], at[stem]...)
				delete(at, stem)
				break
			}
		}
	}
}

// mainStem is the probe that is the message's logger: the first with temperature
// and humidity, else with temperature, else the first with more than a battery.
func mainStem(stems []string, at map[string][]*gathered) string {
	best, most := stems[0], -1
	for _, stem := range stems {
		if at[stem] == nil {
			continue
		}
		worth := 0
		for _, g := range at[stem] {
			switch g.Quantity {
			case roof.TempC:
				worth |= 2
			case roof.RHPct:
				worth |= 4
			case roof.BatteryPct:
			default:
				worth |= 1
			}
		}
		if worth > most {
			best, most = stem, worth
		}
	}
	return best
}

// sharedSteps is how many first steps all stems have in common.
func sharedSteps(stems []string) int {
	first := strings.Split(stems[0], "/")
	n := len(first)
	for _, stem := range stems[1:] {
		steps := strings.Split(stem, "/")
		same := 0
		for same < min(n, len(steps)) && steps[same] == first[same] {
			same++
		}
		n = same
	}
	return n
}

// fieldsAt makes the fields of one probe, each quantity once, in the best unit.
func fieldsAt(found, keys []*gathered) (out []Field) {
	for q := range roof.Quantity(roof.QuantityCount) {
		var best *gathered
		for _, g := range found {
			switch {
			case g.Quantity != q:
			case best == nil:
				best = g
			case best.unit != Celsius && g.unit == Celsius, best.weak && !g.weak && best.unit == g.unit:
				best.By = append(best.By, SecondOfKind)
				best = g
			default:
				g.By = append(g.By, SecondOfKind)
			}
		}
		if best != nil {
			out = append(out, best.field(unitBeside(best, keys)))
		}
	}
	return out
}

// unitBeside is the unit that a key such as unit or TempUnit in the same place
// tells.
func unitBeside(g *gathered, keys []*gathered) Unit {
	for _, k := range keys {
		name := k.Pointer[strings.LastIndexByte(k.Pointer, '/')+1:]
		if !slices.ContainsFunc(words(name), func(w string) bool { return w == "unit" || w == "units" || w == "uom" }) ||
			len(k.texts) != 1 {
			continue
		}
		parent := k.Pointer[:len(k.Pointer)-len(name)]
		u, ok := unitWords[strings.ToLower(k.last.text)]
		if ok && strings.HasPrefix(g.Pointer, parent) && slices.Contains(unitsOf(g.Quantity), u) {
			return u
		}
	}
	return ""
}

// otherUnits adds a quantity in its second unit as a field of its own where it comes
// without the first: some devices of one topic tell F and others C.
func (f *family) otherUnits(m *Mapping, keys []*gathered, all [][]leaf) {
	if len(m.Probes) > 0 || f.form == NumberForm {
		return
	}
	for _, g := range keys {
		if !g.Like || g.Role != NoRole || !slices.Contains(g.By, SecondOfKind) || g.unit == "" {
			continue
		}
		i := slices.IndexFunc(m.Fields, func(have Field) bool { return have.Quantity == g.Quantity })
		alone := i >= 0 && slices.ContainsFunc(all, func(one []leaf) bool {
			has := func(pointer string) bool {
				return slices.ContainsFunc(one, func(l leaf) bool { return l.pointer == pointer && l.kind != nullKind })
			}
			return has(g.Pointer) && !has(m.Fields[i].Pointer)
		})
		if alone {
			m.Fields = append(m.Fields, g.field(""))
		}
	}
}

// apart reports whether quantities of one logger always come in messages of their
// own, which are then to be joined.
func apart(all [][]leaf, m *Mapping) bool {
	if len(m.Fields) < 2 || len(all) < 2 {
		return false
	}
	for _, leaves := range all {
		n := 0
		for _, l := range leaves {
			if slices.ContainsFunc(m.Fields, func(f Field) bool { return f.Pointer == l.pointer }) {
				n++
			}
		}
		if n > 1 {
			return false
		}
	}
	return true
}
