package glaser_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/physics/glaser"
	"dewcase/internal/physics/psychro"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/tabletest"
)

// The build-ups of the tables: 12.5 mm plasterboard (lambda 0.25, sd 0.125 m),
// 150 mm wool (lambda 0.038, sd 0.15 m), an underlay, and for C a vapour control
// layer of sd 50 m below the wool.
func buildUp(t testing.TB, name string) glaser.BuildUp {
	t.Helper()
	board := glaser.Layer{Name: "plasterboard", ResistanceM2KW: 0.0125 / 0.25, SdM: 0.125}
	wool := glaser.Layer{Name: "wool", ResistanceM2KW: 0.150 / 0.038, SdM: 0.15}
	hr := glaser.Layer{Name: "HR underlay", SdM: 20}
	switch name[0] {
	case 'A':
		return glaser.BuildUp{Layers: []glaser.Layer{board, wool, hr}}
	case 'B':
		return glaser.BuildUp{Layers: []glaser.Layer{board, wool, {Name: "LR underlay", SdM: 0.05}}}
	case 'C':
		return glaser.BuildUp{Layers: []glaser.Layer{board, {Name: "vapour control layer", SdM: 50}, wool, hr}}
	}
	t.Fatalf("build-up %q is not known here", name)
	return glaser.BuildUp{}
}

func iso(t testing.TB, c float64) float64 {
	p, err := psychro.ISO13788SatPa(c)
	require.NoError(t, err)
	return p
}

func TestWinterBlocksOfTheTable(t *testing.T) {
	for _, r := range tabletest.Read(t, "glaser_blocks") {
		b := buildUp(t, r.Text("construction"))
		require.Contains(t, r.Text("boundary"), "20 C/50 % in, -5 C/80 % out")
		c := glaser.Climate{IndoorC: 20, OutdoorC: -5, IndoorPa: iso(t, 20) * 0.5, OutdoorPa: iso(t, -5) * 0.8}
		r.Near("p_i_Pa", c.IndoorPa, 0)
		r.Near("p_e_Pa", c.OutdoorPa, 0)
		s, err := glaser.SteadyState(b, c)
		require.NoError(t, err)
		r.Near("R_total_m2K_per_W", s.TotalM2KW, 0)
		r.Near("t_interface1_C", s.Interfaces[1].TempC, 0)
		r.Near("psat_interface1_Pa", s.Interfaces[1].SatPa, 0)
		require.Len(t, s.Planes, int(r.Num("planes")), r.String())
		rate := s.Planes[0].RateKgM2
		r.Near("rate_kg_per_m2s", rate, 0)
		r.Near("rate_g_per_m2h", rate*3.6e6, 0)
		r.Near("g_per_m2_in_90_days", rate*1000*90*86400, 0)
		assert.Contains(t, s.Planes[0].Where, "underlay")
	}
}

// hand is the single-plane case worked straight from eqs 17 and 19.
func hand(pi, ps, pe, sdIn, sdOut float64) float64 {
	return glaser.Delta0 * ((pi-ps)/sdIn - (ps-pe)/sdOut)
}

func TestASinglePlaneByHand(t *testing.T) {
	s, err := glaser.SteadyState(buildUp(t, "A"),
		glaser.Climate{IndoorC: 20, OutdoorC: -5, IndoorPa: 1168, OutdoorPa: 321})
	require.NoError(t, err)
	require.Len(t, s.Planes, 1)
	assert.InEpsilon(t, hand(1168, s.Planes[0].SatPa, 321, 0.275, 20), s.Planes[0].RateKgM2, 1e-9)
}

// Vapour that enters equals vapour that leaves plus what stays, at any state.
func TestTheVapourBalanceCloses(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(1, 5).Draw(rt, "layers")
		var b glaser.BuildUp
		total := 0.0
		for i := range n {
			l := glaser.Layer{Name: string(rune('a' + i)), ResistanceM2KW: rapid.Float64Range(0, 3).Draw(rt, "r"),
				SdM: rapid.Float64Range(0.01, 30).Draw(rt, "sd")}
			b.Layers = append(b.Layers, l)
			total += l.SdM
		}
		c := glaser.Climate{IndoorC: rapid.Float64Range(15, 24).Draw(rt, "ti"),
			OutdoorC: rapid.Float64Range(-15, 14).Draw(rt, "te")}
		c.IndoorPa = iso(t, c.IndoorC) * rapid.Float64Range(0.3, 0.9).Draw(rt, "hi")
		c.OutdoorPa = iso(t, c.OutdoorC) * rapid.Float64Range(0.5, 1).Draw(rt, "he")
		s, err := glaser.SteadyState(b, c)
		require.NoError(rt, err)
		var gained float64
		sdAt, pAt := []float64{0}, []float64{c.OutdoorPa}
		for _, p := range s.Planes {
			assert.Greater(rt, p.RateKgM2, 0.0, "a dry build-up only gains")
			gained += p.RateKgM2
			sdAt, pAt = append(sdAt, p.SdM), append(pAt, p.SatPa)
		}
		sdAt, pAt = append(sdAt, total), append(pAt, c.IndoorPa)
		k := len(sdAt) - 1
		in := glaser.Delta0 * (pAt[k] - pAt[k-1]) / (sdAt[k] - sdAt[k-1])
		out := glaser.Delta0 * (pAt[1] - pAt[0]) / (sdAt[1] - sdAt[0])
		assert.InDelta(rt, in-out, gained, 1e-9*(math.Abs(in)+math.Abs(out)))
		faces := s.Interfaces
		if s.FaceWets { // the room's own pressure stands at its face
			faces = faces[:len(faces)-1]
		}
		for _, f := range faces {
			assert.LessOrEqual(rt, f.VapourPa, f.SatPa*(1+1e-9)+1e-6, "nowhere above saturation: %s", f.Where)
		}
	})
}

