package pairs

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Limits of a series. Alpha is common practice, no source.
const (
	leastDoses = 3
	leastLeft  = 2    // degrees of freedom left over
	alpha      = 0.05 // of the tests for curvature, lack of fit and any effect at all
	steps      = 2000 // in which the series is walked for crossings of the band
)

// Point is one result at a dose.
type Point struct {
	Dose  float64 `json:"dose"`
	Value float64 `json:"value"`
}

// Series is a figure fitted over added amylase: a straight line or, where a bend is
// significant, a parabola, of the figure or of its logarithm. It does not change
// after NewSeries.
type Series struct {
	Points []Point
	Degree int
	Log    bool
	// Curvature is the p of the bend, Effect that of any effect of the dose,
	// LackOfFit that of what the curve leaves over against repeated doses; nil
	// where it cannot be had.
	Curvature, Effect, LackOfFit *float64
	SD                           float64 // of one result about the curve, on the fitted scale
	DF                           float64

	low, high float64 // doses
	beta      []float64
	cov       *mat.SymDense // of beta over SD²
}

// NewSeries fits a series of at least three doses that leaves two degrees of
// freedom, by least squares. With log the logarithm
// of the figure is fitted, for which figures must be above zero. A bend is taken in
// where its t-test gives p < 0.05, there are four doses, and two degrees of freedom
// are left over.
//
// A series that is too short, doses below zero, figures that are not finite, no
// effect of the dose (p ≥ 0.05), and a fit that turns round within the series are an
// *Error.
func NewSeries(points []Point, log bool) (*Series, error) {
	s := &Series{Points: slices.Clone(points), Log: log}
	slices.SortStableFunc(s.Points, func(a, b Point) int {
		switch {
		case a.Dose < b.Dose:
			return -1
		case a.Dose > b.Dose:
			return 1
		}
		return 0
	})
	doses := 0
	for i, p := range s.Points {
		if !finite(p.Dose, p.Value) || p.Dose < 0 || log && p.Value <= 0 {
			return nil, &Error{fmt.Sprintf("%g at dose %g", p.Value, p.Dose), "figures (above 0 for their logarithm) at doses from 0", "mend the row or leave it out"}
		}
		if i == 0 || p.Dose != s.Points[i-1].Dose {
			doses++
		}
	}
	if doses < leastDoses || len(points) < 2+leastLeft {
		return nil, &Error{fmt.Sprintf("%d results at %d doses", len(points), doses), fmt.Sprintf("at least %d doses and %d results", leastDoses, 2+leastLeft), "test more doses, each twice if you can"}
	}
	s.low, s.high = s.Points[0].Dose, s.Points[len(s.Points)-1].Dose
	line, bend := s.fit(1), (*fitted)(nil)
	if doses > leastDoses && len(points) >= 3+leastLeft {
		bend = s.fit(2)
		s.Curvature = bend.p(2)
	}
	chosen := line
	if s.Degree = 1; s.Curvature != nil && *s.Curvature < alpha {
		s.Degree, chosen = 2, bend
	}
	s.beta, s.cov, s.DF = chosen.beta, chosen.cov, chosen.df
	s.SD = math.Sqrt(chosen.ss / chosen.df)
	s.Effect = s.effect(chosen.ss)
	if s.LackOfFit = s.lackOfFit(chosen.ss, doses); s.Effect == nil || *s.Effect >= alpha {
		return nil, &Error{"a figure that the dose does not move" + pWords(s.Effect), fmt.Sprintf("an effect with p below %g", alpha), "test doses further apart, or repeat each"}
	}
	if s.turns() {
		return nil, &Error{"a figure that turns round within the series", "one that rises or falls all the way", "leave out the doses beyond the turn"}
	}
	return s, nil
}

func pWords(p *float64) string {
	if p == nil {
		return ""
	}
	return fmt.Sprintf(" (p = %.2g)", *p)
}

// fitted is one least-squares fit.
type fitted struct {
	beta []float64
	cov  *mat.SymDense
	ss   float64
	df   float64
}

