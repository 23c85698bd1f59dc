package eval

import (
	"context"
	"fmt"

	"flourcast/model"
	"flourcast/model/design"
	"flourcast/work"
)

// Split names training rows and the rows to predict from them. The caller keeps
// rows of one lot on one side.
type Split struct{ Train, Test []int }

// SplitError says which split cannot be used.
type SplitError struct {
	Split       int // from 0
	Found, Want string
}

func (e *SplitError) Error() string {
	return fmt.Sprintf("eval: split %d: found %s, expected %s", e.Split+1, e.Found, e.Want)
}

// Holdout predicts the test rows of each split from its training rows, the step
// chosen as in Nested on an inner split of the training rows: out[s][t] is the
// prediction of row splits[s].Test[t]. Errors: *SplitError for an empty side, a
// row outside m or on both sides; *FoldError (Fold counts splits) for a training
// part that cannot be fitted; those of f.Fit on all rows; ctx's.
func Holdout(ctx context.Context, f model.Fitter, m *design.Matrix, splits []Split, seed uint64, cores int) ([][]float64, error) {
	for s, split := range splits {
		side := make([]int8, m.N())
		for mark, rows := range [][]int{split.Train, split.Test} {
			if len(rows) == 0 {
				return nil, &SplitError{s, "an empty side", "rows to train on and rows to predict"}
			}
			for _, i := range rows {
				if i < 0 || i >= m.N() || side[i] != 0 {
					return nil, &SplitError{s, fmt.Sprint("row ", i+1, " outside the matrix, or twice"), "each row at most once"}
				}
				side[i] = int8(mark + 1)
			}
		}
	}
	e, y, err := newEngine(f, m)
	if err != nil {
		return nil, err
	}
	out := make([][]float64, len(splits))
	err = work.Each(ctx, len(splits), cores, func(s int) error {
		w := e.pool.Get().(*bench)
		defer e.pool.Put(w)
		// What is left out of all rows is more than the rows to predict: the
		// others are predicted too, and not reported.
		in := make([]bool, m.N())
		for _, i := range splits[s].Train {
			in[i] = true
		}
		var train, rest []int
		for i, is := range in {
			if is {
				train = append(train, i)
			} else {
				rest = append(rest, i)
			}
		}
		all := make([]float64, m.N())
		err := w.nested(e, []*response{y}, train, rest, innerSeed(seed, 0, s), func(_, _ int, p []float64) {
			for t, i := range rest {
				all[i] = y.mean + p[t]
			}
		})
		if err != nil {
			return &FoldError{"held-out rows", 0, s, err}
		}
		for _, i := range splits[s].Test {
			out[s] = append(out[s], all[i])
		}
		return nil
	})
	return out, err
}

// Summed fills the figures that follow from h's PRESS and MeanPRESS over so many
// predictions (rows × repeats).
func Summed(h *Honest, predictions int) *Honest {
	return honest(h.Predicted, h.Picks, h.PRESS, h.MeanPRESS, predictions)
}
