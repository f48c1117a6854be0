package repair

import (
	"iter"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/flow/qc"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// plainCase is a full kit with a repair of everything on its 25th day.
func plainCase(start time.Time) *roof.Case {
	zone, err := time.LoadLocation("Europe/London")
	if err != nil {
		zone = time.UTC
	}
	c := &roof.Case{ID: "odd", Property: roof.Property{Timezone: zone.String(), Zone: zone}, Positions: []roof.Position{
		{ID: "landing", Place: roof.IndoorAir}, {ID: "loft", Place: roof.LoftAir}, {ID: "void", Place: roof.BattenVoidAir},
		{ID: "slate", Place: roof.CoveringUnderside, Meets: "void"},
		{ID: "membrane", Place: roof.UnderlayUnderside, Meets: "loft"}, {ID: "outside", Place: roof.OutdoorAir}},
		Events: []roof.Event{{At: start.AddDate(0, 0, 25), Kind: roof.Repair}}}
	for _, p := range c.Positions {
		c.Loggers = append(c.Loggers, roof.Logger{ID: "k-" + p.ID, Interval: time.Hour,
			Fitted: []roof.Fitting{{Position: p.ID, From: start.AddDate(0, 0, -1)}}})
	}
	return c
}

// oddSet fills the kit hour by hour; what the function does not give is a gap.
func oddSet(t require.TestingT, hours int,
	value func(position string, hour int) (tempC, rhPct float64, ok bool)) *series.Set {
	start := time.Date(2026, 2, 20, 0, 0, 0, 0, time.UTC) // over the change to summer time
	c := plainCase(start)
	flagged, err := qc.Flag(c, func(logger string) iter.Seq2[roof.Reading, error] {
		return func(yield func(roof.Reading, error) bool) {
			for h := range hours {
				v, rh, ok := value(logger[2:], h)
				if !ok {
					continue
				}
				r := roof.Reading{Logger: logger, At: start.Add(time.Duration(h) * time.Hour)}
				r.Values.Set(roof.TempC, v)
				r.Values.Set(roof.RHPct, rh)
				if !yield(r, nil) {
					return
				}
			}
		}
	})
	require.NoError(t, err)
	set, err := series.Build(c, 0, flagged)
	require.NoError(t, err)
	return set
}

func TestOddRecordsGetAnHonestAnswerAndNoNumberThatIsNone(t *testing.T) {
	for name, value := range map[string]func(string, int) (float64, float64, bool){
		"everything constant":          func(string, int) (float64, float64, bool) { return 5, 80, true },
		"everything constant and full": func(string, int) (float64, float64, bool) { return 5, 100, true },
		"bone dry":                     func(_ string, h int) (float64, float64, bool) { return 5 + float64(h%7), 0, true },
		"polar": func(_ string, h int) (float64, float64, bool) {
			return -60 + float64(h%24),
				70 + float64(h%9), true
		},
		"a furnace": func(_ string, h int) (float64, float64, bool) {
			return 90 + float64(h%9),
				90 + float64(h%9), true
		},
		"leaps": func(_ string, h int) (float64, float64, bool) {
			return float64(h*7919%120) - 40, float64(h * 104729 % 101), true
		},
		"every third hour": func(_ string, h int) (float64, float64, bool) { return 5, 90 + float64(h%5), h%3 == 0 },
		"nights only": func(_ string, h int) (float64, float64, bool) {
			return 5, 90 + float64(h%5), h%24 < 7 ||
				h%24 > 18
		},
		"outdoors silent since the repair": func(p string, h int) (float64, float64, bool) {
			return 5 + float64(h%6), 85 + float64(h%11), p != "outside" || h < 25*24
		},
	} {
		t.Run(name, func(t *testing.T) {
			for _, r := range Assess(oddSet(t, 60*24, value), Options{Draws: 20}) {
				finite(t, r)
				assert.NotEqual(t, Worked, r.Verdict)
				assert.NotEqual(t, GotWorse, r.Verdict)
				assert.NotEmpty(t, r.Needs)
			}
		})
	}
}

func TestRandomRecordsNeverBreakTheAnswer(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		hours := rapid.IntRange(1, 50*24).Draw(t, "hours")
		gap := rapid.IntRange(1, 400).Draw(t, "gap")
		cold := rapid.Float64Range(-20, 25).Draw(t, "cold")
		swing := rapid.Float64Range(0, 15).Draw(t, "swing")
		wet := rapid.Float64Range(0, 100).Draw(t, "wet")
		set := oddSet(t, hours, func(p string, h int) (float64, float64, bool) {
			shift := float64(len(p))
			return cold + shift + swing*math.Sin(float64(h)/24*2*math.Pi+shift), math.Min(wet+float64((h*31+len(p)*7)%13), 100),
				h%gap != 0 || gap == 1
		})
		for _, r := range Assess(set, Options{Draws: 8, NoSensitivity: true}) {
			if r.Verdict == TooEarly && r.Needs == "" {
				t.Fatal("too early, and no word of what it needs")
			}
			if r.ReductionPct != nil && (math.IsNaN(*r.ReductionPct) || *r.LowPct > *r.HighPct) {
				t.Fatalf("a reduction of %g [%g, %g]", *r.ReductionPct, *r.LowPct, *r.HighPct)
			}
		}
	})
}

func TestNoCaseNoRepairNoAnswer(t *testing.T) {
	assert.Empty(t, Assess(nil, Options{}))
	assert.Empty(t, Assess(&series.Set{}, Options{}))
	set := oddSet(t, 100, func(string, int) (float64, float64, bool) { return 5, 80, true })
	set.Case.Events = nil
	assert.Empty(t, Assess(set, Options{}))
}
