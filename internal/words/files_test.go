package words

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

func TestEachDoubtAboutAFileSaysWhatCannotBeToldAndWhatSettlesIt(t *testing.T) {
	for name, c := range map[string]struct {
		doubt  FileDoubt
		fault  string
		remedy string
	}{
		"dates": {FileDoubt{Kind: DoubtDates, Cell: "05/06/26", Fits: []string{"dmy", "mdy", "ymd"}},
			"“05/06/26” can be day, month, year, month, day, year or year, month, day, and so can every other date of the file",
			"say -dates dmy, -dates mdy or -dates ymd"},
		"mixed dates": {FileDoubt{Kind: DoubtDates, Cell: "13/06/2026", Fits: []string{"dmy", "mdy"}, Mixed: true},
			"no one order of day and month fits every date; this one is “13/06/2026”", "say -dates dmy or -dates mdy"},
		"zone": {FileDoubt{Kind: DoubtZone, Zone: "Europe/London"}, "nothing says in which time zone its clock ran",
			"say -zone Europe/London if the clock is changed with the house’s, or -zone with an offset such as +01:00 " +
				"if it is not"},
		"zone, no house": {FileDoubt{Kind: DoubtZone, Cell: "Mars"}, "“Mars” is no time zone",
			"say -zone with a zone such as Europe/London, or an offset such as +01:00"},
		"missing hour": {FileDoubt{Kind: DoubtMissingHour, Cell: "01:10", Zone: "Europe/London", Count: 6},
			"“01:10” was never shown by a clock in Europe/London: clocks went forward over it (6 such rows)",
			"if the clock was never changed, say -zone with its offset, such as -zone +01:00"},
		"fold": {FileDoubt{Kind: DoubtFold, Cell: "01:10", Zone: "Europe/London", Count: 2},
			"“01:10” is in the hour that clocks in Europe/London showed twice, one of 2 such hours, and the order of the rows " +
				"does not tell which one it is",
			"say -fold first or -fold second; or, if the clock was never changed, -zone with its offset, such as -zone +01:00"},
		"temperature": {FileDoubt{Kind: DoubtTempUnit, Cell: "41", Fits: []string{"C", "F", "K"}},
			"nothing says in which unit the temperature “41” is", "say -unit C, -unit F or -unit K"},
		"humidity": {FileDoubt{Kind: DoubtRHUnit, Cell: "0.92", Fits: []string{"percent", "fraction"}},
			"the humidity “0.92”, like all others, can be a fraction of 1 or per cent",
			"say -unit percent or -unit fraction"},
		"logger": {FileDoubt{Kind: DoubtLogger}, "nothing in it names the logger", "say -logger NAME"},
		"half a day": {FileDoubt{Kind: DoubtHalfDay}, "its clock runs from 1 to 12 without am or pm",
			"export it with a clock of 24 hours, or with am and pm"},
		"no time": {FileDoubt{Kind: DoubtColumns, Cell: "time"}, "no column holds dates with times that can be read",
			columnsRemedy},
		"no quantity": {FileDoubt{Kind: DoubtColumns, Cell: "quantity"}, "nothing says what the values are of",
			columnsRemedy},
		"no header": {FileDoubt{Kind: DoubtColumns, Cell: "header"}, "no line names its columns", columnsRemedy},
		"no time of day": {FileDoubt{Kind: DoubtColumns, Cell: "day:Data"}, "“Data” has dates without a time of day, and " +
			"the same more than once; say which column holds the time of day", columnsRemedy},
		"no air": {FileDoubt{Kind: DoubtColumns, Cell: "temperature"},
			"no column is named as a temperature or a humidity", columnsRemedy},
		"one thing two": {FileDoubt{Kind: DoubtColumns, Cell: "twice:T"},
			"two columns hold the same of one logger; the second is “T”", columnsRemedy},
	} {
		t.Run(name, func(t *testing.T) {
			fault, remedy := FileDoubtFault(c.doubt)
			assert.Equal(t, c.fault, fault)
			assert.Equal(t, c.remedy, remedy)
		})
	}
}

func TestWhatWasLeftAsideOfAFileIsTold(t *testing.T) {
	assert.Equal(t, `columns that were left aside: "a", "b"`, ColumnsAside([]string{"a", "b"}))
	assert.Equal(t, `columns that were left aside: "1", "2", "3", "4", "5", "6", "7", "8" and 1 more`,
		ColumnsAside([]string{"1", "2", "3", "4", "5", "6", "7", "8", "9"}))
	assert.Equal(t, "1 row without a value left aside", RowsWithoutValue(1))
	assert.Equal(t, "2 rows of other quantities left aside", RowsOfOtherQuantities(2))
	assert.Equal(t, `its times are taken in UTC, which the file names ("Time (UTC)")`, ZoneOfFile("UTC", "Time (UTC)"))
	assert.Equal(t, "logger a is not in the case file", UnknownLogger("a", "a"))
	assert.Equal(t, `logger "A 1" is not in the case file; its readings are kept as A-1`, UnknownLogger("A 1", "A-1"))
	assert.Equal(t, `"31/11" is no date and time in the order day, month, year`, NoTimeInCell("31/11", "dmy"))
}

func TestRowsThatSayOtherwiseAreTold(t *testing.T) {
	at := time.Date(2026, 11, 13, 6, 0, 0, 0, time.UTC)
	assert.Equal(t, "line 7: k1 at 13 Nov 2026 06:00:00 UTC says 5.3 °C; 4.3 °C and 96 %RH, which came first, is kept "+
		"and counts", RowAgainst(7, "k1", at, Measured("temp_c", 5.3), List([]string{Measured("temp_c", 4.3),
		Measured("rh_pct", 96)})))
	assert.Equal(t, "The first 20 of 31 rows that say otherwise than what is kept", RowsAgainst(20, 31))
	assert.Equal(t, "1 row says otherwise than what is kept", RowsAgainst(1, 1))
}