// row is the terms of the curve at a dose: powers of the dose brought to −1…1.
func (s *Series) row(dose float64, degree int) []float64 {
	x := s.within(dose)
	return []float64{1, x, x * x}[:degree+1]
}

// within is a dose brought to −1…1 of the series, which keeps powers of it apart.
func (s *Series) within(dose float64) float64 { return (2*dose - s.low - s.high) / (s.high - s.low) }

func (s *Series) value(v float64) float64 {
	if s.Log {
		return math.Log(v)
	}
	return v
}

func (s *Series) fit(degree int) *fitted {
	n, p := len(s.Points), degree+1
	x, y := mat.NewDense(n, p, nil), mat.NewVecDense(n, nil)
	for i, pt := range s.Points {
		x.SetRow(i, s.row(pt.Dose, degree))
		y.SetVec(i, s.value(pt.Value))
	}
	var xtx mat.SymDense
	xtx.SymOuterK(1, x.T())
	var chol mat.Cholesky
	chol.Factorize(&xtx) // of full rank: there are more doses than terms
	f := &fitted{cov: mat.NewSymDense(p, nil), df: float64(n - p)}
	var xty, beta mat.VecDense
	xty.MulVec(x.T(), y)
	// At most three powers of numbers in −1…1: well conditioned.
	_ = chol.SolveVecTo(&beta, &xty)
	_ = chol.InverseTo(f.cov)
	for j := range p {
		f.beta = append(f.beta, beta.AtVec(j))
	}
	for i := range n {
		e := y.AtVec(i)
		for j := range p {
			e -= x.At(i, j) * f.beta[j]
		}
		f.ss += e * e
	}
	return f
}

// p is the two-sided p of term j; nil where nothing is left over to test it by.
func (f *fitted) p(j int) *float64 {
	v := f.ss / f.df * f.cov.At(j, j)
	if !(v > 0) {
		return nil
	}
	p := 2 * distuv.StudentsT{Sigma: 1, Nu: f.df}.Survival(math.Abs(f.beta[j])/math.Sqrt(v))
	return &p
}

// effect is the p of the F-test of all terms against the mean.
func (s *Series) effect(ss float64) *float64 {
	total, mean := 0.0, 0.0
	for _, p := range s.Points {
		mean += s.value(p.Value) / float64(len(s.Points))
	}
	for _, p := range s.Points {
		e := s.value(p.Value) - mean
		total += e * e
	}
	if !(total > 0) {
		return nil
	}
	return fTest((total-ss)/float64(s.Degree), float64(s.Degree), ss/s.DF, s.DF)
}

// lackOfFit is the p of the F-test of what the curve leaves over beyond the spread
// of repeated doses; nil without repeats, or with no doses to spare.
func (s *Series) lackOfFit(ss float64, doses int) *float64 {
	pure, df := 0.0, 0.0
	for i := 0; i < len(s.Points); {
		j, mean := i, 0.0
		for ; j < len(s.Points) && s.Points[j].Dose == s.Points[i].Dose; j++ {
			mean += s.value(s.Points[j].Value)
		}
		mean /= float64(j - i)
		for _, p := range s.Points[i:j] {
			e := s.value(p.Value) - mean
			pure += e * e
		}
		df += float64(j - i - 1)
		i = j
	}
	if spare := float64(doses - s.Degree - 1); spare > 0 && df > 0 && pure > 0 {
		return fTest(math.Max(0, ss-pure)/spare, spare, pure/df, df)
	}
	return nil
}

func fTest(above, df1, below, df2 float64) *float64 {
	p := 0.0
	if below > 0 {
		p = distuv.F{D1: df1, D2: df2}.Survival(above / below)
	}
	return &p
}

// at is the curve on the fitted scale and the variance of its mean over SD².
func (s *Series) at(dose float64) (y, v float64) {
	r := s.row(dose, s.Degree)
	for i := range r {
		y += r[i] * s.beta[i]
		for j := range r {
			v += r[i] * r[j] * s.cov.At(i, j)
		}
	}
	return y, v
}

