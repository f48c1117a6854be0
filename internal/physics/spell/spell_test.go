package spell_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/physics/spell"
)

const minute = int64(60e3)

func TestTracksMeetWhereBothAreObserved(t *testing.T) {
	// a at 0, 10, 20, gap, 40, 50; b at 5, 15, 45.
	ms, a, b, joined := spell.Meet(
		[]int64{0, 10, 20, 40, 50}, []float64{0, 10, 20, 40, 50}, []bool{true, true, false, true, false},
		[]int64{5, 15, 45}, []float64{50, 150, 450}, []bool{true, true, false})
	assert.Equal(t, []int64{5, 10, 15, 20, 40, 45}, ms)
	assert.Equal(t, []float64{5, 10, 15, 20, 40, 45}, a)
	assert.Equal(t, []float64{50, 100, 150, 200, 400, 450}, b)
	assert.Equal(t, []bool{true, true, true, false, true, false}, joined)
	ms, _, _, _ = spell.Meet([]int64{0, 10}, []float64{0, 1}, []bool{true, false}, []int64{20, 30}, []float64{0, 1},
		[]bool{true, false})
	assert.Empty(t, ms)
	ms, _, _, _ = spell.Meet(nil, nil, nil, nil, nil, nil)
	assert.Empty(t, ms)
}

func TestMeetingKeepsTheCommonTime(t *testing.T) {
	track := func(rt *rapid.T, name string) (ms []int64, v []float64, joined []bool) {
		n := rapid.IntRange(0, 30).Draw(rt, name)
		at := int64(0)
		for i := range n {
			at += rapid.Int64Range(1, 50).Draw(rt, "step")
			ms, v = append(ms, at), append(v, 2*float64(at))
			joined = append(joined, i < n-1 && rapid.Bool().Draw(rt, "joined"))
		}
		return ms, v, joined
	}
	rapid.Check(t, func(rt *rapid.T) {
		am, av, aj := track(rt, "a")
		bm, bv, bj := track(rt, "b")
		ms, a, b, joined := spell.Meet(am, av, aj, bm, bv, bj)
		covered := func(ms []int64, joined []bool, t int64) bool { // is (t, t+1) inside?
			for i := range ms {
				if joined[i] && ms[i] <= t && t+1 <= ms[i+1] {
					return true
				}
			}
			return false
		}
		for i := range ms {
			assert.InDelta(rt, 2*float64(ms[i]), a[i], 1e-9)
			assert.InDelta(rt, 2*float64(ms[i]), b[i], 1e-9)
		}
		for at := int64(0); at < 1600; at++ {
			want := covered(am, aj, at) && covered(bm, bj, at)
			assert.Equal(rt, want, covered(ms, joined, at), "at %d", at)
		}
	})
}

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
