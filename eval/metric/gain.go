package metric

import (
	"fmt"
	"math"
	"slices"

	"flourcast/work"
)

// Gain is a paired comparison of two models on the same lots and folds: how
// much Q² model B has above model A, with a percentile bootstrap interval.
type Gain struct {
	Q2A   float64
	Q2B   float64
	Value float64 // Q2B − Q2A
	Low   float64
	High  float64
	Level float64
}

// Compare takes the measured response y (n) and the out-of-fold predictions of
// two models a, b and of the mean model on the same folds (n each), and lots
// (n). With squared errors e,
//
//	gain = (Σ e_a − Σ e_b) / Σ e_mean
//
// Lots are drawn with replacement, all rows of a lot together; the interval is
// the percentile interval of resamples draws at the level (Efron & Tibshirani
// 1993, An Introduction to the Bootstrap, ch. 13; from memory). The draws depend
// on seed only. It returns a *CompareError for unequal lengths, fewer than 3
// lots, a figure that is not finite, or a mean model without error.
func Compare(y, a, b, mean []float64, lots []string, level float64, resamples int, seed uint64) (Gain, error) {
	n := len(y)
	if len(a) != n || len(b) != n || len(mean) != n || len(lots) != n {
		return Gain{}, &CompareError{fmt.Sprint(len(a), ", ", len(b), ", ", len(mean), ", ", len(lots), " entries"), fmt.Sprint(n, " as in y")}
	}
	var order []string
	rows := map[string][]int{}
	ea, eb, em := make([]float64, n), make([]float64, n), make([]float64, n)
	for i, lot := range lots {
		if rows[lot] == nil {
			order = append(order, lot)
		}
		rows[lot] = append(rows[lot], i)
		ea[i], eb[i], em[i] = square(y[i]-a[i]), square(y[i]-b[i]), square(y[i]-mean[i])
		if s := ea[i] + eb[i] + em[i]; math.IsNaN(s) || math.IsInf(s, 0) {
			return Gain{}, &CompareError{fmt.Sprintf("an error of %v at lot %s", s, lot), "finite figures"}
		}
	}
	if len(order) < 3 {
		return Gain{}, &CompareError{fmt.Sprint(len(order), " lots"), "3 or more"}
	}
	// Errors are summed by lot once; a resample then adds whole lots.
	lotA, lotB, lotM := make([]float64, len(order)), make([]float64, len(order)), make([]float64, len(order))
	for k, lot := range order {
		for _, i := range rows[lot] {
			lotA[k] += ea[i]
			lotB[k] += eb[i]
			lotM[k] += em[i]
		}
	}
	sumA, sumB, sumM := 0.0, 0.0, 0.0
	for k := range order {
		sumA, sumB, sumM = sumA+lotA[k], sumB+lotB[k], sumM+lotM[k]
	}
	if sumM == 0 {
		return Gain{}, &CompareError{"a mean model without error", "a response that varies"}
	}
	g := Gain{Q2A: 1 - sumA/sumM, Q2B: 1 - sumB/sumM, Value: (sumA - sumB) / sumM, Level: level}
	random := work.Rand(seed, "compare")
	draws := make([]float64, 0, resamples)
	for range resamples {
		d, m := 0.0, 0.0
		for range order {
			k := random.IntN(len(order))
			d += lotA[k] - lotB[k]
			m += lotM[k]
		}
		if m > 0 { // a resample of lots that all lie at the mean says nothing
			draws = append(draws, d/m)
		}
	}
	if len(draws) == 0 {
		return Gain{}, &CompareError{"no resample with a spread", "a response that varies over lots"}
	}
	slices.Sort(draws)
	g.Low, g.High = percentile(draws, (1-level)/2), percentile(draws, (1+level)/2)
	return g, nil
}

// CompareError says why two models cannot be compared.
type CompareError struct{ Found, Want string }

func (e *CompareError) Error() string { return "compare: found " + e.Found + ", expected " + e.Want }

func square(v float64) float64 { return v * v }

// percentile is the quantile of sorted figures by linear interpolation between
// order statistics.
func percentile(sorted []float64, p float64) float64 {
	at := p * float64(len(sorted)-1)
	i := int(at)
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (at-float64(i))*(sorted[i+1]-sorted[i])
}
