package casefile

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"dewcase/internal/flow/strictyaml"
	"dewcase/internal/roof"
)

func quoted(s string) string { return fmt.Sprintf("%q", strictyaml.Shorten(s)) }

// id is the name of what the section describes.
func (s *section) id(to *string, remedy, what string) {
	s.key("id", remedy, text(*to), func(n strictyaml.Node) { *to = ident(n, what) })
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

// timeAt reads a time of the case file: RFC 3339, or a bare date, which is
// 00:00 in the property's zone.
func (k *met) timeAt(n strictyaml.Node) (time.Time, bool) {
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
		at = time.Date(day.Year(), day.Month(), day.Day(), 0, 0, 0, 0, k.zone).UTC()
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

func toMillisecond(seconds float64) time.Duration {
	return time.Duration(math.Round(seconds*1000)) * time.Millisecond
}

// Addresses are only checked for what would break a mail's header; whether one
// exists is the mail server's to say.
var mailAddress = regexp.MustCompile(`^[^\s@<>(),;:"\\\[\]]{1,64}@[^\s@<>(),;:"\\\[\]]{1,190}$`)
var english = regexp.MustCompile(`^(?i:en)(-[A-Za-z0-9]{2,8}){0,3}$`)
var clockTime = regexp.MustCompile(`^([01][0-9]|2[0-3]):[0-5][0-9]$`)

func (s *section) contacts(c *roof.Contacts) {
	address := func(n strictyaml.Node) (string, bool) {
		return matching(n, mailAddress, "a mail address", "write one such as ann@example.org")
	}
	words(s, "householder", &c.Householder, address)
	words(s, "consultant", &c.Consultant, address)
	// Nothing is written in another language, so none may be asked for in vain.
	s.key("language", "", "", func(n strictyaml.Node) {
		matching(n, english, "a language that people are written to in", "write en or leave it out")
	})
}

// What is dialled: a plus first or not, digits with blanks, dots, hyphens, brackets.
var telephone = regexp.MustCompile(`^\+?[0-9][0-9 ().\-/]{2,30}[0-9]$`)

func (s *section) person(p *roof.Person) {
	s.label("name", &p.Name, 100)
	s.key("telephone", "", text(p.Telephone), func(n strictyaml.Node) {
		p.Telephone, _ = matching(n, telephone, "a telephone number",
			"write it in quotes as it is dialled, such as \"+44 1632 960123\"")
	})
}

func (s *section) alerts(a *roof.AlertSettings) {
	s.given("wet_hours", &a.WetHours, 0.01, 24)
	s.key("wet_nights", "", given(float64(a.WetNights)), func(n strictyaml.Node) { a.WetNights, _ = n.Whole(1, 366) })
	s.given("timber_pct", &a.TimberPct, 1, 100)
	s.given("mould_index", &a.MouldIndex, 0.01, 6)
	s.given("silent_h", &a.SilentH, 0.01, 8784)
	s.given("battery_pct", &a.BatteryPct, 1, 100)
	clock := func(key string, to *string) {
		s.key(key, "", text(*to), func(n strictyaml.Node) {
			*to, _ = matching(n, clockTime, "a time of day",
				"write a time of day from 00:00 to 23:59, in quotes, such as \"22:00\"")
		})
	}
	clock("quiet_from", &a.QuietFrom)
	clock("quiet_to", &a.QuietTo)
	s.given("escalate_h", &a.EscalateH, 0.01, 8784)
}

func matching(n strictyaml.Node, pattern *regexp.Regexp, what, remedy string) (string, bool) {
	s, ok := n.Text()
	if ok && !pattern.MatchString(s) {
		n.Fault(quoted(s)+" is not "+what, remedy)
		return "", false
	}
	return s, ok
}

// date writes a day of the property as the bare date it most likely was.
func date(at *time.Time, zone *time.Location) string {
	if at == nil {
		return ""
	}
	if zone != nil {
		y, m, d := at.In(zone).Date()
		if time.Date(y, m, d, 0, 0, 0, 0, zone).Equal(*at) {
			return fmt.Sprintf("%04d-%02d-%02d", y, m, d)
		}
	}
	return instant(*at)
}

func instant(at time.Time) string {
	if at.IsZero() {
		return ""
	}
	return at.UTC().Format(time.RFC3339Nano)
}

func decimal(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }

// given writes a number whose zero means that it was not given.
func given(x float64) string {
	if x == 0 {
		return ""
	}
	return decimal(x)
}

// Plain words need no quotes, except those that some YAML reader takes for
// something else than text.
var (
	plainText = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_/-]*( [A-Za-z0-9_/-]+)*$`)
	takenWord = regexp.MustCompile(`^(?i:y|n|yes|no|on|off|true|false|null|nan|inf|unknown)$`)
)

// text writes text, nothing for none.
func text(s string) string {
	if s == "" || plainText.MatchString(s) && !takenWord.MatchString(s) {
		return s
	}
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", `\n`, "\t", `\t`).Replace(s) + `"`
}
