package fitting

import (
	"math"

	"flourcast/dataset/trait"
	"flourcast/eval/metric"
	"flourcast/eval/verdict"
	"flourcast/stat/precision"
)

// replicateError is the standard error of one row's response from the spread of its
// replicates: SD and number of each row where the table has them, else the rows of
// one lot are its replicates. ok is false where nothing was measured twice.
func (f *fit) replicateError() (se float64, ok bool) {
	if r := f.reference(); r != nil {
		return r.SE, true
	}
	by := map[string]int{}
	var groups [][]float64
	for i, lot := range f.m.Lots() {
		k, seen := by[lot]
		if !seen {
			k = len(groups)
			by[lot] = k
			groups = append(groups, nil)
		}
		groups[k] = append(groups[k], f.m.Y()[i])
	}
	r, err := precision.Repeatability(groups)
	if err != nil {
		return 0, false
	}
	return r.SD, true
}

// noiseCeiling is the highest Q² that the replicates' error allows, and that error;
// both are nil where they cannot be had.
func (f *fit) noiseCeiling() (ceiling, se *float64) {
	s, ok := f.replicateError()
	if !ok {
		return nil, nil
	}
	c, ok := metric.NoiseCeiling(f.m.Y(), s)
	if !ok {
		return nil, nil
	}
	return &c, &s
}

// reference sets the model's error against the error of the response itself: the
// standard error of a lot's mean, pooled over the lots that were measured more
// than once. It is nil where none was.
func (f *fit) reference() *verdict.Reference {
	id, m := trait.Split(f.m.Response())
	var n []int
	var sd []float64
	inverse := 0.0 // Σ 1/n over the lots used
	for _, row := range f.assembly.Rows {
		k, okN := f.q.Table.Number(trait.Join(id+"_n", m), row)
		s, okSD := f.q.Table.Number(trait.Join(id+"_sd", m), row)
		if !okN || k < 1 {
			return nil
		}
		inverse += 1 / k
		if okSD && k >= 2 {
			n, sd = append(n, int(k)), append(sd, s)
		}
	}
	r, err := precision.Pooled(n, sd)
	if err != nil {
		return nil
	}
	return &verdict.Reference{RMSECV: f.honest.RMSECV, SE: r.SD * math.Sqrt(inverse/float64(len(f.assembly.Rows))), DF: float64(r.DF)}
}
