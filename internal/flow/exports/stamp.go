package exports

import (
	"bytes"
	"math"
	"strconv"

	"dewcase/internal/roof"
)

// Order is the order of day, month and year in a date of numbers only.
type Order string

// The orders that occur.
const (
	DMY Order = "dmy"
	MDY Order = "mdy"
	YMD Order = "ymd"
)

var orders = [...]Order{DMY, MDY, YMD}

// orderSet is a set of orders, by their place in orders.
type orderSet uint8

const allOrders orderSet = 1<<len(orders) - 1

// stamp is what stands in a cell of time, before anything is decided: its date
// as the numbers written, its time of day, its offset.
type stamp struct {
	kind     stampKind
	n        [3]int
	digits   [3]uint8
	month    int8  // place of the month where it is a word, else -1
	dayMS    int64 // time of day in ms; with pm still to be added
	half     int8  // 0 none, 1 am, 2 pm
	offset   bool
	offsetS  int
	absolute int64   // ms since 1970, of an epoch
	serial   float64 // days, of a spreadsheet's serial
}

type stampKind uint8

const (
	noStamp stampKind = iota
	dateOnly
	clockOnly
	dateAndClock
	epoch
	serialDay  // a spreadsheet's day count, with or without a fraction
	serialHour // a fraction of a day alone
)

const (
	dayMS = 24 * 60 * 60 * 1000
	// Seconds since 1970 from the year 2000 to 2100; the same in ms lies a
	// thousand times higher, so that the two cannot be mixed up.
	epochFromS, epochUntilS = 946_684_800, 4_102_444_800
	// Days since the end of 1899 from the year 2000 to 2100.
	serialFrom, serialUntil = 36_526, 73_415
)

// parseStamp reads a cell of time. What it does not know has the kind noStamp.
func parseStamp(cell []byte) stamp {
	s := stamp{month: -1}
	if s.number(cell) {
		return s
	}
	if s.compact(cell) {
		return s
	}
	cell = afterWeekday(cell)
	i := s.date(cell)
	rest := cell[i:]
	if s.kind == dateOnly {
		if len(rest) > 0 && (rest[0] == 'T' || rest[0] == 't' || rest[0] == '_') {
			rest = rest[1:]
		}
		rest = bytes.TrimLeft(rest, ", \t-")
	}
	if len(rest) == 0 {
		return s
	}
	if !s.clock(rest) {
		s.kind = noStamp
		return s
	}
	if s.kind == dateOnly {
		s.kind = dateAndClock
	} else {
		s.kind = clockOnly
	}
	return s
}

// compact reads 20261113T060000Z, the basic form of ISO 8601.
func (s *stamp) compact(cell []byte) bool {
	if len(cell) < 13 || cell[8]|0x20 != 't' || s.number(cell[:8]) && s.kind != dateOnly {
		return false
	}
	digits := 0
	for _, c := range cell[9:] {
		if c < '0' || c > '9' {
			break
		}
		digits++
	}
	if s.kind == dateOnly && (digits == 4 || digits == 6) && s.compactClock(cell[9:9+digits]) &&
		s.readOffset(cell[9+digits:]) {
		return true
	}
	*s = stamp{month: -1}
	return false
}

// afterWeekday takes a day of the week off the front of a date: Fri 13 Nov 2026. Which
// one it is says nothing more.
func afterWeekday(cell []byte) []byte {
	i := 0
	for i < len(cell) && isLetter(cell[i:]) {
		i++
	}
	if i < 2 || i > 10 {
		return cell
	}
	if n, _ := monthWord(cell); n > 0 {
		return cell
	}
	rest := bytes.TrimLeft(cell[i:], "., ")
	if len(rest) == len(cell)-i || len(rest) == 0 {
		return cell
	}
	return rest
}

// number reads a cell that is a plain number: an epoch, a serial, or a date and
// time written without anything between.
func (s *stamp) number(cell []byte) bool {
	point := -1
	for i, c := range cell {
		switch {
		case c >= '0' && c <= '9':
		case (c == '.' || c == ',') && point < 0 && i > 0:
			point = i
		default:
			return false
		}
	}
	whole := len(cell)
	if point >= 0 {
		whole = point
	}
	if whole == 0 || whole > 14 || len(cell) > 40 {
		return false
	}
	if point < 0 && whole == 10 && s.dateHour(cell) {
		return true
	}
	if point < 0 && (whole == 8 || whole == 12 || whole == 14) {
		y, m, d := atoi(cell[:4]), atoi(cell[4:6]), atoi(cell[6:8])
		s.n, s.digits, s.kind = [3]int{y, m, d}, [3]uint8{4, 2, 2}, dateOnly
		return whole == 8 || s.compactClock(cell[8:])
	}
	text := string(cell)
	if point >= 0 {
		text = text[:point] + "." + text[point+1:]
	}
	x, err := strconv.ParseFloat(text, 64)
	switch {
	case err != nil:
		return false
	case x >= epochFromS && x < epochUntilS:
		s.kind, s.absolute = epoch, int64(math.Round(x*1000))
	case x >= epochFromS*1000 && x < epochUntilS*1000:
		s.kind, s.absolute = epoch, int64(math.Round(x))
	case x >= serialFrom && x < serialUntil:
		s.kind, s.serial = serialDay, x
	case x >= 0 && x < 1 && point >= 0:
		s.kind, s.serial = serialHour, x
	default:
		return false
	}
	return true
}

