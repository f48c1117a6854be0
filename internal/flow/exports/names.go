package exports

import (
	"maps"
	"regexp"
	"slices"
	"strings"

	"dewcase/internal/roof"
)

// The words before a value above the table.
var (
	zoneKeys   = []string{"zone", "zeitzone", "fuseau", "zona", "fuso", "tijdzone", "tidszon", "offset", "utc", "gmt"}
	loggerKeys = wordSet(`logger device gerät messgerät datenlogger instrument прибор enregistreur registrador gerätename name station sensor appareil dispositivo apparaat enhet laite`)
	serialKeys = wordSet(`serial seriennummer s/n sn série serie matricola serienummer`)
	unitKeys   = wordSet(`unit units einheit unité unidad unità eenheid temperature temperatur`)
)

// above reads what stands over the table: zone, logger, unit, and the line of
// loggers' names over columns of the same name.
func (l *layout) above(h head, at int) {
	for _, raw := range h.lines[:at] {
		line := string(raw)
		if cells := cut(raw, l.separator); len(cells) > 0 {
			line = strings.TrimRight(strings.Join(cells, " "), " ")
		}
		key, value, found := strings.Cut(line, ":")
		if !found {
			cells := cut(raw, l.separator)
			if len(cells) < 2 || cells[0] == "" || cells[1] == "" {
				continue
			}
			key, value = cells[0], cells[1]
		}
		value = strings.TrimSpace(value)
		list := tokens(key)
		lower := strings.ToLower(key)
		switch {
		case value == "" || len(list) > 4:
		case slices.ContainsFunc(zoneKeys, func(k string) bool { return strings.Contains(lower, k) }):
			z := zoneIn(value)
			if _, ok := Zone(value); ok {
				z = value
			}
			if z != "" && l.zone == "" {
				l.zone, l.zoneFrom = z, strings.TrimSpace(key)
			}
		case slices.ContainsFunc(list, func(w string) bool { return serialKeys[w] }):
			if l.logger == "" {
				l.logger = value
			}
		case slices.ContainsFunc(list, func(w string) bool { return loggerKeys[w] }) && len(value) <= 64:
			l.logger = value
		case slices.ContainsFunc(list, func(w string) bool { return unitKeys[w] }):
			if u := unitIn(value); u.of(roof.TempC) {
				l.headUnit = u
			}
		}
	}
	if at == 0 || !l.doubled() {
		return
	}
	over := cut(h.lines[at-1], l.separator)
	last := ""
	for i := range l.columns {
		if i < len(over) && over[i] != "" {
			last = over[i]
		}
		if _, ok := l.columns[i].role.quantity(); ok && l.columns[i].label == "" {
			l.columns[i].label = last
		}
	}
}

// labels settles which columns belong to one logger.
func (l *layout) labels(house House) {
	if l.long || len(l.names) > 0 {
		for i := range l.columns {
			l.columns[i].label = ""
		}
		return
	}
	l.pairLetters()
	seen := map[string]bool{}
	var list []string
	air := func(c column) bool { return c.role == tempRole || c.role == rhRole || c.role == woodRole }
	for _, c := range l.columns {
		if air(c) && !seen[c.label] {
			seen[c.label] = true
			list = append(list, c.label)
		}
	}
	home := ""
	if len(list) == 1 && (telling(list[0]) || slices.ContainsFunc(house.Loggers,
		func(id string) bool { return strings.EqualFold(id, list[0]) })) {
		home = list[0]
	}
	// Rain, wind and sun of a station belong to its sensors outdoors.
	for _, label := range list {
		if slices.ContainsFunc(tokens(label), func(w string) bool { return outdoorWords[w] }) {
			home = label
		}
	}
	for i := range l.columns {
		c := &l.columns[i]
		if len(list) == 1 && home == "" || !air(*c) && !seen[c.label] {
			c.label = home
		}
	}
}

// numbered are labels that say the quantity once more beside a number.
var numbered = map[role]*regexp.Regexp{tempRole: regexp.MustCompile(`^(?i)t(\d{1,3})$`),
	rhRole: regexp.MustCompile(`^(?i)(?:h|f|rh|rf)?(\d{1,3})$`)}

// pairLetters gives T1 and H1, or T1 and RH1, the logger 1, where every number that
// has the one has the other.
func (l *layout) pairLetters() {
	found := map[role]map[string][]int{tempRole: {}, rhRole: {}}
	for i, c := range l.columns {
		if form := numbered[c.role]; form != nil {
			m := form.FindStringSubmatch(c.label)
			if m == nil {
				return
			}
			found[c.role][m[1]] = append(found[c.role][m[1]], i)
		}
	}
	if !slices.Equal(slices.Sorted(maps.Keys(found[tempRole])), slices.Sorted(maps.Keys(found[rhRole]))) {
		return
	}
	for _, by := range found {
		for n, at := range by {
			for _, i := range at {
				l.columns[i].label = n
			}
		}
	}
}

// telling reports whether the only label of a file can be a logger's name: one
// letter, a short number or the word sensor cannot.
func telling(label string) bool {
	return len(label) >= 3 && slices.ContainsFunc(tokens(label), func(w string) bool {
		return understand(w).role != nameRole && len(w) > 1
	})
}
