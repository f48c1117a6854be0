package airchange_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/physics/airchange"
	"dewcase/internal/physics/psychro"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/measuredroofs"
)

// measuredRoof reads 120 days of one of the two measured roofs (TRH-database, CC
// BY 4.0), which lie beside the repository and are not part of it.
func measuredRoof(t *testing.T, name string) (startMS int64, outdoor, house, loft airchange.Air) {
	t.Helper()
	record := measuredroofs.Load(t, name)
	begin := time.Date(2010, 11, 25, 0, 0, 0, 0, measuredroofs.Zone)
	hours := 120 * 24
	read := func(sensor string) airchange.Air {
		a := airchange.Air{TempC: make([]float64, hours), VapourPa: make([]float64, hours), Seen: make([]bool, hours)}
		last, still := math.NaN(), 0
		for i, at := range record.At {
			v := record.Values(i, sensor)
			temp, okT := v.Get(roof.TempC)
			rh, okRH := v.Get(roof.RHPct)
			if !okT || !okRH {
				continue
			}
			if rh == last {
				still++
			} else {
				last, still = rh, 0
			}
			h := int(at.Sub(begin) / time.Hour)
			if h < 0 || h >= hours {
				continue
			}
			e, err := psychro.VapourPressurePa(temp, math.Min(rh, 100))
			require.NoError(t, err)
			a.TempC[h], a.VapourPa[h], a.Seen[h] = temp, e, true
			if still >= 8 && rh < 98.5 { // a sensor that stands still, all of the stretch
				for k := h; k >= max(0, h-still); k-- {
					a.Seen[k] = false
				}
			}
		}
		return a
	}
	return begin.UnixMilli(), read("station"), read("indoor1"), read("roofmiddle_airmiddle")
}

// The shares of the two measured roofs as worked out independently (the method's
// check values).
func TestSharesOfTheMeasuredRoofs(t *testing.T) {
	for name, want := range map[string][3]float64{"R2": {0.58471, -0.018262, 0.2729},
		"R3": {0.43835, 0.0022278, 0.40281}} {
		t.Run(name, func(t *testing.T) {
			start, outdoor, house, loft := measuredRoof(t, name)
			s, err := airchange.Follow(start, outdoor, &house, loft)
			require.NoError(t, err)
			assert.InEpsilon(t, want[0], s.Outdoor, 0.001)
			assert.InDelta(t, want[1], s.Source, 0.0001)
			assert.InEpsilon(t, want[2], s.Wood, 0.001)
			e, err := airchange.Loft(start, outdoor, &house, loft)
			require.NoError(t, err)
			require.True(t, e.Known, e.Why)
			assert.InEpsilon(t, 1.7*want[0]/want[2], e.PerHour, 0.01)
			assert.Less(t, e.Low, e.PerHour/1.9)
			assert.Greater(t, e.High, e.PerHour*1.9)
			t.Logf("%s: %.2f (%.2f to %.2f) air changes an hour", name, e.PerHour, e.Low, e.High)
		})
	}
}

// simulated is a loft with a known air change and a known exchange with its
// wood, stepped at a minute: an independent statement of the balance that Follow
// fits.
func simulated(days int, perHour, woodRate, ceiling, noisePa float64) (outdoor, house, loft airchange.Air) {
	rng := rand.New(rand.NewPCG(7, 9))
	n := days * 24
	mk := func() airchange.Air {
		return airchange.Air{TempC: make([]float64, n), VapourPa: make([]float64, n), Seen: make([]bool, n)}
	}
	outdoor, house, loft = mk(), mk(), mk()
	var te, rh, shower = 3.0, 0.85, 0.0
	p := 700.0
	woodRH := 0.8
	for h := range n {
		te += 0.05*(4-te) + 0.7*rng.NormFloat64()
		rh = math.Min(0.99, math.Max(0.5, rh+0.1*(0.82-rh)+0.04*rng.NormFloat64()))
		if rng.Float64() < 0.08 {
			shower = 500
		}
		po := psychro.SatWaterPa(te) * rh
		pi := po + 450 + shower
		shower *= 0.5
		tl := te + 2 + 2*math.Sin(2*math.Pi*float64(h)/24) + 0.5*rng.NormFloat64()
		var sum float64
		for range 60 {
			sat := psychro.SatWaterPa(tl)
			p += (perHour*(po-p) + ceiling*(pi-p) + woodRate*(woodRH*sat-p)) / 60
			woodRH += 0.0005 / 60 * (p/sat - woodRH)
			sum += p / 60
		}
		outdoor.TempC[h], outdoor.VapourPa[h] = te, po+noisePa*rng.NormFloat64()
		house.TempC[h], house.VapourPa[h] = 20, pi+noisePa*rng.NormFloat64()
		loft.TempC[h], loft.VapourPa[h] = tl, sum+noisePa*rng.NormFloat64()
		outdoor.Seen[h], house.Seen[h], loft.Seen[h] = true, true, true
	}
	return outdoor, house, loft
}

