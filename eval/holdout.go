package eval

import (
	"context"
	"fmt"

	"flourcast/eval/part"
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
	d, y, err := part.New(f, m, cores)
	if err != nil {
		return nil, err
	}
	h := &nest{d: d, how: byUnit(m, seed), ys: []*part.Response{y}}
	out := make([][]float64, len(splits))
	err = work.Each(ctx, len(splits), cores, func(s int) error {
		// All rows but the training rows are left out, not only those to predict.
		job := part.Job{Left: others(m.N(), splits[s].Train), Test: splits[s].Test}
		err := h.fold(0, s, job, 0, 1, func(_, _ int, predicted []float64) {
			for _, v := range predicted {
				out[s] = append(out[s], y.Mean+v)
			}
		})
		if err != nil {
			return &FoldError{"held-out rows", 0, s, err}
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
