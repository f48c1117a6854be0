package csvreadings

import (
	"errors"
	"fmt"
	"io"
	"math"
	"runtime"
	"strings"
	"testing"
	"time"

	"dewcase/internal/roof"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var now = time.Date(2027, 4, 1, 12, 0, 0, 0, time.UTC)

func readAll(t testing.TB, text string) ([]roof.Reading, Summary, error) {
	t.Helper()
	var out []roof.Reading
	sum, err := Read("r.csv", strings.NewReader(text), now, func(r roof.Reading, line int) error {
		out = append(out, r)
		return nil
	})
	return out, sum, err
}

const header = "time,logger,temp_c,rh_pct\n"

func TestAGoodRowComesBackExactly(t *testing.T) {
	got, sum, err := readAll(t, "\ufefftime,logger,temp_c,rh_pct,battery_pct,rain_mm,wood_pct,wind_ms,sun_w_m2\r\n"+
		"2026-11-25T07:10:00.1239+01:00,k7-loft,4.31,92.4,88,0.2,17.5,3.1,-2\r\n")
	require.NoError(t, err)
	require.Len(t, got, 1)
	assert.Equal(t, "2026-11-25T06:10:00.123Z", got[0].At.Format(time.RFC3339Nano))
	assert.Equal(t, "k7-loft", got[0].Logger)
	assert.Equal(t, now, got[0].Arrived)
	for q, want := range map[roof.Quantity]float64{roof.TempC: 4.31, roof.RHPct: 92.4, roof.BatteryPct: 88,
		roof.RainMM: 0.2, roof.WoodPct: 17.5, roof.WindMS: 3.1, roof.SunWM2: -2} {
		x, ok := got[0].Values.Get(q)
		assert.True(t, ok, q)
		assert.Equal(t, want, x, q)
	}
	assert.Equal(t, 1, sum.Good)
	assert.Zero(t, sum.Bad)
}

func TestAnEmptyCellIsNotMeasured(t *testing.T) {
	got, _, err := readAll(t, header+"2026-11-25T06:10:00Z,a,4.3,\n2026-11-25T06:10:00Z,b,,90\n2026-11-25T06:10:00Z,c, "+
		",0\n")
	require.NoError(t, err)
	require.Len(t, got, 3)
	assert.False(t, got[0].Values.Has(roof.RHPct))
	assert.False(t, got[1].Values.Has(roof.TempC))
	assert.False(t, got[2].Values.Has(roof.TempC))
	x, ok := got[2].Values.Get(roof.RHPct)
	assert.True(t, ok)
	assert.Zero(t, x)
}

func TestEachBadRowIsReportedByLineAndTheGoodOnesKept(t *testing.T) {
	for name, tc := range map[string]struct {
		row    string
		reason roof.Reason
		column string
	}{
		"no time":                {",a,4.3,90", roof.BadTime, "time"},
		"a time without offset":  {"2026-11-25T06:10:00,a,4.3,90", roof.BadTime, "time"},
		"a time with a space":    {"2026-11-25 06:10:00Z,a,4.3,90", roof.BadTime, "time"},
		"a day that is not":      {"2026-02-29T06:10:00Z,a,4.3,90", roof.BadTime, "time"},
		"hour 24":                {"2026-11-25T24:00:00Z,a,4.3,90", roof.BadTime, "time"},
		"a Unix time":            {"1764051000,a,4.3,90", roof.BadTime, "time"},
		"a time before 2000":     {"1999-12-31T23:59:59Z,a,4.3,90", roof.TimeTooOld, "time"},
		"a time far ahead":       {"2027-04-02T12:00:00.001Z,a,4.3,90", roof.TimeAhead, "time"},
		"no logger":              {"2026-11-25T06:10:00Z,,4.3,90", roof.BadLogger, "logger"},
		"a logger with a space":  {"2026-11-25T06:10:00Z,a b,4.3,90", roof.BadLogger, "logger"},
		"a formula":              {"2026-11-25T06:10:00Z,\"=HYPERLINK(\"\"x\"\")\",4.3,90", roof.BadLogger, "logger"},
		"a long name":            {"2026-11-25T06:10:00Z," + strings.Repeat("a", 65) + ",4.3,90", roof.BadLogger, "logger"},
		"text for a number":      {"2026-11-25T06:10:00Z,a,unavailable,90", roof.BadValue, "temp_c"},
		"a quoted decimal comma": {"2026-11-25T06:10:00Z,a,\"4,3\",90", roof.BadValue, "temp_c"},
		"a decimal comma":        {"2026-11-25T06:10:00Z,a,4,3,90", roof.BadRow, "row"},
		"thousands":              {"2026-11-25T06:10:00Z,a,\"1,000.0\",90", roof.BadValue, "temp_c"},
		"NaN":                    {"2026-11-25T06:10:00Z,a,NaN,90", roof.NotFinite, "temp_c"},
		"inf":                    {"2026-11-25T06:10:00Z,a,4,-inf", roof.NotFinite, "rh_pct"},
		"too large to be finite": {"2026-11-25T06:10:00Z,a,1e400,90", roof.NotFinite, "temp_c"},
		"hexadecimal":            {"2026-11-25T06:10:00Z,a,0x10,90", roof.BadValue, "temp_c"},
		"an underscore":          {"2026-11-25T06:10:00Z,a,1_0,90", roof.BadValue, "temp_c"},
		"a unit":                 {"2026-11-25T06:10:00Z,a,4.3C,90", roof.BadValue, "temp_c"},
		"a lone sign":            {"2026-11-25T06:10:00Z,a,-,90", roof.BadValue, "temp_c"},
		"an open exponent":       {"2026-11-25T06:10:00Z,a,1e,90", roof.BadValue, "temp_c"},
		"200 C":                  {"2026-11-25T06:10:00Z,a,200,90", roof.TempOutOfRange, "temp_c"},
		"-127 C":                 {"2026-11-25T06:10:00Z,a,-127,90", roof.TempOutOfRange, "temp_c"},
		"105.01 %RH":             {"2026-11-25T06:10:00Z,a,4.3,105.01", roof.RHOutOfRange, "rh_pct"},
		"-0.01 %RH":              {"2026-11-25T06:10:00Z,a,4.3,-0.01", roof.RHOutOfRange, "rh_pct"},
		"nothing measured":       {"2026-11-25T06:10:00Z,a,,", roof.NoQuantity, "temp_c"},
		"a cell too few":         {"2026-11-25T06:10:00Z,a,4.3", roof.BadRow, "row"},
		"a cell too many":        {"2026-11-25T06:10:00Z,a,4.3,90,1", roof.BadRow, "row"},
		"an open quote":          {"\"2026-11-25T06:10:00Z,a,4.3,90", roof.BadRow, "row"},
		"text after a quote":     {"\"2026-11-25T06:10:00Z\"x,a,4.3,90", roof.BadRow, "row"},
		"a quote inside":         {"2026-11-25T06:10:00Z,a\"b,4.3,90", roof.BadRow, "row"},
		"not UTF-8":              {"2026-11-25T06:10:00Z,a\xff,4.3,90", roof.BadRow, "row"},
		"a NUL":                  {"2026-11-25T06:10:00Z,a\x00,4.3,90", roof.BadLogger, "logger"},
		"far too long":           {strings.Repeat("x", 3*MaxLine), roof.BadRow, "row"},
		"semicolons":             {"2026-11-25T06:10:00Z;a;4.3;90", roof.BadRow, "row"},
	} {
		t.Run(name, func(t *testing.T) {
			got, sum, err := readAll(t, header+"2026-11-25T06:00:00Z,a,4.2,91\n"+tc.row+"\n\n2026-11-25T06:20:00Z,a,4.4,89")
			require.NoError(t, err)
			assert.Len(t, got, 2, "the good rows beside it")
			require.Len(t, sum.Rejected, 1)
			assert.Equal(t, 3, sum.Rejected[0].Line)
			assert.Equal(t, tc.reason, sum.Rejected[0].Reason)
			assert.Equal(t, map[roof.Reason]int{tc.reason: 1}, sum.ByReason)
			assert.Equal(t, 3, sum.Rows)
			assert.LessOrEqual(t, len(sum.Rejected[0].Row), 200)
			line := sum.Faults("r.csv").Lines(100)[0]
			assert.True(t, strings.HasPrefix(line, "r.csv:3: "+tc.column+": "), line)
			assert.NotContains(t, line, "\x00")
		})
	}
}

func TestLimitsThemselvesAreGood(t *testing.T) {
	got, sum, err := readAll(t, header+"2000-01-01T00:00:00Z,"+
		"a,-90,0\n2027-04-02T12:00:00Z,a,100,105\n2026-01-01T00:00:00.999Z,a,+1e1,.5\n")
	require.NoError(t, err)
	require.Len(t, got, 3, "%v", sum.Rejected)
	assert.Equal(t, []string{"saturated", "over_range"}, func() (names []string) {
		for _, n := range got[1].Flags.Names() {
			if n == "saturated" || n == "over_range" {
				names = append(names, n)
			}
		}
		return names
	}())
}

func TestColumnsMayStandInAnyOrderAndUnknownOnesAreLeftAside(t *testing.T) {
	got, sum, err := readAll(t, "rssi,rh_pct,"+
		"temp_c,logger,time\n-81,90,4.3,a,2026-11-25T06:10:00Z\n,90,4.3,a,2026-11-25T06:10:00Z\n")
	require.NoError(t, err)
	require.Len(t, got, 2)
	x, _ := got[0].Values.Get(roof.TempC)
	assert.Equal(t, 4.3, x)
	require.Len(t, sum.Notes, 1)
	assert.Contains(t, sum.Notes[0], `"rssi"`)
}

func TestAFileThatCannotBeUsedNamesTheLine(t *testing.T) {
	for name, tc := range map[string]struct{ text, want string }{
		"empty": {"", "r.csv:1: header: the file is empty; the first line must name the columns: time,logger,temp_c,rh_pct"},
		"semicolons": {"time;logger;temp_c;rh_pct\n2026-11-25T06:10:00Z;a;4,3;90\n",
			"r.csv:1: header: its columns are parted by semicolons; save it with commas"},
		"tabs":   {"time\tlogger\ttemp_c\trh_pct\n", "r.csv:1: header: its columns are parted by tabs"},
		"UTF-16": {"\xff\xfet\x00i\x00", "r.csv:1: header: the file is UTF-16"},
		"no header": {"2026-11-25T06:10:00Z,a,4.3,90\n",
			"r.csv:1: header: columns are missing: time, logger, temp_c, rh_pct"},
		"a column missing": {"time,logger,temp_c\n2026-11-25T06:10:00Z,a,4.3\n",
			"r.csv:1: header: columns are missing: rh_pct"},
		"a column twice": {"time,logger,temp_c,rh_pct,temp_c\n", "r.csv:1: header: the column temp_c occurs twice"},
		"header only":    {header, "r.csv:1: rows: is a header only"},
		"no good row":    {header + "x\n", "r.csv:1: rows: none of its 1 rows can be used"},
		"a long header":  {strings.Repeat("a,", MaxLine), "r.csv:1: header: the first line is too long"},
	} {
		t.Run(name, func(t *testing.T) {
			_, _, err := readAll(t, tc.text)
			var faults roof.Faults
			require.ErrorAs(t, err, &faults)
			assert.ErrorIs(t, err, ErrNoGoodRow)
			assert.True(t, strings.HasPrefix(faults.Lines(100)[0], tc.want), faults.Lines(100)[0])
		})
	}
}

func TestAnErrorOfTheSourceOrTheTakerIsPassedOn(t *testing.T) {
	broken := errors.New("disk gone")
	_, err := Read("r.csv", io.MultiReader(strings.NewReader(header+"2026-11-25T06:10:00Z,a,4.3,90\n"), failing{broken}),
		now, func(roof.Reading, int) error { return nil })
	assert.ErrorIs(t, err, broken)
	_, err = Read("r.csv", strings.NewReader(header+"2026-11-25T06:10:00Z,a,4.3,90\n"), now,
		func(roof.Reading, int) error { return broken })
	assert.ErrorIs(t, err, broken)
	assert.ErrorContains(t, err, "line 2 of r.csv")
}

type failing struct{ err error }

func (f failing) Read([]byte) (int, error) { return 0, f.err }

// A line of 256 MB must cost itself only (faults, row 45).
func TestAnEndlessLineCostsNoMemory(t *testing.T) {
	source := io.MultiReader(strings.NewReader(header), io.LimitReader(endless{}, 256<<20),
		strings.NewReader("\n2026-11-25T06:10:00Z,a,4.3,90\n"))
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	sum, err := Read("r.csv", source, now, func(roof.Reading, int) error { return nil })
	runtime.ReadMemStats(&after)
	require.NoError(t, err)
	assert.Equal(t, 1, sum.Good)
	assert.Equal(t, 1, sum.Bad)
	assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(4<<20))
}