// dateHour reads 2026111306, as weather services write hours. Seconds since 1970 are
// such numbers only from 2033 on.
func (s *stamp) dateHour(c []byte) bool {
	y, m, d, h := atoi(c[:4]), atoi(c[4:6]), atoi(c[6:8]), atoi(c[8:])
	if y < 1990 || y > 2032 || m < 1 || m > 12 || d < 1 || d > roof.DaysIn(y, m) || h > 24 {
		return false
	}
	s.n, s.digits, s.kind, s.dayMS = [3]int{y, m, d}, [3]uint8{4, 2, 2}, dateAndClock, int64(h)*3_600_000
	return true
}

// compactClock reads hhmm or hhmmss behind a date without anything between.
func (s *stamp) compactClock(c []byte) bool {
	h, m, sec := atoi(c[:2]), atoi(c[2:4]), 0
	if len(c) == 6 {
		sec = atoi(c[4:6])
	}
	if h > 23 || m > 59 || sec > 59 {
		return false
	}
	s.kind, s.dayMS = dateAndClock, int64(h*3600+m*60+sec)*1000
	return true
}

// date reads up to three parts of a date and returns where the rest begins. It
// leaves the kind as it is where no date begins there.
func (s *stamp) date(cell []byte) int {
	i, part := 0, 0
	var separator byte
	for part < 3 {
		start := i
		for i < len(cell) && cell[i] >= '0' && cell[i] <= '9' {
			i++
		}
		switch digits := i - start; {
		case digits >= 1 && digits <= 4 && digits != 3:
			s.n[part], s.digits[part] = atoi(cell[start:i]), uint8(digits)
		case digits == 0 && s.month < 0:
			n, m := monthWord(cell[i:])
			if n == 0 {
				return 0
			}
			i += n
			s.n[part], s.month = m, int8(part)
		default:
			return 0
		}
		if part++; part == 3 {
			break
		}
		if i >= len(cell) {
			return 0
		}
		c := cell[i]
		word := s.month >= 0 || part < 3 && isLetter(cell[i:])
		switch {
		case (c == '.' || c == '/' || c == '-') && (separator == 0 || c == separator || word):
			separator = c
			i++
			for i < len(cell) && cell[i] == ' ' {
				i++
			}
		case word || c == ' ' && (separator == 0 || s.month >= 0):
			for i < len(cell) && (cell[i] == ' ' || cell[i] == ',') {
				i++
			}
			if s.month < 0 && !isLetter(cell[i:]) {
				return 0
			}
		default:
			return 0
		}
	}
	if i < len(cell) && cell[i] == '.' && separator == '.' { // 25.11.2026. in some countries
		i++
	}
	s.kind = dateOnly
	return i
}

// clock reads a time of day with what may follow it: a fraction, am or pm, an
// offset. Everything must be used up.
func (s *stamp) clock(c []byte) bool {
	var n [3]int
	parts, i := 0, 0
	for parts < 3 {
		start := i
		for i < len(c) && i-start < 2 && c[i] >= '0' && c[i] <= '9' {
			i++
		}
		if i == start || parts > 0 && i-start != 2 {
			return false
		}
		n[parts] = atoi(c[start:i])
		parts++
		if parts == 3 || i >= len(c) || c[i] != ':' && c[i] != '.' && c[i] != 'h' {
			break
		}
		i++
	}
	if parts < 2 {
		return false
	}
	ms := int64(0)
	if parts == 3 && i+1 < len(c) && (c[i] == '.' || c[i] == ',' || c[i] == ':') {
		scale := int64(100)
		start := i + 1
		for i = start; i < len(c) && c[i] >= '0' && c[i] <= '9'; i++ {
			ms += int64(c[i]-'0') * scale
			scale /= 10
		}
		if i == start {
			return false
		}
	}
	rest := bytes.TrimSpace(c[i:])
	rest = s.halfDay(rest)
	midnight := n[0] == 24 && n[1]+n[2] == 0 && ms == 0 && s.half == 0 // the end of the day
	if n[0] > 23 && !midnight || n[1] > 59 || n[2] > 59 || s.half > 0 && (n[0] < 1 || n[0] > 12) {
		return false
	}
	h := n[0]
	if s.half > 0 {
		if h %= 12; s.half == 2 {
			h += 12
		}
	}
	s.dayMS = int64(h*3600+n[1]*60+n[2])*1000 + ms
	return s.readOffset(bytes.TrimSpace(rest))
}

