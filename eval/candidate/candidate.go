// Package candidate sets several models of one response against each other on the
// same lots and folds.
//
//  1. A Candidate is a fitter with the columns that it may use.
//  2. Compare cross-validates each one with all its own choices inside, and gives
//     the gain over the mean and over protein alone with paired bootstrap intervals
//     over lots, and a test that the candidate is worse than the best.
//  3. Chosen lets the data choose among them, anew in every training part: what is
//     to be expected of the best of many.
//  4. SignFlip is the paired test of two error series (van der Voet); Single is the
//     candidate of one feature.
//
// The best Q² of a table of candidates is itself chosen, and flatters: of eleven
// worthless candidates the best is above 0 in two mills of three. Only Chosen may
// be quoted for "the best". It refuses candidates on different rows.
package candidate

import (
	"context"
	"fmt"
	"math"
	"strconv"

	"flourcast/eval"
	"flourcast/eval/fold"
	"flourcast/eval/metric"
	"flourcast/model"
	"flourcast/model/design"
	"flourcast/work"
)

// Candidate is a method with the columns it may use. All candidates of one
// comparison have the same rows in the same order, and so the same response.
type Candidate struct {
	Name   string
	Fitter model.Fitter
	Matrix *design.Matrix
}

// Row is how one candidate did. Gains are differences of Q²; a gain over itself
// is absent.
type Row struct {
	Name     string
	Features int
	Honest   *eval.Honest
	// OverMean is the gain over the mean model, OverBase that over the base.
	OverMean, OverBase *metric.Gain
	// WorseThanBest is the one-sided p of SignFlip that its errors are no larger
	// than those of the candidate with the least error; absent for that one.
	WorseThanBest *float64
	// Failed says why the candidate could not be fitted; the rest is then absent.
	Failed string
}

// Table is a comparison. Best is the row of least error, Base the row that
// OverBase is against, −1 without one.
type Table struct {
	Rows       []Row
	Best, Base int
	Lots       int
}

// Options of Compare. Base names the candidate that gains are also set against.
type Options struct {
	Base      string
	Level     float64 // of intervals: 0.95
	Resamples int     // of the bootstrap: 1,999
	Flips     int     // of the sign-flip test where all flips are too many: 1,999
	Seed      uint64
	Cores     int
}

// RowsError says that a candidate stands on other rows than the first one.
type RowsError struct{ Name, Found, Want string }

func (e *RowsError) Error() string {
	return fmt.Sprintf("candidate %s: found %s, expected %s", e.Name, e.Found, e.Want)
}

// same checks that all candidates have the rows of the first.
func same(cs []Candidate) error {
	if len(cs) == 0 {
		return &RowsError{"list", "none", "at least one"}
	}
	first := cs[0].Matrix
	for _, c := range cs {
		if c.Matrix.N() != first.N() {
			return &RowsError{c.Name, fmt.Sprint(c.Matrix.N(), " rows"), fmt.Sprint(first.N())}
		}
		for i, y := range first.Y() {
			if c.Matrix.Y()[i] != y || c.Matrix.Lots()[i] != first.Lots()[i] {
				return &RowsError{c.Name, fmt.Sprint("another lot or response in row ", i+1), "the same rows in the same order"}
			}
		}
	}
	return nil
}

