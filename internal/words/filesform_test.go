package words

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestEachQuestionOfTheFormHasItsWords(t *testing.T) {
	for kind, want := range map[FileDoubtKind]string{DoubtDates: "Order of day and month",
		DoubtZone: "How the logger’s clock ran", DoubtMissingHour: "How the logger’s clock ran",
		DoubtFold: "The hour that clocks showed twice", DoubtTempUnit: "Unit of the temperatures",
		DoubtRHUnit: "Unit of the humidities", DoubtLogger: "Which logger it is", DoubtColumns: "What the columns hold"} {
		assert.Equal(t, want, FileMatter(kind))
	}
	for answer, want := range map[string]string{"dmy": "day, month, year", "mdy": "month, day, year",
		"ymd": "year, month, day"} {
		assert.Equal(t, want, FileAnswer(DoubtDates, answer))
	}
	assert.Equal(t, "the first time: before clocks went back", FileAnswer(DoubtFold, "first"))
	assert.Equal(t, "the second time: after clocks went back", FileAnswer(DoubtFold, "second"))
	assert.Equal(t, "°F", FileAnswer(DoubtTempUnit, "F"))
	assert.Equal(t, "fractions of 1", FileAnswer(DoubtRHUnit, "fraction"))
	assert.Equal(t, "k7-loft", FileAnswer(DoubtLogger, "k7-loft"))
	assert.Equal(t, "Nothing in “x” names the logger. Which one is it?", WhichLogger("x"))
	assert.Equal(t, "Europe/London, changed in spring and autumn", ZoneChanged("Europe/London"))
	assert.Equal(t, "UTC+01:00, never changed", ZoneNever("+01:00"))
	assert.Equal(t, "The files have over 256 MB together. Send fewer at once, or raise http.max_body_mb.",
		FilesTooLarge(256))
	for role, want := range map[string]string{"time": "date or time", "logger": "name of the logger",
		"quantity": "which quantity the value is", "wood": "moisture of wood", "unused": "nothing that is kept",
		"temperature": "temperature"} {
		assert.Equal(t, want, ColumnHolds(role))
	}
}
