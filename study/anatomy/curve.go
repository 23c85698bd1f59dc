package anatomy

import "flourcast/dataset/pasting/whole"

// Curve is a model of whole curves: along the grid, the mean viscosity of the
// training rows and the coefficient of each place, in response units (of ln y for
// a model of logarithms) for 1 mPa·s.
type Curve struct {
	At          []float64 `json:"at"`   // s since the start
	Mean        []float64 `json:"mean"` // mPa·s
	Coefficient []float64 `json:"coefficient"`
}

// OfCurve lays coefficients over the mean of the rows, each as long as features.
// It returns nil where the features are not the columns of one curve on time.
func OfCurve(features []string, rows [][]float64, coefficients []float64) *Curve {
	if whole.Even(features) != nil || len(rows) == 0 {
		return nil
	}
	c := &Curve{Mean: make([]float64, len(features)), Coefficient: coefficients}
	for j, name := range features {
		at, _ := whole.Second(name)
		c.At = append(c.At, at)
		for i, row := range rows {
			c.Mean[j] += (row[j] - c.Mean[j]) / float64(i+1)
		}
	}
	return c
}
