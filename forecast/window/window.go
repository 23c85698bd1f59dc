// Package window says within which range of one feature, or of two, a lot meets a
// specification, the other features moving as they do in a laboratory's flours.
//
//  1. Over the calibration lots each other feature is regressed on the chosen
//     ones: its mean given them, and how the lots depart from it.
//  2. At a value of the chosen features every calibration lot's departures are put
//     on that mean. Each such lot has a forecast and a probability of meeting the
//     specification; their average is the probability there.
//  3. Thresholds part the calibrated range into zones: target, acceptable, out of
//     bounds. What lies beyond the lots is not known.
//
// It refuses chosen features that depend on one another, too few lots, and
// thresholds out of order. It knows no flour, no file and no method.
package window

import (
	"fmt"
	"math"
	"slices"

	"flourcast/forecast/conformance"

	"gonum.org/v1/gonum/mat"
)

// Zones of a window.
const (
	Target      = "target"
	Acceptable  = "acceptable"
	OutOfBounds = "out of bounds"
	NotKnown    = "not known"
)

// ValueError says what of a request cannot be used, what it was, and what was expected.
type ValueError struct{ Part, Found, Want string }

func (e *ValueError) Error() string {
	return fmt.Sprintf("window: %s: found %s, expected %s", e.Part, e.Found, e.Want)
}

// Thresholds part the zones: target from a probability of Target, acceptable from
// Acceptable, out of bounds below.
type Thresholds struct {
	Target     float64 `json:"target"`
	Acceptable float64 `json:"acceptable"`
}

// Check returns a *ValueError unless 0 < Acceptable < Target < 1.
func (t Thresholds) Check() error {
	if !(0 < t.Acceptable && t.Acceptable < t.Target && t.Target < 1) {
		return &ValueError{"thresholds", fmt.Sprintf("target from %v, acceptable from %v", t.Target, t.Acceptable), "acceptable below target, both between 0 and 1"}
	}
	return nil
}

// Zone of a probability.
func (t Thresholds) Zone(p float64) string {
	switch {
	case p >= t.Target:
		return Target
	case p >= t.Acceptable:
		return Acceptable
	}
	return OutOfBounds
}

// Model is a linear model with the lots it was calibrated on: X has a row of p
// figures a row of calibration, Lots names each row's lot, Spread is how a forecast
// at x is known.
type Model struct {
	Intercept    float64
	Coefficients []float64 // p
	X            [][]float64
	Lots         []string
	Spread       func(x []float64) (conformance.Spread, error)
}

// Surface gives the probability of meeting a specification over one or two chosen
// features. It is immutable and safe for concurrent use.
type Surface struct {
	model  Model
	limits conformance.Limits
	by     []int     // chosen features, numbers in 0…p-1
	centre []float64 // their means, taken off before the regression
	lots   []string
	x      [][]float64 // lot means
	// slopes gives each feature's mean, Σ slopes[j][k]·(1, z − centre)[k]; departures are what
	// the lots leave over, n×p, stretched by √(n/(n − q − 1)).
	slopes     [][]float64
	departures [][]float64
	inverse    *mat.SymDense // of Σ(1, z − centre)ᵀ(1, z − centre), for leverages
	left       float64       // variance of the forecast's departures, in squared response units
}

// New makes a Surface over the chosen features by (one or two numbers in 0…p-1).
// Rows of one lot are averaged first. With n lots and q chosen features it returns
// a *ValueError unless n ≥ q + 3, for features that do not vary or depend on one
// another, and for limits that conformance refuses.
func New(m Model, limits conformance.Limits, by ...int) (*Surface, error) {
	if err := limits.Check(); err != nil {
		return nil, err
	}
	p, q := len(m.Coefficients), len(by)
	if q < 1 || q > 2 || slices.ContainsFunc(by, func(j int) bool { return j < 0 || j >= p }) {
		return nil, &ValueError{"chosen features", fmt.Sprint(by), "one or two of the model's"}
	}
	s := &Surface{model: m, limits: limits, by: by}
	s.average()
	n := len(s.x)
	if n < q+3 {
		return nil, &ValueError{"lots", fmt.Sprint(n), fmt.Sprintf("%d or more", q+3)}
	}
	s.centre = make([]float64, q)
	for k, j := range by {
		for _, row := range s.x {
			s.centre[k] += row[j] / float64(n)
		}
	}
	design := mat.NewDense(n, q+1, nil)
	for i, row := range s.x {
		design.Set(i, 0, 1)
		for k, j := range by {
			design.Set(i, k+1, row[j]-s.centre[k])
		}
	}
	var normal, inverse mat.SymDense
	normal.SymOuterK(1, design.T())
	var chol mat.Cholesky
	if !s.vary() || !chol.Factorize(&normal) || chol.InverseTo(&inverse) != nil {
		return nil, &ValueError{"chosen features", "figures that do not vary or depend on one another", "features that vary each by itself"}
	}
	s.inverse = &inverse
	s.regress(design)
	return s, nil
}

