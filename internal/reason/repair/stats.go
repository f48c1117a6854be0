package repair

import (
	"hash/fnv"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
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

// throw makes n throws by Latin hypercube (McKay, Beckman and Conover 1979): of
// each quantity the n midpoints of equal parts of its distribution, shuffled. A
// quantile that a verdict hangs on then does not hang on the luck of the seed.
func throw(seed string, n int) dice {
	h := fnv.New64a()
	h.Write([]byte(seed)) // never fails (hash.Hash)
	r := rand.New(rand.NewPCG(h.Sum64(), 0x9e3779b97f4a7c15))
	normal, student := make([]float64, n), make([]float64, n)
	for i := range n {
		p := (float64(i) + 0.5) / float64(n)
		normal[i], student[i] = distuv.UnitNormal.Quantile(p), distuv.StudentsT{Sigma: 1, Nu: 5}.Quantile(p)
	}
	d := dice{make([][paramCount]float64, n), make([][4]float64, n), make([]float64, n)}
	for k := range paramCount {
		for i, at := range r.Perm(n) {
			d.z[i][k] = normal[at]
		}
	}
	for k := range 4 {
		for i, at := range r.Perm(n) {
			d.t[i][k] = student[at]
		}
	}
	for i, at := range r.Perm(n) {
		d.g[i] = normal[at]
	}
	return d
}
