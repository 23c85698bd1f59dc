// Package pls fits partial least squares for one response.
//
//  1. Columns are centred and, unless told otherwise, divided by their sample SD.
//  2. Components are extracted one by one by the improved kernel algorithm; each
//     follows what covariance with the response is left.
//  3. The result is a Path of 1…A components with weights, loadings, rotations,
//     explained variance, VIP, and coefficients in original units.
//
// FitRows works on rows, FitMoments and Prepare on cross-products, Wide on many
// training parts of a matrix with more features than rows. Exact dependences
// between features are harmless: the path ends where nothing is left to explain,
// and says so (Path.Cap). It refuses features or a response without variance, too
// few rows, and figures that cannot be squared.
//
// # In a few lines
//
// Step i has i + 1 components; how many to take is package eval's question:
//
//	path, err := pls.PLS{Components: 5}.Fit(m)
//	fitted := path.At(1).(*pls.Model)
//	fmt.Println(fitted.Predict(x), fitted.VIP())
package pls

import (
	"errors"
	"fmt"
	"slices"

	"flourcast/model"
	"flourcast/model/design"
	"flourcast/model/moment"
	"flourcast/model/pls/abreast"
)

// PLS is partial least squares of one response (PLS1).
type PLS struct {
	// Components is the most components to extract; 0 means as many as are worth
	// offering: min(10, features, training rows/6), or fewer when nothing is left
	// to explain (ten and six: common practice, no source).
	Components int
	Scaling    model.Scaling
	// Exactly settles the choice: evaluation uses Components components and
	// chooses nothing.
	Exactly bool
}

const (
	mostComponents   = 10
	rowsPerComponent = 6
)

// Kind is "pls".
func (PLS) Kind() string { return "pls" }

// Settled is whether the number of components is fixed beforehand.
func (f PLS) Settled() bool { return f.Exactly && f.Components > 0 }

// Steps is the most components that rows training rows and p features allow.
func (f PLS) Steps(rows, p int) int {
	steps, _ := f.limit(rows, p)
	return steps
}

// limit is Steps and what set it.
func (f PLS) limit(rows, p int) (steps int, why string) {
	steps = f.asked()
	lower := func(to int, because string) {
		if to < steps {
			steps, why = max(to, 0), because
		}
	}
	lower(p, "features")
	lower(rows-1, "training rows")
	if f.Components == 0 {
		lower(rows/rowsPerComponent, "training rows / 6")
	}
	return steps, why
}

func (f PLS) asked() int {
	if f.Components == 0 {
		return mostComponents
	}
	return f.Components
}

func (f PLS) check(rows, p int) (model.Scaling, error) {
	if f.Components < 0 {
		return "", &model.SettingError{Kind: "pls", Setting: "components", Found: fmt.Sprint(f.Components), Want: "1 or more, or 0 for a choice"}
	}
	if p == 0 {
		return "", &model.SettingError{Kind: "pls", Setting: "features", Found: "none", Want: "at least one"}
	}
	if need := map[bool]int{true: rowsPerComponent, false: 2}[f.Components == 0]; rows < need {
		return "", &model.TooFewRowsError{Kind: "pls", Rows: rows, Need: need}
	}
	return f.Scaling.Check("pls")
}

// Fit extracts up to Steps components from n×p rows by the improved kernel
// algorithm (Dayal and MacGregor 1997, J Chemometrics 11:73). With Z the centred,
// scaled features and s = Zᵀy, each component has
//
//	w = s/|s|,  r = w − Σ (pᵦᵀw)·rᵦ over earlier ones,  t = Z·r,
//	p = Zᵀt/tᵀt,  q = |s|/tᵀt,  s ← s − q·tᵀt·p,
//
// and ŷ = ȳ + Σ q·t. The path ends early when |s| is below 1e-10 of what it was,
// or when a score's variance is below 1e-6 of what the same features would give
// if they were unrelated (see abreast.Resolution): the rank is used up. Signs: the
// largest |w| of each component is positive.
//
// Up to 64 features with four times as many rows are fitted from their
// cross-products, as FitMoments does; others, and what squaring would blur, as
// FitRows does. Both give the same figures to about 1e-9. Errors:
// *model.TooFewRowsError, *model.RangeError, *model.NoVarianceError,
// *model.NoCovarianceError, *model.SettingError.
func (f PLS) Fit(m *design.Matrix) (model.Path, error) {
	if m.P() > mostCrossed || m.N() < 4*m.P() {
		return f.FitRows(m)
	}
	if _, err := f.check(m.N(), m.P()); err != nil {
		return nil, err
	}
	b, err := moment.NewBase(m, 1)
	if err != nil {
		return nil, err
	}
	y, err := b.Target(m.Response(), m.Y())
	if err != nil {
		return nil, err
	}
	path, err := f.fitMoments(model.MomentsOf(b, b.Response(y), m), func(coefficients []float64) float64 { return b.MeanAt(y, coefficients) })
	if errors.Is(err, model.ErrNeedRows) {
		return f.FitRows(m)
	}
	return path, err
}

