// Package ridge fits ridge regression: the whole path over penalties from one
// singular value decomposition of the centred, scaled features.
//
//  1. Ridge.Fit decomposes the rows, FitMoments and Prepare the cross-products.
//  2. Path has a step a penalty, the largest first.
//  3. A Model predicts, gives its effective degrees of freedom, and is saved.
//
// Exact dependences are harmless. It refuses features or a response without
// variance, fewer than two rows, and figures that cannot be squared, by typed
// errors of package model.
package ridge

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"

	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"

	"flourcast/model"
	"flourcast/model/design"
)

// Ridge shrinks coefficients: it minimises
//
//	|y − b0 − Z·b|² + λ·|b|²
//
// with Z centred and (ScaleUnit) divided by the sample SD, n − 1; the intercept
// is not penalised. Lambdas are the penalties to offer; nil means 41 of them,
// n·10⁴ down to n·10⁻⁴ in equal steps of the logarithm, n being the training
// rows (common practice, no source). The path starts with the largest penalty.
//
// The same fit elsewhere, n rows:
//   - R's MASS::lm.ridge scales by the SD with divisor n: its lambda is
//     λ·n/(n − 1).
//   - scikit-learn's Ridge(alpha) does not scale: alpha = λ on columns divided by
//     the sample SD, or λ·n/(n − 1) after its StandardScaler.
//   - With ScaleNone, alpha = λ on the columns as they are.
type Ridge struct {
	Scaling model.Scaling
	Lambdas []float64
}

const gridSteps = 41

// penalties is the path's λ for n rows, largest first.
func (f Ridge) penalties(n int) ([]float64, error) {
	if f.Lambdas == nil {
		out := make([]float64, gridSteps)
		for k := range out {
			out[k] = float64(n) * math.Pow(10, 4-0.2*float64(k))
		}
		return out, nil
	}
	out := slices.Clone(f.Lambdas)
	slices.Sort(out)
	slices.Reverse(out)
	for _, l := range out {
		if !(l > 0) || l > 1e100 {
			return nil, &model.SettingError{Kind: "ridge", Setting: "lambda", Found: fmt.Sprint(l), Want: "a penalty above 0 (without one, use ols)"}
		}
	}
	if len(out) == 0 {
		return nil, &model.SettingError{Kind: "ridge", Setting: "lambda", Found: "an empty list", Want: "at least one penalty"}
	}
	return out, nil
}

// Kind is "ridge".
func (Ridge) Kind() string { return "ridge" }

// Path is a ridge fit for every penalty.
type Path struct {
	n                int
	scaling          model.Scaling
	xMean, scale     []float64
	yMeans           []float64 // of each step: see model.Standard.MeanAt
	lambdas, df, all []float64 // all: coefficients, steps×p, original units
}

// Model is one penalty's fit.
type Model struct {
	n          int
	scaling    model.Scaling
	eq         model.Equation
	lambda, df float64
}

// Fit takes n ≥ 2 rows and any number of features: with Z = U·D·Vᵀ (thin
// singular value decomposition), b(λ) = V·D/(D² + λ)·Uᵀy for every λ. Exact
// dependences are harmless. Errors: *model.TooFewRowsError, *model.RangeError,
// *model.NoVarianceError, *model.SettingError.
func (f Ridge) Fit(m *design.Matrix) (model.Path, error) {
	lambdas, err := f.penalties(m.N())
	if err != nil {
		return nil, err
	}
	if m.N() < 2 {
		return nil, &model.TooFewRowsError{Kind: "ridge", Rows: m.N(), Need: 2}
	}
	s, err := model.Standardise("ridge", m, f.Scaling)
	if err != nil {
		return nil, err
	}
	scaling, _ := f.Scaling.Check("ridge")
	path := &Path{n: s.N, scaling: scaling, xMean: s.XMean, scale: s.Scale, lambdas: lambdas}
	if s.P == 0 {
		path.fill(nil, nil, nil, s.MeanAt)
		return path, nil
	}
	var svd mat.SVD
	if !svd.Factorize(mat.NewDense(s.N, s.P, s.Z), mat.SVDThin) {
		return nil, fmt.Errorf("ridge: the singular value decomposition of %d rows and %d features did not converge; leave out features that nearly repeat others", s.N, s.P)
	}
	var u, v mat.Dense
	svd.UTo(&u)
	svd.VTo(&v)
	d := svd.Values(nil)
	square, z := make([]float64, len(d)), make([]float64, len(d))
	for k := range d {
		square[k] = d[k] * d[k]
		for i, y := range s.Y {
			z[k] += u.At(i, k) * y
		}
		z[k] *= d[k]
	}
	path.fill(square, z, v.RawMatrix().Data, s.MeanAt)
	return path, nil
}

// fill computes every λ's coefficients from squared singular values, Vᵀ·Zᵀy and
// V (p×k), and the height at the means.
func (r *Path) fill(square, vzy, v []float64, meanAt func(b []float64) float64) {
	p, k := len(r.xMean), len(square)
	r.df, r.all = make([]float64, len(r.lambdas)), make([]float64, len(r.lambdas)*p)
	solveAll(square, vzy, v, r.lambdas, make([]float64, k), r.all)
	for a, lambda := range r.lambdas {
		for _, s := range square {
			r.df[a] += s / (s + lambda)
		}
		for j := range p {
			r.all[a*p+j] /= r.scale[j]
		}
		r.yMeans = append(r.yMeans, meanAt(r.all[a*p:(a+1)*p]))
	}
}

