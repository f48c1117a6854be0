package exports

import (
	"bytes"
	"slices"
)

// datePart is the part of a date or of a time of day that a column of its own holds.
type datePart uint8

const (
	noPart datePart = iota
	yearPart
	monthPart
	dayPart
	hourPart
	minutePart
	secondPart
)

// partWords are the names of such columns, in the languages of the vocabulary.
var partWords = map[datePart]map[string]bool{
	yearPart: wordSet(`year yyyy yr jahr année annee an año ano anno jaar år ar vuosi rok год`),
	monthPart: wordSet(`month mon mo monat mois mes mese mês maand måned månad kuukausi miesiąc miesiac měsíc mesic
		месяц`),
	dayPart: wordSet(`day dd dy tag jour día dia giorno dag päivä dzień dzien den день`),
	hourPart: wordSet(`hour hours hr hrs hh stunde std heure hora ora uur time timme tunti godzina godz hodina час
		часы`),
	minutePart: wordSet(`minute minutes min minuto minuti minuut minuten minut minuutti minuta минута минуты`),
	secondPart: wordSet(`second seconds sec sekunde sekunden seconde segundo secondo sekund sekunda секунда`),
}

// partOf is which part a column's name says it holds, where it says nothing else.
func partOf(name string) datePart {
	list := slices.DeleteFunc(tokens(name), func(w string) bool { return filler[w] || w == "utc" || w == "local" })
	if len(list) != 1 {
		return noPart
	}
	if list[0] == "mm" && name == "MM" {
		return monthPart
	}
	for part := yearPart; part <= secondPart; part++ {
		if partWords[part][list[0]] {
			return part
		}
	}
	return noPart
}

// digitsForm is how the numbers of a column without colons tell a time of day.
type digitsForm uint8

const (
	noDigits   digitsForm = iota
	ofHours               // 5: further columns may tell minutes and seconds
	ofClock               // 30 and 1745: hours and minutes
	withSecond            // 174530
)

// peekDigits notes the longest of the whole numbers in a column, and the largest.
func (c *column) peekDigits(cell string) {
	n := 0
	for i := range len(cell) {
		if cell[i] < '0' || cell[i] > '9' {
			c.mixed = true
			return
		}
		n = n*10 + int(cell[i]-'0')
	}
	c.digits, c.largest = max(c.digits, len(cell)), max(c.largest, n)
}

// numbers reports whether the cells of a column are whole numbers of so many digits.
func (c *column) numbers(digits int) bool { return !c.mixed && c.digits > 0 && c.digits <= digits }

// part is the only column that holds a part in numbers of so many digits; -1 none.
func (l *layout) part(p datePart, digits int) int {
	at := -1
	for i := range l.columns {
		c := &l.columns[i]
		if c.part != p || !(c.numbers(digits) || p == monthPart && c.digits == 0 && c.mixed) {
			continue
		}
		if at >= 0 {
			return -1
		}
		at = i
	}
	return at
}

// dateApart finds year, month and day in columns of their own.
func (l *layout) dateApart() {
	year, month, day := l.part(yearPart, 4), l.part(monthPart, 2), l.part(dayPart, 2)
	if year < 0 || month < 0 || day < 0 || l.columns[year].digits == 3 {
		return
	}
	l.time, l.date = year, []int{year, month, day}
	for _, i := range l.date {
		l.columns[i].role, l.columns[i].stamp = timeRole, dateOnly
	}
}

// clockApart finds the time of day of a column of dates: a column of a name that
// nobody knows whose cells are written as one, hours that a name says, or digits
// without a colon.
func (l *layout) clockApart() {
	use := func(i int, form digitsForm) {
		l.clock, l.clockAs = i, form
		l.columns[i].role = timeRole
	}
	for i, c := range l.columns {
		if c.role == unused && c.stamp == clockOnly && !c.other {
			use(i, noDigits)
			return
		}
	}
	for i, c := range l.columns {
		_, quantity := c.role.quantity()
		if slices.Contains(l.date, i) || i == l.time || quantity || c.mixed || c.digits == 0 ||
			c.role != timeRole && c.part != hourPart {
			continue
		}
		switch {
		case c.digits > 4 && c.digits <= 6:
			use(i, withSecond)
		case c.digits > 2 && c.digits <= 4 || c.digits <= 2 && c.largest > 24:
			use(i, ofClock)
		case c.digits <= 2 && c.part == hourPart:
			use(i, ofHours)
			for k, p := range []datePart{minutePart, secondPart} {
				if at := l.part(p, 2); at >= 0 && (k == 0 || len(l.smaller) == k) {
					l.smaller = append(l.smaller, at)
					l.columns[at].role = timeRole
				}
			}
		default:
			continue
		}
		return
	}
}

// day is the date of the row as one text: that of its column, or put together of
// those that hold its parts.
func (r *rows) day() []byte {
	l := r.layout
	if len(l.date) == 0 {
		return r.cells[l.time]
	}
	b := r.dayText[:0]
	for k, i := range l.date {
		cell := bytes.TrimSpace(r.cells[i])
		if k == 0 && len(cell) == 2 {
			b = append(b, "20"...)
		}
		if k > 0 {
			b = append(b, '-')
		}
		b = append(b, cell...)
	}
	r.dayText = b
	return b
}

// ofDay is the time of day of the row as one text; nil where it stands with the date.
func (r *rows) ofDay() []byte {
	l := r.layout
	if l.clock < 0 {
		return nil
	}
	cell := bytes.TrimSpace(r.cells[l.clock])
	switch {
	case l.clockAs == noDigits && len(cell) == 1 && cell[0] == '0' && l.columns[l.clock].stamp == serialHour:
		return append(r.clockText[:0], "0.0"...) // a spreadsheet's midnight
	case l.clockAs == noDigits || len(cell) == 0 || len(cell) > 6:
		return cell
	}
	b := r.clockText[:0]
	switch l.clockAs {
	case ofHours:
		b = append(b, cell...)
		for _, i := range l.smaller {
			b = append(b, ':')
			if part := bytes.TrimSpace(r.cells[i]); len(part) == 1 {
				b = append(append(b, '0'), part...)
			} else {
				b = append(b, part...)
			}
		}
		if len(l.smaller) == 0 {
			b = append(b, ":00"...)
		}
	default:
		wide := 4
		if l.clockAs == withSecond {
			wide = 6
		}
		for i := range wide {
			if i > 0 && i%2 == 0 {
				b = append(b, ':')
			}
			if at := i - wide + len(cell); at >= 0 {
				b = append(b, cell[at])
			} else {
				b = append(b, '0')
			}
		}
		if len(cell) > wide {
			return cell
		}
	}
	r.clockText = b
	return b
}