// mostCrossed is the number of features up to which cross-products are cheaper
// than passes over the rows.
const mostCrossed = 64

// FitRows is Fit by passes over the rows, algorithm no. 1: two to measure the
// columns, one a component, 2·n·p multiplications each. It copies no more than
// a quarter of a million figures.
func (f PLS) FitRows(m *design.Matrix) (model.Path, error) {
	scaling, err := f.check(m.N(), m.P())
	if err != nil {
		return nil, err
	}
	rows, y, err := model.Centre("pls", m)
	if err != nil {
		return nil, err
	}
	n, p := m.N(), m.P()
	scale := model.Scales(rows, scaling)
	u, r := make([]float64, p), make([]float64, p)
	// pass calls with(i) for the deviations of every row and adds with's answer
	// times the row, divided by the scales, into out.
	pass := func(out []float64, with func(i int, u []float64) float64) {
		clear(out)
		for i := range n {
			d := rows.Deviation(i, u)
			moment.Add(out, with(i, d), d)
		}
		for j, s := range scale {
			out[j] /= s
		}
	}
	k := newKernel(p, f.Steps(n, p), func(rot, out []float64) float64 {
		for j, s := range scale {
			r[j] = rot[j] / s
		}
		tt := 0.0
		pass(out, func(i int, u []float64) float64 {
			t := dot(r, u)
			tt += t * t
			return t
		})
		return tt
	})
	yy := dot(y.V, y.V)
	for j, s := range scale {
		k.ss[j] = rows.SS[j] / (s * s)
		k.total += k.ss[j]
	}
	zy := make([]float64, p)
	pass(zy, func(i int, _ []float64) float64 { return y.V[i] })
	steps, _ := k.extract(zy, yy)
	if steps == 0 {
		return nil, &model.NoCovarianceError{Kind: "pls", Response: m.Response()}
	}
	meanAt := func(b []float64) float64 { return rows.MeanAt(y, b) }
	return f.path(k, steps, base{rows: n, scaling: scaling, xMean: rows.Mean, scale: scale, yss: yy}, meanAt), nil
}

// FitMoments is Fit from cross-products (algorithm no. 2: Zᵀt = ZᵀZ·r). It
// returns model.ErrNeedRows when a component lies where ZᵀZ has too few digits
// left.
func (f PLS) FitMoments(mo model.Moments) (model.Path, error) {
	return f.fitMoments(mo, func([]float64) float64 { return mo.Y.Mean })
}

// fitMoments is told the height of a fit at the means.
func (f PLS) fitMoments(mo model.Moments, meanAt func(b []float64) float64) (model.Path, error) {
	scaling, err := f.check(mo.X.N, mo.X.P)
	if err != nil {
		return nil, err
	}
	if err := mo.CheckVariance("pls"); err != nil {
		return nil, err
	}
	prepared, err := f.Prepare(mo.X, nil)
	if err != nil {
		return nil, err
	}
	s := prepared.(*solver)
	steps, ok := s.extract(mo.Y)
	switch {
	case !ok:
		return nil, model.ErrNeedRows
	case steps == 0:
		return nil, &model.NoCovarianceError{Kind: "pls", Response: mo.Response}
	}
	b := base{rows: mo.X.N, scaling: scaling, xMean: append([]float64(nil), mo.X.Mean...), scale: make([]float64, mo.X.P), yss: mo.Y.YY}
	for j, inv := range s.inv {
		b.scale[j] = 1 / inv
	}
	return f.path(s.kernel, steps, b, meanAt), nil
}

// Wide readies many training parts of a matrix with more features than rows; see
// package abreast. All ways end where Fit ends.
func (f PLS) Wide(w *moment.Wide) (model.WideSolver, error) {
	scaling, err := f.Scaling.Check("pls")
	if err != nil {
		return nil, err
	}
	return abreast.New(w, scaling == model.ScaleUnit, f.Steps), nil
}

// path copies a kernel's components and says why there are no more.
func (f PLS) path(k *kernel, steps int, b base, meanAt func(b []float64) float64) *Path {
	b.xss = k.total
	p := &Path{base: b, cap: model.Cap{Asked: f.asked(), Given: steps, Why: "rank"}}
	if most, why := f.limit(b.rows, k.p); steps == most {
		p.cap.Why = why
	}
	w, r, l := slices.Clone(k.w[:steps*k.p]), slices.Clone(k.r[:steps*k.p]), slices.Clone(k.l[:steps*k.p])
	p.components = make([]component, steps)
	for a := range steps {
		from, to := a*k.p, (a+1)*k.p
		p.components[a] = component{w: w[from:to:to], r: r[from:to:to], p: l[from:to:to], q: k.q[a], tt: k.tt[a]}
		p.components[a].orient()
	}
	p.solve(meanAt)
	return p
}
