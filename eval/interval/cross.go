package interval

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"slices"
)

// Kinds of interval, as results and model files name them.
const (
	KindParametric    = "parametric" // least squares: t·s·√(1 + h)
	KindJackknifePlus = "jackknife+" // every lot left out in turn
	KindCVPlus        = "cv+"        // folds of lots left out in turn
)

// Equation is one fold's model in original units, ŷ = Intercept + Σ b·x.
type Equation struct {
	Intercept    float64   `json:"intercept"`
	Coefficients []float64 `json:"coefficients"`
}

// At evaluates the equation; x has one figure a coefficient.
func (e Equation) At(x []float64) float64 {
	y := e.Intercept
	for j, b := range e.Coefficients {
		y += b * x[j]
	}
	return y
}

// Miss is the error that a fold's model made on a row whose lot it had not seen:
// |measured − predicted|, in response units. Model counts from 0.
type Miss struct {
	Lot   string  `json:"lot"`
	Model int     `json:"model"`
	Size  float64 `json:"size"`
}

// Cross is a jackknife+ or CV+ interval: the models of all folds and what each
// missed (Barber, Candès, Ramdas & Tibshirani 2021, Ann Stat 49:486). Nothing is
// assumed of the errors but that lots are exchangeable. Make it with NewCross or
// by reading JSON; both check it.
type Cross struct {
	Kind   string     `json:"kind"`
	Lots   int        `json:"lots"`
	Models []Equation `json:"models"`
	Misses []Miss     `json:"misses"`
	// Log says that models and misses are of ln y; limits are given in the units of
	// y. Order statistics keep their place under the exponential, so that coverage is
	// what it was.
	Log bool `json:"log,omitempty"`

	weights []float64 // of each miss: 1 / misses of its lot
}

// NewCross makes a Cross of K fold models with p coefficients each, and one miss
// for every row; rows of one lot share its weight of 1 and its fold. It is a
// jackknife+ when there are as many folds as lots. Errors are *ValueError.
func NewCross(models []Equation, misses []Miss) (*Cross, error) {
	return newCross(models, misses, false)
}

// NewLogCross is NewCross of models of ln y and what they missed there.
func NewLogCross(models []Equation, misses []Miss) (*Cross, error) {
	return newCross(models, misses, true)
}

func newCross(models []Equation, misses []Miss, log bool) (*Cross, error) {
	c := &Cross{Kind: KindCVPlus, Models: models, Misses: misses, Log: log}
	lots, err := c.settle()
	if err != nil {
		return nil, err
	}
	c.Lots = lots
	if lots == len(models) {
		c.Kind = KindJackknifePlus
	}
	return c, nil
}

// settle checks models and misses, fills the weights, and counts the lots.
func (c *Cross) settle() (lots int, err error) {
	if len(c.Models) < 2 || len(c.Misses) < 2 {
		return 0, &ValueError{"folds", fmt.Sprintf("%d models and %d errors", len(c.Models), len(c.Misses)), "two or more of each"}
	}
	for k, m := range c.Models {
		if len(m.Coefficients) != len(c.Models[0].Coefficients) {
			return 0, &ValueError{fmt.Sprint("model of fold ", k+1), fmt.Sprint(len(m.Coefficients), " coefficients"), fmt.Sprint(len(c.Models[0].Coefficients))}
		}
		for _, b := range append([]float64{m.Intercept}, m.Coefficients...) {
			if !finite(b) {
				return 0, &ValueError{fmt.Sprint("model of fold ", k+1), fmt.Sprint(b), "finite coefficients"}
			}
		}
	}
	rows, fold := map[string]float64{}, map[string]int{}
	for _, e := range c.Misses {
		if e.Model < 0 || e.Model >= len(c.Models) || !finite(e.Size) || e.Size < 0 {
			return 0, &ValueError{"error of lot " + e.Lot, fmt.Sprintf("%v by model %d", e.Size, e.Model), "a finite error, 0 or more, by one of the folds' models"}
		}
		if at, seen := fold[e.Lot]; seen && at != e.Model {
			return 0, &ValueError{"error of lot " + e.Lot, "two folds", "all rows of a lot in one fold"}
		}
		fold[e.Lot] = e.Model
		rows[e.Lot]++
	}
	if len(rows) < len(c.Models) {
		return 0, &ValueError{"folds", fmt.Sprintf("%d of %d lots", len(c.Models), len(rows)), "no more folds than lots"}
	}
	c.weights = make([]float64, len(c.Misses))
	for i, e := range c.Misses {
		c.weights[i] = 1 / rows[e.Lot]
	}
	return len(rows), nil
}

