package words

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// FileDoubtKind is what of a file that is no readings file only a person can say.
// Its text names the matter in faults and forms.
type FileDoubtKind string

// The doubts.
const (
	DoubtColumns     FileDoubtKind = "columns"
	DoubtDates       FileDoubtKind = "dates"
	DoubtHalfDay     FileDoubtKind = "clock"
	DoubtZone        FileDoubtKind = "zone"
	DoubtMissingHour FileDoubtKind = "missing_hour"
	DoubtFold        FileDoubtKind = "fold"
	DoubtTempUnit    FileDoubtKind = "unit"
	DoubtRHUnit      FileDoubtKind = "humidity_unit"
	DoubtLogger      FileDoubtKind = "logger"
)

// FileDoubt is one such matter, with the place in the file that shows it.
type FileDoubt struct {
	Kind  FileDoubtKind
	Line  int
	Cell  string   // what stands there; of columns, which one is missing
	Fits  []string // the answers that fit
	Zone  string   // of the house, or the one in question
	Count int      // how many rows, hours or series it is about
	Mixed bool     // of dates: no order fits all
}

// NoTable and NoTableRemedy are said of a file in which no table was found.
const (
	NoTable       = "no line names the columns of a table: a time and what was measured"
	NoTableRemedy = "export it with a header, as CSV, text with tabs, or .xlsx; or write a first line that names the " +
		"columns in their order, such as time;temperature;humidity"
)

var orderWords = map[string]string{"dmy": "day, month, year", "mdy": "month, day, year", "ymd": "year, month, day"}

// OrderWords writes the order of a date's numbers.
func OrderWords(order string) string { return orderWords[order] }

// flagged writes the choices of a flag: -dates dmy or -dates mdy.
func flagged(flag string, choices []string) string {
	out := make([]string, len(choices))
	for i, c := range choices {
		out[i] = flag + " " + c
	}
	return alternatives(out)
}

// alternatives writes a choice: a, b or c.
func alternatives(list []string) string {
	if len(list) < 2 {
		return strings.Join(list, "")
	}
	return strings.Join(list[:len(list)-1], ", ") + " or " + list[len(list)-1]
}

const columnsRemedy = "say what its columns hold in a recipe: -as FILE.yaml with columns"

// FileDoubtFault is a doubt for a terminal: what cannot be told, and the flag
// that settles it.
func FileDoubtFault(d FileDoubt) (problem, remedy string) {
	problem = FileDoubtSentence(d)
	switch d.Kind {
	case DoubtDates:
		remedy = "say " + flagged("-dates", d.Fits)
	case DoubtZone:
		remedy = "say -zone with a zone such as Europe/London, or an offset such as +01:00"
		if d.Zone != "" {
			remedy = "say -zone " + d.Zone + " if the clock is changed with the house’s, or -zone with an offset such as " +
				"+01:00 if it is not"
		}
	case DoubtMissingHour:
		remedy = "if the clock was never changed, say -zone with its offset, such as -zone +01:00"
	case DoubtFold:
		remedy = "say -fold first or -fold second; or, if the clock was never changed, -zone with its offset, such as " +
			"-zone +01:00"
	case DoubtTempUnit, DoubtRHUnit:
		remedy = "say " + flagged("-unit", d.Fits)
	case DoubtLogger:
		remedy = "say -logger NAME"
	case DoubtColumns:
		remedy = columnsRemedy
	case DoubtHalfDay:
		remedy = "export it with a clock of 24 hours, or with am and pm"
	}
	return problem, remedy
}

// FileDoubtSentence says what cannot be told, as a clause.
func FileDoubtSentence(d FileDoubt) string {
	switch d.Kind {
	case DoubtDates:
		if d.Mixed {
			return fmt.Sprintf("no one order of day and month fits every date; this one is “%s”", d.Cell)
		}
		readings := make([]string, len(d.Fits))
		for i, o := range d.Fits {
			readings[i] = orderWords[o]
		}
		return fmt.Sprintf("“%s” can be %s, and so can every other date of the file", d.Cell, alternatives(readings))
	case DoubtZone:
		if d.Cell != "" {
			return fmt.Sprintf("“%s” is no time zone", d.Cell)
		}
		return "nothing says in which time zone its clock ran"
	case DoubtMissingHour:
		return fmt.Sprintf("“%s” was never shown by a clock in %s: clocks went forward over it (%s)", d.Cell, d.Zone,
			Count(d.Count, "such row"))
	case DoubtFold:
		more := ""
		if d.Count > 1 {
			more = fmt.Sprintf(", one of %d such hours", d.Count)
		}
		return fmt.Sprintf("“%s” is in the hour that clocks in %s showed twice%s, and the order of the rows does not "+
			"tell which one it is", d.Cell, d.Zone, more)
	case DoubtTempUnit:
		return fmt.Sprintf("nothing says in which unit the temperature “%s” is", d.Cell)
	case DoubtRHUnit:
		return fmt.Sprintf("the humidity “%s”, like all others, can be a fraction of 1 or per cent", d.Cell)
	case DoubtLogger:
		return "nothing in it names the logger"
	case DoubtHalfDay:
		return "its clock runs from 1 to 12 without am or pm"
	}
	what, name, _ := strings.Cut(d.Cell, ":")
	switch what {
	case "time":
		return "no column holds dates with times that can be read"
	case "day":
		return fmt.Sprintf("“%s” has dates without a time of day, and the same more than once; say which column holds the "+
			"time of day", name)
	case "header":
		return "no line names its columns"
	case "quantity":
		return "nothing says what the values are of"
	case "times":
		return fmt.Sprintf("the columns “%s” hold different times; say which one is that of the measurement, and that "+
			"the other holds nothing that is kept", name)
	case "twice":
		return fmt.Sprintf("two columns hold the same of one logger; the second is “%s”", name)
	}
	return "no column is named as a temperature or a humidity"
}

