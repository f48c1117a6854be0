package exports

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
)

// Headers as strangers' programs write them, each with one row; what it becomes is
// written beside it by hand.
func TestStrangersFilesBecomeWhatTheySay(t *testing.T) {
	const at = "2026-11-13T05:00:00Z"
	for name, c := range map[string]struct {
		text string
		want string // time logger quantity value ..., a reading a line
	}{
		"German compounds": {"Zeit;Innentemperatur;Außentemperatur;Innenfeuchte;Außenfeuchte\n" +
			"2026-11-13 06:00;20,1 °C;4,3 °C;45 %;96 %\n", at + " Aussen temp_c 4.3 rh_pct 96\n" + at +
			" Innen temp_c 20.1 rh_pct 45"},
		"the dew point in one word": {"Time;Lufttemperatur °C;Taupunkttemperatur °C;Luftfeuchte %\n" +
			"2026-11-13 06:00;4,3;3;96\n", at + " k1 temp_c 4.3 rh_pct 96"},
		"words in one, each with a capital": {"Time,AirTemp_C,DewPointTemp_C,RelHumidity_pct\n2026-11-13 06:00,4.3,3.1,96\n",
			at + " k1 temp_c 4.3 rh_pct 96"},
		"numbered words": {"Time,Temp1 (°C),Hum1 (%),Temp2 (°C),Hum2 (%)\n2026-11-13 06:00,4.3,93,3.1,96\n",
			at + " 1 temp_c 4.3 rh_pct 93\n" + at + " 2 temp_c 3.1 rh_pct 96"},
		"numbered letters": {"Time,T1 (°C),RH1 (%),T2 (°C),RH2 (%)\n2026-11-13 06:00,4.3,93,3.1,96\n",
			at + " 1 temp_c 4.3 rh_pct 93\n" + at + " 2 temp_c 3.1 rh_pct 96"},
		"a letter and its unit": {"No.,Date,Time,T(C),RH(%),Dew Point(C)\n1,13/11/2026,06:00:00,4.3,96.1,3.7\n",
			at + " k1 temp_c 4.3 rh_pct 96.1"},
		"units in a line of their own": {"Time;T1;H1\n;°C;%RH\n13.11.2026 06:00;4,3;96\n", at + " k1 temp_c 4.3 rh_pct 96"},
		"a setting beside the measurement": {"Time;Temperatur Soll °C;Temperatur Ist °C;Feuchte %\n" +
			"2026-11-13 06:00;21;20;45\n", at + " k1 temp_c 20 rh_pct 45"},
		"the upload before the measurement": {"Upload time,Measuring time,Temp C,RH %\n" +
			"2026-11-14 08:00,2026-11-13 06:00,4.3,96\n", at + " k1 temp_c 4.3 rh_pct 96"},
		"measured and received": {"Received;Measured;Temp °C\n2026-11-14 08:00;2026-11-13 06:00;4,3\n",
			at + " k1 temp_c 4.3"},
		"date and time of a synchronisation first": {"Sync date;Sync time;Date;Time;Temp °C\n" +
			"14.11.2026;08:00;13.11.2026;06:00;4,3\n", at + " k1 temp_c 4.3"},
		"hours as weather services write them": {"DATUM;Temp °C;RF %\n2026111306;4.3;96\n", at + " k1 temp_c 4.3 rh_pct 96"},
		"the end of a day as 24:00": {"Date,Time,Temp C\n12/11/2026,24:00,4.3\n13/11/2026,0:10,4.1\n",
			"2026-11-12T23:00:00Z k1 temp_c 4.3\n2026-11-12T23:10:00Z k1 temp_c 4.1"},
		"the name of a clock behind the time": {"Time,Temp (°C)\n2026-11-13 06:00:00 CET,4.3\n", at + " k1 temp_c 4.3"},
		"a day of the week before the date":   {"Time;Temp (°C)\nFri 13 Nov 2026 06:00;4,3\n", at + " k1 temp_c 4.3"},
		"an ID beside one time": {"Time,ID,Temp (°C)\n2026-11-13 06:00,17,4.3\n2026-11-13 06:00,18,3.3\n",
			at + " 17 temp_c 4.3\n" + at + " 18 temp_c 3.3"},
		"an ID that counts the rows": {"ID,Time,Temp (°C)\n1,2026-11-13 06:00,4.3\n", at + " k1 temp_c 4.3"},
		"moisture is that of wood": {"Time,Moisture (%),Temp (°C)\n2026-11-13 06:00,17.5,4.3\n",
			at + " k1 temp_c 4.3 wood_pct 17.5"},
		"an abbreviated dew point, never taken for the air": {"Time,Temp (°C),Dewpt (°C)\n2026-11-13 06:00,4.3,3\n",
			at + " k1 temp_c 4.3"},
		"the same in two units": {"Time,Temp (°C),Temp (°F),RH (%)\n2026-11-13 06:00,4.3,39.74,96\n",
			at + " k1 temp_c 4.3 rh_pct 96"},
		"rel. F.": {"Time;K1 Temp. [°C];K1 rel.F. [%]\n2026-11-13 06:00;4,3;96\n",
			at + " k1 temp_c 4.3 rh_pct 96"},
		"one name over two columns, units below": {"Time;Sensor 1;;Sensor 2;\n;°C;%RH;°C;%RH\n" +
			"2026-11-13 06:00;4,3;96;3,1;97\n",
			at + " Sensor-1 temp_c 4.3 rh_pct 96\n" + at + " Sensor-2 temp_c 3.1 rh_pct 97"},
		"bars between the columns": {"Time|Temp (°C)|RH (%)\n2026-11-13 06:00|4.3|96\n", at + " k1 temp_c 4.3 rh_pct 96"},
		"another surface beside the air": {"Time;Surface temp °C;Air temp °C\n2026-11-13 06:00;2,5;4,3\n",
			at + " Surface temp_c 2.5\n" + at + " k1 temp_c 4.3"},
		"year, month, day and hour apart": {"Year,Month,Day,Hour,Temp_C,RH\n2026,11,13,6,4.3,96\n", at +
			" k1 temp_c 4.3 rh_pct 96"},
		"year in two digits, month as a word, hour and minute apart": {"Año;Mes;Día;Hora;Minuto;Temp °C\n" +
			"26;nov;13;6;5;4,3\n", "2026-11-13T05:05:00Z k1 temp_c 4.3"},
		"parts of a date beside a time of day": {"YYYY,MM,DD,Time,Temp °C\n2026,11,13,06:00,4.3\n", at + " k1 temp_c 4.3"},
		"a date and an hour of 1 to 24": {"Date,Hour,Temp °C\n2026-11-12,24,4.3\n2026-11-13,1,4.1\n",
			"2026-11-12T23:00:00Z k1 temp_c 4.3\n2026-11-13T00:00:00Z k1 temp_c 4.1"},
		"a time of day of four digits": {"Date,Time,Temp °C\n20261113,0030,4.3\n20261113,0600,4.1\n",
			"2026-11-12T23:30:00Z k1 temp_c 4.3\n" + at + " k1 temp_c 4.1"},
		"a time of day under a name that nobody knows": {"Data;Ura;Temp °C\n2026-11-13;06:00;4,3\n",
			at + " k1 temp_c 4.3"},
		"date and time in ISO 8601's basic form": {"Datetime,Temp °C\n20261113T060000+0100,4.3\n", at + " k1 temp_c 4.3"},
		"a bare T beside RH": {"Time,T,RH\n2026-11-13 06:00,4.3 °C,96\n",
			at + " k1 temp_c 4.3 rh_pct 96"},
		"outdoors by an English word": {"Time;Loft temp °C;Outdoor temp °C;Outdoor RH %\n" +
			"2026-11-13 06:00;5.3;4.3;96\n",
			at + " Loft temp_c 5.3\n" + at + " Outdoor temp_c 4.3 rh_pct 96"},
		"names over two lines, as merged cells leave them": {"Report;;\nTime;Loft;;Slate\n;Temp °C;RH %;Temp °C\n" +
			"2026-11-13 06:00;4.3;96;2.3\n", at + " Loft temp_c 4.3 rh_pct 96\n" + at + " Slate temp_c 2.3"},
		"one name over the date and the time": {"Time;;Temp °C\n2026-11-13;06:00;4.3\n", at + " k1 temp_c 4.3"},
		"one name that the house does not have": {"Time;Sensor;Temp (°C)\n2026-11-13 06:00;2044;4,3\n",
			at + " k1 temp_c 4.3"},
	} {
		t.Run(name, func(t *testing.T) {
			p, err := Look(textOf("x.csv", []byte(c.text)), Answers{Zone: "Europe/Berlin", Logger: "k1"},
				House{Zone: "Europe/Berlin", Loggers: []string{"k1"}})
			require.NoError(t, err)
			cols, _ := taken(t, p)
			var got []string
			for _, l := range cols.Loggers() {
				for r, err := range cols.Readings(l) {
					require.NoError(t, err)
					line := r.At.Format(time.RFC3339) + " " + l
					for q := range roof.Quantity(roof.QuantityCount) {
						if x, ok := r.Values.Get(q); ok {
							line += fmt.Sprintf(" %s %g", q, x)
						}
					}
					got = append(got, line)
				}
			}
			assert.ElementsMatch(t, strings.Split(c.want, "\n"), got)
		})
	}
}