func TestASimulatedLoftIsFoundWithinItsInterval(t *testing.T) {
	for _, n := range []float64{0.5, 1, 2, 4} {
		outdoor, house, loft := simulated(90, n, airchange.LoftWoodRate, 0.1, 2)
		e, err := airchange.Loft(0, outdoor, &house, loft)
		require.NoError(t, err)
		require.True(t, e.Known, e.Why)
		assert.Truef(t, e.Low <= n && n <= e.High, "true %g, found %.2f (%.2f to %.2f)", n, e.PerHour, e.Low, e.High)
		without, err := airchange.Loft(0, outdoor, nil, loft)
		require.NoError(t, err)
		assert.Truef(t, without.Known, "without a logger indoors: %s", without.Why)
	}
}

func TestAConstantOffsetChangesNothing(t *testing.T) {
	outdoor, house, loft := simulated(60, 1, 1.7, 0.1, 2)
	before, err := airchange.Follow(0, outdoor, &house, loft)
	require.NoError(t, err)
	for i := range loft.VapourPa {
		outdoor.VapourPa[i] += 30
	}
	after, err := airchange.Follow(0, outdoor, &house, loft)
	require.NoError(t, err)
	assert.InDelta(t, before.Outdoor, after.Outdoor, 1e-6)
	assert.InDelta(t, before.Wood, after.Wood, 1e-6)
}

func TestNotIdentifiableIsSaid(t *testing.T) {
	outdoor, house, loft := simulated(5, 1, 1.7, 0.1, 2)
	e, err := airchange.Loft(0, outdoor, &house, loft)
	require.NoError(t, err)
	assert.False(t, e.Known)
	assert.Contains(t, e.Why, "of 200 needed")

	outdoor, house, loft = simulated(60, 0, 1.7, 0, 2)
	e, err = airchange.Loft(0, outdoor, &house, loft)
	require.NoError(t, err)
	if assert.False(t, e.Known, "a shut loft has an upper bound at most") {
		assert.NotEmpty(t, e.Why)
		assert.Less(t, e.AtMost, 0.5)
	}

	e, err = airchange.Void(0, outdoor, &house, loft, 0)
	require.NoError(t, err)
	assert.False(t, e.Known)
	assert.Contains(t, e.Why, "not known")

	for i := range loft.VapourPa { // a logger that does not move
		loft.VapourPa[i], loft.TempC[i] = 700, 5
	}
	e, err = airchange.Loft(0, outdoor, &house, loft)
	require.NoError(t, err)
	assert.False(t, e.Known)
	assert.NotEmpty(t, e.Why)
}

func TestVoidWithAKnownWoodRate(t *testing.T) {
	outdoor, house, void := simulated(90, 3, 5, 0.2, 2)
	e, err := airchange.Void(0, outdoor, &house, void, 5)
	require.NoError(t, err)
	require.True(t, e.Known, e.Why)
	assert.True(t, e.Low <= 3 && 3 <= e.High, "%+v", e)
}

func TestWhatCannotBeEstimated(t *testing.T) {
	e := func(_ any, err error) error { return err }

	outdoor, house, loft := simulated(20, 1, 1.7, 0.1, 2)
	short := airchange.Air{TempC: loft.TempC[1:], VapourPa: loft.VapourPa[1:], Seen: loft.Seen[1:]}
	broken := airchange.Air{TempC: append([]float64{math.NaN()}, loft.TempC[1:]...), VapourPa: loft.VapourPa,
		Seen: loft.Seen}
	for name, err := range map[string]error{
		"lengths":   e(airchange.Loft(0, outdoor, &house, short)),
		"NaN":       e(airchange.Follow(0, outdoor, &house, broken)),
		"wood rate": e(airchange.Void(0, outdoor, &house, loft, -1)),
	} {
		assert.ErrorIs(t, err, airchange.ErrInput, name)
	}
}
