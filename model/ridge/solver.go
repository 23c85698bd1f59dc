package ridge

import (
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack"
	"gonum.org/v1/gonum/lapack/lapack64"

	"flourcast/model"
)

type solver struct {
	p                             int
	lambdas, inv, square, vectors []float64
	vzy, scaled, scratch, work    []float64
}

// graded is how small the least eigenvalue of ZᵀZ + λ may be beside the largest:
// eigenvalues are exact to the rounding of the largest only, singular values of
// the rows to that of its root.
const graded = 1e-6

// Prepare decomposes ZᵀZ once.
func (f Ridge) Prepare(x model.XMoments, reuse model.Solver) (model.Solver, error) {
	scaling, err := f.Scaling.Check("ridge")
	if err != nil {
		return nil, err
	}
	p := x.P
	s, ok := reuse.(*solver)
	if !ok || s.p != p {
		s = &solver{p: p, inv: make([]float64, p), square: make([]float64, p), vectors: make([]float64, p*p),
			vzy: make([]float64, p), scaled: make([]float64, p), scratch: make([]float64, p), work: make([]float64, max(1, 34*p))}
	}
	if s.lambdas, err = f.penalties(x.N, s.lambdas); err != nil {
		return nil, err
	}
	if p == 0 {
		return s, nil
	}
	model.InverseScale(x, scaling, s.inv)
	for j := range p {
		for k := range p {
			s.vectors[j*p+k] = x.XX[j*p+k] * s.inv[j] * s.inv[k]
		}
	}
	a := blas64.Symmetric{N: p, Stride: p, Data: s.vectors, Uplo: 'U'}
	if !lapack64.Syev(lapack.EVCompute, a, s.square, s.work, len(s.work)) {
		return nil, model.ErrNeedRows
	}
	for k, v := range s.square {
		s.square[k] = max(v, 0)
	}
	if s.square[0]+s.lambdas[len(s.lambdas)-1] < graded*s.square[p-1] {
		return nil, model.ErrNeedRows
	}
	return s, nil
}

// project fills vzy = Vᵀ·Zᵀy.
func (s *solver) project(y model.YMoments) {
	clear(s.vzy)
	for j := range s.p {
		z := y.XY[j] * s.inv[j]
		for k := range s.p {
			s.vzy[k] += s.vectors[j*s.p+k] * z
		}
	}
}

func (s *solver) Solve(y model.YMoments, b []float64) (int, bool) {
	s.project(y)
	solveAll(s.square, s.vzy, s.vectors, s.lambdas, s.scratch, b[:len(s.lambdas)*s.p])
	for a := range s.lambdas {
		row := b[a*s.p : (a+1)*s.p]
		for j, inv := range s.inv {
			row[j] *= inv
		}
	}
	return len(s.lambdas), true
}
