//go:build trials

package watch

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"

	"dewcase/internal/physics/roofsim"
	"dewcase/internal/reason/outlook"
	"dewcase/internal/testkit/roofworlds"
)

// TestTrain fits the outlook's general coefficients on simulated winters that no
// other test uses and writes them to the file DEWCASE_TRAIN names.
func TestTrain(t *testing.T) {
	name := os.Getenv("DEWCASE_TRAIN")
	if name == "" {
		t.Skip("DEWCASE_TRAIN names the file to write")
	}
	var rows, forecast [][]float64
	var wet []float64
	for i, c := range roofworlds.Causes() {
		for k := range 12 {
			world := roofworlds.Draw(uint64(40_000+1000*i+k), c)
			w := measured(t, roofsim.Run(world, roofsim.Options{Days: 110}), uint64(k))
			r := newRecord(Input{Case: w.c, Rows: w.hours, FromMS: w.from, Now: w.input(w.n, nil).Now})
			rng := rand.New(rand.NewPCG(uint64(i), uint64(k)))
			for s := range r.surfaces {
				c := r.course(s)
				for d := 22; d < 109; d++ {
					now := time.UnixMilli(w.from).UTC().Truncate(24*time.Hour).AddDate(0, 0,
						d).Add(time.Duration(16+rng.IntN(3)) * time.Hour)
					j := int((now.UnixMilli() - w.from) / hourMS)
					low := math.Inf(1)
					for q := j; q < j+18 && q < r.n; q++ {
						if v := c.OutdoorC[q]; !math.IsNaN(v) {
							low = math.Min(low, v)
						}
					}
					f := &outlook.Forecast{MinC: low + 1.5*rng.NormFloat64()}
					known := back(c, j, 24*Days)
					i := int((now.UnixMilli() - known.FromMS) / hourMS)
					became, ok := c.Became(now)
					x, ok1 := known.Features(i, nil)
					y, ok2 := known.Features(i, f)
					if ok && ok1 && ok2 {
						rows, forecast, wet = append(rows, x), append(forecast, y), append(wet, 0)
						if became {
							wet[len(wet)-1] = 1
						}
					}
				}
			}
		}
	}
	source := "package outlook\n\n// The general coefficients, fitted by TestTrain of internal/flow/watch (build " +
		"tag\n// trials) on the evenings of simulated roofs that no test is judged by.\nvar (\n\tgeneral = &model{\n" +
		coefficients(t, rows, wet) + "\t}\n\twithForecast = &model{\n" + coefficients(t, forecast, wet) + "\t}\n)\n"
	require.NoError(t, os.WriteFile(name, []byte(source), 0o600))
	t.Log(len(wet))
}

// coefficients writes the coefficients of features, the first of them the bias, as
// fields of outlook's model.
func coefficients(t *testing.T, rows [][]float64, wet []float64) string {
	n := len(rows[0])
	centre, scale := make([]float64, n), make([]float64, n)
	z := make([][]float64, len(rows))
	for i := range z {
		z[i] = make([]float64, n)
		z[i][0] = 1
	}
	for k := range n {
		var seen []float64
		for _, r := range rows {
			if !math.IsNaN(r[k]) {
				seen = append(seen, r[k])
			}
		}
		if len(seen) > 1 {
			centre[k], scale[k] = stat.PopMeanStdDev(seen, nil)
		}
		for i, r := range rows {
			if k > 0 && !math.IsNaN(r[k]) && scale[k] > 0 {
				z[i][k] = (r[k] - centre[k]) / scale[k]
			}
		}
	}
	even := make([]float64, len(wet))
	floats.AddConst(1, even)
	line := func(name string, x []float64) string {
		out := "\t\t" + name + ": [features]float64{"
		for k, v := range x {
			if k > 0 {
				out += ", "
			}
			out += fmt.Sprintf("%.4g", v)
		}
		return out + "},\n"
	}
	return line("centre", centre) + line("scale", scale) + line("beta", logistic(t, z, wet, even, 1e-3)) +
		"\t\tstiff: 3,\n"
}

// TestTrainWithin fits the log odds that water comes from within on simulated
// winters that no other test uses, half of them healthy, and logs the
// coefficients of within.go. Each winter counts the same, its first twelve days
// as much as the rest: a household must hear early.
func TestTrainWithin(t *testing.T) {
	first, err := strconv.Atoi(os.Getenv("DEWCASE_TRAIN_WITHIN"))
	if err != nil {
		t.Skip("DEWCASE_TRAIN_WITHIN is the first seed")
	}
	const winters, days, earlyH, stepH, weight = 240, 120, 288, 6, 20.0
	var rows [][]float64
	var within, weights []float64
	for k := range winters {
		c, y := healthyCauses[k/2%2], 0.0
		if k%2 == 1 {
			c, y = defects()[k/2%len(defects())], 1
		}
		w, _ := simulated(t, uint64(first+k), c, days)
		if w == nil {
			continue
		}
		var parts [2][][]float64
		for h := stepH; h < w.n/3; h += stepH {
			in := w.input(h*3, nil)
			r := newRecord(in)
			if !slices.ContainsFunc(r.surfaces, func(s surface) bool { _, wet := r.wetExcess(s); return wet }) {
				continue
			}
			part := 0
			if h >= earlyH {
				part = 1
			}
			parts[part] = append(parts[part], r.evidence(in.Slow).terms())
		}
		for _, p := range parts {
			for _, x := range p {
				rows, within, weights = append(rows, x), append(within, y), append(weights, weight/float64(len(p)))
			}
		}
	}
	t.Logf("%d hours: %.2f", len(rows), logistic(t, rows, within, weights, 1))
}

// logistic fits a weighted logistic regression by Newton's steps, with a normal
// prior of precision stiff.
func logistic(t *testing.T, rows [][]float64, y, weights []float64, stiff float64) []float64 {
	n := len(rows[0])
	beta := make([]float64, n)
	for range 25 {
		grad, hess := mat.NewVecDense(n, nil), mat.NewSymDense(n, nil)
		for k := range n {
			grad.SetVec(k, -stiff*beta[k])
			hess.SetSym(k, k, stiff)
		}
		for i, x := range rows {
			p := 1 / (1 + math.Exp(-floats.Dot(beta, x)))
			for a := range n {
				grad.SetVec(a, grad.AtVec(a)+weights[i]*(y[i]-p)*x[a])
				for b := a; b < n; b++ {
					hess.SetSym(a, b, hess.At(a, b)+weights[i]*p*(1-p)*x[a]*x[b])
				}
			}
		}
		var chol mat.Cholesky
		require.True(t, chol.Factorize(hess))
		var step mat.VecDense
		require.NoError(t, chol.SolveVecTo(&step, grad))
		floats.Add(beta, step.RawVector().Data)
	}
	return beta
}
