package casefile

import (
	"fmt"
	"math"
	"regexp"
	"time"
	"unicode"
	"unicode/utf8"

	"dewcase/internal/flow/strictyaml"
	"dewcase/internal/roof"
)

func quoted(s string) string { return fmt.Sprintf("%q", strictyaml.Shorten(s)) }

// isUnknown reports the word unknown, which is as good as leaving the key out.
func isUnknown(n strictyaml.Node) bool { return n.Is("unknown") }

// number reads an optional number; nil is unknown.
func number(n strictyaml.Node, low, high float64) *float64 {
	if isUnknown(n) {
		return nil
	}
	x, ok := n.Number(low, high)
	if !ok {
		return nil
	}
	return &x
}

// word reads one of a few words; unknown and a missing key are "".
func word(n strictyaml.Node, allowed ...string) string {
	w, _ := n.Word(append(allowed, "unknown")...)
	if w == "unknown" {
		return ""
	}
	return w
}

func answer(n strictyaml.Node) roof.Answer {
	if isUnknown(n) {
		return roof.Unknown
	}
	yes, ok := n.YesNo()
	switch {
	case !ok:
		return roof.Unknown
	case yes:
		return roof.Yes
	}
	return roof.No
}

func ident(n strictyaml.Node, what string) string {
	id, ok := n.Text()
	if ok && !roof.ValidID(id) {
		n.Fault(quoted(id)+" cannot name "+what, "write 1 to 64 of A-Z, a-z, 0-9, . _ -")
		return ""
	}
	return id
}

// unique notes a name that came before, and remembers a new one.
func unique(n strictyaml.Node, id string, lines map[string]int) bool {
	if id == "" {
		return false
	}
	if line, twice := lines[id]; twice {
		n.Fault(fmt.Sprintf("%s is already used on line %d", quoted(id), line), "give each its own id")
		return false
	}
	lines[id] = n.Line
	return true
}

// label reads free text for people; line breaks stay, other characters that
// cannot be printed are faults.
func label(n strictyaml.Node, limit int) string {
	s, ok := n.Text()
	if !ok {
		return ""
	}
	if utf8.RuneCountInString(s) > limit {
		n.Fault(fmt.Sprintf("is %d characters long", utf8.RuneCountInString(s)), fmt.Sprintf("keep it to %d", limit))
		return ""
	}
	for _, r := range s {
		if r != '\n' && r != '\t' && unicode.IsControl(r) || r == utf8.RuneError || r == '\ufeff' {
			n.Fault(fmt.Sprintf("holds the character U+%04X", r), "write plain text")
			return ""
		}
	}
	return s
}

var bareDate = regexp.MustCompile(`^[0-9]{4}-[0-9]{2}-[0-9]{2}$`)

// instant reads a time of the case file: RFC 3339, or a bare date, which is
// 00:00 in the property's zone.
func (r *reader) instant(n strictyaml.Node) (time.Time, bool) {
	s, ok := n.Text()
	if !ok {
		return time.Time{}, false
	}
	const remedy = "write an RFC 3339 time such as 2026-12-20T12:00:00Z, or a date such as 2026-12-20 for 00:00 at the " +
		"property"
	at, err := roof.ParseTime(s)
	if bareDate.MatchString(s) {
		var day time.Time
		day, err = time.Parse(time.DateOnly, s)
		at = time.Date(day.Year(), day.Month(), day.Day(), 0, 0, 0, 0, r.zone).UTC()
	}
	if err != nil {
		n.Fault(quoted(s)+" is not a time", remedy)
		return time.Time{}, false
	}
	if y := at.Year(); y < 1000 || y > 2500 {
		n.Fault(quoted(s)+" cannot be", "write a year from 1000 to 2500")
		return time.Time{}, false
	}
	return at, true
}

// hours turns hours into a duration, to the millisecond.
func hours(h float64) time.Duration {
	return time.Duration(math.Round(h*3_600_000)) * time.Millisecond
}

// Addresses are only checked for what would break a mail's header; whether one
// exists is the mail server's to say.
var mailAddress = regexp.MustCompile(`^[^\s@<>(),;:"\\\[\]]{1,64}@[^\s@<>(),;:"\\\[\]]{1,190}$`)
var english = regexp.MustCompile(`^(?i:en)(-[A-Za-z0-9]{2,8}){0,3}$`)
var clockTime = regexp.MustCompile(`^([01][0-9]|2[0-3]):[0-5][0-9]$`)

func contacts(n strictyaml.Node) (c roof.Contacts) {
	m := n.Map("householder", "consultant", "language")
	read := func(n strictyaml.Node) (out []string) {
		for _, entry := range n.List() {
			if a, ok := matching(entry, mailAddress, "a mail address", "write one such as ann@example.org"); ok {
				out = append(out, a)
			}
		}
		return out
	}
	c.Householder = read(m.Get("householder"))
	c.Consultant = read(m.Get("consultant"))
	// Nothing is written in another language, so none may be asked for in vain.
	matching(m.Get("language"), english, "a language that people are written to in", "write en or leave it out")
	return c
}

func alerts(n strictyaml.Node) (a roof.AlertSettings) {
	m := n.Map("wet_hours", "wet_nights", "timber_pct", "mould_index", "silent_h", "battery_pct", "quiet_from", "quiet_to",
		"escalate_h")
	for _, part := range []struct {
		key       string
		to        *float64
		low, high float64
	}{
		{"wet_hours", &a.WetHours, 0.01, 24}, {"timber_pct", &a.TimberPct, 1, 100}, {"mould_index", &a.MouldIndex, 0.01, 6},
		{"silent_h", &a.SilentH, 0.01, 8784}, {"battery_pct", &a.BatteryPct, 1, 100},
		{"escalate_h", &a.EscalateH, 0.01, 8784},
	} {
		if x, ok := m.Get(part.key).Number(part.low, part.high); ok {
			*part.to = x
		}
	}
	if k, ok := m.Get("wet_nights").Whole(1, 366); ok {
		a.WetNights = k
	}
	const remedy = "write a time of day from 00:00 to 23:59, in quotes, such as \"22:00\""
	a.QuietFrom, _ = matching(m.Get("quiet_from"), clockTime, "a time of day", remedy)
	a.QuietTo, _ = matching(m.Get("quiet_to"), clockTime, "a time of day", remedy)
	return a
}

func matching(n strictyaml.Node, pattern *regexp.Regexp, what, remedy string) (string, bool) {
	s, ok := n.Text()
	if ok && !pattern.MatchString(s) {
		n.Fault(quoted(s)+" is not "+what, remedy)
		return "", false
	}
	return s, ok
}
