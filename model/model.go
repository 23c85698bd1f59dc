// Package model says what every regression offers, and carries the
// cross-products from which folds are fitted.
//
//  1. A Fitter turns a design.Matrix into a Path: all its models of growing
//     complexity, the smallest first.
//  2. A step of a Path is a Fitted: it predicts, and gives its intercept and
//     coefficients in original units.
//  3. A MomentFitter needs only cross-products (package moment forms those of
//     training parts by subtraction); its Solver takes the part of X once and
//     any number of responses. A WideFitter works on rows of many parts at once.
//  4. What cannot be fitted is a typed error that names columns and the cure.
//
// It refuses figures too large or too small to square, and features or
// responses that do not vary. It knows no method by name; package catalog does.
//
// # In a few lines
//
// Put figures into a design.Matrix, give it to a method, take a step of the path:
//
//	m, err := design.New(design.Spec{Features: names, Response: "hardness_N", X: x, Y: y, Lots: lots})
//	path, err := pls.PLS{Scaling: model.ScaleUnit}.Fit(m)
//	fitted := path.At(path.Len() - 1)
//	hardness := fitted.Predict([]float64{2400, 9.5}) // in the order of names, original units
//	equation := fitted.Linear()                       // intercept and coefficients
//
// Which step to take, and whether to trust it, is package eval's question.
package model

import (
	"math"

	"flourcast/model/design"
	"flourcast/model/moment"
)

// Fitter fits one method. Fit returns the whole path for the rows of m, never
// writes to m, and keeps nothing between calls: equal input, equal bits. Row
// weights and standard errors of m are not used.
type Fitter interface {
	Kind() string
	Fit(m *design.Matrix) (Path, error)
}

// Path is one method's models of growing complexity, smallest first.
type Path interface {
	Len() int
	// At is step i, 0 ≤ i < Len. It panics outside.
	At(i int) Fitted
	// Label names step i as a person would: "3 components", "lambda 0.1".
	Label(i int) string
}

// OneStep is the path of a method without a choice.
func OneStep(f Fitted, label string) Path { return oneStep{f, label} }

type oneStep struct {
	Fitted
	label string
}

func (s oneStep) Len() int { return 1 }

func (s oneStep) At(i int) Fitted {
	if i != 0 {
		panic("model: the path has one step")
	}
	return s.Fitted
}

func (s oneStep) Label(int) string { return s.label }

// Fitted is one fitted model. It is immutable and safe for concurrent use.
type Fitted interface {
	Kind() string
	// Predict takes a row of p features in original units. It panics when
	// len(x) is not p: the caller chose the features.
	Predict(x []float64) float64
	Linear() Linear
	// DF is the degrees of freedom used, without the intercept.
	DF() float64
	Complexity() Complexity
}

// Linear is a model in original units: ŷ = Intercept + Σ Coefficients[j]·x[j].
type Linear struct {
	Intercept    float64
	Coefficients []float64
}

// Complexity is what grows or shrinks along a path: Name "components" or
// "lambda" with its value; both are zero for methods without a choice.
type Complexity struct {
	Name  string
	Value float64
}

// Scaling says what is done to the features before fitting. Means and standard
// deviations are always those of the training rows.
type Scaling string

// Scalings. The empty Scaling means ScaleUnit.
const (
	// ScaleUnit centres and divides by the sample standard deviation (n − 1).
	ScaleUnit Scaling = "unit"
	// ScaleNone only centres.
	ScaleNone Scaling = "none"
)

// Check returns s with the empty value filled in, or a *SettingError.
func (s Scaling) Check(kind string) (Scaling, error) {
	switch s {
	case "", ScaleUnit:
		return ScaleUnit, nil
	case ScaleNone:
		return s, nil
	}
	return s, &SettingError{Kind: kind, Setting: "scaling", Found: string(s), Want: `"unit" or "none"`}
}