// Dates that come again without a time of day are many readings at one moment: the
// file is not taken before somebody says where the time of day stands.
func TestDatesWithoutATimeOfDayAreAsked(t *testing.T) {
	p := looked(t, "Date;Slot;Temp (°C)\n2026-11-13;a;4,3\n2026-11-13;b;4,4\n", Answers{Zone: "UTC"})
	require.Len(t, p.Questions, 1)
	assert.Contains(t, p.Faults()[0].Problem, "“Date” has dates without a time of day")
	daily := looked(t, "Date;Temp (°C)\n2026-11-13;4,3\n2026-11-14;4,4\n", Answers{Zone: "UTC"})
	assert.Empty(t, daily.Questions, "one value a day is a daily file")
}

// A table that no line names is asked column by column, and its answers are no recipe
// for the next one of as many columns.
func TestATableWithoutAHeaderIsAskedEveryTime(t *testing.T) {
	const text = "2026-11-13 06:00;4,3;96\n2026-11-13 06:10;4,4;95\n2026-11-13 06:20;4,5;94\n"
	columns := map[string]Column{"column 2": {Holds: "temperature", Unit: "C"}, "column 3": {Holds: "humidity"}}
	p := looked(t, text, Answers{Zone: "UTC"})
	require.Len(t, p.Questions, 1)
	assert.Contains(t, p.Faults()[0].Problem, "no line names its columns")
	cols, _ := taken(t, looked(t, text, Answers{Zone: "UTC", Columns: columns}))
	assert.Equal(t, 3, cols.Count("k7"), "the first row is a reading too")
	next, err := Look(textOf("y.csv", []byte(text)), Answers{Zone: "UTC", Logger: "k7"}, House{Loggers: []string{"k7"},
		Recipes: []Recipe{{Name: "r", Kind: p.Kind, Answers: Answers{Columns: columns}}}})
	require.NoError(t, err)
	assert.NotEmpty(t, next.Questions)
}