func TestLayersOfACaseFile(t *testing.T) {
	layers, err := glaser.FromRoof([]roof.Layer{
		{Name: "plasterboard", ThicknessMM: 12.5, ConductivityWMK: 0.25, Mu: 10},
		{Name: "wool", ThicknessMM: 150, ConductivityWMK: 0.038, Mu: 1},
		{Name: "underlay", ThicknessMM: 0.5, SdM: 20},
	})
	require.NoError(t, err)
	assert.Len(t, layers, 3)
	_, err = glaser.FromRoof([]roof.Layer{{Name: "mystery", ThicknessMM: 10}})
	require.ErrorIs(t, err, glaser.ErrInput)
	assert.ErrorContains(t, err, "mystery")
}

func TestWhatCannotBeCalculated(t *testing.T) {
	good := glaser.Climate{IndoorC: 20, OutdoorC: 0, IndoorPa: 1000, OutdoorPa: 500}
	e := func(_ any, err error) error { return err }
	a := buildUp(t, "A")
	cases := map[string]error{
		"no layers":            e(glaser.SteadyState(glaser.BuildUp{}, good)),
		"no vapour resistance": e(glaser.SteadyState(glaser.BuildUp{Layers: []glaser.Layer{{ResistanceM2KW: 1}}}, good)),
		"negative sd":          e(glaser.SteadyState(glaser.BuildUp{Layers: []glaser.Layer{{SdM: -1}}}, good)),
		"over saturation": e(glaser.SteadyState(a,
			glaser.Climate{IndoorC: 20, OutdoorC: 0, IndoorPa: 3000, OutdoorPa: 500})),
		"NaN":                e(glaser.SteadyState(a, glaser.Climate{IndoorC: math.NaN()})),
		"surface resistance": e(glaser.SteadyState(glaser.BuildUp{Layers: a.Layers, Rsi: -1}, good)),
	}
	for name, err := range cases {
		assert.ErrorIs(t, err, glaser.ErrInput, name)
	}
}

// A five-layer wall with the figures of an independent implementation of the same
// standard (repository pachi/condensaciones, test_cerramiento.py, read there): air
// of 5 C/96 % outside, 20 C/55 % inside; half brick, mortar, 30 mm EPS, brick on
// edge, plaster.
func TestAPublishedWall(t *testing.T) {
	b := glaser.BuildUp{Rse: 0.04, Rsi: 0.13, Layers: []glaser.Layer{
		{Name: "plaster", ResistanceM2KW: 0.01754386, SdM: 0.06},
		{Name: "brick on edge", ResistanceM2KW: 0.06741573, SdM: 0.3},
		{Name: "EPS", ResistanceM2KW: 0.80, SdM: 0.6}, {Name: "mortar", ResistanceM2KW: 0.02439024, SdM: 0.10},
		{Name: "half brick", ResistanceM2KW: 0.16491754, SdM: 1.10}}}
	s, err := glaser.SteadyState(b, glaser.Climate{IndoorC: 20, OutdoorC: 5, IndoorPa: 1285.3231290912881,
		OutdoorPa: 836.98994423079864})
	require.NoError(t, err)
	assert.InDelta(t, 1.24426738, s.TotalM2KW, 1e-7)
	temps := []float64{5.48221147, 7.47033972, 7.76437110, 17.40860050, 18.22131646, 18.43281272}
	sats := []float64{901.6494, 1034.1391, 1055.1221, 1987.3647, 2091.7093, 2119.6372}
	require.Len(t, s.Interfaces, len(temps))
	for i, f := range s.Interfaces {
		assert.InDelta(t, temps[i], f.TempC, 1e-6, f.Where)
		assert.InDelta(t, sats[i], f.SatPa, 1e-3, f.Where)
	}
	require.Len(t, s.Planes, 2, "both faces of the mortar")
	assert.InDelta(t, 31.39753, (s.Planes[0].RateKgM2+s.Planes[1].RateKgM2)*1000*2592000, 0.001, "g/m2 in 30 days")
}
