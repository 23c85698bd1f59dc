// Package linear fits least squares, plain, weighted or through the origin.
//
//  1. Regress solves by QR with column pivoting on centred, scaled columns, refines
//     on the original figures, and names exact dependences instead of guessing.
//  2. The fit says how sure its coefficients are, and what each row did to it.
//  3. Cross-validation takes the same fit from cross-products (Prepare) where they
//     keep enough digits.
//
// It refuses features or responses without variance, too few rows, and figures
// that cannot be squared, by typed errors of package model.
//
// # In a few lines
//
// The path of least squares has one step; Regress gives it with its errors:
//
//	fit, err := linear.OLS{}.Regress(m)
//	equation := fit.Linear()
//	intercept, each := fit.StandardErrors()
package linear

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"flourcast/model"
	"flourcast/model/design"
)

// OLS is least squares with an intercept. Scaling has no influence on its result
// (columns are scaled inside in any case) and is there so that every method takes
// one.
type OLS struct {
	Scaling model.Scaling
	// Origin leaves the intercept out: ŷ = Σ b·x. R² is then about zero, not about
	// the mean, and not comparable with that of a fit with an intercept.
	Origin bool
	// Weighted minimises Σ w·e² with the matrix's row weights, or 1/SE² of its
	// responses.
	Weighted bool
}

// Kind is "ols".
func (OLS) Kind() string { return "ols" }

// exact is how small, on columns of equal length, the part of a feature that
// others do not give may be before it counts as rounding (see tolerance).
const exact = 1e-12

// poor is the 1-norm condition of the correlation matrix above which
// cross-products keep fewer than about 10 digits of a coefficient.
const poor = 1e5

// Fit is Regress as a path of one step.
func (f OLS) Fit(m *design.Matrix) (model.Path, error) {
	r, err := f.Regress(m)
	if err != nil {
		return nil, err
	}
	return model.OneStep(r, "least squares"), nil
}

// Regress fits n rows and p features by QR with column pivoting (Businger and
// Golub 1965, Numer Math 7:269, from memory). Columns are centred on their
// (weighted) means, or not through the origin, multiplied by √w, and scaled by
// powers of two to about equal length, which costs no digits; then Z·P = Q·R,
// b = P·R⁻¹·Qᵀy, refined on the original figures with residuals in twice the
// working precision (see factor.solve).
//
// Rank is judged on the scaled columns: a diagonal of R below 1e-12 of the
// largest (or below what the rounding of far-away figures can hide) is a
// dependence. Errors: *model.TooFewRowsError for n < p + 2 (p + 1 through the
// origin), *model.SettingError for weights that are not there, *model.NoVarianceError, *model.RangeError, *model.RankError naming each
// dependence. Cost: about 4·n·p² operations, and n·p for each refinement.
func (f OLS) Regress(m *design.Matrix) (*OLSModel, error) {
	n, p := m.N(), m.P()
	if _, err := f.Scaling.Check("ols"); err != nil {
		return nil, err
	}
	if f.Origin && p == 0 {
		return nil, &model.SettingError{Kind: "ols", Setting: "origin", Found: "no feature", Want: "at least one, or an intercept"}
	}
	if n < f.least(p) {
		return nil, &model.TooFewRowsError{Kind: "ols", Rows: n, Need: f.least(p)}
	}
	s, root, err := f.standard(m)
	if err != nil {
		return nil, err
	}
	fit := &OLSModel{n: n, origin: f.Origin, weighted: f.Weighted, eq: model.Equation{XMean: s.XMean, YMean: s.YMean, Coefficients: make([]float64, p)}, xss: make([]float64, p), g: make([]float64, p*p)}
	for _, v := range s.Y {
		fit.tss += v * v
	}
	if p == 0 {
		fit.rss, fit.condition, fit.intercept = fit.tss, 1, s.YMean
		return fit, nil
	}
	scale := equalise(s, fit.xss)
	q, r, pivot := pivotedQR(s.Z, n, p)

	tol := tolerance(m, fit.xss)
	rank := p
	for k := range p {
		if math.Abs(r[k*p+k]) <= tol*math.Abs(r[0]) {
			rank = k
			break
		}
	}
	if rank < p {
		return nil, &model.RankError{Kind: "ols", Rank: rank, Features: p, Dependences: dependences(m.Features(), r, pivot, rank, scale, s.XMean)}
	}

	qr := factor{n: n, p: p, q: q, r: r, inverse: invertUpper(r, p), pivot: pivot, scale: scale, root: root, share: 1 / float64(n)}
	if f.Origin {
		qr.share = 0
	}
	for k := range p {
		j := pivot[k]
		for l := k; l < p; l++ {
			fit.g[j*p+l] = qr.inverse[k*p+l] / scale[j]
		}
	}
	var residual []float64
	fit.intercept, fit.eq.Coefficients, residual = qr.solve(m, s)
	for i, e := range residual {
		e *= root[i]
		fit.rss += e * e
	}
	fit.eq.YMean = s.MeanAt(fit.eq.Coefficients)
	fit.condition = conditionOf(r, pivot, p, scale, fit.xss)
	return fit, nil
}

