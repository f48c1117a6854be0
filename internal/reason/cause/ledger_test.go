package cause

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
	"dewcase/internal/testkit/roofworlds"
)

// requireAdds adds up what is printed, as a reader would: every column of the
// ledger to its sum, and the sum to the ratio of the two shares.
func requireAdds(t require.TestingT, f Finding) {
	l := f.Ledger
	require.NotNil(t, l)
	require.Equal(t, f.Causes[0].Cause, l.Cause)
	require.Len(t, l.Against, 6)
	require.Equal(t, f.Causes[1].Cause, l.Against[0], "the runner-up first")
	for i, c := range l.Against {
		sum := 0.0
		for _, line := range l.Lines {
			require.Len(t, line.Weights, 6)
			require.InDelta(t, math.Round(100*line.Weights[i])/100, line.Weights[i], 1e-12, "weights are hundredths")
			sum += line.Weights[i]
		}
		require.InDelta(t, l.Sums[i], sum, 1e-9, "the printed lines against %s", c)
		require.InDelta(t, math.Log(f.Causes[0].Support/f.Of(c).Support), sum, 0.00501, "against %s", c)
	}
	for _, line := range l.Lines {
		require.NotContains(t, line.Text, "NaN")
		require.NotContains(t, line.Text, "%!")
		require.NotRegexp(t, `\bt = |[a-z]_[a-z]+ or `, line.Text, "a t value, or another cause's praise")
		zero := line.Kind == LineMeasured && line.Accuracy != nil && math.Abs(*line.Figure) <= *line.Accuracy &&
			strings.Contains(" El ElB src wo wiZ vo rt decay decayI ", " "+line.Feature+" ")
		require.Equal(t, zero, line.NearZero, line.Text)
		require.Equal(t, zero, strings.Contains(line.Text, "does not tell it from zero"), line.Text)
	}
}

// requireExact does the same before rounding.
func requireExact(t *testing.T, a *assessment, f Finding) {
	t.Helper()
	requireAdds(t, f)
	l := a.ledger(f.Causes)
	for i, c := range l.Against {
		sum := 0.0
		for _, line := range l.Lines {
			sum += line.Weights[i]
		}
		require.InDelta(t, math.Log(f.Causes[0].Support/f.Of(c).Support), sum, 1e-9, "%s against %s", l.Cause, c)
	}
}

func TestEveryLedgerAddsUpToTheSharesItExplains(t *testing.T) {
	t.Run("simulated winters", func(t *testing.T) {
		n := 0
		for i, planted := range roofworlds.Causes() {
			for k := range uint64(2) {
				seed := 920_000 + 100*uint64(i) + k
				w := measure(seed, roofworlds.Draw(seed, planted), 45)
				for _, without := range [][]roof.Place{nil, {roof.BattenVoidAir}, {roof.IndoorAir, roof.UnderlayUnderside}} {
					a, f := assess(w.set(t, 0, without...), Options{}, &ours)
					requireExact(t, a, f)
				}
				n++
			}
		}
		assert.GreaterOrEqual(t, n, 20)
	})
	for name, change := range map[string]func(*roof.Case){
		"plain":           func(*roof.Case) {},
		"capped":          func(c *roof.Case) { c.Roof.Insulation = "rafter" },
		"openings hidden": func(c *roof.Case) { c.Roof.Openings, c.Roof.EavesClear = roof.Openings{}, roof.No },
		"permeable": func(c *roof.Case) {
			c.Roof.Underlay.Class, c.Roof.Covering.Air = "LR", "closed"
			done := time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC)
			c.Property.Completed = &done
		},
	} {
		t.Run(name, func(t *testing.T) {
			a, f := assess(sketch{days: 60, meanC: 3, alter: shutLoft, change: change}.set(t), Options{}, &ours)
			requireExact(t, a, f)
		})
	}
	t.Run("nothing measured", func(t *testing.T) {
		a, f := assess(nil, Options{}, &ours)
		requireExact(t, a, f)
	})
}

// What speaks for and against a cause carries the weight that it has in the
// ledger: of the leading cause against the runner-up, of another against the
// leading one.
func TestEvidenceWeighsWhatItWeighsInTheLedger(t *testing.T) {
	_, f := assess(sketch{days: 100, meanC: 4, alter: shutLoft}.set(t), Options{}, &ours)
	weights := map[string][]float64{}
	for _, line := range f.Ledger.Lines {
		weights[line.Text] = line.Weights
	}
	listed := 0
	for i, s := range f.Causes[1:] {
		for _, e := range append(append([]Evidence{}, s.For...), s.Against...) {
			require.Contains(t, weights, e.Text)
			assert.Equal(t, -weights[e.Text][i], e.Weight, "%s: %s", s.Cause, e.Text)
			assert.GreaterOrEqual(t, math.Abs(e.Weight), speaks)
			listed++
		}
	}
	assert.Greater(t, listed, 10)
}

// A figure within its accuracy of zero says so; one beyond does not.
func TestAFigureThatIsNotDifferentFromZeroSaysSo(t *testing.T) {
	a := &assessment{p: places{loft: &air{}, void: &air{}}}
	for _, c := range []struct {
		pa, se float64
		near   bool
	}{{25, 17.5, true}, {-30, 17.5, true}, {36, 17.5, false}, {99, 17.5, false}, {25, math.NaN(), false}} {
		a.f.value[fElB], a.f.se[fElB] = c.pa, c.se
		e := a.sentence(fElB)
		assert.Equal(t, c.near, e.NearZero, "%+v", c)
		assert.Equal(t, c.near, strings.HasSuffix(e.Text, NearZero), e.Text)
		assert.True(t, strings.HasPrefix(e.Text, fmt.Sprintf("The loft holds %.0f Pa (", math.Abs(c.pa))), e.Text)
	}
}
