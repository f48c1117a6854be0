package exports

import "strings"

// seriesOf tells the series of a row: of which logger, and in a long file of
// which quantity.
type seriesOf struct {
	layout  *layout
	namer   *namer
	key     string
	name    string // of the logger as the file has it
	meaning meaning
	known   map[string]seriesInfo
	raw     []byte
}

type seriesInfo struct {
	key, name string
	meaning   meaning
}

// of looks at the row's names.
func (s *seriesOf) of(r *rows) {
	l := s.layout
	if len(l.names) == 0 && !l.long {
		return
	}
	s.raw = s.raw[:0]
	for _, columns := range [][]int{l.names, l.kinds} {
		for _, i := range columns {
			s.raw = append(append(s.raw, r.cells[i]...), 0)
		}
	}
	if l.long && l.unit >= 0 {
		s.raw = append(s.raw, r.cells[l.unit]...)
	}
	info, known := s.known[string(s.raw)]
	if !known {
		info = s.read(r)
		if s.known == nil {
			s.known = map[string]seriesInfo{}
		}
		if len(s.known) < maxNames {
			s.known[string(s.raw)] = info
		}
	}
	s.key, s.name, s.meaning = info.key, info.name, info.meaning
}

func (s *seriesOf) read(r *rows) seriesInfo {
	l := s.layout
	info := seriesInfo{key: string(s.raw)}
	cell := func(columns []int) string {
		var parts []string
		for _, i := range columns {
			if c := string(r.cells[i]); c != "" {
				parts = append(parts, c)
			}
		}
		return strings.Join(parts, " ")
	}
	if len(l.names) > 0 {
		info.name = string(r.cells[l.names[0]])
	}
	if !l.long {
		s.namer.id(info.name)
		return info
	}
	info.meaning = understand(cell(l.kinds))
	if _, ok := info.meaning.role.quantity(); !ok && info.name != "" {
		// sensor.loft_temperature: the name says both
		_, entity, found := strings.Cut(info.name, ".")
		if !found {
			entity = info.name
		}
		if m := understand(entity); m.role != "" {
			unit := info.meaning.unit
			if info.meaning = m; m.unit == "" {
				info.meaning.unit = unit
			}
			if m.label != "" {
				info.name = m.label
			}
		}
	}
	if l.unit >= 0 {
		u := unitIn(string(r.cells[l.unit]))
		if u == "" {
			u = unitWords[strings.ToLower(string(r.cells[l.unit]))]
		}
		if u != "" {
			info.meaning.unit = u
			if _, ok := info.meaning.role.quantity(); !ok && info.meaning.role != unused {
				if m := understand("x " + string(r.cells[l.unit])); m.role == tempRole || m.role == rhRole {
					info.meaning.role = m.role
				}
			}
		}
	}
	if q, ok := info.meaning.role.quantity(); ok {
		if info.meaning.unit != "" && !info.meaning.unit.of(q) {
			info.meaning.role = unused
		}
		s.namer.id(info.name)
	}
	return info
}