// dependences writes each column beyond the rank by the others. The feature
// that stands last in the given order becomes the left-hand side.
func dependences(names []string, r []float64, pivot []int, rank int, scale, mean []float64) []model.Dependence {
	p := len(names)
	var out []model.Dependence
	for c := rank; c < p; c++ {
		// R11·w = R12[:,c]; column c = Σ w·columns, in scaled units.
		w := make([]float64, rank)
		for k := rank - 1; k >= 0; k-- {
			sum := r[k*p+c]
			for l := k + 1; l < rank; l++ {
				sum -= r[k*p+l] * w[l]
			}
			w[k] = sum / r[k*p+k]
		}
		null := make([]float64, p) // Σ null·(x − mean) = 0, original units
		null[pivot[c]] = 1 / scale[pivot[c]]
		biggest := 1.0
		for k := range rank {
			biggest = max(biggest, math.Abs(w[k]))
		}
		for k := range rank {
			if math.Abs(w[k]) > 1e-8*biggest {
				null[pivot[k]] = -w[k] / scale[pivot[k]]
			}
		}
		out = append(out, solveFor(names, null, mean))
	}
	return out
}

func solveFor(names []string, null, mean []float64) model.Dependence {
	last := 0
	for j, v := range null {
		if v != 0 {
			last = j
		}
	}
	d := model.Dependence{Feature: names[last], Constant: mean[last]}
	size := math.Abs(mean[last])
	for j, v := range null[:last] {
		if v == 0 {
			continue
		}
		c := -v / null[last]
		d.Terms = append(d.Terms, model.Term{Coefficient: c, Feature: names[j]})
		d.Constant -= c * mean[j]
		size = max(size, math.Abs(c*mean[j]))
	}
	if math.Abs(d.Constant) <= 1e-9*size {
		d.Constant = 0
	}
	return d
}

// FitMoments is Regress from cross-products, by a Cholesky factor of the
// correlation matrix. It returns model.ErrNeedRows when that matrix is too
// ill-conditioned (1-norm condition above 1e5) to keep 10 digits, and for fits with
// weights or through the origin, for which these cross-products are not made.
func (f OLS) FitMoments(mo model.Moments) (model.Path, error) {
	if f.Origin || f.Weighted {
		return nil, model.ErrNeedRows
	}
	n, p := mo.X.N, mo.X.P
	if n < p+2 {
		return nil, &model.TooFewRowsError{Kind: "ols", Rows: n, Need: p + 2}
	}
	if err := mo.CheckVariance("ols"); err != nil {
		return nil, err
	}
	solver, err := f.Prepare(mo.X, nil)
	if err != nil {
		return nil, err
	}
	s := solver.(*olsSolver)
	fit := &OLSModel{n: n, xss: make([]float64, p), g: make([]float64, p*p), condition: s.condition, tss: mo.Y.YY, rss: mo.Y.YY,
		eq: model.Equation{XMean: append([]float64(nil), mo.X.Mean...), YMean: mo.Y.Mean, Coefficients: make([]float64, p)}}
	s.Solve(mo.Y, fit.eq.Coefficients)
	fit.intercept = fit.eq.Linear().Intercept
	for j, b := range fit.eq.Coefficients {
		fit.rss -= b * mo.Y.XY[j]
		fit.xss[j] = mo.X.XX[j*p+j]
	}
	fit.rss = max(fit.rss, 0)
	if p > 0 {
		var l mat.TriDense
		s.chol.LTo(&l)
		if err := l.InverseTri(&l); err != nil {
			return nil, fmt.Errorf("%w (%v)", model.ErrNeedRows, err)
		}
		for j := range p {
			for k := j; k < p; k++ {
				fit.g[j*p+k] = l.At(k, j) * s.inv[j] // (XᵀX)⁻¹ = D·L⁻ᵀ·L⁻¹·D
			}
		}
	}
	return model.OneStep(fit, "least squares"), nil
}

// least is how many rows p features need.
func (f OLS) least(p int) int {
	if f.Origin {
		return p + 1
	}
	return p + 2
}

// Steps is 1 when there are at least p + 2 rows (p + 1 through the origin).
func (f OLS) Steps(rows, p int) int {
	if rows < f.least(p) {
		return 0
	}
	return 1
}

type olsSolver struct {
	p         int
	inv       []float64 // 1/length of each column
	inverse   []float64 // of the cross-products, original units
	chol      mat.Cholesky
	condition float64
}

// Prepare inverts the cross-products once.
func (f OLS) Prepare(x model.XMoments, _ model.Solver) (model.Solver, error) {
	if f.Origin || f.Weighted {
		return nil, model.ErrNeedRows
	}
	p := x.P
	s := &olsSolver{p: p, inv: make([]float64, p), inverse: make([]float64, p*p), condition: 1}
	if p == 0 {
		return s, nil
	}
	for j := range p {
		if x.XX[j*p+j] <= 0 {
			return nil, model.ErrNeedRows
		}
		s.inv[j] = 1 / math.Sqrt(x.XX[j*p+j])
	}
	c := mat.NewSymDense(p, nil)
	for j := range p {
		for k := j; k < p; k++ {
			c.SetSym(j, k, x.XX[j*p+k]*s.inv[j]*s.inv[k])
		}
	}
	if !s.chol.Factorize(c) || s.chol.Cond() > poor {
		return nil, model.ErrNeedRows
	}
	var values mat.EigenSym
	if !values.Factorize(c, false) {
		return nil, model.ErrNeedRows
	}
	v := values.Values(nil)
	s.condition = math.Sqrt(v[p-1] / v[0])
	var inverse mat.SymDense
	if err := s.chol.InverseTo(&inverse); err != nil {
		return nil, model.ErrNeedRows
	}
	for j := range p {
		for k := range p {
			s.inverse[j*p+k] = inverse.At(j, k) * s.inv[j] * s.inv[k]
		}
	}
	return s, nil
}

func (s *olsSolver) Solve(y model.YMoments, b []float64) (int, bool) {
	for j := range s.p {
		sum := 0.0
		for k, v := range s.inverse[j*s.p : (j+1)*s.p] {
			sum += v * y.XY[k]
		}
		b[j] = sum
	}
	return 1, true
}
