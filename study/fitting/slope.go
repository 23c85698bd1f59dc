package fitting

import (
	"flourcast/eval/direction"
	"flourcast/eval/resample"
)

// slopeResamples is how many sets of lots the model's slopes are taken over.
const slopeResamples = 199

// slopes adds to every answer that applies how the model's predictions of lots
// not seen move with the answer's feature. They are shown, and judge nothing: a
// model without any skill can still move with a feature that it was given.
func (f *fit) slopes() error {
	if f.q.Kind == "mean" || f.m.P() == 0 {
		return nil
	}
	at := map[string]int{}
	var columns [][]float64
	for _, a := range f.directions {
		if _, seen := at[a.Feature]; seen || !a.Applies {
			continue
		}
		if c := f.rows.Column(a.Feature); c != nil && allPresent(c.Present) {
			at[a.Feature] = len(columns)
			columns = append(columns, c.X)
		}
	}
	if len(columns) == 0 {
		return nil
	}
	slopes, err := resample.Slopes(f.ctx, f.fitter, f.m, f.chosen, columns, slopeResamples, f.env.Seed, f.env.Cores)
	if err != nil {
		if f.ctx.Err() != nil {
			return f.ctx.Err()
		}
		return nil // too few lots for folds of their own: no slope is shown
	}
	for i, a := range f.directions {
		k, ok := at[a.Feature]
		if !ok || !a.Applies || slopes[k] == nil {
			continue
		}
		s := slopes[k]
		f.directions[i].Slope = &direction.Slope{Value: s.Value, Low: s.Low, High: s.High, Resamples: s.Resamples}
	}
	return nil
}
