package resample

import (
	"context"
	"fmt"
	"math"
	"strconv"

	"flourcast/model"
	"flourcast/model/design"
	"flourcast/stat/correlation"
	"flourcast/work"
)

// Drawn is a coefficient in original units with its bootstrap interval: SE is the
// standard deviation over Sets resamples, Low and High their 2.5th and 97.5th
// percentiles.
type Drawn struct {
	Value, SE, Low, High float64
	Sets                 int
}

// DrawError says why coefficients have no bootstrap interval.
type DrawError struct{ Found, Want string }

func (e *DrawError) Error() string {
	return fmt.Sprintf("bootstrap: found %s, expected %s", e.Found, e.Want)
}

// Bootstrap fits step of the fitter's path to resamples of m's lots (lots that
// belong together are drawn together, as many as there are, with replacement) and
// gives every coefficient the 95 % percentile interval (Efron and Tibshirani 1993,
// An Introduction to the Bootstrap, from memory). The step is not chosen anew, so
// the intervals do not cover the choice; a coefficient among features that move
// together is no direction. seed decides the draws, the same for any number of
// cores. Errors: those of f.Fit on all rows; *DrawError for fewer than 3 separate
// lots, fewer than 40 resamples, or when more than one resample in twenty cannot
// be fitted; ctx's.
func Bootstrap(ctx context.Context, f model.Fitter, m *design.Matrix, step, resamples int, seed uint64, cores int) ([]Drawn, error) {
	full, err := fitStep(f, m, step)
	if err != nil {
		return nil, err
	}
	units := unitRows(m)
	if len(units) < 3 {
		return nil, &DrawError{fmt.Sprint(len(units), " separate lots"), "at least 3"}
	}
	if resamples < 40 {
		return nil, &DrawError{fmt.Sprint(resamples, " resamples"), "at least 40, better 1,999"}
	}
	sets := make([][]float64, resamples)
	err = work.Each(ctx, resamples, cores, func(k int) error {
		rng := work.Rand(seed, "coefficients", strconv.Itoa(k))
		var rows []int
		for range units {
			rows = append(rows, units[rng.IntN(len(units))]...)
		}
		sets[k], _ = fitStep(f, m.Subset(rows), step) // one that cannot be fitted has none
		return ctx.Err()
	})
	if err != nil {
		return nil, err
	}
	out := make([]Drawn, m.P())
	for j := range out {
		var b []float64
		for _, set := range sets {
			if set != nil && !math.IsNaN(set[j]) && !math.IsInf(set[j], 0) {
				b = append(b, set[j])
			}
		}
		if len(b) < resamples*19/20 {
			return nil, &DrawError{fmt.Sprintf("%d of %d resamples that can be fitted", len(b), resamples), "19 of 20; more lots or fewer features"}
		}
		low, high, ok := correlation.Percentile(b)
		if !ok {
			return nil, &DrawError{fmt.Sprint(len(b), " resamples"), "enough for percentiles"}
		}
		out[j] = Drawn{full[j], correlation.SD(b), low, high, len(b)}
	}
	return out, nil
}
