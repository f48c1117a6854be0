package psychro_test

import (
	"fmt"
	"go/parser"
	"go/token"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/testkit/tabletest"
)

// worst is the largest error of our dew point and frost point against the
// reference over a field of air states, walked in steps of 0.25 K and 1 %RH.
func worst(t *testing.T, tLow, tHigh, rhLow, rhHigh float64) (dew, frost float64) {
	ok := must(t)
	for at := tLow; at <= tHigh; at += 0.25 {
		for rh := rhLow; rh <= rhHigh; rh++ {
			e := ok(psychro.VapourPressurePa(at, rh))
			eRef := referenceWater(at) * rh / 100
			dew = math.Max(dew, math.Abs(ok(psychro.DewPointC(e))-referenceDew(eRef)))
			if eRef < 611 {
				frost = math.Max(frost, math.Abs(ok(psychro.FrostPointC(e))-referenceFrost(eRef)))
			}
		}
	}
	return dew, frost
}

// The table in the comment of DewPointC is recomputed here, so that it cannot
// drift from the code, and the stated bars are held over the whole range.
func TestStatedAccuracyOfDewAndFrostPoint(t *testing.T) {
	file, err := parser.ParseFile(token.NewFileSet(), "psychro.go", nil, parser.ParseComments)
	require.NoError(t, err)
	var text strings.Builder
	for _, c := range file.Comments {
		text.WriteString(c.Text())
	}
	rows := regexp.MustCompile(`(?m)^\s*(-?\d+)\.\.(-?\d+)\s+([\d.]+)\s+([\d.]+)\s+([\d.]+)\s+([\d.]+)$`).FindAllStringSubmatch(text.String(), -1)
	require.NotEmpty(t, rows, "the comment of DewPointC holds no table of errors")
	num := func(s string) float64 { x, err := strconv.ParseFloat(s, 64); require.NoError(t, err); return x }
	low, high := math.Inf(1), math.Inf(-1)
	for _, r := range rows {
		a, b := num(r[1]), num(r[2])
		low, high = math.Min(low, a), math.Max(high, b)
		d1, f1 := worst(t, a, b, 5, 25)
		d2, f2 := worst(t, a, b, 25, 60)
		d3, f3 := worst(t, a, b, 60, 100)
		frost := math.Max(f1, math.Max(f2, f3))
		got := fmt.Sprintf("%g..%g %.3f %.3f %.3f %.3f", a, b, d1, d2, d3, frost)
		assert.InDelta(t, num(r[3]), d1, 0.0006, got)
		assert.InDelta(t, num(r[4]), d2, 0.0006, got)
		assert.InDelta(t, num(r[5]), d3, 0.0006, got)
		assert.InDelta(t, num(r[6]), frost, 0.0006, got)
		assert.LessOrEqual(t, math.Max(d2, d3), 0.05, "bar from 25 %RH up: "+got)
		assert.LessOrEqual(t, d1, 0.105, "bar down to 5 %RH: "+got)
		assert.LessOrEqual(t, frost, 0.05, "bar of the frost point: "+got)
	}
	assert.Equal(t, [2]float64{-30, 50}, [2]float64{low, high}, "the table covers the stated range")
}

// Recomputes the worst errors that the table of short formulae prints.
func TestErrorTableOfTheShortFormulae(t *testing.T) {
	type pair struct{ sat, ref formula }
	magnusPair := "Magnus WMO-8 pair (water for e, ice for the inverse)"
	formulas := map[string]pair{
		"Magnus WMO-8 (17.62/243.12/6.112)":             {psychro.SatWaterPa, referenceWater},
		"AERK Alduchov-Eskridge (17.625/243.04/6.1094)": {aerk.sat, referenceWater},
		"Buck 1981 (17.502/240.97/6.1121)":              {buck81.sat, referenceWater},
		"ISO 13788 water branch (17.269/237.3/6.105)":   {isoWater.sat, referenceWater},
		"Magnus WMO-8 ice (22.46/272.62/6.112)":         {psychro.SatIcePa, sublimation},
		"AERKi (22.587/273.86/6.1121)":                  {aerki.sat, sublimation},
		"Buck 1981 ice (22.452/272.55/6.1115)":          {buck81i.sat, sublimation},
		"ISO 13788 ice branch (21.875/265.5/6.105)":     {isoIce.sat, sublimation},
		magnusPair: {psychro.SatWaterPa, referenceWater},
	}
	span := func(s string) (a, b float64) {
		parts := strings.Split(s, "..")
		require.Len(t, parts, 2, s)
		a, errA := strconv.ParseFloat(parts[0], 64)
		b, errB := strconv.ParseFloat(parts[1], 64)
		require.NoError(t, errA)
		require.NoError(t, errB)
		return a, b
	}
	bigger := func(old, x float64) float64 {
		if math.Abs(x) > math.Abs(old) {
			return x
		}
		return old
	}
	for _, r := range tabletest.Read(t, "magnus_error") {
		f, known := formulas[r.Text("formula")]
		require.Truef(t, known, "%s: formula %q", r, r.Text("formula"))
		a, b := span(r.Text("t_range_C"))
		var got float64
		if strings.HasPrefix(r.Text("quantity"), "p_sat") {
			for i := range int(math.Round((b-a)*10)) + 1 {
				at := a + float64(i)/10
				got = bigger(got, 100*(f.sat(at)/f.ref(at)-1))
			}
			assert.InDeltaf(t, r.Num("worst_error"), got, 0.002, "%s", r)
			continue
		}
		rhLow, rhHigh := span(r.Text("rh_range_pct"))
		for at := a; at <= b; at++ {
			for rh := rhLow; rh <= rhHigh; rh += 5 {
				e, eRef := f.sat(at)*rh/100, f.ref(at)*rh/100
				if r.Text("formula") == magnusPair {
					got = bigger(got, invert(psychro.SatIcePa, e, -110, 60)-invert(sublimation, eRef, -110, 60))
				} else {
					got = bigger(got, invert(f.sat, e, -110, 99)-referenceDew(eRef))
				}
			}
		}
		// The grid that the table was walked on is not stated: allow the worst
		// point to fall between.
		assert.InDeltaf(t, r.Num("worst_error"), got, 0.002, "%s: %s", r, r.Text("where_and_rms"))
	}
}
