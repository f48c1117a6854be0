package vapour_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/physics/vapour"
	"dewcase/internal/testkit/tabletest"
)

func TestHumidityClassTable(t *testing.T) {
	for _, r := range tabletest.Read(t, "humidity_classes") {
		class, out := int(r.Num("class")), r.Num("outdoor_t_C")
		assert.NotEmpty(t, vapour.ClassUse(class))
		if out >= 20 {
			_, err := vapour.ClassOf(100, out)
			assert.ErrorIs(t, err, vapour.ErrInput, "the classes have closed up")
			continue
		}
		inside := r.Num("dp_lower_Pa") + 1
		if r.Has("dp_upper_Pa") {
			inside = (r.Num("dp_lower_Pa") + r.Num("dp_upper_Pa")) / 2
			over, err := vapour.ClassOf(r.Num("dp_upper_Pa")+1, out)
			require.NoError(t, err)
			assert.Greaterf(t, over, class, "%s", r)
		}
		got, err := vapour.ClassOf(inside, out)
		require.NoError(t, err)
		assert.Equalf(t, class, got, "%s", r)
	}
}

// house makes weeks of hourly air with a known share of house air in the loft.
func house(weeks int, share, uncPa float64) vapour.Input {
	rng := rand.New(rand.NewPCG(1, 2))
	n := weeks * 168
	mk := func() *vapour.Air {
		return &vapour.Air{TempC: make([]float64, n), VapourPa: make([]float64, n), Seen: make([]bool, n), UncPa: uncPa}
	}
	o, h, l := mk(), mk(), mk()
	for i := range n {
		te := 5 - 5*math.Cos(float64(i)/600) + 2*rng.NormFloat64()
		o.TempC[i], h.TempC[i], l.TempC[i] = te, 20, te+2
		o.VapourPa[i] = psychro.SatWaterPa(te) * 0.8
		h.VapourPa[i] = o.VapourPa[i] + 675*(1-te/20) + 30*rng.NormFloat64()
		l.VapourPa[i] = o.VapourPa[i] + share*(h.VapourPa[i]-o.VapourPa[i]) + 20*rng.NormFloat64()
		o.Seen[i], h.Seen[i], l.Seen[i] = true, true, true
	}
	return vapour.Input{Outdoor: o, House: h, Loft: l}
}

func TestThePictureOfAKnownHouse(t *testing.T) {
	in := house(16, 0.25, 15)
	p, err := vapour.Draw(in)
	require.NoError(t, err)
	require.True(t, p.Class.Known)
	assert.Equal(t, 3, p.Class.Class, "675 Pa at 0 C")
	assert.InDelta(t, 675, p.Class.AtZeroPa, 10)
	assert.False(t, p.Class.Borderline)
	require.True(t, p.Loft.Known)
	assert.InDelta(t, 0.25, p.Loft.Mean, 0.01)
	assert.Less(t, p.Loft.Low, 0.25)
	assert.Greater(t, p.Loft.High, 0.25)
	assert.Equal(t, "house", p.Excesses[0].ID)
	assert.Len(t, p.Excesses[0].Weeks, 16)

}

func TestTheShareOfAnyHouseIsRecovered(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		want := rapid.Float64Range(0, 1).Draw(rt, "share")
		p, err := vapour.Draw(house(4, want, 0))
		require.NoError(rt, err)
		assert.InDelta(rt, want, p.Loft.Mean, 0.02)
	})
}

func TestWhatIsNotThereIsSaid(t *testing.T) {
	_, err := vapour.Draw(vapour.Input{})
	require.ErrorIs(t, err, vapour.ErrInput)
	in := house(1, 0.3, 0)
	in.Loft = nil
	p, err := vapour.Draw(in)
	require.NoError(t, err)
	assert.False(t, p.Loft.Known)
	assert.Contains(t, p.Loft.Why, "loft")
	in = house(1, 0.3, 0)
	p, err = vapour.Draw(in)
	require.NoError(t, err)
	assert.False(t, p.Loft.Known, "one week is not enough")
	for i := range in.House.Seen {
		in.House.Seen[i] = false
		in.House.VapourPa[i] = math.NaN() // what was not seen does not matter
	}
	p, err = vapour.Draw(in)
	require.NoError(t, err)
	assert.False(t, p.Class.Known)
	assert.Zero(t, p.Excesses[0].Hours)
}

func TestAnImpossiblyDryLoftIsPointedOut(t *testing.T) {
	in := house(4, 0, 0)
	for i := range in.Loft.VapourPa {
		in.Loft.VapourPa[i] -= 40
	}
	p, err := vapour.Draw(in)
	require.NoError(t, err)
	assert.Contains(t, p.Notes[len(p.Notes)-1], "side by side")
}

func TestBadInputIsAnError(t *testing.T) {
	for name, spoil := range map[string]func(*vapour.Input){
		"lengths":     func(in *vapour.Input) { in.Loft.TempC = nil },
		"NaN seen":    func(in *vapour.Input) { in.Loft.VapourPa[3] = math.NaN() },
		"pressure":    func(in *vapour.Input) { in.PressurePa = 5 },
		"uncertainty": func(in *vapour.Input) { in.House.UncPa = -1 },
		"outdoors":    func(in *vapour.Input) { in.Outdoor.VapourPa[0] = math.Inf(1) },
	} {
		in := house(1, 0.2, 0)
		spoil(&in)
		_, err := vapour.Draw(in)
		assert.ErrorIs(t, err, vapour.ErrInput, name)
	}
}
