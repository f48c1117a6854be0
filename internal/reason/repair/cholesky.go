package repair

import (
	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
)

// cholesky factorises a symmetric m x m matrix given by its lower half in place;
// false when it is not positive definite. The matrices are small and factorised
// at every step of the fit, so nothing is allocated.
func cholesky(a []float64, m int) bool {
	_, ok := lapack64.Potrf(blas64.Symmetric{Uplo: blas.Lower, N: m, Stride: m, Data: a})
	return ok
}

// solveCholesky solves L L' x = y in place.
func solveCholesky(l []float64, m int, y []float64) {
	solveLower(blas.NoTrans, l, m, y)
	solveLower(blas.Trans, l, m, y)
}

// solveUpper solves L' x = y in place.
func solveUpper(l []float64, m int, y []float64) { solveLower(blas.Trans, l, m, y) }

func solveLower(t blas.Transpose, l []float64, m int, y []float64) {
	blas64.Trsv(t, blas64.Triangular{Uplo: blas.Lower, Diag: blas.NonUnit, N: m, Stride: m, Data: l},
		blas64.Vector{N: m, Inc: 1, Data: y})
}
