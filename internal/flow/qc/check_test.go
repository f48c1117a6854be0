package qc

import (
	"iter"
	"math"
	"testing"
	"time"

	"dewcase/internal/roof"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var now = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

func reading(at time.Time, values map[roof.Quantity]float64) roof.Reading {
	r := roof.Reading{Logger: "a", At: at, Arrived: now}
	for q, x := range values {
		r.Values.Set(q, x)
	}
	return r
}

// The rules and limits are those of the contract, section 2.
func TestWhatCannotBeIsRejected(t *testing.T) {
	for name, tc := range map[string]struct {
		at     time.Time
		values map[roof.Quantity]float64
		want   roof.Reason
	}{
		"not a number": {now, map[roof.Quantity]float64{roof.TempC: math.NaN()}, roof.NotFinite},
		"infinite":     {now, map[roof.Quantity]float64{roof.RHPct: math.Inf(1)}, roof.NotFinite},
		"a battery not finite": {now, map[roof.Quantity]float64{roof.TempC: 1, roof.BatteryPct: math.Inf(-1)},
			roof.NotFinite},
		"colder than can be":  {now, map[roof.Quantity]float64{roof.TempC: -90.01}, roof.TempOutOfRange},
		"hotter than can be":  {now, map[roof.Quantity]float64{roof.TempC: 100.01}, roof.TempOutOfRange},
		"drier than can be":   {now, map[roof.Quantity]float64{roof.RHPct: -0.01}, roof.RHOutOfRange},
		"moister than can be": {now, map[roof.Quantity]float64{roof.RHPct: 105.01}, roof.RHOutOfRange},
		"nothing":             {now, nil, roof.NoQuantity},
		"only a battery":      {now, map[roof.Quantity]float64{roof.BatteryPct: 80}, roof.NoQuantity},
		"before 2000": {earliest.Add(-time.Millisecond), map[roof.Quantity]float64{roof.TempC: 1},
			roof.TimeTooOld},
		"1970": {time.Unix(60, 0), map[roof.Quantity]float64{roof.TempC: 1}, roof.TimeTooOld},
		"more than 24 h ahead": {now.Add(24*time.Hour + time.Millisecond), map[roof.Quantity]float64{roof.TempC: 1},
			roof.TimeAhead},
		"a good half saves no bad": {now, map[roof.Quantity]float64{roof.TempC: 1, roof.RHPct: 127.5}, roof.RHOutOfRange},
	} {
		t.Run(name, func(t *testing.T) {
			_, rejection := Check(reading(tc.at, tc.values), now)
			require.NotNil(t, rejection)
			assert.Equal(t, tc.want, rejection.Reason)
			assert.NotEmpty(t, rejection.Detail)
		})
	}
}

// A moisture meter's spot, a rain gauge and a mast have neither temperature nor
// humidity; a battery alone measures nothing of the house.
func TestOneMeasuredQuantityIsAReading(t *testing.T) {
	for q := range roof.Quantity(roof.QuantityCount) {
		_, rejection := Check(reading(now, map[roof.Quantity]float64{q: 12}), now)
		assert.Equal(t, q == roof.BatteryPct, rejection != nil, "%s", q)
	}
}

// Looks with a meter that were typed in late say nothing of the logger's clock, and
// do not hide that it is wrong.
func TestLooksBetweenDoNotHideAClockThatIsWrong(t *testing.T) {
	for name, with := range map[string]bool{"without looks": false, "with looks between": true} {
		t.Run(name, func(t *testing.T) {
			var all []roof.Reading
			for i := range 40 {
				r := reading(now.Add(time.Duration(i)*5*time.Minute), map[roof.Quantity]float64{roof.TempC: float64(i % 3)})
				r.Arrived = r.At.Add(20 * time.Hour)
				all = append(all, r)
				if with {
					look := reading(r.At.Add(time.Minute), map[roof.Quantity]float64{roof.WoodPct: 18})
					look.Arrived = look.At.Add(time.Duration(100-i) * time.Hour)
					all = append(all, look)
				}
			}
			c := &roof.Case{Loggers: []roof.Logger{{ID: "a"}}}
			flagged, err := Flag(c, func(string) iter.Seq2[roof.Reading, error] { return seq(all) })
			require.NoError(t, err)
			n := 0
			for r, err := range flagged("a") {
				require.NoError(t, err)
				if r.Values.OfAir() && r.Flags&roof.FlagClockWrong != 0 {
					n++
				}
			}
			assert.Equal(t, 40, n)
		})
	}
}

func TestWhatIsDoubtfulIsFlaggedAndKept(t *testing.T) {
	for name, tc := range map[string]struct {
		at     time.Time
		values map[roof.Quantity]float64
		want   roof.Flags
	}{
		"sound":            {now, map[roof.Quantity]float64{roof.TempC: 4, roof.RHPct: 99.9}, 0},
		"temperature only": {now, map[roof.Quantity]float64{roof.TempC: 4}, 0},
		"humidity only":    {now, map[roof.Quantity]float64{roof.RHPct: 4}, 0},
		"the limits":       {earliest, map[roof.Quantity]float64{roof.TempC: -90, roof.RHPct: 0}, roof.FlagMakerRange},
		"at 100":           {now, map[roof.Quantity]float64{roof.TempC: 4, roof.RHPct: 100}, roof.FlagSaturated},
		"over 100": {now, map[roof.Quantity]float64{roof.TempC: 4, roof.RHPct: 105},
			roof.FlagSaturated | roof.FlagOverRange},
		"a power-on default": {now, map[roof.Quantity]float64{roof.TempC: 85.1}, roof.FlagMakerRange},
		"a battery of 250 %": {now, map[roof.Quantity]float64{roof.TempC: 4, roof.BatteryPct: 250}, roof.FlagMakerRange},
		"an old catch-up":    {now.AddDate(-1, 0, 0), map[roof.Quantity]float64{roof.TempC: 4}, 0},
		"a minute ahead":     {now.Add(time.Minute), map[roof.Quantity]float64{roof.TempC: 4}, 0},
		"five minutes ahead": {now.Add(5 * time.Minute), map[roof.Quantity]float64{roof.TempC: 4}, roof.FlagFutureTime},
		"a wrong zone": {now.Add(time.Hour), map[roof.Quantity]float64{roof.TempC: 4},
			roof.FlagFutureTime | roof.FlagClockWrong},
		"24 h ahead": {now.Add(24 * time.Hour), map[roof.Quantity]float64{roof.TempC: 4},
			roof.FlagFutureTime | roof.FlagClockWrong},
	} {
		t.Run(name, func(t *testing.T) {
			flags, rejection := Check(reading(tc.at, tc.values), now)
			require.Nil(t, rejection)
			assert.Equal(t, tc.want.Names(), flags.Names())
		})
	}
	r := reading(now, map[roof.Quantity]float64{roof.TempC: 4})
	r.Flags = roof.FlagArrivalTime | roof.FlagRetained
	flags, _ := Check(r, now)
	assert.Equal(t, r.Flags, flags, "what came with it stays")
}
