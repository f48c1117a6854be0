package repair

import (
	"hash/fnv"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat"
)

// meanSD is the mean and the standard deviation; 0 where there are too few.
func meanSD(x []float64) (mean, sd float64) {
	if len(x) == 0 {
		return 0, 0
	}
	if len(x) == 1 {
		return x[0], 0
	}
	return stat.MeanStdDev(x, nil)
}

// dice are the random numbers of one case: the same case always throws the
// same, so that the same readings give the same answer and two looks differ by
// their readings alone.
type dice struct {
	z [][paramCount]float64 // standard normal
	t [][4]float64          // Student with 5 degrees of freedom: D, C, V, surfaces
	g []float64             // standard normal: how far the model's reaction falls short
}

// throw makes n throws in pairs of opposite sign, which halves the noise of a
// mean.
func throw(seed string, n int) dice {
	h := fnv.New64a()
	h.Write([]byte(seed)) // never fails (hash.Hash)
	r := rand.New(rand.NewPCG(h.Sum64(), 0x9e3779b97f4a7c15))
	d := dice{make([][paramCount]float64, n), make([][4]float64, n), make([]float64, n)}
	for i := 0; i < n; i += 2 {
		for k := range paramCount {
			d.z[i][k] = r.NormFloat64()
		}
		for k := range d.t[i] {
			chi := 0.0
			for range 5 {
				g := r.NormFloat64()
				chi += g * g
			}
			d.t[i][k] = r.NormFloat64() / math.Sqrt(chi/5)
		}
		d.g[i] = r.NormFloat64()
		if i+1 < n {
			for k := range paramCount {
				d.z[i+1][k] = -d.z[i][k]
			}
			for k := range d.t[i] {
				d.t[i+1][k] = -d.t[i][k]
			}
			d.g[i+1] = -d.g[i]
		}
	}
	return d
}
