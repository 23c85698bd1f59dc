package resample

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"

	"flourcast/eval"
	"flourcast/model"
	"flourcast/model/design"
	"flourcast/work"

	"gonum.org/v1/gonum/stat/distuv"
)

// LeastUnits is how many separate lots (or families) a learning curve takes.
const LeastUnits = 20

// TooFewError says that there are too few lots for a learning curve.
type TooFewError struct{ Have, Need int }

func (e *TooFewError) Error() string {
	return fmt.Sprintf("learning curve: found %d separate lots or families, expected at least %d; measure more lots", e.Have, e.Need)
}

// Point is the error of lots not seen by models of so many units. Low and High are
// the 95 % percentile interval over resampled units.
type Point struct {
	Units           int
	RMSE, Low, High float64
}

// Curve is a learning curve, MSE(n) = Floor + Rate/n fitted to its points. The
// form is common practice, without a source: it is exact for the mean, and nearly
// so for least squares on many lots.
type Curve struct {
	Points      []Point
	Floor, Rate float64
	Units       int // at hand

	drawn [][2]float64 // Floor and Rate of each resample
}

// GrowOptions of Grow. Sizes nil: six from a quarter of the units (at least 10) to
// nine tenths.
type GrowOptions struct {
	Sizes     []int
	Draws     int // sets drawn of each size: 60
	Resamples int // of units for the intervals: 999
	Seed      uint64
	Cores     int
}

// Grow draws sets of whole units without replacement, fits the method on each with
// its own choices inside, and predicts all units left out. A unit's squared error at
// a size is averaged over the sets that left it out; the intervals come from
// resampling units, all sizes together. Errors: *TooFewError, *eval.SplitError for a
// size that leaves no unit out, those of eval.Holdout.
func Grow(ctx context.Context, f model.Fitter, m *design.Matrix, o GrowOptions) (*Curve, error) {
	units := unitRows(m)
	n := len(units)
	if n < LeastUnits {
		return nil, &TooFewError{n, LeastUnits}
	}
	sizes := o.Sizes
	if sizes == nil {
		const steps = 6
		low, high := max(10, n/4), n*9/10
		for k := range steps {
			sizes = append(sizes, low+(high-low)*k/(steps-1))
		}
		sizes = slices.Compact(sizes)
	}
	var splits []eval.Split
	for _, size := range sizes {
		for d := range o.Draws {
			order := work.Rand(o.Seed, "growth", strconv.Itoa(size), strconv.Itoa(d)).Perm(n)
			var s eval.Split
			for k, u := range order {
				if k < size {
					s.Train = append(s.Train, units[u]...)
				} else {
					s.Test = append(s.Test, units[u]...)
				}
			}
			splits = append(splits, s)
		}
	}
	predicted, err := eval.Holdout(ctx, f, m, splits, o.Seed, o.Cores)
	if err != nil {
		return nil, err
	}
	of := make([]int, m.N())
	for u, rows := range units {
		for _, i := range rows {
			of[i] = u
		}
	}
	// e2[size][unit], and how often the unit was left out.
	e2, times := make([][]float64, len(sizes)), make([][]float64, len(sizes))
	for k := range sizes {
		e2[k], times[k] = make([]float64, n), make([]float64, n)
		for s := k * o.Draws; s < (k+1)*o.Draws; s++ {
			for t, i := range splits[s].Test {
				d := m.Y()[i] - predicted[s][t]
				times[k][of[i]]++
				e2[k][of[i]] += (d*d - e2[k][of[i]]) / times[k][of[i]]
			}
		}
	}
	c := &Curve{Units: n}
	everyone := make([]int, n)
	for i := range everyone {
		everyone[i] = i
	}
	mse := meanErrors(e2, times, everyone)
	c.Floor, c.Rate = hyperbola(sizes, mse)
	drawn := make([][]float64, o.Resamples)
	c.drawn = make([][2]float64, o.Resamples)
	for k := range drawn {
		rng := work.Rand(o.Seed, "growth units", strconv.Itoa(k))
		some := make([]int, n)
		for i := range some {
			some[i] = rng.IntN(n)
		}
		drawn[k] = meanErrors(e2, times, some)
		c.drawn[k][0], c.drawn[k][1] = hyperbola(sizes, drawn[k])
	}
	for k, size := range sizes {
		low, high := between(len(drawn), func(d int) float64 { return drawn[d][k] })
		c.Points = append(c.Points, Point{size, math.Sqrt(mse[k]), math.Sqrt(low), math.Sqrt(high)})
	}
	return c, nil
}

