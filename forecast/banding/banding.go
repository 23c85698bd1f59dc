// Package banding parts the tested doses of a flour treatment (chlorine by mass, or
// the pH that it leaves) into an optimum, what is acceptable, and what is out of
// bounds, from a figure that rises to a maximum and falls again.
//
//  1. Fit takes the figure as a parabola of the dose, by least squares. Flours tested
//     at several doses have a level each and share the shape.
//  2. Optimum is the dose of the maximum, with Fieller's interval.
//  3. Edges are the doses at which the mean leaves an acceptable figure, with the
//     doses whose mean cannot be told from it as their interval.
//  4. Zones part the tested doses by these.
//
// It refuses too few doses, a bend that is not shown, and a maximum outside the
// tested doses. Nothing is extrapolated. It knows no flour and no law.
package banding

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Limits of a series. alpha is common practice, no source; the others are ours.
const (
	leastDoses = 4    // a parabola through three shows nothing
	leastLeft  = 2    // degrees of freedom left over
	alpha      = 0.05 // of the test for the bend
	steps      = 2000 // in which doses are walked for crossings
)

// Error says what the doses do not allow.
type Error struct{ Found, Want, Do string }

func (e *Error) Error() string {
	return "banding: found " + e.Found + ", expected " + e.Want + "; " + e.Do
}

// Point is the figure of one lot: a flour at a dose.
type Point struct {
	Flour string
	Dose  float64
	Value float64
}

// Curve is a parabola over the dose. It does not change after Fit.
type Curve struct {
	N, Flours, Doses int
	Low, High        float64 // doses tested
	SD, DF           float64 // of one lot about its flour's curve, in the figure's unit
	BendP            float64 // of the t-test of the bend, two-sided
	LackOfFit        *float64
	level            float64
	beta             [3]float64    // level, slope, bend over the dose brought to −1…1
	cov              *mat.SymDense // of beta over SD²
}

// Shape fits as Fit does and takes the parabola as it comes: for a figure read at
// doses that another one chose. Its Optimum and Edges mean nothing where no maximum
// is shown. Errors are those of Fit for figures and doses.
func Shape(points []Point, level float64) (*Curve, error) { return fit(points, level) }

// Fit fits figure = flour + b·dose + c·dose². The level is the mean of the flours'.
// level is the confidence of all intervals, 0.95 if 0. An *Error: figures that are
// not finite, fewer than four doses or two degrees of freedom left, a flour at one
// dose only is no error and tells of its level alone; a bend with p ≥ 0.05 or one that
// opens upwards; a maximum outside the tested doses.
func Fit(points []Point, level float64) (*Curve, error) {
	c, err := fit(points, level)
	if err != nil {
		return nil, err
	}
	if err := c.check(); err != nil {
		return nil, err
	}
	return c, nil
}

func fit(points []Point, level float64) (*Curve, error) {
	if level == 0 {
		level = 0.95
	}
	c := &Curve{N: len(points), level: level, cov: mat.NewSymDense(3, nil)}
	var flours []string
	var doses []float64
	for _, p := range points {
		if math.IsNaN(p.Dose+p.Value) || math.IsInf(p.Dose+p.Value, 0) {
			return nil, &Error{fmt.Sprintf("%g at dose %g", p.Value, p.Dose), "finite figures", "mend the row or leave it out"}
		}
		if !slices.Contains(flours, p.Flour) {
			flours = append(flours, p.Flour)
		}
		if !slices.Contains(doses, p.Dose) {
			doses = append(doses, p.Dose)
		}
	}
	c.Flours, c.Doses = len(flours), len(doses)
	c.DF = float64(len(points) - len(flours) - 2)
	if c.Doses < leastDoses || c.DF < leastLeft {
		return nil, &Error{fmt.Sprintf("%d lots at %d doses of %d flours", c.N, c.Doses, c.Flours), fmt.Sprintf("at least %d doses, and %d lots more than flours", leastDoses, 2+leastLeft), "treat the same flour at more doses, on both sides of the usual one"}
	}
	c.Low, c.High = slices.Min(doses), slices.Max(doses)
	k := len(flours)
	x, y := mat.NewDense(c.N, k+2, nil), mat.NewVecDense(c.N, nil)
	for i, p := range points {
		u := c.within(p.Dose)
		x.Set(i, slices.Index(flours, p.Flour), 1)
		x.Set(i, k, u)
		x.Set(i, k+1, u*u)
		y.SetVec(i, p.Value)
	}
	var xtx, inverse mat.SymDense
	xtx.SymOuterK(1, x.T())
	var chol mat.Cholesky
	if !chol.Factorize(&xtx) || chol.Cond() > 1e12 {
		return nil, &Error{"flours and doses that cannot be told apart", "flours tested at three doses or more", "treat the same flour at more doses"}
	}
	var xty, b mat.VecDense
	xty.MulVec(x.T(), y)
	_ = chol.SolveVecTo(&b, &xty) // well conditioned, by the check above
	_ = chol.InverseTo(&inverse)
	ss := 0.0
	for i := range c.N {
		e := y.AtVec(i)
		for j := range k + 2 {
			e -= x.At(i, j) * b.AtVec(j)
		}
		ss += e * e
	}
	c.SD = math.Sqrt(ss / c.DF)
	c.means(&b, &inverse, k)
	c.LackOfFit = c.lackOfFit(points, flours, ss)
	return c, nil
}

