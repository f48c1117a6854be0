package repair

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/physics/roofsim"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/roofworlds"
)

// judged sets up the judge of a simulated winter's covering.
func judged(t testing.TB, set *series.Set, draws int) *judge {
	t.Helper()
	a := &assessor{set: set, opts: Options{Draws: draws}, cache: newLayCache(), repairs: set.Case.Repairs()}
	e := a.repairs[0]
	from, until, _ := a.window(0, set.Course("slate").Position)
	j, err := a.judge(e, "slate", from, until, credit(set.Case, e))
	require.NoError(t, err)
	return j
}

func lastLook(t testing.TB, j *judge) *look {
	t.Helper()
	ends := j.ends()
	l := j.evaluate(ends[len(ends)-1], nil, j.draws)
	require.NotNil(t, l.fit, l.needs)
	return l
}

func TestNoChangeNoErrorNoFall(t *testing.T) {
	set := kitted(t, 13, roofsim.Repair{}, roofworlds.Kit{Interval: 30 * time.Minute}, 75, nil)
	j := judged(t, set, 20)
	l := lastLook(t, j)
	l.fit.u[pD], l.fit.u[pC], l.fit.u[pV] = 0, 0, 0
	for i := range l.fit.chol { // a posterior without width
		l.fit.chol[i] = 0
	}
	for a := range l.fit.free {
		l.fit.chol[a*len(l.fit.free)+a] = 1e12
	}
	bare := make([]bin, l.trial.end) // the measured temperatures
	copy(bare, j.bins[:l.trial.end])
	s := newDrawer(l.fit, bare).sample(j.dice, 20, spread{})
	for i := range s.risk {
		assert.InDelta(t, 0, s.risk[i], 1e-9)
		assert.InDelta(t, 0, s.wet[i], 1e-9)
		assert.InDelta(t, 0, s.water[i], 1e-9)
	}
}

// A logger that reads 2 %RH high all winter moves the fall of the at-risk hours
// by less than 0.05 (method, section 15).
func TestAStandingOffsetHardlyMovesTheAnswer(t *testing.T) {
	for _, seed := range []uint64{13, 18} {
		base := lastLook(t, judged(t, kitted(t, seed, strongVoid(),
			roofworlds.Kit{Interval: 30 * time.Minute}, 85, nil), 160))
		for _, position := range []string{"void", "loft"} {
			set := kitted(t, seed, strongVoid(), roofworlds.Kit{Interval: 30 * time.Minute}, 85, func(m *roofsim.Measured) {
				for i := range m.Readings {
					r := &m.Readings[i]
					l, _ := m.Case.Logger(r.Logger)
					if rh, ok := r.Values.Get(roof.RHPct); ok && l.Fitted[0].Position == position {
						r.Values.Set(roof.RHPct, math.Min(rh+2, 100))
					}
				}
			})
			moved := lastLook(t, judged(t, set, 160))
			assert.InDelta(t, base.risk.pct, moved.risk.pct, 5, "%d %s", seed, position)
		}
	}
}

// In a steady roof the two periods are alike but for the work: exchanging them
// turns the change of the void round.
func TestExchangingBeforeAndAfterTurnsTheSignRound(t *testing.T) {
	const n = 120 * 48
	s := steadySite(n)
	forward, backward := s.fitHalf(t, 1.2), s.fitHalf(t, -1.2)
	assert.Greater(t, forward, 0.5)
	assert.Less(t, backward, -0.5)
	assert.InDelta(t, forward, -backward, 0.5)
}

// steadySite is a roof in daily repeating weather whose readings the model
// itself makes, so that the fit can be held to what was put in.
func steadySite(n int) *site {
	r := rand.New(rand.NewPCG(5, 7))
	s := &site{grid: grid{fromMS: 0, n: n}, hasIn: true, hasLoft: true, hasVoid: true, hasCover: true, repairBin: n / 2}
	mk := func() channel {
		c := channel{v: make([]float64, n), seen: make([]bool, n), any: true}
		for k := range c.seen {
			c.seen[k] = true
		}
		return c
	}
	s.out, s.in, s.loft, s.void = climate{mk(), mk()}, climate{mk(), mk()}, climate{mk(), mk()}, climate{mk(), mk()}
	s.cover, s.lay = mk(), mk()
	spell, cloud, moist := 0.0, 0.0, 0.0
	for k := range n {
		spell += 0.01*(-spell) + 0.3*r.NormFloat64()
		cloud = clamp(cloud+0.05*r.NormFloat64(), 0, 1)
		moist += 0.02*(-moist) + 4*r.NormFloat64()
		hour := float64(k%48) / 2
		day := math.Cos((hour - 14) / 24 * 2 * math.Pi)
		to := 3 + spell + 2.5*day
		tc := to - 3*(1-cloud)*step(hour < 8 || hour > 17) + 4*(1-cloud)*step(hour > 9 && hour < 15)
		s.out.tempC.v[k], s.out.pa.v[k] = to, 0.85*611*math.Exp(0.072*(3+spell))
		s.in.tempC.v[k], s.in.pa.v[k] = 20, s.out.pa.v[k]+350+moist
		s.loft.tempC.v[k], s.cover.v[k] = to+1.5, tc
		s.void.tempC.v[k], s.lay.v[k] = (tc+to)/2, (tc+to+1.5)/2
	}
	s.nightOf = make([]int32, n)
	for k := 0; k+48 <= n; k += 48 {
		for i := range 48 {
			s.nightOf[k+i] = int32(len(s.nights))
		}
		n := evidence.Night{FromMS: int64(k) * stepMS, UntilMS: int64(k+48) * stepMS}
		s.nights = append(s.nights, night{Night: n, from: k, until: k + 48})
	}
	return s
}

