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
