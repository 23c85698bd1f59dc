// Package ridge fits ridge regression: the whole path over penalties from one
// singular value decomposition of the centred, scaled features.
//
//  1. Ridge.Fit decomposes the rows, FitMoments and Prepare the cross-products,
//     Wide the n×n products of parts with more features than rows.
//  2. Path has a step a penalty, the largest first, and what generalised
//     cross-validation says of it.
//  3. A Model predicts, gives its effective degrees of freedom, and is saved.
//
// Exact dependences are harmless. It refuses features or a response without
// variance, fewer than two rows, and figures that cannot be squared, by typed
// errors of package model.
//
// # In a few lines
//
// All penalties are fitted at once; which to take is package eval's question:
//
//	path, err := ridge.Ridge{}.Fit(m)
//	for i := range path.Len() {
//		fmt.Println(path.Label(i), path.At(i).Predict(x), path.At(i).DF())
//	}
package ridge

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"flourcast/model"
	"flourcast/model/design"
	"flourcast/model/moment"
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
//     λ·n/(n − 1) (ToDivisorN, FromDivisorN).
//   - scikit-learn's Ridge(alpha) does not scale: alpha = λ on columns divided by
//     the sample SD, or λ·n/(n − 1) after its StandardScaler, which divides by n.
//   - With ScaleNone, alpha = λ on the columns as they are.
type Ridge struct {
	Scaling model.Scaling
	Lambdas []float64
}

const gridSteps = 41

// penalties is the path's λ for n rows, largest first, in reuse's memory.
func (f Ridge) penalties(n int, reuse []float64) ([]float64, error) {
	out := reuse[:0]
	if f.Lambdas == nil {
		for k := range gridSteps {
			out = append(out, float64(n)*math.Pow(10, 4-0.2*float64(k)))
		}
		return out, nil
	}
	out = append(out, f.Lambdas...)
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

// FromDivisorN is the λ of this package for a penalty on columns that were divided
// by the SD with divisor n: of R's MASS::lm.ridge, or of scikit-learn's Ridge after
// its StandardScaler. rows is n of the training part.
func FromDivisorN(penalty float64, rows int) float64 {
	return penalty * float64(rows-1) / float64(rows)
}

// ToDivisorN is the other way round.
func ToDivisorN(lambda float64, rows int) float64 {
	return lambda * float64(rows) / float64(rows-1)
}

// Kind is "ridge".
func (Ridge) Kind() string { return "ridge" }

// Fit takes n ≥ 2 rows and any number of features: with Z = U·D·Vᵀ (thin
// singular value decomposition), b(λ) = V·D/(D² + λ)·Uᵀy for every λ. Exact
// dependences are harmless. Errors: *model.TooFewRowsError, *model.RangeError,
// *model.NoVarianceError, *model.SettingError.
func (f Ridge) Fit(m *design.Matrix) (model.Path, error) {
	lambdas, err := f.penalties(m.N(), nil)
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
		path.fill(nil, nil, nil, moment.Dot(s.Y, s.Y), s.MeanAt)
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
	path.fill(square, z, v.RawMatrix().Data, moment.Dot(s.Y, s.Y), s.MeanAt)
	return path, nil
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
	path.fill(s.square, s.vzy, s.vectors, mo.Y.YY, func([]float64) float64 { return mo.Y.Mean })
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
