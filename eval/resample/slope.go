// Package resample fits a method anew on other sets of the same lots, to see what
// of a model is the flour's and what is this set's.
//
//  1. Slopes draws lots with replacement and asks how the predictions of lots not
//     seen move with a feature.
//  2. Grow draws smaller sets and asks how the error falls with the number of
//     lots: a learning curve with its interval.
//  3. A Curve is carried on beyond the lots at hand, and says where a forecast
//     interval would become narrower than a given width.
//
// Lots, or families of lots, are drawn whole, and copies of one lot stay in one
// fold. It refuses too few lots for a curve, and to carry one on where no number of
// lots would do.
package resample

import (
	"context"
	"fmt"
	"math"
	"strconv"

	"flourcast/eval"
	"flourcast/eval/fold"
	"flourcast/model"
	"flourcast/model/design"
	"flourcast/stat/correlation"
	"flourcast/work"
)

// Slope is how far predictions of lots not seen move for one sample SD of a
// feature, in response units, with a 95 % percentile interval over Resamples sets.
type Slope struct {
	Value, Low, High float64
	Resamples        int
}

// ShapeError says that a column does not have an entry for each row.
type ShapeError struct{ Column, Found, Want string }

func (e *ShapeError) Error() string {
	return fmt.Sprintf("resample: column %s: found %s, expected %s", e.Column, e.Found, e.Want)
}

// Slopes gives the slope of cross-validated predictions on each column (one finite
// figure a row of m; a column may be one that the model does not have):
//
//	Σ (x − x̄)(ŷ − ȳ̂) / Σ (x − x̄)² · SD(x)
//
// ŷ comes from one repeat of the split "lot" at the given step of f's path. In
// each of resamples sets (39 or more) whole units are drawn with replacement and
// the method is fitted anew in every fold; SD(x) stays that of all rows. A slope is
// absent (nil) where the column does not vary or more than one set in twenty gives
// none. It is the model's behaviour, not a test of a direction: a model that learnt
// nothing can still move with a feature. Errors: *ShapeError, those of
// eval.CrossValidate on all rows, ctx's.
func Slopes(ctx context.Context, f model.Fitter, m *design.Matrix, step int, columns [][]float64, resamples int, seed uint64, cores int) ([]*Slope, error) {
	for j, x := range columns {
		if len(x) != m.N() {
			return nil, &ShapeError{strconv.Itoa(j + 1), fmt.Sprint(len(x), " figures"), fmt.Sprint(m.N())}
		}
	}
	all := make([]int, m.N())
	for i := range all {
		all[i] = i
	}
	full, err := slopes(ctx, f, m, all, step, columns, seed, cores)
	if err != nil {
		return nil, err
	}
	units := unitRows(m)
	drawn := make([][]*float64, resamples)
	err = work.Each(ctx, resamples, cores, func(k int) error {
		rng := work.Rand(seed, "slope", strconv.Itoa(k))
		var rows []int
		for range units {
			rows = append(rows, units[rng.IntN(len(units))]...)
		}
		// A set of which a fold cannot be fitted gives no slope.
		drawn[k], _ = slopes(ctx, f, m, rows, step, columns, seed, 1)
		return ctx.Err()
	})
	if err != nil {
		return nil, err
	}
	out := make([]*Slope, len(columns))
	for j, x := range columns {
		sd := correlation.SD(x)
		var values []float64
		for _, d := range drawn {
			if d != nil && d[j] != nil {
				values = append(values, *d[j]*sd)
			}
		}
		if full[j] == nil || len(values) < resamples*19/20 {
			continue
		}
		if low, high, ok := correlation.Percentile(values); ok {
			out[j] = &Slope{*full[j] * sd, low, high, len(values)}
		}
	}
	return out, nil
}

// slopes are those of one set of rows, in response units by column unit; nil for
// a column that does not vary there.
func slopes(ctx context.Context, f model.Fitter, m *design.Matrix, rows []int, step int, columns [][]float64, seed uint64, cores int) ([]*float64, error) {
	sub := m.Subset(rows)
	plan, err := fold.Parse("lot", sub, 1, seed)
	if err != nil {
		return nil, err
	}
	cv, err := eval.CrossValidate(ctx, f, sub, plan, cores)
	if err != nil {
		return nil, err
	}
	predicted := cv.Predicted[min(step, len(cv.Predicted)-1)]
	out := make([]*float64, len(columns))
	for j, x := range columns {
		meanX, meanP := 0.0, 0.0
		for k, i := range rows {
			meanX += (x[i] - meanX) / float64(k+1)
			meanP += (predicted[k] - meanP) / float64(k+1)
		}
		xx, xp := 0.0, 0.0
		for k, i := range rows {
			d := x[i] - meanX
			xx, xp = xx+d*d, xp+d*(predicted[k]-meanP)
		}
		if b := xp / xx; !math.IsNaN(b) && !math.IsInf(b, 0) && xx > 1e-24*meanX*meanX {
			out[j] = &b
		}
	}
	return out, nil
}

// unitRows are the rows of each unit, in order of first appearance.
func unitRows(m *design.Matrix) [][]int {
	names, _ := fold.Units(m)
	at := map[string]int{}
	var rows [][]int
	for i, name := range names {
		k, ok := at[name]
		if !ok {
			k = len(rows)
			at[name] = k
			rows = append(rows, nil)
		}
		rows[k] = append(rows[k], i)
	}
	return rows
}