// halfDay reads am or pm in its spellings and returns what follows.
func (s *stamp) halfDay(c []byte) []byte {
	if len(c) == 0 || c[0]|0x20 != 'a' && c[0]|0x20 != 'p' {
		return c
	}
	i := 1
	for i < len(c) && (c[i] == '.' || c[i] == ' ') {
		i++
	}
	if i >= len(c) || c[i]|0x20 != 'm' {
		return c
	}
	s.half = 1
	if c[0]|0x20 == 'p' {
		s.half = 2
	}
	i++
	if i < len(c) && c[i] == '.' {
		i++
	}
	return bytes.TrimSpace(c[i:])
}

// readOffset reads Z, UTC, GMT or an offset such as +01:00, +0100, +1.
func (s *stamp) readOffset(c []byte) bool {
	if len(c) == 0 {
		return true
	}
	if c[0] == '[' || c[0] == '(' {
		c = bytes.TrimRight(c[1:], "])")
	}
	seconds, ok := offsetOf(string(c))
	s.offset, s.offsetS = ok, seconds
	return ok
}

// order is the date under an order; ok is false where it cannot be one.
func (s *stamp) day(o Order) (year, month, day int, ok bool) {
	n, w := s.n, s.digits
	switch {
	case s.month >= 0:
		month = n[s.month]
		switch {
		case s.month == 0: // Nov 25 2026
			day, year = n[1], full(n[2], w[2])
		case w[0] == 4: // 2026 Nov 25
			year, day = n[0], n[2]
		case s.month == 1: // 25 Nov 2026, 25-Nov-26
			day, year = n[0], full(n[2], w[2])
		default:
			return 0, 0, 0, false
		}
	case w[0] == 4:
		year, month, day = n[0], n[1], n[2]
	case w[2] == 4 && o == YMD:
		return 0, 0, 0, false
	case o == DMY:
		day, month, year = n[0], n[1], full(n[2], w[2])
	case o == MDY:
		month, day, year = n[0], n[1], full(n[2], w[2])
	default:
		year, month, day = full(n[0], w[0]), n[1], n[2]
	}
	ok = month >= 1 && month <= 12 && day >= 1 && day <= roof.DaysIn(year, month)
	return year, month, day, ok
}

// plain says that the order does not matter: the year stands first in full, or
// the month is a word.
func (s *stamp) plain() bool { return s.month >= 0 || s.digits[0] == 4 }

// wallMS is the time of the clock as ms of a clock that shows UTC; ok is false
// where the date cannot be.
func (s *stamp) wallMS(o Order, date1904 bool) (ms int64, ok bool) {
	switch s.kind {
	case epoch:
		return s.absolute, true
	case serialDay:
		days := s.serial - 25569 // 1970-01-01
		if date1904 {
			days += 1462
		}
		return int64(math.Round(days*86400)) * 1000, true // to the second: the digits give no more
	case dateOnly, dateAndClock:
		y, m, d, ok := s.day(o)
		return int64(daysSince1970(y, m, d))*dayMS + s.dayMS, ok
	}
	return 0, false
}

// on is a date with the time of day of another cell.
func (s stamp) on(clock stamp) stamp {
	switch {
	case s.kind == serialDay && clock.kind == serialHour:
		s.serial += clock.serial
	case s.kind == serialDay && clock.kind == clockOnly:
		s.serial += float64(clock.dayMS) / dayMS
	case s.kind == dateOnly && clock.kind == clockOnly:
		s.kind, s.dayMS, s.half, s.offset, s.offsetS = dateAndClock, clock.dayMS, clock.half, clock.offset, clock.offsetS
	case s.kind == dateOnly && clock.kind == serialHour:
		s.kind, s.dayMS = dateAndClock, int64(math.Round(clock.serial*86400))*1000
	default:
		s.kind = noStamp
	}
	return s
}

func full(n int, digits uint8) int {
	if digits == 4 {
		return n
	}
	return 2000 + n
}

func atoi(c []byte) int {
	n := 0
	for _, d := range c {
		n = n*10 + int(d-'0')
	}
	return n
}

func isLetter(c []byte) bool {
	return len(c) > 0 && (c[0]|0x20 >= 'a' && c[0]|0x20 <= 'z' || c[0] >= 0x80)
}

// daysSince1970 counts days of the Gregorian calendar (Hinnant, "chrono-
// compatible low-level date algorithms", days_from_civil).
func daysSince1970(y, m, d int) int {
	if m <= 2 {
		y--
	}
	era := y / 400
	of := y - era*400
	doy := (153*((m+9)%12)+2)/5 + d - 1
	return era*146097 + of*365 + of/4 - of/100 + doy - 719468
}

// rfc3339 is the common stamp, read fast; ok is false where it is another.
func rfc3339(cell []byte) (ms int64, ok bool) {
	if len(cell) < 20 || cell[4] != '-' {
		return 0, false
	}
	t, err := roof.ParseTime(cell)
	if err != nil {
		return 0, false
	}
	return t.UnixMilli(), true
}