// MomentFitter is a Fitter that can work from cross-products alone, which makes
// cross-validation and permutation cheap.
type MomentFitter interface {
	Fitter
	// FitMoments is Fit from cross-products. It agrees with Fit to about the
	// digits that squaring leaves (1e-9 relative on well-posed data), and
	// returns ErrNeedRows where squaring would leave fewer.
	FitMoments(mo Moments) (Path, error)
	// Steps is the longest path that rows training rows and p features allow
	// before rank is looked at; 0 when they are too few.
	Steps(rows, p int) int
	// Prepare does all that depends on X only. reuse may be nil or a Solver that
	// an earlier call of the same Fitter returned and nobody needs any more; its
	// memory is then used again. The error is ErrNeedRows or that of FitMoments.
	Prepare(x XMoments, reuse Solver) (Solver, error)
}

// Solver fits responses to one prepared X. It is not safe for concurrent use.
type Solver interface {
	// Solve writes the coefficients of every step, original units, into b
	// (steps×p, row-major, at least Steps(n, p)·p long) and returns how many
	// steps there are. Fewer than Steps means that nothing is left to explain:
	// later steps would equal the last one (with none, the mean). ok is false when
	// cross-products lost too many digits for this response: fit the rows. It
	// allocates nothing.
	Solve(y YMoments, b []float64) (steps int, ok bool)
}

// WideFitter is a Fitter that can work on many training parts of a matrix with
// more features than rows at once, which makes their cross-validation cheap.
type WideFitter interface {
	Fitter
	// Steps is that of MomentFitter.
	Steps(rows, p int) int
	// Wide prepares what all parts of w share. The error is that of Fit.
	Wide(w *moment.Wide) (WideSolver, error)
}

// WideSolver predicts rows left out of parts of one matrix. It is not safe for
// concurrent use, and keeps its memory from call to call.
type WideSolver interface {
	// Solve fills in every job's Out and OK, steps steps each; where there are
	// fewer, the last is repeated (with none, the mean). Jobs that leave out the
	// same rows should follow each other: what depends on the features only is then
	// done once.
	Solve(jobs []moment.Job, steps int)
}

// Stepped is a Fitter that knows beforehand how long its path is.
type Stepped interface {
	Fitter
	// Steps is that of MomentFitter.
	Steps(rows, p int) int
}

// OnLog is a Fitted that may be of ln y: then its equation (Linear) is too, while
// Predict answers in the units of y.
type OnLog interface{ OnLog() bool }

// Settled is a Fitter whose step is fixed beforehand (a stated number of
// components): the last step of its path is used and nothing is chosen.
type Settled interface{ Settled() bool }

// Cap tells that a path is shorter than was asked for, and why.
type Cap struct {
	Asked, Given int
	Why          string // "rank", "training rows / 6"
}

// Capped is a Path that may have been cut short.
type Capped interface{ Cap() (Cap, bool) }

// Equation is a linear model about its training means,
//
//	ŷ = YMean + Σ Coefficients[j]·(x[j] − XMean[j]),
//
// which keeps the digits that a far-away intercept would cost.
type Equation struct {
	XMean, Coefficients []float64
	YMean               float64
}

// Predict evaluates the equation; it panics when len(x) is not the number of
// coefficients.
func (e Equation) Predict(x []float64) float64 {
	if len(x) != len(e.Coefficients) {
		panic("model: Predict needs as many figures as the model has features")
	}
	y := e.YMean
	for j, b := range e.Coefficients {
		y += b * (x[j] - e.XMean[j])
	}
	return y
}

// Linear gives the equation's intercept and a copy of its coefficients. The
// intercept YMean − Σ b·mean is summed with compensation.
func (e Equation) Linear() Linear {
	terms := make([]float64, len(e.Coefficients))
	for j, b := range e.Coefficients {
		terms[j] = -b
	}
	return Linear{Intercept: DotAdd(e.YMean, terms, e.XMean), Coefficients: append([]float64(nil), e.Coefficients...)}
}

// DotAdd is start + Σ a[i]·b[i], summed in about twice the working precision
// (products and sums carry their rounding errors along: Ogita, Rump and Oishi
// 2005, SIAM J Sci Comput 26:1955, from memory).
func DotAdd(start float64, a, b []float64) float64 {
	sum, lost := start, 0.0
	for i := range a {
		prod := a[i] * b[i]
		lost += math.FMA(a[i], b[i], -prod)
		next := sum + prod
		back := next - sum
		lost += (sum - (next - back)) + (prod - back)
		sum = next
	}
	return sum + lost
}