// Compare cross-validates every candidate on the plan. Squared errors are means
// over repeats, summed by lot; the draws of all intervals are the same. A candidate
// that cannot be fitted in every training part has Failed set. Errors: *RowsError,
// those of the plan, *metric.CompareError, ctx's.
func Compare(ctx context.Context, cs []Candidate, plan fold.Plan, o Options) (*Table, error) {
	if err := same(cs); err != nil {
		return nil, err
	}
	if err := plan.Check(cs[0].Matrix.N()); err != nil {
		return nil, err
	}
	y, lots := cs[0].Matrix.Y(), cs[0].Matrix.Lots()
	zero := meanPredictions(plan, y)
	t := &Table{Rows: make([]Row, len(cs)), Best: -1, Base: -1}
	for k, c := range cs {
		row := Row{Name: c.Name, Features: c.Matrix.P()}
		var err error
		if row.Honest, err = eval.Nested(ctx, c.Fitter, c.Matrix, plan, o.Seed, o.Cores); err != nil {
			if ctx.Err() != nil {
				return nil, ctx.Err()
			}
			row.Failed = err.Error()
		}
		t.Rows[k] = row
		if row.Honest != nil && (t.Best < 0 || row.Honest.PRESS < t.Rows[t.Best].Honest.PRESS) {
			t.Best = k
		}
		if c.Name == o.Base && row.Honest != nil {
			t.Base = k
		}
	}
	if t.Best < 0 {
		return t, nil
	}
	gain := func(a, b []float64) (*metric.Gain, error) {
		g, err := metric.Compare(y, a, b, zero, lots, o.Level, o.Resamples, o.Seed)
		return &g, err
	}
	var err error
	best := ByLot(squaredErrors(y, t.Rows[t.Best].Honest.Predicted), lots)
	t.Lots = len(best)
	for k := range t.Rows {
		row := &t.Rows[k]
		if row.Honest == nil {
			continue
		}
		if row.OverMean, err = gain(zero, row.Honest.Predicted); err != nil {
			return nil, err
		}
		if t.Base >= 0 && k != t.Base {
			if row.OverBase, err = gain(t.Rows[t.Base].Honest.Predicted, row.Honest.Predicted); err != nil {
				return nil, err
			}
		}
		if k != t.Best {
			own := ByLot(squaredErrors(y, row.Honest.Predicted), lots)
			p := SignFlip(own, best, o.Flips, o.Seed)
			row.WorseThanBest = &p
		}
	}
	return t, nil
}

// meanPredictions are the mean model's out-of-fold predictions, mean over repeats.
func meanPredictions(plan fold.Plan, y []float64) []float64 {
	out := make([]float64, len(y))
	for r := range plan.Fold {
		sum, n := make([]float64, plan.K[r]), make([]float64, plan.K[r])
		for i, k := range plan.Fold[r] {
			for f := range sum {
				if f != k {
					n[f]++
					sum[f] += (y[i] - sum[f]) / n[f]
				}
			}
		}
		for i, k := range plan.Fold[r] {
			out[i] += sum[k] / float64(len(plan.Fold))
		}
	}
	return out
}

// ByLot averages figures (squared errors, one a row) by lot, in order of first
// appearance.
func ByLot(v []float64, lots []string) []float64 {
	at, rows := map[string]int{}, []float64{}
	var out []float64
	for i, lot := range lots {
		k, ok := at[lot]
		if !ok {
			k = len(out)
			at[lot] = k
			out, rows = append(out, 0), append(rows, 0)
		}
		rows[k]++
		out[k] += (v[i] - out[k]) / rows[k]
	}
	return out
}

func squaredErrors(y, predicted []float64) []float64 {
	out := make([]float64, len(y))
	for i, v := range y {
		out[i] = (v - predicted[i]) * (v - predicted[i])
	}
	return out
}

// exactFlips is the number of pairs up to which SignFlip takes all 2ⁿ flips.
const exactFlips = 14

// SignFlip is the paired test of van der Voet (1994, Chemom Intell Lab Syst
// 25:313): with d = a − b, the share of sign flips of d whose mean is at least
// that observed. Small p: the errors a (squared, one a lot) are larger than b.
// Up to 14 pairs all flips are taken; else flips random ones, with
// p = (count + 1)/(flips + 1). It panics on slices of unequal length.
func SignFlip(a, b []float64, flips int, seed uint64) float64 {
	if len(a) != len(b) {
		panic("candidate: SignFlip needs pairs")
	}
	d, observed, size := make([]float64, len(a)), 0.0, 0.0
	for i := range a {
		d[i] = a[i] - b[i]
		observed += d[i]
		size += math.Abs(d[i])
	}
	reached := func(sum float64) bool { return sum >= observed-1e-12*size }
	count := 0
	if len(d) <= exactFlips {
		for signs := range 1 << len(d) {
			sum := 0.0
			for i, v := range d {
				if signs>>i&1 == 1 {
					v = -v
				}
				sum += v
			}
			if reached(sum) {
				count++
			}
		}
		return float64(count) / float64(int(1)<<len(d))
	}
	random := work.Rand(seed, "sign flips", strconv.Itoa(len(d)))
	for range flips {
		sum, bits := 0.0, uint64(0)
		for i, v := range d {
			if i%64 == 0 {
				bits = random.Uint64()
			}
			if bits&1 == 1 {
				v = -v
			}
			bits >>= 1
			sum += v
		}
		if reached(sum) {
			count++
		}
	}
	return float64(count+1) / float64(flips+1)
}
