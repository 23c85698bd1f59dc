package correlation

import (
	"context"
	"strconv"

	"flourcast/work"
)

// Estimate is a correlation over N rows with two 95 % intervals: that of
// resampled rows, and Fisher's.
type Estimate struct {
	R, Low, High          float64
	N                     int
	FisherLow, FisherHigh float64
}

// Bootstrap is a figure of the given rows (a correlation: Pearson, Within …) with
// its 95 % percentile interval over resamples draws of whole rows, and Fisher's
// with held variables held constant. It is nil where the figure is not defined, or
// not in more than one draw in twenty. Draw k takes its rows from the stream of
// seed, label and k, so the interval does not depend on cores (0: all). The error
// is ctx's.
func Bootstrap(ctx context.Context, rows []int, figure func(at []int) (float64, bool), held, resamples int, seed uint64, label string, cores int) (*Estimate, error) {
	e := Estimate{N: len(rows)}
	var ok, okFisher bool
	if e.R, ok = figure(rows); !ok {
		return nil, nil
	}
	if e.FisherLow, e.FisherHigh, okFisher = Fisher(e.R, e.N, held); !okFisher {
		return nil, nil
	}
	values, defined := make([]float64, resamples), make([]bool, resamples)
	err := work.Each(ctx, resamples, cores, func(k int) error {
		rng := work.Rand(seed, "correlation", label, strconv.Itoa(k))
		drawn := make([]int, len(rows))
		for i := range drawn {
			drawn[i] = rows[rng.IntN(len(rows))]
		}
		values[k], defined[k] = figure(drawn)
		return nil
	})
	if err != nil {
		return nil, err
	}
	kept := make([]float64, 0, resamples)
	for k, v := range values {
		if defined[k] {
			kept = append(kept, v)
		}
	}
	if len(kept) < resamples*19/20 {
		return nil, nil
	}
	if e.Low, e.High, ok = Percentile(kept); !ok {
		return nil, nil
	}
	return &e, nil
}

// Centred takes each group's mean off v; groups are numbers 0, 1, ….
func Centred(v []float64, group []int) []float64 {
	groups := 0
	for _, g := range group {
		groups = max(groups, g+1)
	}
	mean, n, out := make([]float64, groups), make([]float64, groups), make([]float64, len(v))
	for i, g := range group {
		n[g]++
		mean[g] += (v[i] - mean[g]) / n[g]
	}
	for i, g := range group {
		out[i] = v[i] - mean[g]
	}
	return out
}
