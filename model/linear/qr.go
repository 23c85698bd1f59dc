package linear

import (
	"math"

	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"

	"flourcast/model"
	"flourcast/model/design"
)

// equalise divides each centred column by the power of two next to its length,
// and fills in the columns' sums of squares in original units.
func equalise(s *model.Standard, xss []float64) []float64 {
	scale := make([]float64, s.P)
	for j := range s.P {
		for i := range s.N {
			xss[j] += s.Z[i*s.P+j] * s.Z[i*s.P+j]
		}
		_, exponent := math.Frexp(math.Sqrt(xss[j]))
		scale[j] = math.Ldexp(1, exponent)
		for i := range s.N {
			s.Z[i*s.P+j] /= scale[j]
		}
	}
	return scale
}

// pivotedQR overwrites z (n×p, n ≥ p) by Q with orthonormal columns, and returns
// it with the p×p upper triangle R and the column that each position holds.
func pivotedQR(z []float64, n, p int) (q, r []float64, pivot []int) {
	a := blas64.General{Rows: n, Cols: p, Stride: p, Data: z}
	pivot = make([]int, p)
	for j := range pivot {
		pivot[j] = -1 // free to move
	}
	tau := make([]float64, p)
	work := make([]float64, max(3*p+1, 2*p+(p+1)*32))
	lapack64.Geqp3(a, pivot, tau, work, len(work))
	r = make([]float64, p*p)
	for k := range p {
		copy(r[k*p+k:k*p+p], z[k*p+k:k*p+p])
	}
	lapack64.Orgqr(a, tau, work, len(work))
	return z, r, pivot
}

// tolerance is exact, or more where figures lie so far from zero that their own
// rounding hides a dependence: 16·2⁻⁵²·max|x|/SD of the worst column.
func tolerance(m *design.Matrix, xss []float64) float64 {
	tol := exact
	for j := range m.P() {
		top := 0.0
		for i := range m.N() {
			top = max(top, math.Abs(m.Row(i)[j]))
		}
		tol = max(tol, 16*0x1p-52*top*math.Sqrt(float64(m.N())/xss[j]))
	}
	return tol
}

// invertUpper is R⁻¹ of an upper triangle by back substitution.
func invertUpper(r []float64, p int) []float64 {
	inv := make([]float64, p*p)
	for c := range p {
		inv[c*p+c] = 1 / r[c*p+c]
		for k := c - 1; k >= 0; k-- {
			sum := 0.0
			for l := k + 1; l <= c; l++ {
				sum += r[k*p+l] * inv[l*p+c]
			}
			inv[k*p+c] = -sum / r[k*p+k]
		}
	}
	return inv
}

// conditionOf is the ratio of the largest to the smallest singular value of the
// centred columns brought to equal length.
func conditionOf(r []float64, pivot []int, p int, scale, xss []float64) float64 {
	unit := mat.NewDense(p, p, nil)
	for k := range p {
		for l := k; l < p; l++ {
			unit.Set(k, l, r[k*p+l]*scale[pivot[l]]/math.Sqrt(xss[pivot[l]]))
		}
	}
	var svd mat.SVD
	if !svd.Factorize(unit, mat.SVDNone) {
		return math.MaxFloat64
	}
	v := svd.Values(nil)
	return v[0] / v[p-1]
}

// factor is Z·P = Q·R of centred columns Z divided by scale, with R⁻¹. Rows of Z
// are multiplied by root, √w; share is 1/Σw, or 0 without an intercept.
type factor struct {
	n, p          int
	q, r, inverse []float64
	pivot         []int
	scale         []float64
	root          []float64
	share         float64
}

// solve returns the least-squares intercept, coefficients and residuals. The
// first solution comes from Q and R; then, at most four times and as long as the
// corrections shrink, the errors of the two equations
//
//	e + b0·1 + X·b = y        [1 X]ᵀ·W·e = 0
//
// are computed on the original figures in twice the working precision and
// corrected with the same factors (Björck 1967, BIT 7:257, from memory). This
// mends the digits that centring and scaling round away. W holds the weights;
// through the origin b0 and the ones are left out.
func (f factor) solve(m *design.Matrix, s *model.Standard) (b0 float64, b, e []float64) {
	b0, b, e = 0, make([]float64, f.p), make([]float64, f.n)
	left := make([]float64, f.n)   // √w·(y − e − b0 − X·b)
	normal := make([]float64, f.p) // −Uᵀ·W·e
	one, row, step := make([]float64, f.p+2), make([]float64, f.p+2), make([]float64, f.p)
	twice, column := make([]float64, 2*f.n), make([]float64, 2*f.n)
	copy(left, s.Y)
	mean, sum, size := s.YMean, 0.0, math.Inf(1)
	for range 5 {
		change, db, de := f.correct(left, normal, sum, step)
		if change > size/2 {
			break
		}
		size = change
		d0 := mean - sum*f.share
		for j := range b {
			d0 -= s.XMean[j] * db[j]
			b[j] += db[j]
		}
		b0 += d0
		for i := range e {
			e[i] += de[i] / f.root[i]
		}

		one[0], one[1] = -1, -b0
		for j := range b {
			one[j+2] = -b[j]
		}
		mean = 0
		for i, y := range m.Y() {
			row[0], row[1] = e[i], 1
			copy(row[2:], m.Row(i))
			left[i] = f.root[i] * model.DotAdd(y, one, row)
			mean += f.root[i] * left[i] * f.share
		}
		for i := range left {
			left[i] -= f.root[i] * mean
			twice[i] = f.root[i] * f.root[i] * e[i]
			column[i] = -1
		}
		copy(twice[f.n:], twice[:f.n])
		sum = model.DotAdd(0, twice[:f.n], column[:f.n])
		for j := range normal {
			for i := range f.n {
				column[i], column[f.n+i] = -m.Row(i)[j], s.XMean[j]
			}
			normal[j] = model.DotAdd(0, twice, column)
		}
	}
	return b0, b, e
}

// correct solves one pair of equations for changes of b (original units) and e,
// and says how large the change of b is on scaled columns.
func (f factor) correct(left, normal []float64, sum float64, db []float64) (size float64, _, de []float64) {
	p := f.p
	d, z := make([]float64, p), make([]float64, p)
	for i, v := range left {
		for k := range p {
			d[k] += f.q[i*p+k] * v
		}
	}
	for k := range p { // Rᵀ·z = Pᵀ·normal, scaled
		z[k] = normal[f.pivot[k]] / f.scale[f.pivot[k]]
		for l := range k {
			z[k] -= f.r[l*p+k] * z[l]
		}
		z[k] /= f.r[k*p+k]
	}
	for k := range p {
		v := 0.0
		for l := k; l < p; l++ {
			v += f.inverse[k*p+l] * (d[l] - z[l])
		}
		size = max(size, math.Abs(v))
		db[f.pivot[k]] = v / f.scale[f.pivot[k]]
	}
	de = make([]float64, f.n)
	for i := range de {
		de[i] = left[i] + f.root[i]*sum*f.share
		for k := range p {
			de[i] -= f.q[i*p+k] * (d[k] - z[k])
		}
	}
	return size, db, de
}