// means turns the flours' levels into their mean.
func (c *Curve) means(b *mat.VecDense, inverse *mat.SymDense, k int) {
	l := mat.NewDense(3, k+2, nil)
	for j := range k {
		l.Set(0, j, 1/float64(k))
	}
	l.Set(1, k, 1)
	l.Set(2, k+1, 1)
	var m, v mat.Dense
	m.Mul(l, b)
	v.Product(l, inverse, l.T())
	for i := range 3 {
		c.beta[i] = m.At(i, 0)
		for j := i; j < 3; j++ {
			c.cov.SetSym(i, j, v.At(i, j))
		}
	}
}

// check refuses a bend that is not shown, and a maximum that was not passed.
func (c *Curve) check() error {
	c.BendP = 0
	if se := c.SD * math.Sqrt(c.cov.At(2, 2)); se > 0 {
		c.BendP = 2 * distuv.StudentsT{Sigma: 1, Nu: c.DF}.Survival(math.Abs(c.beta[2])/se)
	}
	if c.beta[2] >= 0 || c.BendP >= math.Min(alpha, 1-c.level) {
		return &Error{fmt.Sprintf("no maximum: a bend of %.3g with p %.2g", c.beta[2], c.BendP), fmt.Sprintf("a figure that rises and falls again, with p below %g", math.Min(alpha, 1-c.level)), "test doses further apart, or more lots at each"}
	}
	if at := c.vertex(); at < -1 || at > 1 {
		return &Error{fmt.Sprintf("a maximum at a dose of %.4g", c.dose(at)), fmt.Sprintf("one within the tested doses, %g to %g", c.Low, c.High), "test beyond: nothing is extrapolated"}
	}
	return nil
}

// lackOfFit is the p of the F-test of what the curve leaves over against the spread
// of lots of one flour at one dose; nil without such lots, or with none to spare.
func (c *Curve) lackOfFit(points []Point, flours []string, ss float64) *float64 {
	type cell struct {
		flour string
		dose  float64
	}
	sum, n := map[cell]float64{}, map[cell]float64{}
	for _, p := range points {
		sum[cell{p.Flour, p.Dose}] += p.Value
		n[cell{p.Flour, p.Dose}]++
	}
	pure := 0.0
	for _, p := range points {
		k := cell{p.Flour, p.Dose}
		pure += (p.Value - sum[k]/n[k]) * (p.Value - sum[k]/n[k])
	}
	df, spare := float64(len(points)-len(n)), float64(len(n)-len(flours)-2)
	if df < 1 || spare < 1 || !(pure > 0) {
		return nil
	}
	p := distuv.F{D1: spare, D2: df}.Survival(math.Max(0, ss-pure) / spare / (pure / df))
	return &p
}

func (c *Curve) within(dose float64) float64 { return (2*dose - c.Low - c.High) / (c.High - c.Low) }
func (c *Curve) dose(u float64) float64      { return (c.Low + c.High + u*(c.High-c.Low)) / 2 }
func (c *Curve) vertex() float64             { return -c.beta[1] / (2 * c.beta[2]) }
func (c *Curve) t() float64 {
	return distuv.StudentsT{Sigma: 1, Nu: c.DF}.Quantile((1 + c.level) / 2)
}

// Level is the confidence of the intervals.
func (c *Curve) Level() float64 { return c.level }

// Mean is the mean figure of the flours at a dose, and the ends of its interval.
func (c *Curve) Mean(dose float64) (value, low, high float64) {
	y, half := c.at(c.within(dose))
	return y, y - half, y + half
}

func (c *Curve) at(u float64) (y, half float64) {
	r := [3]float64{1, u, u * u}
	v := 0.0
	for i := range r {
		y += r[i] * c.beta[i]
		for j := range r {
			v += r[i] * r[j] * c.cov.At(i, j)
		}
	}
	return y, c.t() * c.SD * math.Sqrt(math.Max(0, v))
}
