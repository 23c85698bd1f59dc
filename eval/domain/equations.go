package domain

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Equations are the figures that Place works with, for whoever has to place lots
// without this package: a workbook, a model in another format. With p features and A
// components:
//
//	z_j = (x_j − Mean_j)/SD_j (0 where SD is 0), t_a = Σ z_j·Loadings_aj,
//	T² = Σ t_a²/Variances_a, Q = Σ (z_j − Σ t_a·Loadings_aj)².
//
// A lot is outside where T² or Q is above its Outer limit or a feature is not within
// Outer of its Bounds; at the edge by the same with Edge; else inside.
type Equations struct {
	Lots      int
	Mean, SD  []float64
	Loadings  [][]float64 // A rows of p figures
	Variances []float64   // A
	T2, Q     Limit
	Bounds    []Bounds // p
}

// Limit is exceeded by a lot at the edge (95 %) and by one outside (99 %).
type Limit struct{ Edge, Outer float64 }

// Bounds of one feature: the calibrated range, and what lies neither beyond that
// range nor beyond mean ± t·s·√(1 + 1/n) at 95 % (Edge) and 99 % (Outer), all
// features taken together. Each is low, high.
type Bounds struct{ Calibrated, Edge, Outer [2]float64 }

// Equations returns copies of the domain's figures.
func (d *Domain) Equations() Equations {
	e := Equations{Lots: d.lots, Mean: slices.Clone(d.mean), SD: slices.Clone(d.sd), Variances: slices.Clone(d.eigenvalues),
		T2: Limit{d.t2[0], d.t2[1]}, Q: Limit{d.q[0], d.q[1]}, Bounds: make([]Bounds, len(d.features))}
	for _, axis := range d.loadings {
		e.Loadings = append(e.Loadings, slices.Clone(axis))
	}
	far := d.farthestExpected()
	for j := range d.features {
		low, high := d.low[j], d.high[j]
		b := Bounds{Calibrated: [2]float64{low, high}}
		for k, to := range []*[2]float64{&b.Edge, &b.Outer} {
			reach := far[k] * d.sd[j]
			*to = [2]float64{min(low, d.mean[j]-reach), max(high, d.mean[j]+reach)}
			if d.sd[j] == 0 {
				same := sameValue * math.Abs(d.mean[j])
				*to = [2]float64{low - same, high + same}
			}
		}
		e.Bounds[j] = b
	}
	return e
}

// farthestExpected are the 95 % and 99 % prediction limits of one further lot's
// feature in SDs from the mean, t·√(1 + 1/n), all features taken together.
func (d *Domain) farthestExpected() [2]float64 {
	var out [2]float64
	for k, level := range levels {
		t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(d.lots - 1)}.Quantile(1 - (1-level)/(2*float64(max(1, len(d.features)))))
		out[k] = t * math.Sqrt(1+1/float64(d.lots))
	}
	return out
}