// meanErrors is the mean squared error of the given units at each size.
func meanErrors(e2, times [][]float64, units []int) []float64 {
	out := make([]float64, len(e2))
	for k := range e2 {
		n := 0.0
		for _, u := range units {
			if times[k][u] > 0 {
				n++
				out[k] += (e2[k][u] - out[k]) / n
			}
		}
	}
	return out
}

// hyperbola is the least-squares fit of v = floor + rate/size with neither below 0.
func hyperbola(sizes []int, v []float64) (floor, rate float64) {
	n, x1, xx, v1, xv := float64(len(v)), 0.0, 0.0, 0.0, 0.0
	for k, size := range sizes {
		x := 1 / float64(size)
		x1, xx, v1, xv = x1+x, xx+x*x, v1+v[k], xv+x*v[k]
	}
	if d := n*xx - x1*x1; d > 0 {
		rate = (n*xv - x1*v1) / d
	}
	floor = (v1 - rate*x1) / n
	switch {
	case rate < 0:
		return v1 / n, 0
	case floor < 0:
		return 0, xv / xx
	}
	return floor, rate
}

// At is the error expected of a model of n units, with its 95 % interval.
func (c *Curve) At(n int) (rmse, low, high float64) {
	at := func(floor, rate float64) float64 { return math.Sqrt(floor + rate/float64(n)) }
	low, high = between(len(c.drawn), func(d int) float64 { return at(c.drawn[d][0], c.drawn[d][1]) })
	return at(c.Floor, c.Rate), low, high
}

// Width is the width of a forecast interval by a model of n units that spends df
// degrees of freedom: 2·t(level, n − df − 1)·RMSE(n). It is infinite for n ≤ df + 1.
func (c *Curve) Width(n int, df, level float64) float64 {
	return width(c.Floor, c.Rate, n, df, level)
}

func width(floor, rate float64, n int, df, level float64) float64 {
	nu := float64(n) - df - 1
	if nu <= 0 {
		return math.Inf(1)
	}
	return 2 * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}.Quantile(0.5+level/2) * math.Sqrt(floor+rate/float64(n))
}

// Most is the largest number of lots that Needed looks at.
const Most = 100000

// Needed is the least number of units by which a forecast interval would be no
// wider than want, and the 95 % interval of that number over resampled units; 0
// stands for more than Most: no number of lots would do, only a better response
// or other features.
func (c *Curve) Needed(want, df, level float64) (n, low, high int) {
	n = needed(c.Floor, c.Rate, want, df, level)
	all := make([]float64, len(c.drawn))
	for d, at := range c.drawn {
		all[d] = math.Inf(1)
		if k := needed(at[0], at[1], want, df, level); k > 0 {
			all[d] = float64(k)
		}
	}
	l, h := between(len(all), func(d int) float64 { return all[d] })
	whole := func(v float64) int {
		if math.IsInf(v, 1) {
			return 0
		}
		return int(v)
	}
	return n, whole(l), whole(h)
}

// needed finds the number by halving: the width falls as n grows.
func needed(floor, rate, want, df, level float64) int {
	low, high := 1, Most
	if !(width(floor, rate, high, df, level) <= want) {
		return 0
	}
	for low < high {
		mid := (low + high) / 2
		if width(floor, rate, mid, df, level) <= want {
			high = mid
		} else {
			low = mid + 1
		}
	}
	return low
}

// between is the 95 % percentile interval of n figures.
func between(n int, of func(int) float64) (low, high float64) {
	v := make([]float64, n)
	for i := range v {
		v[i] = of(i)
	}
	slices.Sort(v)
	tail := max(1, (n+1)/40)
	return v[tail-1], v[n-tail]
}
