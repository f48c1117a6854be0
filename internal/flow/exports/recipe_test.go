package exports

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
	"dewcase/internal/words"
)

var fullRecipe = Recipe{Name: "usb-loggers", Kind: []string{"datum", "t1 \"a\"", ""}, Answers: Answers{Zone: "+01:00",
	Dates: DMY, TempUnit: "C", RHUnit: "percent", Fold: First, Pair: 90 * time.Second, Logger: "k7",
	Loggers: map[string]string{"CH1: é": "k7-loft"}, Station: &roof.Station{Source: "airport: hourly"},
	Columns: map[string]Column{"T1 [x]": {Holds: "temperature", Unit: "F", Logger: "k7-void"}, "H": {Holds: "unused"}}}}

func TestARecipeComesBackAsItWasWritten(t *testing.T) {
	text := WriteRecipe(fullRecipe)
	got, err := ReadRecipe("r.yaml", text)
	require.NoError(t, err, string(text))
	assert.Equal(t, fullRecipe, got)
}

func TestEveryFaultOfARecipeIsToldWithKeyAndLine(t *testing.T) {
	_, err := ReadRecipe("r.yaml", []byte("zone: Nowhere/City\ndates: dym\nfold: third\ntemperature_unit: R\n"+
		"logger: a b\nloggers: {x: \"ü\"}\ncolumns: {T: {holds: heat}}\nfoo: 1\n"))
	for _, want := range []string{"r.yaml:1: recipe: ", "r.yaml:1: zone: ", "r.yaml:2: dates: ", "r.yaml:3: fold: ",
		"r.yaml:4: temperature_unit: ", "r.yaml:5: logger: ", "r.yaml:6: loggers.x: ", "r.yaml:7: columns.T.holds: ",
		"r.yaml:8: foo: "} {
		assert.ErrorContains(t, err, want)
	}
}

// The first file of a kind asks; its answers, kept, let the next pass.
func TestTheSecondFileOfAKindNeedsNoQuestion(t *testing.T) {
	first := "Serial: 4711\nDate;Time;Temp;RH (%)\n05/06/2026;06:10;41,3;92\n"
	second := "Serial: 4711\nDate;Time;Temp;RH (%)\n07/06/2026;06:10;45,0;92\n25/10/2026;01:30;45,0;92\n"
	house := House{Zone: "Europe/London", Loggers: []string{"k7-loft"}}
	p, err := Look(textOf("a.csv", []byte(first)), Answers{}, house)
	require.NoError(t, err)
	assert.True(t, p.Open(words.DoubtDates) && p.Open(words.DoubtZone) && p.Open(words.DoubtTempUnit))
	house.Recipes = []Recipe{{Name: "usb", Kind: p.Kind, Answers: Answers{Zone: "Europe/London", Dates: DMY, TempUnit: "F",
		Fold: Second, Loggers: map[string]string{"4711": "k7-loft"}}}}
	p, err = Look(textOf("b.csv", []byte(second)), Answers{}, house)
	require.NoError(t, err)
	assert.Equal(t, "usb", p.Recipe)
	assert.Equal(t, []Named{{Name: "4711", ID: "k7-loft", Known: true}}, p.Names)
	cols, _ := taken(t, p)
	var times []string
	for r, err := range cols.Readings("k7-loft") {
		require.NoError(t, err)
		times = append(times, r.At.Format(time.RFC3339))
	}
	assert.Equal(t, []string{"2026-06-07T05:10:00Z", "2026-10-25T01:30:00Z"}, times)

	// In a house without that logger its name in the file stands.
	p, err = Look(textOf("b.csv", []byte(second)), Answers{}, House{Zone: "Europe/London", Recipes: house.Recipes})
	require.NoError(t, err)
	assert.Equal(t, []Named{{Name: "4711", ID: "4711"}}, p.Names)

	// Another kind, or a logger that the recipe does not name, is not covered by it.
	p, err = Look(textOf("c.csv", []byte("Date;Time;T (°C)\n05/06/2026;06:10;41,3\n")), Answers{}, house)
	require.NoError(t, err)
	assert.Empty(t, p.Recipe)
	assert.NotEmpty(t, p.Questions)
}

func TestAColumnCanBeSaidToHoldWhatItsNameDoesNot(t *testing.T) {
	text := "wann|x;A;B;C\n"[5:] + "2026-11-25 06:10;39.7;0.92;7\n2026-11-25 06:20;39.8;0.93;7\n"
	a := Answers{Zone: "UTC", Logger: "k7", Columns: map[string]Column{"x": {Holds: "time"},
		"A": {Holds: "temperature", Unit: "F"}, "B": {Holds: "humidity", Unit: "fraction"}}}
	p, err := Look(textOf("x.csv", []byte(text)), a, House{})
	require.NoError(t, err)
	cols, _ := taken(t, p)
	for r, err := range cols.Readings("k7") {
		require.NoError(t, err)
		c, _ := r.Values.Get(roof.TempC)
		h, _ := r.Values.Get(roof.RHPct)
		assert.Equal(t, []float64{4.277777778, 92}, []float64{c, h})
		break
	}
	p, err = Look(textOf("x.csv", []byte(text)), Answers{Zone: "UTC", Logger: "k7"}, House{})
	require.NoError(t, err)
	assert.True(t, p.Open(words.DoubtColumns))
}

func TestAFilesNameWithoutItsDateNamesItsLogger(t *testing.T) {
	for name, want := range map[string]string{"/a/k7-loft.csv": "k7-loft", "k7-loft_2026-11.csv": "k7-loft",
		"k7-loft 20261125 (2).xlsx": "k7-loft", "k7-loft-export.csv": "k7-loft", "10123456.csv": "10123456",
		"logger-1001.csv": "logger-1001", "2026-11-25.csv": "2026-11-25"} {
		assert.Equal(t, want, Stem(name), name)
	}
}

func FuzzReadRecipe(f *testing.F) {
	f.Add(WriteRecipe(fullRecipe))
	f.Add([]byte("recipe: a\nzone: UTC\n"))
	f.Add([]byte("recipe: a\nloggers:\n  left empty:\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := ReadRecipe("r.yaml", data)
		if err != nil {
			return
		}
		again, err := ReadRecipe("r.yaml", WriteRecipe(r))
		require.NoError(t, err, "%q", data)
		require.Equal(t, WriteRecipe(r), WriteRecipe(again))
	})
}

// FuzzLook: whatever the text, it is looked through and taken or refused.
func FuzzLook(f *testing.F) {
	f.Add("Time;Temp (°C);RH (%)\n2026-10-25 01:10;4,3;92\n", "Europe/London")
	f.Add("entity_id,state,last_changed\nsensor.a_temperature,4,2026-11-25T06:10:00Z\n", "")
	f.Add("#\tDate\tTime\tT °F\n1\t25-Nov-26\t6:10 p. m.\t40\n", "+01:00")
	f.Fuzz(func(t *testing.T, text, zone string) {
		p, err := Look(textOf("x.csv", []byte(text)), Answers{Zone: zone, Logger: "a"}, House{Zone: "Europe/London"})
		if err != nil || len(p.Questions) > 0 {
			return
		}
		_, _ = p.Read(now, func(r roof.Reading, _ int) error {
			require.NoError(t, r.Storable())
			return nil
		})
	})
}
