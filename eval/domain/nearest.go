package domain

import (
	"math"
	"slices"
)

// Nearest is the calibration lot most like a new one. Distance is √(Σ(Δt)²/λ / A)
// over the A components kept: 1 is one SD along each of them. Spacing is the
// distance within which 95 % of the calibration lots have their own nearest
// neighbour: a lot much farther than that stands in a gap, even where it is
// inside. Shown, not judged. Features are the three in which the two differ most,
// in SDs, if they differ at all.
type Nearest struct {
	Lot      string   `json:"lot"`
	Distance float64  `json:"distance"`
	Spacing  float64  `json:"spacing"`
	Features []string `json:"features"`
}

// remember keeps the lots' scores and how close they stand.
func (d *Domain) remember(names []string, x [][]float64) {
	d.names = slices.Clone(names)
	for i := range x {
		z := make([]float64, len(x[i]))
		for j, v := range x[i] {
			if d.sd[j] > 0 {
				z[j] = (v - d.mean[j]) / d.sd[j]
			}
		}
		d.scores = append(d.scores, d.score(z))
	}
	d.spacing = spacing(d.scores)
}

// score is z on the components kept, each divided by its SD.
func (d *Domain) score(z []float64) []float64 {
	t := make([]float64, len(d.loadings))
	for a, axis := range d.loadings {
		t[a] = dot(z, axis) / math.Sqrt(d.eigenvalues[a])
	}
	return t
}

// spacing is the 95th percentile of the distances to the nearest other lot.
func spacing(scores [][]float64) float64 {
	least := make([]float64, len(scores))
	for i, s := range scores {
		least[i] = math.Inf(1)
		for k, other := range scores {
			if k != i {
				least[i] = min(least[i], distance(s, other))
			}
		}
	}
	slices.Sort(least)
	return least[int(math.Ceil(0.95*float64(len(least))))-1]
}

func distance(a, b []float64) float64 {
	if len(a) == 0 {
		return 0
	}
	ss := 0.0
	for k := range a {
		ss += (a[k] - b[k]) * (a[k] - b[k])
	}
	return math.Sqrt(ss / float64(len(a)))
}

func (d *Domain) nearest(z []float64) Nearest {
	out := Nearest{Features: []string{}, Spacing: d.spacing}
	if len(d.names) == 0 {
		return out
	}
	t := d.score(z)
	best := 0
	for i := range d.scores {
		if distance(t, d.scores[i]) < distance(t, d.scores[best]) {
			best = i
		}
	}
	out.Lot, out.Distance = d.names[best], distance(t, d.scores[best])
	// What the components say of that lot, feature by feature.
	apart := make([]float64, len(z))
	for a, axis := range d.loadings {
		step := (t[a] - d.scores[best][a]) * math.Sqrt(d.eigenvalues[a])
		for j, w := range axis {
			apart[j] += step * w
		}
	}
	order := make([]int, len(z))
	for j := range order {
		order[j] = j
	}
	slices.SortStableFunc(order, func(a, b int) int { return descending(math.Abs(apart[a]), math.Abs(apart[b])) })
	for _, j := range order[:min(3, len(order))] {
		if math.Abs(apart[j]) > 1e-9 {
			out.Features = append(out.Features, d.features[j])
		}
	}
	return out
}
