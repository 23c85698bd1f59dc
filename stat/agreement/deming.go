package agreement

import (
	"fmt"
	"math"
)

// Line is y = Intercept + Slope·x. Covariance is that of intercept and slope.
type Line struct {
	N                int
	Intercept, Slope Estimate
	Covariance       float64
}

// At is the line's y at x.
func (l Line) At(x float64) float64 { return l.Intercept.Value + l.Slope.Value*x }

// Deming fits the line of y on x where both err, by
//
//	δ = var(error of y) / var(error of x)
//	b = [S_yy − δS_xx + √((S_yy − δS_xx)² + 4δS_xy²)] / (2S_xy),   a = ȳ − b·x̄
//
// Half of the literature uses 1/δ: here a δ above 1 says that y errs more. Standard
// errors and covariance are the jackknife's over pairs (Tukey's, about the mean of
// the pseudo-values), the intervals t with n − 2 degrees of freedom (Linnet 1993,
// Clin Chem 39:424, from memory). The fit is symmetric: y against x with 1/δ gives
// the inverse line. It needs four pairs, δ above 0, and pairs that go together at
// all: else an *Error. It panics for a level outside 0…1.
func Deming(x, y []float64, delta, level float64) (Line, error) {
	checkLevel(level)
	if !(delta > 0) || !finite(delta) {
		return Line{}, &Error{"ratio of error variances", fmt.Sprint(delta), "a finite figure above 0"}
	}
	if _, _, _, _, _, err := pairs(x, y, 4); err != nil {
		return Line{}, err
	}
	a, b, err := deming(x, y, delta)
	if err != nil {
		return Line{}, err
	}
	n := len(x)
	as, bs := make([]float64, n), make([]float64, n)
	xs, ys := make([]float64, 0, n), make([]float64, 0, n)
	for i := range x {
		xs, ys = append(append(xs[:0], x[:i]...), x[i+1:]...), append(append(ys[:0], y[:i]...), y[i+1:]...)
		ai, bi, err := deming(xs, ys, delta)
		if err != nil {
			return Line{}, &Error{"pairs", fmt.Sprintf("no line without pair %d", i+1), "pairs of which no single one decides"}
		}
		as[i], bs[i] = float64(n)*a-float64(n-1)*ai, float64(n)*b-float64(n-1)*bi
	}
	va, vb, cov := spread(as, bs)
	t := student(level, float64(n-2))
	return Line{N: n, Intercept: around(a, math.Sqrt(va), t), Slope: around(b, math.Sqrt(vb), t), Covariance: cov}, nil
}

// spread gives the variances and covariance of the means of pseudo-values.
func spread(a, b []float64) (va, vb, cov float64) {
	n := float64(len(a))
	ma, mb := 0.0, 0.0
	for i := range a {
		ma, mb = ma+a[i]/n, mb+b[i]/n
	}
	for i := range a {
		da, db := a[i]-ma, b[i]-mb
		va, vb, cov = va+da*da, vb+db*db, cov+da*db
	}
	k := n * (n - 1)
	return va / k, vb / k, cov / k
}

func deming(x, y []float64, delta float64) (a, b float64, err error) {
	mx, my, sxx, syy, sxy, err := pairs(x, y, 2)
	if err != nil {
		return 0, 0, err
	}
	if math.Abs(sxy) <= 1e-12*math.Sqrt(sxx)*math.Sqrt(syy) {
		return 0, 0, &Error{"pairs", "no relation between the two ways", "figures that go together"}
	}
	d := syy - delta*sxx
	root := math.Sqrt(d*d + 4*delta*sxy*sxy)
	if d >= 0 {
		b = (d + root) / (2 * sxy)
	} else { // the same, without a difference of near equals
		b = 2 * delta * sxy / (root - d)
	}
	if a = my - b*mx; !finite(a) || !finite(b) {
		return 0, 0, &Error{"line", fmt.Sprintf("slope %v", b), "a finite slope"}
	}
	return a, b, nil
}

// DemingEach fits the line of y on x where every figure has its own standard error:
// it makes least
//
//	Σ (y − a − b·x)² / (SE_y² + b²·SE_x²)
//
// (Ripley & Thompson 1987, Analyst 112:377). Standard errors of a and b are those
// of a weighted fit with these weights (as they have it), not scaled by the misfit; the intervals are t with n − 2 degrees of freedom; ChiSquare is the sum
// above over n − 2: about 1 where the errors stated explain the scatter. It needs
// four pairs and standard errors above 0.
func DemingEach(x, y, seX, seY []float64, level float64) (line Line, chiSquare float64, err error) {
	checkLevel(level)
	if len(seX) != len(x) || len(seY) != len(y) {
		panic("agreement: standard errors of another number than figures")
	}
	if _, _, _, _, _, err := pairs(x, y, 4); err != nil {
		return Line{}, 0, err
	}
	for i := range seX {
		if !(seX[i] > 0) || !(seY[i] > 0) || !finite(seX[i]) || !finite(seY[i]) {
			return Line{}, 0, &Error{fmt.Sprint("standard errors of pair ", i+1), fmt.Sprintf("%v and %v", seX[i], seY[i]), "finite figures above 0"}
		}
	}
	_, b, err := deming(x, y, 1)
	if err != nil {
		return Line{}, 0, err
	}
	const rounds = 500
	for range rounds {
		e := weigh(x, y, seX, seY, b)
		if !finite(e.slope) {
			return Line{}, 0, &Error{"line", "no finite slope", "pairs that go together"}
		}
		if math.Abs(e.slope-b) <= 1e-12*math.Abs(b) {
			n := len(x)
			a := e.my - e.slope*e.mx
			for i := range x {
				r := y[i] - a - e.slope*x[i]
				chiSquare += e.w[i] * r * r / float64(n-2)
			}
			t := student(level, float64(n-2))
			vb := 1 / e.ss
			va := 1/e.total + e.mx*e.mx*vb
			return Line{N: n, Intercept: around(a, math.Sqrt(va), t), Slope: around(e.slope, math.Sqrt(vb), t), Covariance: -e.mx * vb}, chiSquare, nil
		}
		b = e.slope
	}
	return Line{}, 0, &Error{"line", "no end after 500 rounds", "pairs that go together"}
}

// step is one round of the fixed-point iteration: weights at the slope before, and
// the next slope.
type step struct {
	w             []float64
	total, mx, my float64
	slope, ss     float64 // ss: Σ w·(x − mx)²
}

// weigh does one round (York 1966, Can J Phys 44:1079, uncorrelated errors; from
// memory): the same least sum, by a slope at the adjusted points.
func weigh(x, y, seX, seY []float64, b float64) step {
	s := step{w: make([]float64, len(x))}
	for i := range x {
		s.w[i] = 1 / (seY[i]*seY[i] + b*b*seX[i]*seX[i])
		s.total += s.w[i]
		s.mx, s.my = s.mx+s.w[i]*x[i], s.my+s.w[i]*y[i]
	}
	s.mx, s.my = s.mx/s.total, s.my/s.total
	up, down := 0.0, 0.0
	for i := range x {
		u, v := x[i]-s.mx, y[i]-s.my
		beta := s.w[i] * (u*seY[i]*seY[i] + b*v*seX[i]*seX[i])
		up, down = up+s.w[i]*beta*v, down+s.w[i]*beta*u
		s.ss += s.w[i] * u * u
	}
	s.slope = up / down
	return s
}
