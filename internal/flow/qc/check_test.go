package qc

import (
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
