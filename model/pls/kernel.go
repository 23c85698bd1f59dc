package pls

import (
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"

	"flourcast/model"
	"flourcast/model/moment"
	"flourcast/model/pls/abreast"
)

// kernel extracts components; its memory is reused from response to response.
type kernel struct {
	p, most int
	w, r, l []float64 // most×p: weights, rotations, loadings
	q, tt   []float64
	s       []float64
	ss      []float64 // Σ Z² of each feature
	total   float64   // and of all
	// along writes ZᵀZ·r and returns rᵀZᵀZ·r.
	along func(r, out []float64) float64
	// faint is the least resolution at which along keeps enough digits.
	faint float64
}

func newKernel(p, most int, along func(r, out []float64) float64) *kernel {
	return &kernel{p: p, most: most, w: make([]float64, most*p), r: make([]float64, most*p), l: make([]float64, most*p),
		q: make([]float64, most), tt: make([]float64, most), s: make([]float64, p), ss: make([]float64, p), along: along}
}

// extract runs the recursion of PLS.Fit for s = Zᵀy and yᵀy. ok is false when a
// component was too faint; steps then counts those before it.
func (k *kernel) extract(zy []float64, yy float64) (steps int, ok bool) {
	p, s := k.p, k.s
	copy(s, zy)
	first := math.Sqrt(dot(s, s))
	if !(first > abreast.Nothing*math.Sqrt(k.total*yy)) {
		return 0, true
	}
	for a := range k.most {
		length := math.Sqrt(dot(s, s))
		if !(length > abreast.Spent*first) {
			return a, true
		}
		w, r, l := k.w[a*p:(a+1)*p], k.r[a*p:(a+1)*p], k.l[a*p:(a+1)*p]
		for j, v := range s {
			w[j] = v / length
		}
		copy(r, w)
		for b := range a {
			moment.Add(r, -dot(k.l[b*p:(b+1)*p], w), k.r[b*p:(b+1)*p])
		}
		tt := k.along(r, l)
		alone := 0.0
		for j, v := range r {
			alone += v * v * k.ss[j]
		}
		switch {
		case !(tt > abreast.Resolution*alone):
			return a, true
		case !(tt > k.faint*alone):
			return a, false
		}
		k.q[a], k.tt[a] = length/tt, tt
		for j := range l {
			l[j] /= tt
			s[j] -= length * l[j]
		}
	}
	return k.most, true
}

// solver is a kernel on cross-products, whose memory it does not own.
type solver struct {
	*kernel
	xx      []float64 // UᵀU, features not scaled
	inv     []float64
	zy, rin []float64
}

// uneven is how many times as large one feature's sum of squares may be as another's
// where features are not scaled. Beyond it ZᵀZ has too few digits left for the small
// ones: with 1e12 the third component was off by 1e-6 of the response's range.
const uneven = 1e6

// Prepare takes the scales from the cross-products, which must stay as they are
// while the solver is used. Features that are not scaled and too uneven in size are
// model.ErrNeedRows.
func (f PLS) Prepare(x model.XMoments, reuse model.Solver) (model.Solver, error) {
	scaling, err := f.check(x.N, x.P)
	if err != nil {
		return nil, err
	}
	p, most := x.P, f.Steps(x.N, x.P)
	s, ok := reuse.(*solver)
	if !ok || s.p != p || len(s.q) < most {
		s = &solver{inv: make([]float64, p), zy: make([]float64, p), rin: make([]float64, p)}
		s.kernel = newKernel(p, most, s.along)
	}
	s.most, s.faint, s.xx, s.total = most, abreast.Squaring*float64(p), x.XX, 0
	model.InverseScale(x, scaling, s.inv)
	least, largest := math.Inf(1), 0.0
	for j, inv := range s.inv {
		s.ss[j] = x.XX[j*p+j] * inv * inv
		s.total += s.ss[j]
		if s.ss[j] > 0 {
			least, largest = min(least, s.ss[j]), max(largest, s.ss[j])
		}
	}
	if scaling == model.ScaleNone && largest > uneven*least {
		return nil, model.ErrNeedRows
	}
	return s, nil
}

// small is the number of features up to which plain loops beat a library call.
const small = 32

func (s *solver) along(r, out []float64) float64 {
	p := s.p
	for j, inv := range s.inv {
		s.rin[j] = r[j] * inv
	}
	if p > small {
		v := func(d []float64) blas64.Vector { return blas64.Vector{N: p, Inc: 1, Data: d} }
		blas64.Gemv(blas.NoTrans, 1, blas64.General{Rows: p, Cols: p, Stride: p, Data: s.xx}, v(s.rin), 0, v(out))
	} else {
		for j := range out {
			out[j] = dot(s.xx[j*p:(j+1)*p], s.rin)
		}
	}
	for j, inv := range s.inv {
		out[j] *= inv
	}
	return dot(r, out)
}

func (s *solver) extract(y model.YMoments) (int, bool) {
	for j, inv := range s.inv {
		s.zy[j] = y.XY[j] * inv
	}
	return s.kernel.extract(s.zy, y.YY)
}

// Solve extracts the components and adds them up: step a is Σ q·r over its
// components, in original units.
func (s *solver) Solve(y model.YMoments, b []float64) (int, bool) {
	steps, ok := s.extract(y)
	p := s.p
	for a := range steps {
		now := b[a*p : (a+1)*p]
		q, r := s.q[a], s.r[a*p:(a+1)*p]
		for j, inv := range s.inv {
			now[j] = q * r[j] * inv
		}
		if a > 0 {
			for j, v := range b[(a-1)*p : a*p] {
				now[j] += v
			}
		}
	}
	return steps, ok
}

func dot(a, b []float64) float64 { return moment.Dot(a, b) }
