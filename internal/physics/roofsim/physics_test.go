package roofsim

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/tabletest"
)

// coveringBalanceC is the steady temperature of a covering that exchanges with
// sky, air and an air space behind it:
//
//	e s [F (Ts^4-Tsky^4) + (1-F)(Ts^4-Ta^4)] + hc (Ts-Ta) + U (Ts-Tin) = a S
//
// with F the view of the sky from the pitch. It is what heat.go reaches when
// nothing changes, and what the tests compare with published figures.
func coveringBalanceC(airC, skyC, hc, u, insideC, pitchDeg, emiss, absorbed float64) float64 {
	f := skyView(pitchDeg * math.Pi / 180)
	ts := airC
	for range 30 {
		k := ts + kelvin
		flow := emiss*stefanBoltzmann*(math.Pow(k, 4)-f*math.Pow(skyC+kelvin, 4)-(1-f)*math.Pow(airC+kelvin, 4)) +
			hc*(ts-airC) + u*(ts-insideC) - absorbed
		slope := 4*emiss*stefanBoltzmann*k*k*k + hc + u
		ts -= flow / slope
	}
	return ts
}

// Balances computed independently for roof_undercooling.csv: emissivity 0.9,
// pitch 35 degrees, air behind the covering 2 K above outdoors.
func TestCoveringBalanceMatchesTheUndercoolingTable(t *testing.T) {
	for _, row := range tabletest.Read(t, "roof_undercooling") {
		air := row.Num("air_t_C")
		got := coveringBalanceC(air, row.Num("Tsky_C"), row.Num("hc_W_per_m2K"), row.Num("U_to_loft_W_per_m2K"), air+2, 35,
			0.9, 0)
		assert.InDelta(t, row.Num("T_covering_C"), got, 0.02, row.String())
	}
}

// Berdahl and Martin 1984, midnight and (by leaving the hour's term out at six
// in the morning, where its cosine is 0) the daily mean.
func TestClearSkyMatchesTheSkyTable(t *testing.T) {
	for _, row := range tabletest.Read(t, "sky") {
		dew := row.Num("dewpoint_C")
		assert.InDelta(t, row.Num("eps_BerdahlMartin_midnight"), clearSkyEmissivity(dew, 0), 6e-4, row.String())
		assert.InDelta(t, row.Num("eps_BerdahlMartin_daily"), clearSkyEmissivity(dew, 6), 6e-4, row.String())
		assert.InDelta(t, row.Num("Tsky_BerdahlMartin_midnight_C"), skyC(row.Num("air_t_C"), dew, 0, 0, 0.9), 0.06,
			row.String())
	}
}

func TestCloudWarmsTheSkyAndNeverAboveTheAir(t *testing.T) {
	last := -100.0
	for cloud := 0.0; cloud <= 1.0; cloud += 0.1 {
		got := skyC(5, 3, 0, cloud, 0.9)
		assert.Greater(t, got, last)
		assert.LessOrEqual(t, got, 5.0)
		last = got
	}
	assert.Greater(t, last, 1.0, "low cloud radiates nearly as a black body (common knowledge of the weather)")
}

// Slots of airchange_checks.csv: Q = 0.6 A sqrt(2 dp/rho) at rho 1.25; this
// model's air is 1.27 and its law is rounded near zero pressure, 2.1 % in all.
func TestSlotFlowMatchesTheAirchangeTable(t *testing.T) {
	found := 0
	for _, row := range tabletest.Read(t, "airchange_checks") {
		var mm2 float64
		text := strings.ReplaceAll(row.Text("inputs"), " 000 mm2", "000 mm2")
		if row.Text("quantity") != "slot flow" && row.Text("quantity") != "same" {
			continue
		}
		if n, _ := fmt.Sscanf(text, "%fmm2", &mm2); n == 0 {
			if n, _ = fmt.Sscanf(text, "%f mm2", &mm2); n == 0 {
				continue
			}
		}
		var want float64
		if n, _ := fmt.Sscanf(row.Text("expected"), "%f m3/h", &want); n == 0 {
			continue
		}
		found++
		assert.InEpsilon(t, want, 3600*mm2*1e-6*slotM3SPerM2(1), 0.025, row.String())
	}
	require.Positive(t, found, "no slot rows in the table")
}

func TestFilmTransferMatchesTheCondensationTable(t *testing.T) {
	for _, row := range tabletest.Read(t, "condensation_rate") {
		assert.InEpsilon(t, row.Num("beta_p_7e-9hc_kg_per_m2sPa"), filmBeta(row.Num("h_c_W_per_m2K")), 1e-6, row.String())
	}
}

