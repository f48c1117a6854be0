package exports

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// a year in three zones: one hour in Europe, one in America, half an hour in the
// southern hemisphere.
var yearZones = []string{"Europe/London", "America/New_York", "Australia/Lord_Howe"}

// written is what a logger whose clock follows a zone writes of a stretch.
type written struct {
	zone     *time.Location
	layout   string
	start    time.Time
	step     time.Duration
	rows     int
	falling  bool
	gaps     []int // rows that are missing
	repeated int   // a row that is there twice, -1 none
	fixed    bool  // its clock is never changed
}

func (w written) text() (string, map[int64]float64) {
	rng := rand.New(rand.NewPCG(3, uint64(w.start.Unix())))
	truth := map[int64]float64{}
	var lines []string
	temp := 5.0
	zone := w.zone
	if w.fixed {
		_, offset := w.start.In(zone).Zone()
		zone = time.FixedZone("fixed", offset)
	}
	for i := range w.rows {
		temp = 0.95*temp + rng.NormFloat64()
		at := w.start.Add(time.Duration(i) * w.step)
		if slices.Contains(w.gaps, i) {
			continue
		}
		x := math.Round(temp*100) / 100
		line := fmt.Sprintf("%s;%.2f", at.In(zone).Format(w.layout), x)
		lines = append(lines, line)
		if i == w.repeated {
			lines = append(lines, line)
		}
		truth[at.UnixMilli()] = x
	}
	if w.falling {
		slices.Reverse(lines)
	}
	return "Time;Temp (°C)\n" + strings.Join(lines, "\n") + "\n", truth
}

// looked gives the plan of a text in its own zone, with the logger answered.
func looked(t require.TestingT, text string, a Answers) *Plan {
	a.Logger = "k7"
	p, err := Look(textOf("x.csv", []byte(text)), a, House{Zone: a.Zone, Loggers: []string{"k7"}})
	require.NoError(t, err)
	return p
}

func recordOf(t require.TestingT, p *Plan) map[int64]float64 {
	got := map[int64]float64{}
	_, err := p.Read(time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC), func(r roof.Reading, _ int) error {
		got[r.At.UnixMilli()], _ = r.Values.Get(roof.TempC)
		return nil
	})
	require.NoError(t, err)
	return got
}

var layouts = []string{"02/01/2006 15:04:05", "01/02/2006 15:04:05", "02.01.06 15:04:05", "01-02-06 03:04:05 PM",
	"2006-01-02 15:04:05"}

// Whatever is asked, nothing is wrong in silence: a file is either doubtful or
// gives exactly what was measured.
func TestDayAndMonthAndTheDoubledHourAreNeverWrongInSilence(t *testing.T) {
	settled, doubtful := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.SampledFrom(yearZones).Draw(t, "zone")
		zone, err := time.LoadLocation(name)
		require.NoError(t, err)
		w := written{zone: zone, layout: rapid.SampledFrom(layouts).Draw(t, "layout"),
			step: time.Duration(rapid.SampledFrom([]int{97, 300, 600, 900, 1800, 3600, 7200}).Draw(t, "step_s")) *
				time.Second,
			rows: rapid.IntRange(1, 400).Draw(t, "rows"), falling: rapid.Bool().Draw(t, "falling"), repeated: -1}
		w.start = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(rapid.IntRange(0, 365*24*3600).Draw(t,
			"start_s")) * time.Second)
		if rapid.Bool().Draw(t, "autumn") { // begin in the day before clocks go back
			c := newClock(zone)
			back := slices.IndexFunc(c.shifts, func(s shift) bool {
				return !s.missing && s.fromMS > time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC).UnixMilli()
			})
			w.start = time.UnixMilli(c.shifts[back].fromMS - c.shifts[back].afterMS).Add(-time.Duration(
				rapid.IntRange(0, 12*3600).Draw(t, "before_s")) * time.Second)
		}
		if rapid.Bool().Draw(t, "gap") {
			from := rapid.IntRange(0, w.rows).Draw(t, "gap_from")
			for i := range rapid.IntRange(1, 40).Draw(t, "gap_rows") {
				w.gaps = append(w.gaps, from+i)
			}
		}
		if rapid.IntRange(0, 3).Draw(t, "repeat") == 0 {
			w.repeated = rapid.IntRange(0, w.rows-1).Draw(t, "repeated")
		}
		text, truth := w.text()
		if len(truth) == 0 {
			return
		}
		p := looked(t, text, Answers{Zone: name})
		for _, q := range p.Questions {
			if q.Kind != words.DoubtDates && q.Kind != words.DoubtFold {
				t.Fatalf("asked for %s: %+v", q.Kind, q)
			}
		}
		if len(p.Questions) > 0 {
			doubtful++
			return
		}
		settled++
		got := recordOf(t, p)
		if len(got) != len(truth) {
			t.Fatalf("%d readings of %d\n%s", len(got), len(truth), text)
		}
		for ms, x := range truth {
			if y, ok := got[ms]; !ok || y != x {
				t.Fatalf("at %s %v, want %v\n%s", time.UnixMilli(ms).UTC(), y, x, text)
			}
		}
	})
	assert.Positive(t, settled)
	assert.Positive(t, doubtful)
}