// Range is an interval. Low and High are nil, with Reason, where no finite
// interval can be given. Level is what the interval holds: what was asked for,
// or for order statistics the next level that they can give.
type Range struct {
	Low    *float64
	High   *float64
	Level  float64
	Reason string
}

// Level is the level that order statistics of n lots give when level is asked
// for: ⌈level·(n + 1)⌉/(n + 1). It is 1, reached by infinite intervals only, when
// n is below LotsFor(level).
func Level(level float64, n int) float64 { return float64(rank(level, n)) / float64(n+1) }

// rank is ⌈level·(n + 1)⌉; what rounding adds to the product is taken off.
func rank(level float64, n int) int { return int(math.Ceil(level*float64(n+1) - 1e-9)) }

// LotsFor is the smallest number of lots with a finite interval at the level:
// 9 at 90 %, 19 at 95 %.
func LotsFor(level float64) int { return int(math.Ceil(level/(1-level) - 1e-9)) }

// Guarantee is the share of new lots that the interval covers at least, whatever
// the distribution and the method, averaged over calibration sets: 1 − 2α for
// jackknife+, and for CV+ with K folds of n lots less
// min{2(1 − 1/K)/(n/K + 1), (1 − K/n)/(K + 1)} (Barber et al. 2021, theorems 1
// and 4; the slack from memory). In practice about 1 − α are covered.
func (c *Cross) Guarantee(level float64) float64 {
	g := 1 - 2*(1-level)
	if c.Kind == KindCVPlus {
		g -= slack(c.Lots, len(c.Models))
	}
	return max(0, g)
}

func slack(lots, folds int) float64 {
	n, k := float64(lots), float64(folds)
	return min(2*(1-1/k)/(n/k+1), (1-k/n)/(k+1))
}

// Around is the interval of a lot with features x (p figures), in response units:
// with μ_i the model of the fold without lot i and R_i its miss,
//
//	low  = ⌊α(n + 1)⌋-th smallest of μ_i(x) − R_i
//	high = ⌈(1 − α)(n + 1)⌉-th smallest of μ_i(x) + R_i
//
// Of several rows of a lot each counts for its share (the weighting of
// hierarchical conformal intervals; our extension). Below LotsFor(level) lots
// the interval is infinite: nil limits and the reason. It returns a *ValueError for a level
// outside (0, 1) or figures that are not finite, and panics when x is not p long.
func (c *Cross) Around(x []float64, level float64) (Range, error) {
	if !(level > 0 && level < 1) {
		return Range{}, &ValueError{"level", fmt.Sprint(level), "between 0 and 1, such as 0.90"}
	}
	lows, highs, err := c.atoms(x)
	if err != nil {
		return Range{}, err
	}
	if need := LotsFor(level); c.Lots < need {
		return Range{Level: 1, Reason: fmt.Sprintf("a finite %s %% interval needs %d lots, this model has %d", percent(level), need, c.Lots)}, nil
	}
	want := float64(rank(level, c.Lots))
	low, high := -quantile(lows, want, -1), quantile(highs, want, 1)
	if c.Log {
		if low, high = math.Exp(low), math.Exp(high); !finite(high) {
			return Range{}, &ValueError{"limits", fmt.Sprintf("%v and %v", low, high), "finite numbers"}
		}
	}
	return Range{Low: &low, High: &high, Level: Level(level, c.Lots)}, nil
}