// The isotherm against the Wood Handbook: the form was chosen for two points
// near 10 C, and is out by up to 1.5 % moisture content from 40 to 90 %RH at -2 to 33 C.
func TestWoodEquilibriumFollowsTheHandbook(t *testing.T) {
	worst := 0.0
	for _, row := range tabletest.Read(t, "emc") {
		rh, temp := row.Num("rh_pct"), row.Num("t_C")
		if rh < 40 || rh > 90 || temp > 33 || !row.Has("published_emc_pct") {
			continue
		}
		lo, hi := 1.0, 134.0
		for range 60 {
			mid := (lo + hi) / 2
			if p, _ := pine.relHumidity(mid, temp); p < rh/100 {
				lo = mid
			} else {
				hi = mid
			}
		}
		got := 100 * lo / pine.densityKgM3
		worst = math.Max(worst, math.Abs(got-row.Num("published_emc_pct")))
		assert.InDelta(t, row.Num("published_emc_pct"), got, 1.5, "%s at %g C %g %%RH", row, temp, rh)
	}
	t.Logf("greatest misfit %.2f %% moisture content", worst)
}

func TestWoodSlopeIsTheDerivative(t *testing.T) {
	for _, kg := range []float64{20, 45, 70, 100, 120} {
		p, slope := pine.relHumidity(kg, 4)
		q, _ := pine.relHumidity(kg+1e-4, 4)
		assert.InEpsilon(t, (q-p)/1e-4, slope, 1e-3, "at %g kg/m3", kg)
	}
}

// A slab in constant air ends at equilibrium with it, and takes up what its
// layers gain.
func TestSlabComesToEquilibriumAndKeepsItsBooks(t *testing.T) {
	s := newSlab(pine, 5, 0.02, 10, filmBeta(3), 0.12)
	before, in := s.waterKg(), 0.0
	const air = 0.85 * 872.0 // Pa at 5 C
	for range 40000 {
		s.prepare(5, 3600)
		in += s.finish(air, 3600)
	}
	assert.InEpsilon(t, s.waterKg()-before, in, 1e-9)
	for i := range s.n {
		p, _ := pine.relHumidity(s.kg[i]/s.dx[i], 5)
		assert.InDelta(t, 0.85, p, 0.005, "layer %d", i)
	}
}

func TestNetworkStacksAndBlows(t *testing.T) {
	h := House{SpanM: 8, LengthM: 9, PitchDeg: 35, CeilingHeightM: 5, LeakageM2: 0.08}
	r := Roof{CeilingLeakMM2M2: 300, LoftLeakMM2M2: 100, LoftEavesMM: 10, UnderlayAirMM2M2: 10,
		VoidEavesMM: [2]float64{0.3, 0.3}, VoidRidgeMM: [2]float64{0.3, 0.3}, CoveringAirMM2M2: 5}
	still := air{outC: 2, zoneC: [zones]float64{20, 4, 3, 3}}
	n := newNetwork(&h, &r)
	require.Less(t, n.solve(&still), 1e-6)
	assert.Greater(t, n.flow[zoneHouse][zoneLoft], n.flow[zoneLoft][zoneHouse], "warm air rises through the ceiling")
	for z := range zones {
		in, gone := 0.0, 0.0
		for y := range zones + 1 {
			in += n.flow[y][z]
			gone += n.flow[z][y]
		}
		assert.InDelta(t, in, gone, 1e-6, "zone %d", z)
	}
	calm := n.flow[out][zoneLoft]
	windy := still
	windy.windMS = 4
	require.Less(t, n.solve(&windy), 1e-6)
	assert.Greater(t, n.flow[out][zoneLoft], 3*calm, "wind flushes a loft with eaves on both sides")
	shut := r
	shut.LoftEavesMM = 0.3
	m := newNetwork(&h, &shut)
	require.Less(t, m.solve(&windy), 1e-6)
	assert.Less(t, m.flow[out][zoneLoft], 0.2*n.flow[out][zoneLoft])
}

// 2.5 m of house 20 C against 0 C below one opening at the top: the stack
// pressure of physics section 11 (5 m, 20 against 0 C: 4.3 Pa).
func TestStackPressureMatchesTheKnownFigure(t *testing.T) {
	got := airDensity * gravity * (1 - kelvin/(20+kelvin)) * 5
	assert.InEpsilon(t, 4.3, got, 0.02)
}

func TestSunStandsWhereItShould(t *testing.T) {
	noon := sunAt(52, 172, 12)
	assert.InDelta(t, math.Cos((52-23.45)*math.Pi/180), noon.cosZenith, 0.002, "midsummer noon at 52 N")
	assert.InDelta(t, math.Pi, noon.azimuth, 1e-6)
	morning := sunAt(52, 80, 9)
	assert.Less(t, morning.azimuth, math.Pi)
	assert.Greater(t, morning.azimuth, math.Pi/3)
	assert.Less(t, sunAt(52, 355, 3).cosZenith, 0.0)
	g, d := irradiance(noon, 0)
	south := onPlane(sunAt(52, 355, 12), g, d, 35*math.Pi/180, math.Pi)
	north := onPlane(sunAt(52, 355, 12), g, d, 35*math.Pi/180, 0)
	assert.Greater(t, south, 2*north)
}
