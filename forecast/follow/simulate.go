package follow

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"

	"flourcast/stat/control"
	"flourcast/work"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Calibration is what the limits depend on: the lots that the model was made of,
// what it spent beside the intercept (components or features), whether its
// intervals are taken from the folds' errors (cv+, jackknife+), and their level.
type Calibration struct {
	Lots  int
	Terms int
	Cross bool
	Level float64
}

// Limits of the chart, and how it does on models that stay as they were: the share
// of mills with a signal (False), and with a confirmed one (FalseConfirmed), within
// Horizon lots, in mills other than those from which L was taken.
type Limits struct {
	L              float64 `json:"limit"` // standard deviations of the average
	Lambda         float64 `json:"lambda"`
	Horizon        int     `json:"horizon_lots"`
	Mills          int     `json:"mills"`
	Calibration    int     `json:"calibration_lots"` // simulated
	False          float64 `json:"false_alarms"`
	FalseConfirmed float64 `json:"false_confirmed"`
}

// CalibrationError says why a calibration cannot be simulated.
type CalibrationError struct{ Found, Want string }

func (e *CalibrationError) Error() string {
	return "follow: found " + e.Found + ", expected " + e.Want
}

const (
	mills   = 4000 // simulated, half for the limit and half to try it
	mostCal = 100  // calibration lots simulated at most: more would narrow the limits very little
)

// Simulate finds the limits. Each simulated mill fits least squares to Lots lots
// with as many normal features as the model has terms, and forecasts 60 further
// lots of the same population, each with its own interval; so both the line's error,
// which all forecasts share, and that of the stated standard error are in. L is the
// smallest limit that 92 mills of 100 keep to: nine of ten, and a margin for the
// simulation's own error. The same seed gives the same
// limits on any number of cores. It returns a *CalibrationError for fewer than
// 4 degrees of freedom or a level outside 0…1, and the context's error.
//
// A model whose terms were chosen from many errs a little more than this: more
// mills than one in ten are then called out.
func Simulate(ctx context.Context, c Calibration, seed uint64, cores int) (Limits, error) {
	if c.Terms < 0 || c.Lots-c.Terms-1 < 4 {
		return Limits{}, &CalibrationError{fmt.Sprintf("%d calibration lots and %d terms", c.Lots, c.Terms), "five lots more than terms"}
	}
	if !(c.Level > 0 && c.Level < 1) {
		return Limits{}, &CalibrationError{fmt.Sprintf("level %v", c.Level), "one between 0 and 1"}
	}
	c.Lots = min(c.Lots, max(mostCal, c.Terms+5))
	most := make([]float64, mills/2)
	if err := work.Each(ctx, len(most), cores, func(i int) error {
		z := c.mill(work.Rand(seed, "follow", "limit", strconv.Itoa(i)), 0)
		for _, p := range (control.EWMA{Lambda: lambda, L: 1, Sigma: 1}).Run(z, nil, nil) {
			most[i] = max(most[i], math.Abs(p.Value)/p.High)
		}
		return nil
	}); err != nil {
		return Limits{}, err
	}
	slices.Sort(most)
	l := Limits{L: most[int(math.Ceil((1-aim)*float64(len(most)+1)))-1], Lambda: lambda, Horizon: horizon, Mills: mills, Calibration: c.Lots}
	signalled, confirmed := make([]bool, mills/2), make([]bool, mills/2)
	if err := work.Each(ctx, mills/2, cores, func(i int) error {
		signalled[i], confirmed[i] = c.called(work.Rand(seed, "follow", "trial", strconv.Itoa(i)), l.L, 0)
		return nil
	}); err != nil {
		return Limits{}, err
	}
	l.False, l.FalseConfirmed = share(signalled), share(confirmed)
	return l, nil
}

func share(of []bool) float64 {
	n := 0
	for _, b := range of {
		if b {
			n++
		}
	}
	return float64(n) / float64(len(of))
}

// called tells what the chart says of one mill whose lots are moved by shift.
func (c Calibration) called(rng *rand.Rand, limit, shift float64) (signalled, confirmed bool) {
	_, signals := chart(c.mill(rng, shift), limit)
	for _, s := range signals {
		confirmed = confirmed || s.Confirmed
	}
	return len(signals) > 0, confirmed
}

// mill calibrates one model and gives the standardised errors of horizon new lots,
// moved by shift error standard deviations. For intervals from the folds' errors the
// standard error is that of the jackknife, one for all lots: what the folds' lines
// differ by is left out, which makes it a little small and the limits a little wide.
func (c Calibration) mill(rng *rand.Rand, shift float64) []float64 {
	k := c.Terms + 1
	x := make([][]float64, c.Lots)
	gram := mat.NewSymDense(k, nil)
	e, xe := make([]float64, c.Lots), make([]float64, k)
	for i := range x {
		x[i], e[i] = drawn(rng, k), rng.NormFloat64()
		gram.SymRankOne(gram, 1, mat.NewVecDense(k, x[i]))
		for j, v := range x[i] {
			xe[j] += v * e[i]
		}
	}
	inverse := inverted(gram)
	b := times(inverse, xe)
	rss, left := 0.0, make([]float64, c.Lots)
	for i := range x {
		r := e[i] - dot(b, x[i])
		left[i] = math.Abs(r / (1 - dot(times(inverse, x[i]), x[i])))
		rss += r * r
	}
	s := math.Sqrt(rss / float64(c.Lots-k))
	if c.Cross {
		slices.Sort(left)
		rank := min(c.Lots, int(math.Ceil(c.Level*float64(c.Lots+1)-1e-9)))
		s = left[rank-1] / distuv.StudentsT{Sigma: 1, Nu: float64(c.Lots - k)}.Quantile(0.5+c.Level/2)
	}
	z := make([]float64, horizon)
	for i := range z {
		lot := drawn(rng, k)
		se := s
		if !c.Cross {
			se *= math.Sqrt(1 + dot(times(inverse, lot), lot))
		}
		z[i] = (rng.NormFloat64() + shift - dot(b, lot)) / se
	}
	return z
}

// inverted is the inverse of a Gram matrix, row by row.
func inverted(gram *mat.SymDense) [][]float64 {
	var ch mat.Cholesky
	var inverse mat.SymDense
	if !ch.Factorize(gram) || ch.InverseTo(&inverse) != nil {
		panic("follow: a simulated calibration without rank")
	}
	k := inverse.SymmetricDim()
	rows := make([][]float64, k)
	for i := range rows {
		rows[i] = make([]float64, k)
		for j := range rows[i] {
			rows[i][j] = inverse.At(i, j)
		}
	}
	return rows
}

func times(m [][]float64, v []float64) []float64 {
	out := make([]float64, len(m))
	for i := range m {
		out[i] = dot(m[i], v)
	}
	return out
}

func drawn(rng *rand.Rand, k int) []float64 {
	x := make([]float64, k)
	x[0] = 1
	for j := 1; j < k; j++ {
		x[j] = rng.NormFloat64()
	}
	return x
}

func dot(a, b []float64) float64 {
	sum := 0.0
	for i := range a {
		sum += a[i] * b[i]
	}
	return sum
}

// SE is the standard error that an interval states: half its width over t at its
// level with the degrees of freedom that the model left.
func SE(low, high, level, df float64) (float64, bool) {
	if !(level > 0 && level < 1) || !(df >= 1) || !(high > low) || math.IsInf(high-low, 0) {
		return 0, false
	}
	return (high - low) / 2 / distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(0.5+level/2), true
}
