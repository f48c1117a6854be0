package spell_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/physics/spell"
)

const minute = int64(60e3)

func TestHourlySpells(t *testing.T) {
	var ms []int64
	var ts, e []float64
	var joined []bool
	for k := range 13 { // every 15 min, 00:00 to 03:00, with a gap 01:00-01:15
		ms = append(ms, int64(k)*15*minute)
		ts = append(ts, 5)
		e = append(e, psychro.SatWaterPa(5)*0.8)
		joined = append(joined, k != 4 && k != 12)
	}
	spells, err := spell.Hourly(ms, ts, e, joined)
	require.NoError(t, err)
	require.NoError(t, spell.Check(spells))
	require.Len(t, spells, 3)
	assert.Equal(t, 75*minute, spells[1].FromMS)
	assert.InDelta(t, 2.75, spell.ObservedH(spells), 1e-9)
	for _, s := range spells {
		assert.InDelta(t, 80, s.RHPct, 1e-9)
		assert.InDelta(t, 5, s.TempC, 1e-9)
	}
}

func TestAWetSurfaceIsAt100Percent(t *testing.T) {
	spells, err := spell.Hourly([]int64{0, 60 * minute}, []float64{2, 2}, []float64{900, 900}, []bool{true, false})
	require.NoError(t, err)
	assert.Equal(t, 100.0, spells[0].RHPct)
}

func TestWhatCannotBeCut(t *testing.T) {
	_, err := spell.Hourly([]int64{0, 1}, []float64{1}, []float64{1, 1}, []bool{true, false})
	require.ErrorIs(t, err, spell.ErrInput)
	_, err = spell.Hourly([]int64{1, 1}, []float64{1, 1}, []float64{1, 1}, []bool{true, false})
	require.ErrorIs(t, err, spell.ErrInput)
	_, err = spell.Hourly([]int64{0, 1}, []float64{1, math.NaN()}, []float64{1, 1}, []bool{true, false})
	require.ErrorIs(t, err, spell.ErrInput)
	require.ErrorIs(t, spell.Check([]spell.Spell{{0, 10, 5, 50}, {5, 20, 5, 50}}), spell.ErrInput)
	require.ErrorIs(t, spell.Check([]spell.Spell{{10, 10, 5, 50}}), spell.ErrInput)
	require.ErrorIs(t, spell.Check([]spell.Spell{{0, 10, 5, 150}}), spell.ErrInput)
}
