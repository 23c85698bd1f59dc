package mixing

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Least is the number of own blends that Learn needs: one exponent and an SD of at
// least five degrees of freedom. The figure is ours.
const Least = 6

// Made is one blend that a laboratory made and measured: the figures of its parts, with
// their shares (or shares times dry matter), and its own. The shares need not add up to
// exactly 1.
type Made struct {
	Name     string
	Values   []float64
	Shares   []float64
	Measured float64
}

// TooFewError says how many own blends there are, and how many it takes.
type TooFewError struct {
	Property   string
	Have, Need int
}

func (e *TooFewError) Error() string {
	return fmt.Sprintf("mixing: %s: %d own blends with its figure, %d are needed to learn how it mixes", e.Property, e.Have, e.Need)
}

// Learned is what own blends say. SD is that of measured less predicted, √(Σe²/DF), in
// the property's unit; it holds the error of the runs themselves. SDMass and SDLog are
// those of the two stated rules; SDLog is absent where a figure has no logarithm.
// AtEnd says that the exponent lies at the end of what was tried: then no power mean
// follows the blends well.
type Learned struct {
	Rule   Rule
	N      int
	DF     int
	SD     float64
	Bias   float64 // mean of measured less predicted
	SDMass float64
	SDLog  *float64
	AtEnd  bool
}

// Exponents that are tried, and the level at which a simpler rule is given up for a
// measured exponent.
const (
	lowestPower, highestPower = -2, 3
	level                     = 0.05
)

// Deviations are measured less predicted under a rule. It returns a *ValueError for a
// figure that the rule cannot take.
func Deviations(r Rule, made []Made) ([]float64, error) {
	out := make([]float64, len(made))
	for i, m := range made {
		v, err := r.Mix(m.Values, m.Shares)
		if err != nil {
			return nil, err
		}
		out[i] = m.Measured - v
	}
	return out, nil
}

// Learn finds the rule that own blends of one property follow.
//
// Mass is kept unless a measured exponent q (blend^q = Σ share·value^q, −2 to 3, least
// squares) is better at 5 % by F = (RSS₀ − RSS_q)/(RSS_q/(n − 1)) with 1 and n − 1 degrees
// of freedom; then Log by the same test; then the exponent. At a share of 1 each gives the
// flour itself. DF is n for a stated rule and n − 1 for the exponent. Errors: *TooFewError
// below Least blends, a *ValueError for figures that are not finite.
func Learn(property string, made []Made) (Learned, error) {
	n := len(made)
	if n < Least {
		return Learned{}, &TooFewError{property, n, Least}
	}
	rss := func(r Rule) (float64, bool) {
		e, err := Deviations(r, made)
		if err != nil {
			return 0, false
		}
		sum := 0.0
		for _, v := range e {
			sum += v * v
		}
		return sum, !math.IsNaN(sum) && !math.IsInf(sum, 0)
	}
	mass, ok := rss(Mass)
	if !ok {
		return Learned{}, &ValueError{Property: property, Of: "own blends", Found: "a figure that is not finite", Want: Mass.Wants()}
	}
	l := Learned{Rule: Mass, N: n, DF: n, SDMass: math.Sqrt(mass / float64(n))}
	best := mass
	if log, ok := rss(Log); ok {
		sd := math.Sqrt(log / float64(n))
		l.SDLog = &sd
		q, least := exponent(rss)
		better := func(simple float64) bool {
			if least >= simple || simple == 0 {
				return false
			}
			if least == 0 {
				return true
			}
			f := (simple - least) / (least / float64(n-1))
			return distuv.F{D1: 1, D2: float64(n - 1)}.Survival(f) < level
		}
		switch {
		case !better(mass):
		case !better(log):
			l.Rule, best = Log, log
		default:
			l.Rule, l.DF, best = Power(q), n-1, least
			l.AtEnd = q < lowestPower+0.01 || q > highestPower-0.01
		}
	}
	l.SD = math.Sqrt(best / float64(l.DF))
	e, err := Deviations(l.Rule, made)
	if err != nil {
		return Learned{}, err
	}
	for _, v := range e {
		l.Bias += v / float64(n)
	}
	return l, nil
}

// exponent is the power of least squares: the best of a grid, then golden section
// between its neighbours.
func exponent(rss func(Rule) (float64, bool)) (q, least float64) {
	at := func(q float64) float64 {
		if math.Abs(q) < 1e-6 {
			q = 1e-6
		}
		v, ok := rss(Power(q))
		if !ok {
			return math.Inf(1)
		}
		return v
	}
	const step = 0.25
	least = math.Inf(1)
	for k := 0; k <= int((highestPower-lowestPower)/step); k++ {
		try := lowestPower + step*float64(k)
		if v := at(try); v < least {
			q, least = try, v
		}
	}
	lo, hi := math.Max(lowestPower, q-step), math.Min(highestPower, q+step)
	const ratio = 0.6180339887498949
	for hi-lo > 1e-6 {
		a, b := hi-ratio*(hi-lo), lo+ratio*(hi-lo)
		if at(a) <= at(b) {
			hi = b
		} else {
			lo = a
		}
	}
	if v := at((lo + hi) / 2); v < least {
		q, least = (lo+hi)/2, v
	}
	if math.Abs(q) < 1e-6 {
		q = 1e-6
	}
	return q, least
}