// Of a workbook with several tables each is of the logger that its sheet names, even
// where one logger was said for the file; a sheet that nobody named is asked.
func TestSeveralSheetsAreOfTheLoggersThatTheyName(t *testing.T) {
	const table = "Time;Temp (°C)\n2026-11-13 06:00;4,3\n"
	sheets := func(names ...string) (out []Text) {
		for _, n := range names {
			one := textOf("x.xlsx["+n+"]", []byte(table))
			one.Sheet = n
			out = append(out, one)
		}
		return out
	}
	ids := func(texts []Text) (out []string) {
		plans, err := LookAll(texts, func([]string) Answers { return Answers{Zone: "UTC", Logger: "k1"} },
			House{Loggers: []string{"k1"}})
		require.NoError(t, err)
		for _, p := range plans {
			id, _ := p.OneLogger()
			out = append(out, id)
		}
		return out
	}
	assert.Equal(t, []string{"Loft", "Slate"}, ids(sheets("Loft", "Slate")))
	assert.Equal(t, []string{"k1"}, ids(sheets("Loft")))
	assert.Equal(t, []string{"k1", "k1"}, ids(sheets("Sheet1", "Tabelle2")))
}

// A second table in one file, whose columns hold something else, is never read by the
// first one's header.
func TestRowsUnderAnotherHeaderAreNotReadByTheFirst(t *testing.T) {
	p := looked(t, "Time,Temp (°C)\n2026-11-13 06:00,4.3\nTime,Temp (°C)\n2026-11-13 06:10,4.4\n\n"+
		"Time,Temp (°F)\n2026-11-14 06:00,39.4\n", Answers{Zone: "UTC"})
	cols, sum := taken(t, p)
	assert.Equal(t, 2, cols.Count("k7"))
	require.Len(t, sum.Rejected, 1)
	assert.Equal(t, 7, sum.Rejected[0].Line)
	assert.Contains(t, sum.Rejected[0].Detail, "another header, in line 6")
}