type endless struct{}

func (endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = 'x'
	}
	return len(p), nil
}

func TestOnlySoManyBadRowsAreListedButAllAreCounted(t *testing.T) {
	_, sum, err := readAll(t, header+"2026-11-25T06:10:00Z,a,4.3,90\n"+strings.Repeat("x\n", maxListed+5))
	require.NoError(t, err)
	assert.Len(t, sum.Rejected, maxListed)
	assert.Equal(t, maxListed+5, sum.Bad)
}

func TestNumbersReadAsStrconvReadsThem(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`[-+]?([0-9]{1,20}(\.[0-9]{0,25})?|\.[0-9]{1,25})([eE][-+]?[0-9]{1,2})?`).Draw(t, "text")
		got, err := Number([]byte(text))
		if err != nil {
			t.Fatalf("%s: %v", text, err)
		}
		var want float64
		if _, err := fmt.Sscan(text, &want); err != nil || math.Float64bits(got) != math.Float64bits(want) {
			t.Fatalf("%s gave %v, not %v (%v)", text, got, want, err)
		}
	})
}

func TestWhatIsWrittenReadsBackTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var want []roof.Reading
		for range rapid.IntRange(1, 20).Draw(t, "n") {
			r := roof.Reading{Logger: rapid.OneOf(rapid.StringMatching(`[A-Za-z0-9._-]{1,64}`),
				rapid.SampledFrom([]string{"-x", "-1", ".", "..", "1e3"})).Draw(t, "logger"),
				At: time.UnixMilli(rapid.Int64Range(946684800000, now.UnixMilli()).Draw(t, "ms")).UTC(), Arrived: now}
			alone := rapid.SampledFrom([]roof.Quantity{roof.TempC, roof.RainMM, roof.WoodPct, roof.WindMS}).Draw(t, "quantity")
			r.Values.Set(alone, rapid.Float64Range(-90, 100).Draw(t, "x"))
			if rapid.Bool().Draw(t, "has") {
				r.Values.Set(roof.RHPct, rapid.Float64Range(0, 105).Draw(t, "rh"))
			}
			if rapid.Bool().Draw(t, "has") {
				r.Values.Set(roof.SunWM2, rapid.Float64().Filter(func(x float64) bool { return !math.IsInf(x, 0) }).Draw(t, "sun"))
			}
			want = append(want, r)
		}
		var out strings.Builder
		n, err := Write(&out, func(yield func(roof.Reading, error) bool) {
			for _, r := range want {
				if !yield(r, nil) {
					return
				}
			}
		})
		if err != nil || n != len(want) {
			t.Fatal(n, err)
		}
		i := 0
		_, err = Read("r.csv", strings.NewReader(out.String()), now, func(r roof.Reading, line int) error {
			r.Flags = 0
			if r != want[i] {
				return fmt.Errorf("%+v became %+v", want[i], r)
			}
			i++
			return nil
		})
		if err != nil || i != n {
			t.Fatalf("%d of %d: %v\n%s", i, n, err, out.String())
		}
	})
}

func FuzzRead(f *testing.F) {
	f.Add([]byte(header + "2026-11-25T06:10:00Z,a,4.3,90\n"))
	f.Add([]byte("\xef\xbb\xbf" + header + "\"2026-11-25T06:10:00Z,a,4.3,90\r\n2026-11-25T06:10:00+14:00,\"a\",\"4\",\n"))
	f.Add([]byte("time;logger\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		lines := strings.Split(string(data), "\n")
		sum, err := Read("r.csv", strings.NewReader(string(data)), now, func(r roof.Reading, line int) error {
			row := lines[line-1]
			// Never a value that does not stand there.
			for q := range roof.Quantity(roof.QuantityCount) {
				if x, ok := r.Values.Get(q); ok && x != 0 && !strings.ContainsAny(row, "123456789") {
					t.Fatalf("%v out of %q", x, row)
				}
			}
			if !strings.Contains(row, r.Logger) || r.At.Year() < 2000 {
				t.Fatalf("%+v out of %q", r, row)
			}
			return nil
		})
		if sum.Rows != sum.Good+sum.Bad || (err == nil) != (sum.Good > 0) {
			t.Fatalf("%+v, %v", sum, err)
		}
	})
}
