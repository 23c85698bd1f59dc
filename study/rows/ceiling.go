package rows

import (
	"math"

	"flourcast/eval/metric"
	"flourcast/stat/precision"
)

// replicateError is the standard error of one row's response from the spread of its
// replicates: SD and number of each row where the table has them, else the rows of
// one lot are its replicates. ok is false where nothing was measured twice.
func (u Used) replicateError() (se float64, ok bool) {
	if r := u.ResponseError(); r != nil {
		return r.SE, true
	}
	by := map[string]int{}
	var groups [][]float64
	for i, lot := range u.Matrix.Lots() {
		k, seen := by[lot]
		if !seen {
			k = len(groups)
			by[lot] = k
			groups = append(groups, nil)
		}
		groups[k] = append(groups[k], u.Matrix.Y()[i])
	}
	r, err := precision.Repeatability(groups)
	if err != nil {
		return 0, false
	}
	return r.SD, true
}

// NoiseCeiling is the highest Q² that the replicates' error allows, and that error;
// both are nil where they cannot be had.
func (u Used) NoiseCeiling() (ceiling, se *float64) {
	s, ok := u.replicateError()
	if !ok {
		return nil, nil
	}
	c, ok := metric.NoiseCeiling(u.Matrix.Y(), s)
	if !ok {
		return nil, nil
	}
	return &c, &s
}

// ResponseError is the standard error of a lot's mean response.
type ResponseError struct {
	SE float64 // in units of the response
	DF float64 // that its SD rests on
}

// ResponseError pools the SD of the lots that were measured more than once
// (columns NAME_n and NAME_sd of the response) and gives the standard error of a
// lot's mean, √(SD²·mean of 1/n) over all rows. It is nil where no lot was
// measured twice, or a row's number is not known.
func (u Used) ResponseError() *ResponseError {
	name := u.Matrix.Response()
	var n []int
	var sd []float64
	inverse := 0.0 // Σ 1/n over the lots used
	for _, row := range u.Assembly.Rows {
		k, okN := u.Table.Number(name+"_n", row)
		s, okSD := u.Table.Number(name+"_sd", row)
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
	return &ResponseError{SE: r.SD * math.Sqrt(inverse/float64(len(u.Assembly.Rows))), DF: float64(r.DF)}
}
