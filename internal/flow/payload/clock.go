package payload

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"dewcase/internal/roof"
)

// clock is a Clock made ready.
type clock struct {
	at     pointer
	date   *pointer // where the date stands, of a time of day alone
	offset bool     // the layout ends with an offset
	form   string
	layout string
	zone   *time.Location
}

// goLayout turns YYYY-MM-DD hh:mm:ss with whatever signs stand between into a
// layout of package time. AM makes the clock one of 12 hours; a Z at the end, of
// which offset tells, is an offset.
func goLayout(s string) (layout string, offset, ok bool) {
	seen := map[string]bool{}
	var out strings.Builder
	s, offset = strings.CutSuffix(s, "Z")
	hour := "15"
	if strings.Contains(s, "AM") {
		hour = "3"
	}
	for s != "" {
		found := false
		for _, part := range [][2]string{{"YYYY", "2006"}, {"YY", "06"}, {"MM", "1"}, {"DD", "2"}, {"hh", hour}, {"mm", "04"},
			{"ss", "05"}, {"AM", "PM"}} {
			if strings.HasPrefix(s, part[0]) {
				if seen[part[0]] || part[0][0] == 'Y' && (seen["YYYY"] || seen["YY"]) {
					return "", false, false
				}
				seen[part[0]], found = true, true
				out.WriteString(part[1])
				s = s[len(part[0]):]
				break
			}
		}
		if found {
			continue
		}
		if !strings.ContainsRune(" T-/:.,", rune(s[0])) {
			return "", false, false
		}
		out.WriteByte(s[0])
		s = s[1:]
	}
	return out.String(), offset, (seen["YYYY"] || seen["YY"]) && seen["MM"] && seen["DD"] && seen["hh"] && seen["mm"]
}

// read reads a time. own is false where none is told.
func (c *clock) read(root, element value, arrived time.Time) (at time.Time, own bool, p *problem) {
	v, ok := c.at.of(root, element)
	if !ok || v.kind == nullKind {
		return time.Time{}, false, nil
	}
	if v.kind != textKind && v.kind != numberKind {
		return time.Time{}, false, wrong(roof.BadTime, "the time is %s", v.kind)
	}
	if c.date != nil {
		day, ok := c.date.of(root, element)
		if !ok || day.kind != textKind {
			return time.Time{}, false, nil
		}
		v.text = day.text + " " + v.text
	}
	switch c.form {
	case "rfc3339":
		at, err := roof.ParseTime(v.text)
		if err != nil || v.kind != textKind {
			return time.Time{}, false, wrong(roof.BadTime, "the time %.60q is %v", v.text, roof.ErrNotRFC3339)
		}
		return at, true, nil
	case "layout":
		at, p := c.local(v.text, arrived)
		return at, p == nil, p
	}
	at, ok = unixTime(v.text, map[string]int{"s": 0, "ms": 3, "us": 6, "ns": 9}[c.form])
	if !ok {
		return time.Time{}, false, wrong(roof.BadTime, "the time %.60q is not a count of %s since 1970", v.text, c.form)
	}
	return at, true, nil
}

// unixTime reads a decimal count of 10^-scale seconds since 1970 to the
// millisecond, digit by digit: a count of nanoseconds has more digits than a
// float64 holds.
func unixTime(text string, scale int) (time.Time, bool) {
	negative := strings.HasPrefix(text, "-")
	whole, fraction, _ := strings.Cut(strings.TrimPrefix(text, "-"), ".")
	if strings.ContainsAny(text, "eE") {
		return exponentTime(text, scale)
	}
	if whole == "" || len(whole) > 30 || len(fraction) > 30 {
		return time.Time{}, false
	}
	digits := whole + fraction
	for i := range len(digits) {
		if digits[i] < '0' || digits[i] > '9' {
			return time.Time{}, false
		}
	}
	// The first len(whole)-scale digits are seconds; three more are wanted.
	n := len(whole) - scale + 3
	ms := int64(0)
	for i := range max(n, 0) {
		ms *= 10
		if i < len(digits) {
			ms += int64(digits[i] - '0')
		}
		if ms > 1e15 {
			return time.Time{}, false
		}
	}
	if negative {
		ms = -ms
	}
	return time.UnixMilli(ms).UTC(), true
}

// exponentTime reads a count that a logger wrote with an exponent, which has no
// more digits than a float64.
func exponentTime(text string, scale int) (time.Time, bool) {
	x, p := parseNumber(text, "the time")
	if _, ok := plainDecimal(text, "."); p != nil || !ok {
		return time.Time{}, false
	}
	ms := math.Round(x * math.Pow10(3-scale))
	if math.Abs(ms) > 1e15 {
		return time.Time{}, false
	}
	return time.UnixMilli(int64(ms)).UTC(), true
}

// local reads a local time. The hour that a clock change repeats is told from
// the arrival: of the two instants the later that had come when the message
// did. Where both had long come the answer is not known, and none is made up;
// nor is one for the hour that a clock change leaves out.
func (c *clock) local(text string, arrived time.Time) (time.Time, *problem) {
	text = strings.ToUpper(strings.TrimSpace(text)) // am, pm
	if c.offset {
		at, ok := withOffset(c.layout, text)
		if !ok {
			return at, wrong(roof.BadTime, "the time %.60q is not written as the mapping's layout says", text)
		}
		return at, nil
	}
	at, err := time.ParseInLocation(c.layout, text, c.zone)
	if err != nil {
		return time.Time{}, wrong(roof.BadTime, "the time %.60q is not written as the mapping's layout says", text)
	}
	wall, _ := time.Parse(c.layout, text)
	var instants []time.Time
	for _, shift := range []time.Duration{-3 * time.Hour, 3 * time.Hour} {
		_, offset := at.Add(shift).Zone()
		one := wall.Add(-time.Duration(offset) * time.Second)
		_, there := one.In(c.zone).Zone()
		if there == offset && (len(instants) == 0 || !instants[0].Equal(one)) {
			instants = append(instants, one)
		}
	}
	switch len(instants) {
	case 0:
		return time.Time{}, wrong(roof.BadTime, "the time %.60q does not exist in %s: the clocks were put forward over it",
			text, c.zone)
	case 1:
		return instants[0].UTC(), nil
	}
	first, second := instants[0], instants[1]
	if second.Before(first) {
		first, second = second, first
	}
	const slack = 2 * time.Minute // a clock that strays
	switch late := arrived.Add(slack); {
	case second.After(late):
		return first.UTC(), nil
	case arrived.Sub(second) < second.Sub(first):
		return second.UTC(), nil
	}
	return time.Time{}, wrong(roof.BadTime, "the time %.60q was there twice in %s when the clocks were put back; let "+
		"the logger send its offset or UTC", text, c.zone)
}

// offsetEnd is an offset behind a time.
var offsetEnd = regexp.MustCompile(`^(.*?) ?(?:Z|([+-])(\d{2}):?(\d{2})?)$`)

// withOffset reads a time with an offset behind it: Z, +01, +0100 or +01:00.
func withOffset(layout, text string) (time.Time, bool) {
	m := offsetEnd.FindStringSubmatch(text)
	if m == nil {
		return time.Time{}, false
	}
	wall, err := time.Parse(layout, m[1])
	hours, _ := strconv.Atoi(m[3])
	minutes, _ := strconv.Atoi(m[4])
	offset := time.Duration(hours)*time.Hour + time.Duration(minutes)*time.Minute
	if m[2] == "-" {
		offset = -offset
	}
	return wall.Add(-offset), err == nil && offset.Abs() <= 14*time.Hour && minutes < 60
}
