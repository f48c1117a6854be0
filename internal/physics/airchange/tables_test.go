package airchange_test

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/physics/airchange"
	"dewcase/internal/physics/psychro"
	"dewcase/internal/physics/vapour"
	"dewcase/internal/testkit/tabletest"
)

var number = regexp.MustCompile(`-?\d+(?:\.\d+)?`)

func numbers(t *testing.T, s string) []float64 {
	// "25 000" is one number; "10/day" and "0.5/h" are two words.
	s = regexp.MustCompile(`(\d) (000)\b`).ReplaceAllString(s, "$1$2")
	s = regexp.MustCompile(`[a-z]\d`).ReplaceAllString(s, "") // m3, mm2
	var out []float64
	for _, f := range number.FindAllString(s, -1) {
		x, err := strconv.ParseFloat(f, 64)
		require.NoError(t, err)
		out = append(out, x)
	}
	return out
}

// last is the last figure of an expected cell and its half digit.
func figure(t *testing.T, text, after string) (value, half float64) {
	if after != "" {
		_, rest, found := strings.Cut(text, after)
		require.Truef(t, found, "%q in %q", after, text)
		text = rest
	}
	f := number.FindString(text)
	value, err := strconv.ParseFloat(f, 64)
	require.NoError(t, err, text)
	decimals := 0
	if i := strings.IndexByte(f, '.'); i >= 0 {
		decimals = len(f) - i - 1
	}
	return value, 0.5000001 * math.Pow(10, -float64(decimals))
}

func TestAirChangeChecks(t *testing.T) {
	ok := func(x float64, err error) float64 { t.Helper(); require.NoError(t, err); return x }
	for _, r := range tabletest.Read(t, "airchange_checks") {
		in, want := numbers(t, strings.ReplaceAll(r.Text("inputs"), "->", " ")), r.Text("expected")
		check := func(got float64, after string) {
			t.Helper()
			value, half := figure(t, want, after)
			assert.InDeltaf(t, value, got, half, "%s: %s", r, r.Text("inputs"))
		}
		switch q := r.Text("quantity"); q {
		case "tracer decay":
			if strings.Contains(r.Text("inputs"), "background in") {
				check(ok(airchange.Decay(in[0], in[1], in[2], in[3])), "/2 = ")
			} else {
				check(ok(airchange.Decay(in[0], in[1], 0, in[2])), "/3 = ")
			}
		case "steady excess":
			dv := ok(airchange.SteadyExcessGM3(in[0], in[1], in[2]))
			check(dv, "dv = ")
			check(dv/1000*psychro.GasVapour*293.15, "293.15 = ")
		case "air change from excess":
			check(ok(airchange.FromExcess(in[0], in[2], in[1])), "n = ")
		case "house-air fraction of loft air":
			check(ok(vapour.LoftShare(in[0]/1000, in[1]/1000, in[2]/1000)), ")/(6.9-3.4) = ")
		case "same, raw g/m3 trap":
			var v []float64
			for i := 0; i < 6; i += 2 {
				e := ok(psychro.VapourFromMixingRatioPa(in[i+1]/1000, psychro.StandardPressurePa))
				v = append(v, ok(psychro.AbsoluteHumidityGM3(in[i], e)))
			}
			check(v[0], "v_house = ")
			check(v[1], "v_loft = ")
			check(v[2], "v_out = ")
			check((v[1]-v[2])/(v[0]-v[2]), "f = ")
		case "ceiling leak moisture load":
			flow, grams, err := airchange.CeilingLoad(in[0], in[1], in[2]/100, in[3], in[4])
			require.NoError(t, err)
			check(flow, "")
			check(grams, "; ")
			check(grams*24/1000, "g/h; ")
		case "step response":
			assert.InDelta(t, 0.632, airchange.StepResponse(in[0], 0.5), 0.0005)
			assert.InDelta(t, 0.95, airchange.StepResponse(in[0], 1.5), 0.0005)
		case "slot flow":
			check(ok(airchange.SlotFlowM3H(in[0], 1, 0.6, 1.25)), "")
		case "stack pressure":
			check(ok(airchange.StackPressurePa(in[0], in[1], in[2])), "")
		case "field data": // what was found in other houses; nothing to compute
		default:
			t.Errorf("%s: no check is written for %q", r, q)
		}
	}
}

func TestMoistureGenerationTable(t *testing.T) {
	known := map[string]airchange.Source{}
	for _, s := range airchange.Sources() {
		known[s.What] = s
	}
	for _, r := range tabletest.Read(t, "moisture_generation") {
		what, rate := r.Text("source_of_moisture"), numbers(t, strings.ReplaceAll(r.Text("rate"), "-", " "))
		switch {
		case strings.HasPrefix(what, "dry / moist / wet occupancy"):
			for i, o := range airchange.Occupancies() {
				assert.Equalf(t, [2]float64{rate[2*i], rate[2*i+1]}, [2]float64{o.Low, o.High}, "%s: %s", r, o.Name)
			}
		case strings.HasPrefix(what, "LPG combustion stoichiometry"):
			assert.InDelta(t, rate[0], airchange.PropaneWater, 0.005)
		default:
			s, ok := known[what]
			require.Truef(t, ok, "%s: %s is not known here", r, what)
			assert.Equalf(t, r.Text("unit"), s.Unit, "%s", r)
			assert.Equalf(t, rate[0], s.Low, "%s", r)
			assert.Equalf(t, rate[len(rate)-1], s.High, "%s", r)
		}
	}
}