// average fills lots and their mean features, in order of appearance.
func (s *Surface) average() {
	at, rows := map[string]int{}, []float64{}
	for i, row := range s.model.X {
		k, seen := at[s.model.Lots[i]]
		if !seen {
			k = len(s.x)
			at[s.model.Lots[i]] = k
			s.lots, s.x, rows = append(s.lots, s.model.Lots[i]), append(s.x, make([]float64, len(row))), append(rows, 0)
		}
		rows[k]++
		for j, v := range row {
			s.x[k][j] += v
		}
	}
	for k := range s.x {
		for j := range s.x[k] {
			s.x[k][j] /= rows[k]
		}
	}
}

// vary reports whether each chosen feature varies, and two are not one line.
func (s *Surface) vary() bool {
	var squares [2]float64
	product, mean := 0.0, s.centre
	for _, row := range s.x {
		for k, j := range s.by {
			squares[k] += (row[j] - mean[k]) * (row[j] - mean[k])
		}
		if len(s.by) == 2 {
			product += (row[s.by[0]] - mean[0]) * (row[s.by[1]] - mean[1])
		}
	}
	for k := range s.by {
		if !(squares[k] > 1e-18*(1+mean[k]*mean[k])) {
			return false
		}
	}
	return len(s.by) == 1 || product*product < (1-1e-9)*squares[0]*squares[1]
}

// regress fits every feature on the chosen ones and keeps what is left over.
func (s *Surface) regress(design *mat.Dense) {
	n, p, q := len(s.x), len(s.model.Coefficients), len(s.by)
	var projection mat.Dense // (q+1)×n
	projection.Mul(s.inverse, design.T())
	s.slopes, s.departures = make([][]float64, p), make([][]float64, n)
	for i := range n {
		s.departures[i] = make([]float64, p)
	}
	stretch := math.Sqrt(float64(n) / float64(n-q-1))
	for j := range p {
		s.slopes[j] = make([]float64, q+1)
		if k := slices.Index(s.by, j); k >= 0 {
			s.slopes[j][0], s.slopes[j][k+1] = s.centre[k], 1 // of itself, without rounding
			continue
		}
		for k := range q + 1 {
			for i := range n {
				s.slopes[j][k] += projection.At(k, i) * s.x[i][j]
			}
		}
		for i := range n {
			fitted := 0.0
			for k := range q + 1 {
				fitted += s.slopes[j][k] * design.At(i, k)
			}
			s.departures[i][j] = stretch * (s.x[i][j] - fitted)
		}
	}
	for i := range n {
		d := 0.0
		for j, b := range s.model.Coefficients {
			d += b * s.departures[i][j]
		}
		s.left += d * d / float64(n)
	}
}

// At is what may be expected of lots whose chosen features are z.
type At struct {
	P     float64 // of meeting the specification
	Value float64 // mean forecast
	SD    float64 // of a lot's response around it: other features, and the model's error
}

// At evaluates the surface at z (as many figures as features were chosen). With
// e_i the departures of lot i, x_i = mean(z) + e_i, and h(z) the leverage of z among
// the lots,
//
//	p(z) = mean over i of P(x_i),  s_i² = MSECV·(1 + leverage of x_i) + left·h(z)
//
// where left·h(z) is the variance of the regression's mean and left the variance of
// the forecast over the departures. It returns Spread's errors, and a
// *conformance.ValueError for figures that are not finite.
func (s *Surface) At(z ...float64) (At, error) {
	mean := make([]float64, len(s.model.Coefficients))
	for j := range mean {
		mean[j] = s.slopes[j][0]
		for k, v := range z {
			mean[j] += s.slopes[j][k+1] * (v - s.centre[k])
		}
	}
	for k, j := range s.by {
		mean[j] = z[k]
	}
	extra := s.left * s.leverage(z)
	var out At
	n := float64(len(s.x))
	x := make([]float64, len(mean))
	squares := 0.0
	for _, e := range s.departures {
		value := s.model.Intercept
		for j := range x {
			x[j] = mean[j] + e[j]
			value += s.model.Coefficients[j] * x[j]
		}
		spread, err := s.model.Spread(x)
		if err != nil {
			return At{}, err
		}
		spread.U = math.Hypot(spread.U, math.Sqrt(extra))
		p, err := s.limits.Probability(value, spread)
		if err != nil {
			return At{}, err
		}
		out.P += p
		out.Value += value
		squares += spread.U * spread.U
	}
	out.P, out.Value = out.P/n, out.Value/n
	out.SD = math.Sqrt(squares/n + s.left)
	return out, nil
}

// leverage of z among the lots; it includes the 1/n of the mean.
func (s *Surface) leverage(z []float64) float64 {
	v := mat.NewVecDense(len(z)+1, nil)
	v.SetVec(0, 1)
	for k := range z {
		v.SetVec(k+1, z[k]-s.centre[k])
	}
	return max(0, mat.Inner(v, s.inverse, v))
}

// Lots are the calibration lots and their chosen features, a column each.
func (s *Surface) Lots() (names []string, z [][]float64) {
	z = make([][]float64, len(s.by))
	for k, j := range s.by {
		for _, row := range s.x {
			z[k] = append(z[k], row[j])
		}
	}
	return s.lots, z
}