// solveAll writes V·(square + λ)⁻¹·vzy for every λ into b (steps×p).
func solveAll(square, vzy, v, lambdas, scratch, b []float64) {
	k := len(square)
	if k == 0 {
		clear(b)
		return
	}
	p := len(v) / k
	for a, lambda := range lambdas {
		for c, s := range square {
			scratch[c] = vzy[c] / (s + lambda)
		}
		for j := range p {
			sum := 0.0
			for c, w := range v[j*k : (j+1)*k] {
				sum += w * scratch[c]
			}
			b[a*p+j] = sum
		}
	}
}

// Len is the number of penalties.
func (r *Path) Len() int { return len(r.lambdas) }

// Label is "lambda 0.1".
func (r *Path) Label(i int) string {
	return "lambda " + strconv.FormatFloat(r.lambdas[i], 'g', 4, 64)
}

// At is the fit of penalty i, the largest first.
func (r *Path) At(i int) model.Fitted {
	p := len(r.xMean)
	return &Model{r.n, r.scaling, model.Equation{XMean: r.xMean, Coefficients: r.all[i*p : (i+1)*p : (i+1)*p], YMean: r.yMeans[i]}, r.lambdas[i], r.df[i]}
}

// FitMoments is Fit from cross-products, by the eigenvectors of ZᵀZ.
func (f Ridge) FitMoments(mo model.Moments) (model.Path, error) {
	if mo.X.N < 2 {
		return nil, &model.TooFewRowsError{Kind: "ridge", Rows: mo.X.N, Need: 2}
	}
	if err := mo.CheckVariance("ridge"); err != nil {
		return nil, err
	}
	prepared, err := f.Prepare(mo.X, nil)
	if err != nil {
		return nil, err
	}
	s := prepared.(*solver)
	scaling, _ := f.Scaling.Check("ridge")
	path := &Path{n: mo.X.N, scaling: scaling, xMean: slices.Clone(mo.X.Mean), scale: make([]float64, s.p), lambdas: s.lambdas}
	for j, inv := range s.inv {
		path.scale[j] = 1 / inv
	}
	s.project(mo.Y)
	path.fill(s.square, s.vzy, s.vectors, func([]float64) float64 { return mo.Y.Mean })
	return path, nil
}

// Steps is the number of penalties for at least two rows.
func (f Ridge) Steps(rows, _ int) int {
	switch {
	case rows < 2:
		return 0
	case f.Lambdas == nil:
		return gridSteps
	}
	return len(f.Lambdas)
}

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
	lambdas, err := f.penalties(x.N)
	if err != nil {
		return nil, err
	}
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
	s.lambdas = lambdas
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
	if s.square[0]+lambdas[len(lambdas)-1] < graded*s.square[p-1] {
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

// Kind is "ridge".
func (f *Model) Kind() string { return "ridge" }

// Predict evaluates the fit; it panics when len(x) is not p.
func (f *Model) Predict(x []float64) float64 { return f.eq.Predict(x) }

// Linear is the fit in original units.
func (f *Model) Linear() model.Linear { return f.eq.Linear() }

// DF is the effective number, Σ d²/(d² + λ) over singular values d of Z.
func (f *Model) DF() float64 { return f.df }

// Complexity is the penalty.
func (f *Model) Complexity() model.Complexity {
	return model.Complexity{Name: "lambda", Value: f.lambda}
}

type payload struct {
	Rows         int           `json:"rows"`
	Scaling      model.Scaling `json:"scaling"`
	Lambda       float64       `json:"lambda"`
	DF           float64       `json:"df"`
	XMean        []float64     `json:"x_mean"`
	YMean        float64       `json:"y_mean"`
	Coefficients []float64     `json:"coefficients"`
}

// MarshalJSON writes what Unmarshal reads.
func (f *Model) MarshalJSON() ([]byte, error) {
	return json.Marshal(payload{f.n, f.scaling, f.lambda, f.df, f.eq.XMean, f.eq.YMean, f.eq.Coefficients})
}

// Unmarshal reads a saved fit. Errors are *model.PayloadError or
// *model.SettingError.
func Unmarshal(data []byte) (*Model, error) {
	var s payload
	if err := model.DecodePayload("ridge", data, &s); err != nil {
		return nil, err
	}
	scaling, err := s.Scaling.Check("ridge")
	if err != nil {
		return nil, err
	}
	if err := model.CheckLength("ridge", "x_mean", len(s.XMean), len(s.Coefficients)); err != nil {
		return nil, err
	}
	if s.Rows < 2 || s.Lambda <= 0 || s.DF < 0 {
		return nil, &model.PayloadError{Kind: "ridge", Found: "rows, lambda or df out of range", Want: "rows ≥ 2, lambda > 0, df ≥ 0"}
	}
	return &Model{s.Rows, scaling, model.Equation{XMean: s.XMean, Coefficients: s.Coefficients, YMean: s.YMean}, s.Lambda, s.DF}, nil
}