// fitHalf makes readings with the void opened by exp(v) for the second half and
// gives what the fit finds.
func (s *site) fitHalf(t *testing.T, v float64) float64 {
	j := &judge{s: s, terms: defaultTerms([3]bool{false, false, true})}
	j.prepareDrivers()
	tr := newTrial(s, j.bins, j.terms, 0, s.repairBin, s.n, 0)
	f := newFit(tr)
	f.u[pV] = v / tr.pr[pV].sd
	f.simulate(&f.u)
	copy(s.loft.pa.v, f.base.loftOut)
	copy(s.void.pa.v, f.base.voidOut)
	tr = newTrial(s, j.bins, j.terms, 0, s.repairBin, s.n, 0)
	g := newFit(tr)
	g.rounds(2, 10)
	_, _, got := tr.changes(&g.u)
	return got
}

func TestBoundedExpIsTheExponential(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64Range(-4, 4).Draw(t, "x")
		want := math.Exp(math.Min(math.Max(x, -expReach), expReach))
		if math.Abs(boundedExp(x)/want-1) > 1e-6 {
			t.Fatalf("exp(%g) = %g, want %g", x, boundedExp(x), want)
		}
	})
	assert.Equal(t, expTable[0], boundedExp(math.NaN()), "what is no number stays within bounds")
}

func TestTheModelStaysWithinPhysicsForAnyUnknowns(t *testing.T) {
	s := steadySite(30 * 48)
	j := &judge{s: s, terms: defaultTerms([3]bool{true, true, true})}
	j.prepareDrivers()
	tr := newTrial(s, j.bins, j.terms, 0, s.repairBin, s.n, 0)
	f := newFit(tr)
	rapid.Check(t, func(t *rapid.T) {
		var u vector
		for k := range u {
			u[k] = rapid.Float64Range(-reachSD, reachSD).Draw(t, "u")
		}
		f.simulate(&u)
		for k := range s.n {
			for _, p := range []float64{f.base.loftOut[k], f.base.voidOut[k]} {
				if math.IsNaN(p) || p < 1 || p > 6000 {
					t.Fatalf("vapour pressure %g Pa at half hour %d", p, k)
				}
			}
		}
	})
}

func TestCholeskySolves(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const m = 5
		b := rapid.SliceOfN(rapid.Float64Range(-2, 2), m*m, m*m).Draw(t, "b")
		x := rapid.SliceOfN(rapid.Float64Range(-3, 3), m, m).Draw(t, "x")
		a := make([]float64, m*m)
		y := make([]float64, m)
		for i := range m {
			for k := range m {
				for l := range m {
					a[i*m+k] += b[i*m+l] * b[k*m+l]
				}
			}
			a[i*m+i]++
		}
		for i := range m {
			for k := range m {
				y[i] += a[i*m+k] * x[k]
			}
		}
		if !cholesky(a, m) {
			t.Fatal("a definite matrix")
		}
		solveCholesky(a, m, y)
		for i := range m {
			if math.Abs(y[i]-x[i]) > 1e-9 {
				t.Fatalf("x[%d] = %g, want %g", i, y[i], x[i])
			}
		}
	})
}

func TestTemperatureRegressionTakesOutWhatTheRepairMoved(t *testing.T) {
	s := steadySite(100 * 48)
	r := rand.New(rand.NewPCG(1, 2))
	for k := range s.n {
		s.loft.tempC.v[k] = s.out.tempC.v[k] + 0.2*(20-s.out.tempC.v[k]) + 0.05*r.NormFloat64()
		if k >= s.repairBin {
			s.loft.tempC.v[k] -= 0.8
		}
	}
	loft, air := s.temperatureColumns()
	tt := s.unrepairedTemps(loft, air, func(k int) bool { return k < s.repairBin },
		func(k int) bool { return k >= s.repairBin }, s.repairBin, s.n)
	sum := 0.0
	for k := s.repairBin; k < s.n; k++ {
		sum += tt.loft[k] - s.loft.tempC.v[k]
	}
	assert.InDelta(t, 0.8, sum/float64(s.n-s.repairBin), 0.15)
	assert.Equal(t, s.loft.tempC.v[:s.repairBin], tt.loft[:s.repairBin], "the past is as measured")
}

func BenchmarkRun(b *testing.B) {
	s := steadySite(146 * 48)
	j := &judge{s: s, terms: defaultTerms([3]bool{false, false, true})}
	j.prepareDrivers()
	f := newFit(newTrial(s, j.bins, j.terms, 0, s.repairBin, s.n, 0))
	b.ReportAllocs()
	for b.Loop() {
		f.simulate(&f.u)
	}
}
