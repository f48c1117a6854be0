package psychro_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/physics/psychro"
)

func TestInversesRoundTrip(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		at := rapid.Float64Range(-60, 60).Draw(rt, "t")
		dew, err := psychro.DewPointC(psychro.SatWaterPa(at))
		require.NoError(rt, err)
		assert.InDelta(rt, at, dew, 1e-9)
		frost, err := psychro.FrostPointC(psychro.SatIcePa(at))
		require.NoError(rt, err)
		assert.InDelta(rt, at, frost, 1e-9)
		assert.InDelta(rt, at, psychro.LimitC(psychro.SatSurfacePa(at)), 1e-9)
	})
}

func TestEverythingRisesWithTheVapour(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		at := rapid.Float64Range(-40, 60).Draw(rt, "t")
		drier := rapid.Float64Range(0.5, 99).Draw(rt, "drier")
		wetter := rapid.Float64Range(drier+0.1, 100).Draw(rt, "wetter")
		e1, err1 := psychro.VapourPressurePa(at, drier)
		e2, err2 := psychro.VapourPressurePa(at, wetter)
		require.NoError(rt, err1)
		require.NoError(rt, err2)
		d1, _ := psychro.DewPointC(e1)
		d2, _ := psychro.DewPointC(e2)
		f1, _ := psychro.FrostPointC(e1)
		assert.Less(rt, d1, d2)
		assert.Less(rt, psychro.LimitC(e1), psychro.LimitC(e2))
		assert.LessOrEqual(rt, d2, at+1e-9, "no dew point above the air's temperature")
		if e1 < psychro.IceBranchPa {
			assert.GreaterOrEqual(rt, f1, d1, "frost forms before dew below 0 C")
		}
	})
}

func TestTheLimitIsContinuousAtFreezing(t *testing.T) {
	assert.InDelta(t, 0, psychro.LimitC(psychro.IceBranchPa), 1e-12)
	assert.InDelta(t, 0, psychro.LimitC(psychro.IceBranchPa*(1-1e-9)), 1e-6)
	assert.Equal(t, psychro.SatWaterPa(0), psychro.SatIcePa(0))
	assert.Equal(t, psychro.LimitC(psychro.FloorPa), psychro.LimitC(0))
}

func TestWhatCannotBeIsAnError(t *testing.T) {
	nan := math.NaN()
	e := func(_ any, err error) error { return err }
	cases := map[string]error{
		"temperature not a number":     e(psychro.VapourPressurePa(nan, 50)),
		"colder than any reading":      e(psychro.VapourPressurePa(-91, 50)),
		"humidity over 105":            e(psychro.VapourPressurePa(10, 106)),
		"humidity under 0":             e(psychro.VapourPressurePa(10, -1)),
		"dew point of no vapour":       e(psychro.DewPointC(0)),
		"dew point of NaN":             e(psychro.DewPointC(nan)),
		"frost point of no vapour":     e(psychro.FrostPointC(-1)),
		"altitude in the stratosphere": e(psychro.PressureAtAltitudePa(20000)),
		"ISO saturation of NaN":        e(psychro.ISO13788SatPa(nan)),
	}
	for name, err := range cases {
		assert.ErrorIs(t, err, psychro.ErrRange, name)
	}
}

func TestReadingsOver100PercentCountAs100(t *testing.T) {
	full, err := psychro.VapourPressurePa(8, 100)
	require.NoError(t, err)
	over, err := psychro.VapourPressurePa(8, 104)
	require.NoError(t, err)
	assert.Equal(t, full, over)
}

// FuzzAirState: anything accepted gives finite figures and a dew point not
// above the air; anything else gives an error, never NaN.
func FuzzAirState(f *testing.F) {
	f.Add(5.0, 90.0)
	f.Add(-30.0, 5.0)
	f.Add(math.Inf(1), math.NaN())
	f.Add(-90.0, 1e-300)
	f.Fuzz(func(t *testing.T, tempC, rhPct float64) {
		e, err := psychro.VapourPressurePa(tempC, rhPct)
		if err != nil {
			return
		}
		require.False(t, math.IsNaN(e) || math.IsInf(e, 0) || e < 0)
		require.False(t, math.IsNaN(psychro.LimitC(e)) || math.IsInf(psychro.LimitC(e), 0))
		dew, err := psychro.DewPointC(e)
		if err != nil {
			require.LessOrEqual(t, e, 0.0, "only air without vapour has no dew point here")
			return
		}
		require.LessOrEqual(t, dew, tempC+1e-9)
		frost, err := psychro.FrostPointC(e)
		require.NoError(t, err)
		for _, x := range []float64{dew, frost} {
			require.False(t, math.IsNaN(x) || math.IsInf(x, 0))
		}
	})
}

// Every exported function says what it is in; the physics is checked by people
// who read the comment first.
func TestEveryExportedFunctionIsExplained(t *testing.T) {
	files, err := filepath.Glob("*.go")
	require.NoError(t, err)
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.ParseComments)
		require.NoError(t, err)
		for _, d := range file.Decls {
			if f, ok := d.(*ast.FuncDecl); ok && f.Name.IsExported() {
				require.Truef(t, len(f.Doc.Text()) > 40, "%s has no comment worth the name", f.Name)
			}
		}
	}
}

var sink float64

// BenchmarkDewPoint measures dew points a second from temperature and humidity
// beside the bare exponential and logarithm they need, in turns of a few
// milliseconds so that a busy machine slows both, and reports the ratio of the
// fastest turns (bar: 0.5 or more).
func BenchmarkDewPoint(b *testing.B) {
	const turns, each = 25, 1 << 16
	var temps, rhs [1024]float64
	for i := range temps {
		temps[i], rhs[i] = -10+float64(i)*0.03, 40+float64(i)*0.05
	}
	ours, bare := time.Duration(math.MaxInt64), time.Duration(math.MaxInt64)
	for b.Loop() {
		for range turns {
			var s float64
			start := time.Now()
			for i := range each {
				e, err := psychro.VapourPressurePa(temps[i&1023], rhs[i&1023])
				if err != nil {
					b.Fatal(err)
				}
				d, err := psychro.DewPointC(e)
				if err != nil {
					b.Fatal(err)
				}
				s += d
			}
			ours = min(ours, time.Since(start))
			start = time.Now()
			for i := range each {
				s += math.Log(math.Exp(temps[i&1023]*0.01) * rhs[i&1023])
			}
			bare = min(bare, time.Since(start))
			sink += s
		}
	}
	b.ReportMetric(each/ours.Seconds(), "dewpoints/s")
	b.ReportMetric(float64(bare)/float64(ours), "ratio_to_bare")
}
