package resample

import (
	"context"
	"fmt"
	"math"

	"flourcast/model"
	"flourcast/model/design"
	"flourcast/work"

	"gonum.org/v1/gonum/stat/distuv"
)

// Coefficient is a coefficient in original units with its jackknife interval.
type Coefficient struct {
	Value, SE, Low, High float64
	T, P                 float64 // t = Value/SE against zero, two-sided p with g − 1 degrees of freedom
}

// JackknifeLots is the largest number of lots that are left out one by one;
// beyond it Jackknife leaves out groups of lots.
const JackknifeLots = 200

// Jackknife refits step of the fitter's path with every lot left out in turn (of
// g lots; with more than JackknifeLots, with each of that many groups of lots)
// and gives every coefficient of m's features an interval:
//
//	s² = (g − 1)/g · Σ (b_(−i) − b)²,  b ± t(g − 1)·s
//
// (Martens & Martens 2000, Food Quality and Preference 11:5; b is the full
// model's.) That t follows Student's distribution is an assumption: the figures
// are approximate. The step is not chosen anew, so the intervals do not cover the
// choice. Coefficients of features that move together are not directions. It
// returns an error when there are fewer than 3 lots, or the method cannot be
// fitted without one of them.
func Jackknife(ctx context.Context, f model.Fitter, m *design.Matrix, step int, level float64, cores int) ([]Coefficient, error) {
	full, err := fitStep(f, m, step)
	if err != nil {
		return nil, err
	}
	groups := lotGroups(m.Lots(), JackknifeLots)
	g := len(groups)
	if g < 3 {
		return nil, fmt.Errorf("jackknife: found %d lots, expected at least 3; measure more lots", g)
	}
	without := make([][]float64, g)
	err = work.Each(ctx, g, cores, func(i int) error {
		left, err := fitStep(f, m.Subset(others(m.N(), groups[i])), step)
		if err != nil {
			return fmt.Errorf("without lot %s: %w", m.Lots()[groups[i][0]], err)
		}
		without[i] = left
		return nil
	})
	if err != nil {
		return nil, err
	}
	out := make([]Coefficient, m.P())
	for j := range out {
		b := make([]float64, g)
		for i := range b {
			b[i] = without[i][j]
		}
		out[j] = jackknifed(full[j], b, level)
	}
	return out, nil
}

// jackknifed is one coefficient's interval from the full model's value and the
// values without each group.
func jackknifed(full float64, without []float64, level float64) Coefficient {
	g := float64(len(without))
	ss := 0.0
	for _, b := range without {
		ss += (b - full) * (b - full)
	}
	c := Coefficient{Value: full, SE: math.Sqrt((g - 1) / g * ss), P: 1}
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: g - 1}
	half := t.Quantile(0.5+level/2) * c.SE
	c.Low, c.High = full-half, full+half
	if c.SE > 0 {
		c.T = full / c.SE
		c.P = 2 * t.CDF(-math.Abs(c.T))
	}
	return c
}

func fitStep(f model.Fitter, m *design.Matrix, step int) ([]float64, error) {
	path, err := f.Fit(m)
	if err != nil {
		return nil, err
	}
	return path.At(min(step, path.Len()-1)).Linear().Coefficients, nil
}

// lotGroups lists the rows of each lot, in order of first appearance; with more
// than most lots, lot k joins group k mod most.
func lotGroups(lots []string, most int) [][]int {
	at := map[string]int{}
	var groups [][]int
	for i, lot := range lots {
		k, seen := at[lot]
		if !seen {
			k = len(at) % most
			at[lot] = k
			if k == len(groups) {
				groups = append(groups, nil)
			}
		}
		groups[k] = append(groups[k], i)
	}
	return groups
}

// others lists the rows of 0…n-1 that are not in without, which is ascending
// within each lot but not over all.
func others(n int, without []int) []int {
	out := make([]bool, n)
	for _, i := range without {
		out[i] = true
	}
	keep := make([]int, 0, n-len(without))
	for i := range n {
		if !out[i] {
			keep = append(keep, i)
		}
	}
	return keep
}