func percent(level float64) string { return fmt.Sprintf("%.3g", 100*level) }

// atom is a limit that one miss sets, with its weight.
type atom struct{ at, weight float64 }

// atoms are μ_i(x) − R_i and μ_i(x) + R_i.
func (c *Cross) atoms(x []float64) (lows, highs []atom, err error) {
	if len(x) != len(c.Models[0].Coefficients) {
		panic(fmt.Sprintf("interval: %d figures, expected %d", len(x), len(c.Models[0].Coefficients)))
	}
	mu := make([]float64, len(c.Models))
	for k, m := range c.Models {
		if mu[k] = m.At(x); !finite(mu[k]) {
			return nil, nil, &ValueError{"forecast of a fold's model", fmt.Sprint(mu[k]), "a finite number"}
		}
	}
	lows, highs = make([]atom, len(c.Misses)), make([]atom, len(c.Misses))
	for i, e := range c.Misses {
		lows[i], highs[i] = atom{mu[e.Model] - e.Size, c.weights[i]}, atom{mu[e.Model] + e.Size, c.weights[i]}
	}
	return lows, highs, nil
}

// quantile is the smallest v among sign·at with weight want at or below it.
func quantile(atoms []atom, want, sign float64) float64 {
	sorted := slices.Clone(atoms)
	for i := range sorted {
		sorted[i].at *= sign
	}
	slices.SortStableFunc(sorted, func(a, b atom) int {
		switch {
		case a.at < b.at:
			return -1
		case a.at > b.at:
			return 1
		}
		return 0
	})
	sum := 0.0
	for _, a := range sorted {
		if sum += a.weight; sum >= want-1e-9 {
			return a.at
		}
	}
	return sorted[len(sorted)-1].at
}

// Conformance is the probability that a lot with features x meets the
// specification low…high (nil: no limit on that side), by the distribution of
// which Around gives the central intervals: each lot's miss puts half of
// 1/(n + 1) on either of its two limits, and a further 1/(n + 1), halved, stands
// beyond all that was seen. A specification that is exactly an interval of Around
// is met with exactly that interval's level, or less where the folds' models
// differ by more than what they missed. It is never below half of 1/(n + 1): so
// few lots cannot say less. It returns Around's errors.
func (c *Cross) Conformance(x []float64, low, high *float64) (float64, error) {
	lows, highs, err := c.atoms(x)
	if err != nil {
		return 0, err
	}
	if c.Log {
		low, high = logOf(low), logOf(high)
	}
	below, above := 0.0, 0.0
	if low != nil {
		below = 1 // of n + 1, before halving
	}
	if high != nil {
		above = 1
	}
	for _, a := range append(lows, highs...) {
		switch {
		case low != nil && a.at < *low:
			below += a.weight
		case high != nil && a.at > *high:
			above += a.weight
		}
	}
	unseen := 1 / (2 * float64(c.Lots+1))
	return max(unseen, 1-(below+above)*unseen), nil
}

// logOf is the logarithm of a limit: one at or below zero is met, or missed, by
// every lot, as −1e300 is.
func logOf(limit *float64) *float64 {
	if limit == nil {
		return nil
	}
	v := -1e300
	if *limit > 0 {
		v = math.Log(*limit)
	}
	return &v
}

// UnmarshalJSON reads a Cross and checks it: an unknown field, or anything that
// NewCross refuses, is an error.
func (c *Cross) UnmarshalJSON(data []byte) error {
	type plain Cross
	var in plain
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&in); err != nil {
		return fmt.Errorf("interval: %w", err)
	}
	read, err := newCross(in.Models, in.Misses, in.Log)
	if err != nil {
		return err
	}
	if read.Kind != in.Kind || read.Lots != in.Lots {
		return &ValueError{"kind and lots", fmt.Sprintf("%q, %d", in.Kind, in.Lots), fmt.Sprintf("%q, %d as the errors have it", read.Kind, read.Lots)}
	}
	*c = *read
	return nil
}