// turns reports whether a parabola has its turn within the series.
func (s *Series) turns() bool {
	if s.Degree < 2 {
		return false
	}
	slope := func(dose float64) float64 { return s.beta[1] + 2*s.beta[2]*s.within(dose) }
	return slope(s.low)*slope(s.high) < 0
}

// Range is the doses of the series and the curve's figures there.
func (s *Series) Range() (low, high Point) {
	a, _ := s.at(s.low)
	b, _ := s.at(s.high)
	return Point{s.low, s.figure(a)}, Point{s.high, s.figure(b)}
}

func (s *Series) figure(y float64) float64 {
	if s.Log {
		return math.Exp(y)
	}
	return y
}

// Band is the curve at a dose and the band of its mean, in the figure's unit.
func (s *Series) Band(dose, level float64) (value, low, high float64) {
	y, v := s.at(dose)
	half := quantile(level, s.DF) * s.SD * math.Sqrt(v)
	return s.figure(y), s.figure(y - half), s.figure(y + half)
}

// Dose is a dose that inverts the curve, with its interval. Low or High is nil where
// the interval goes beyond the series.
type Dose struct {
	Value float64  `json:"value"`
	Low   *float64 `json:"low"`
	High  *float64 `json:"high"`
	Level float64  `json:"level"`
}

// DoseFor is the dose at which the curve meets the target, with all doses whose mean
// the level (Level if 0) does not tell from the target as its interval: the
// confidence band of the curve, inverted. For a line that is Fieller's interval
// (Graybill & Iyer 1994, Regression Analysis, ch. 6). A target outside the curve's
// figures within the series is an *Error: nothing is extrapolated.
func (s *Series) DoseFor(target, level float64) (Dose, error) { return s.invert(target, 0, level) }

// Equivalent is the dose that a lot with the mean of n results acts like: as DoseFor,
// with the error of those n results added to the band. It takes the lot's starch for
// that of the series' flour, so that it screens and proves nothing.
func (s *Series) Equivalent(mean float64, n int, level float64) (Dose, error) {
	if n < 1 {
		panic("pairs: Equivalent without results")
	}
	return s.invert(mean, 1/float64(n), level)
}

func (s *Series) invert(target, extra, level float64) (Dose, error) {
	if level == 0 {
		level = Level
	}
	a, b := s.Range()
	from, to := math.Min(a.Value, b.Value), math.Max(a.Value, b.Value)
	if !finite(target) || target < from || target > to {
		return Dose{}, &Error{fmt.Sprintf("%.6g", target), fmt.Sprintf("a figure within the series, %.6g to %.6g", from, to), "extend the series: nothing is extrapolated"}
	}
	want := s.value(target)
	t := quantile(level, s.DF) * s.SD
	down := b.Value < a.Value
	d := Dose{Level: level}
	d.Value = s.cross(s.low, s.high, func(dose float64) float64 {
		y, _ := s.at(dose)
		if down {
			return want - y
		}
		return y - want
	})
	// Outside says how far the target lies outside the band at a dose.
	outside := func(dose float64) float64 {
		y, v := s.at(dose)
		return math.Abs(y-want) - t*math.Sqrt(v+extra)
	}
	d.Low, d.High = s.end(d.Value, s.low, outside), s.end(d.Value, s.high, outside)
	return d, nil
}

// end walks from the estimate to one end of the series and returns the first dose
// where the target leaves the band; nil when it never does.
func (s *Series) end(from, to float64, outside func(float64) float64) *float64 {
	before := from
	for i := 1; i <= steps; i++ {
		dose := from + (to-from)*float64(i)/steps
		if outside(dose) > 0 {
			at := s.cross(before, dose, outside)
			return &at
		}
		before = dose
	}
	return nil
}

// cross finds where f, not above zero at a and not below it at b, is zero.
func (s *Series) cross(a, b float64, f func(float64) float64) float64 {
	for range 200 {
		middle := a + (b-a)/2
		if middle == a || middle == b {
			break
		}
		if f(middle) <= 0 {
			a = middle
		} else {
			b = middle
		}
	}
	return a + (b-a)/2
}
