package words

import "fmt"

// What the page of imported files says where something is wrong with a form.
const (
	NoFileChosen   = "No file was chosen. Choose one or more, or drop them on the field."
	UploadBrokeOff = "The files did not arrive whole. Send them again."
	OtherLogger    = "another name"
)

// FilesTooLarge says that the files of one form are too large.
func FilesTooLarge(maxMB int64) string {
	return fmt.Sprintf("The files have over %d MB together. Send fewer at once, or raise http.max_body_mb.", maxMB)
}

// FileMatter names what a question about a file is of.
func FileMatter(k FileDoubtKind) string {
	switch k {
	case DoubtDates:
		return "Order of day and month"
	case DoubtZone, DoubtMissingHour:
		return "How the logger’s clock ran"
	case DoubtFold:
		return "The hour that clocks showed twice"
	case DoubtTempUnit:
		return "Unit of the temperatures"
	case DoubtRHUnit:
		return "Unit of the humidities"
	case DoubtLogger:
		return "Which logger it is"
	}
	return "What the columns hold"
}

// FileAnswer words one answer to a question about a file.
func FileAnswer(k FileDoubtKind, answer string) string {
	switch k {
	case DoubtDates:
		return orderWords[answer]
	case DoubtFold:
		return map[string]string{"first": "the first time: before clocks went back",
			"second": "the second time: after clocks went back"}[answer]
	case DoubtTempUnit:
		return map[string]string{"C": "°C", "F": "°F", "K": "kelvin"}[answer]
	case DoubtRHUnit:
		return map[string]string{"percent": "per cent", "fraction": "fractions of 1"}[answer]
	}
	return answer
}

// What is asked of a file with a row a value, in which temperature and humidity can
// stand at times of their own.
const (
	PairQuestion = "Temperature and humidity stand in rows of their own. How far apart may two of one reading be?"
	PairNone     = "not at all: only those of one time join"
)

// PairWithin words how far apart they may be.
func PairWithin(seconds int) string {
	if seconds%60 == 0 && seconds > 60 {
		return fmt.Sprintf("up to %d min", seconds/60)
	}
	return fmt.Sprintf("up to %d s", seconds)
}

// WhichLogger asks of which logger a file is that names none.
func WhichLogger(file string) string {
	return fmt.Sprintf("Nothing in “%s” names the logger. Which one is it?", file)
}

// WhichIsNamed asks which logger of the house a name in a file stands for.
func WhichIsNamed(name string) string {
	return fmt.Sprintf("The file names a logger “%s”, which this house does not have. Which one is it?", name)
}

// LoggerOfItsOwn says that a name in a file stands for none of the house's loggers.
func LoggerOfItsOwn(name string) string {
	return fmt.Sprintf("none of them: a logger of its own, %s", name)
}

// ZoneChanged and ZoneNever say how a clock ran.
func ZoneChanged(zone string) string { return zone + ", changed in spring and autumn" }

// ZoneNever says that a clock was never changed.
func ZoneNever(offset string) string { return "UTC" + offset + ", never changed" }

// ColumnHolds words what a column holds.
func ColumnHolds(role string) string {
	switch role {
	case "time":
		return "date or time"
	case "logger":
		return "name of the logger"
	case "quantity":
		return "which quantity the value is"
	case "wood":
		return "moisture of wood"
	case "unused":
		return "nothing that is kept"
	}
	return role
}

// OriginalsKept says what the list of imported files in a report is.
const OriginalsKept = "Readings of this record were taken from these files, each kept byte by byte under its digest " +
	"(SHA-256) within a size limit. A recipe is what a person said of a file: zone, units, order of day and month."