// A file without holes through the hour tells it by its own order, in either
// direction; the same through spring.
func TestAWholeFileTellsTheDoubledHourByItsOrder(t *testing.T) {
	for _, name := range yearZones {
		zone, err := time.LoadLocation(name)
		require.NoError(t, err)
		for _, step := range []time.Duration{10 * time.Minute, 30 * time.Minute} {
			for _, falling := range []bool{false, true} {
				w := written{zone: zone, layout: layouts[4], start: time.Date(2026, 3, 1, 0, 3, 0, 0, time.UTC), step: step,
					rows: int(250 * 24 * time.Hour / step), falling: falling, repeated: -1}
				text, truth := w.text()
				p := looked(t, text, Answers{Zone: name})
				require.Empty(t, p.Questions, "%s %s %v", name, step, falling)
				require.True(t, maps.Equal(truth, recordOf(t, p)), "%s %s %v", name, step, falling)
			}
		}
	}
}

func TestWhatIsDoubtfulIsAskedAndNothingElse(t *testing.T) {
	const head = "Time;Temp (°C);RH (%)\n"
	for name, c := range map[string]struct {
		text    string
		answers Answers
		asks    []words.FileDoubtKind
	}{
		"everything told": {"time,k7 temp (°C)\n2026-11-25T06:10:00Z,4.3\n", Answers{}, nil},
		"no logger, no zone": {head + "2026-11-25 06:10;4,3;92\n", Answers{},
			[]words.FileDoubtKind{words.DoubtLogger, words.DoubtZone}},
		"days up to 12 only": {head + "05/06/2026 06:10;4,3;92\n12/06/2026 06:10;4,3;92\n",
			Answers{Zone: "UTC", Logger: "a"}, []words.FileDoubtKind{words.DoubtDates}},
		"the same day either way": {head + "06/06/2026 06:10;4,3;92\n", Answers{Zone: "UTC", Logger: "a"}, nil},
		"one day over 12": {head + "05/06/2026 06:10;4,3;92\n13/06/2026 06:10;4,3;92\n", Answers{Zone: "UTC",
			Logger: "a"}, nil},
		"days that fit one order and days that fit the other": {head + "05/13/2026 06:10;4,3;92\n13/06/2026 06:10;4,3;92\n",
			Answers{Zone: "UTC", Logger: "a"}, []words.FileDoubtKind{words.DoubtDates}},
		"no unit": {"Time;Temp;RH (%)\n2026-11-25 06:10;41;92\n", Answers{Zone: "UTC", Logger: "a"},
			[]words.FileDoubtKind{words.DoubtTempUnit}},
		"unit answered": {"Time;Temp;RH (%)\n2026-11-25 06:10;41;92\n", Answers{Zone: "UTC", Logger: "a",
			TempUnit: "F"}, nil},
		"kelvin": {"Time;Temp;RH (%)\n2026-11-25 06:10;277,4;92\n", Answers{Zone: "UTC", Logger: "a"}, nil},
		"humidity of 0 to 1 said to be per cent": {head + "2026-11-25 06:10;4,3;0,92\n", Answers{Zone: "UTC",
			Logger: "a"},
			[]words.FileDoubtKind{words.DoubtRHUnit}},
		"an hour that is there twice": {head + "2026-10-25 01:10;4,3;92\n", Answers{Zone: "Europe/London", Logger: "a"},
			[]words.FileDoubtKind{words.DoubtFold}},
		"that hour, answered": {head + "2026-10-25 01:10;4,3;92\n",
			Answers{Zone: "Europe/London", Logger: "a", Fold: Second}, nil},
		"that hour on a clock that is never changed": {head + "2026-10-25 01:10;4,3;92\n",
			Answers{Zone: "+00:00", Logger: "a"}, nil},
		"an hour that no clock showed": {head + "2026-03-29 01:10;4,3;92\n", Answers{Zone: "Europe/London", Logger: "a"},
			[]words.FileDoubtKind{words.DoubtMissingHour}},
		"twelve hours without am and pm": {head + "2026-11-25 12:10;4,3;92\n2026-11-25 01:10;4,3;92\n",
			Answers{Zone: "UTC", Logger: "a"}, []words.FileDoubtKind{words.DoubtHalfDay}},
		"two columns of one thing": {"Time;Temp (°C);Temp (°C)\n2026-11-25 06:10;4,3;5\n",
			Answers{Zone: "UTC", Logger: "a"}, []words.FileDoubtKind{words.DoubtColumns}},
		"two columns of times": {"Time A;Time B;Temp (°C)\n2026-11-25 06:10;2026-11-26 08:00;5\n",
			Answers{Zone: "UTC", Logger: "a"}, []words.FileDoubtKind{words.DoubtColumns}},
		"two columns of times, one said to be unused": {"Time A;Time B;Temp (°C)\n2026-11-25 06:10;2026-11-26 08:00;5\n",
			Answers{Zone: "UTC", Logger: "a", Columns: map[string]Column{"Time B": {Holds: "unused"}}}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			p, err := Look(textOf("x.csv", []byte(c.text)), c.answers, House{Zone: "Europe/London", Loggers: []string{"k7"}})
			require.NoError(t, err)
			var asked []words.FileDoubtKind
			for _, q := range p.Questions {
				asked = append(asked, q.Kind)
			}
			assert.ElementsMatch(t, c.asks, asked)
		})
	}
}

func TestRowsThatCannotBeAreToldByLineAndTheOthersKept(t *testing.T) {
	p := looked(t, "Time;Temp (°C);RH (%)\n"+
		"2026-11-25 06:10;4,3;92\n"+
		"2026-11-31 06:20;4,3;92\n"+
		"2026-11-25 06:30;Err;92\n"+
		"2026-11-25 06:40;4,3;192\n"+
		"2026-11-25 06:50;4,3\n"+
		"2026-11-25 07:00;4.3x;92\n"+
		"\n"+
		"2026-11-25 07:10;;\n"+
		"2026-11-25 07:20;4,4;\n", Answers{Zone: "UTC"})
	cols, sum := taken(t, p)
	assert.Equal(t, 3, cols.Count("k7"))
	var lines []int
	for _, r := range sum.Rejected {
		lines = append(lines, r.Line)
	}
	assert.Equal(t, []int{3, 5, 6, 7}, lines)
	assert.Equal(t, []string{"1 cell without a measurement, such as “Err”, left empty; the rest of such rows was taken",
		"1 row without a value left aside"}, sum.Notes)
}