// NumberedColumn names a column that no header names.
func NumberedColumn(n int) string { return fmt.Sprintf("column %d", n) }

// Measured writes one value of a reading with its unit.
func Measured(quantity string, x float64) string {
	sign := map[string]string{"temp_c": " °C", "rh_pct": " %RH", "rain_mm": " mm", "wind_ms": " m/s", "sun_w_m2": " W/m²",
		"wood_pct": " % wood moisture", "battery_pct": " % battery"}[quantity]
	return strconv.FormatFloat(x, 'f', -1, 64) + sign
}

// RowAgainst says of a row that its logger has another value at its time already.
func RowAgainst(line int, logger string, at time.Time, row, kept string) string {
	return fmt.Sprintf("line %d: %s at %s UTC says %s; %s, which came first, is kept and counts", line, logger,
		at.UTC().Format("2 Jan 2006 15:04:05"), row, kept)
}

// RowsAgainst heads such rows, of which some are shown.
func RowsAgainst(shown, all int) string {
	if shown < all {
		return fmt.Sprintf("The first %d of %d rows that say otherwise than what is kept", shown, all)
	}
	if all == 1 {
		return "1 row says otherwise than what is kept"
	}
	return Count(all, "row") + " say otherwise than what is kept"
}

// ColumnsAside says which columns were not used.
func ColumnsAside(names []string) string {
	const shown = 8
	more := ""
	if n := len(names) - shown; n > 0 {
		names, more = names[:shown], fmt.Sprintf(" and %d more", n)
	}
	quoted := make([]string, len(names))
	for i, n := range names {
		quoted[i] = fmt.Sprintf("%.60q", n)
	}
	return "columns that were left aside: " + strings.Join(quoted, ", ") + more
}

// RowsWithoutValue says how many rows measured nothing.
func RowsWithoutValue(n int) string { return Count(n, "row") + " without a value left aside" }

// CellsThatFailed says in how many cells a logger said that its probe could not
// measure, and how the first says it.
func CellsThatFailed(n int, first string) string {
	return fmt.Sprintf("%s without a measurement, such as “%.20s”, left empty; the rest of such rows was taken",
		Count(n, "cell"), first)
}

// RowsOfOtherQuantities says how many rows of a long file are of quantities that
// are not kept.
func RowsOfOtherQuantities(n int) string { return Count(n, "row") + " of other quantities left aside" }

// ZoneOfFile says which zone a file names, and where.
func ZoneOfFile(zone, where string) string {
	return fmt.Sprintf("its times are taken in %s, which the file names (%.60q)", zone, where)
}

// UnknownLogger says under which name readings are kept that no case file knows.
func UnknownLogger(name, id string) string {
	if name == id {
		return fmt.Sprintf("logger %s is not in the case file", id)
	}
	return fmt.Sprintf("logger %.60q is not in the case file; its readings are kept as %s", name, id)
}

// UnderOtherHeader says why rows are not read that stand under a second header.
func UnderOtherHeader(line int) string {
	return fmt.Sprintf("the row stands under another header, in line %d, which names other columns; import that part as "+
		"a file of its own", line)
}

// NoTimeInCell says that a cell holds no time.
func NoTimeInCell(cell, order string) string {
	if o := orderWords[order]; o != "" {
		return fmt.Sprintf("%.40q is no date and time in the order %s", cell, o)
	}
	return fmt.Sprintf("%.40q is no date and time", cell)
}

// MissingHour says that a clock never showed a time.
func MissingHour(cell, zone string) string {
	return fmt.Sprintf("%.40q was not shown once by a clock in %s: it is in an hour that clocks skip, or show twice", cell,
		zone)
}
