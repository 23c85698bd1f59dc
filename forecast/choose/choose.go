// Package choose says which of the lots that were screened to measure next.
//
//  1. Features are scaled to an SD of 1 over all lots, so that no unit decides.
//  2. Farthest starts from the lots already measured and takes, one after the other,
//     the lot that is farthest from its nearest neighbour among those measured or
//     taken (Kennard & Stone 1969, Technometrics 11:137). Without measured lots it
//     begins with the two that are farthest apart.
//  3. Random takes some of the rest by lot, so that what is measured does not only
//     tell of lots that somebody wanted.
//
// It refuses no lot for being odd: a lot that is far off may be a faulty run, and
// the caller should say so. It knows no flour and no files.
package choose

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// Pick is one lot taken. Nearest is the measured lot (Measured) or the earlier pick
// that it lies closest to, as an index into measured or candidates; Distance is in
// scaled units, and Feature the one that makes most of it. Without any lot before it
// (the first of none) Nearest is −1.
type Pick struct {
	At       int // into candidates
	Nearest  int
	Measured bool
	Distance float64
	Feature  int
}

// Scale gives the SD of each feature over all lots; a feature that does not vary has
// 0 and does not count. It panics when lots differ in length.
func Scale(sets ...[][]float64) []float64 {
	var all [][]float64
	for _, s := range sets {
		all = append(all, s...)
	}
	if len(all) == 0 {
		return nil
	}
	p := len(all[0])
	sd := make([]float64, p)
	for j := range sd {
		mean, ss := 0.0, 0.0
		for i, x := range all {
			if len(x) != p {
				panic(fmt.Sprintf("choose: %d features, then %d", p, len(x)))
			}
			d := x[j] - mean
			mean += d / float64(i+1)
			ss += d * (x[j] - mean)
		}
		if len(all) > 1 && ss > 0 {
			sd[j] = math.Sqrt(ss / float64(len(all)-1))
		}
	}
	return sd
}

// distance is the squared scaled distance, and the feature that makes most of it.
func distance(a, b, sd []float64) (d float64, feature int) {
	most := 0.0
	for j := range a {
		if sd[j] == 0 {
			continue
		}
		v := (a[j] - b[j]) / sd[j]
		if d += v * v; v*v > most {
			most, feature = v*v, j
		}
	}
	return d, feature
}

// Farthest takes up to n of candidates (k×p) beside measured (m×p, may be none). A
// lot that equals one measured or taken is never taken, so fewer than n may come
// back. Of equal distances the first candidate is taken. sd is Scale's. It panics
// when lots differ in length.
func Farthest(measured, candidates [][]float64, sd []float64, n int) []Pick {
	nearest := make([]Pick, len(candidates))
	for i, x := range candidates {
		nearest[i] = Pick{At: i, Nearest: -1, Distance: math.Inf(1)}
		for k, m := range measured {
			if d, f := distance(x, m, sd); d < nearest[i].Distance {
				nearest[i] = Pick{At: i, Nearest: k, Measured: true, Distance: d, Feature: f}
			}
		}
	}
	var out []Pick
	taken := make([]bool, len(candidates))
	take := func(p Pick) {
		taken[p.At] = true
		for i, x := range candidates {
			if d, f := distance(x, candidates[p.At], sd); d < nearest[i].Distance {
				nearest[i] = Pick{At: i, Nearest: p.At, Distance: d, Feature: f}
			}
		}
		p.Distance = math.Sqrt(p.Distance)
		out = append(out, p)
	}
	if len(measured) == 0 && n > 0 && len(candidates) > 0 {
		take(first(candidates, sd))
	}
	for len(out) < n {
		best := -1
		for i := range candidates {
			if !taken[i] && nearest[i].Distance > 0 && (best < 0 || nearest[i].Distance > nearest[best].Distance) {
				best = i
			}
		}
		if best < 0 {
			break
		}
		take(nearest[best])
	}
	return out
}

// first is one of the two candidates farthest apart: the earlier one. The other is
// then the farthest from it, and follows of itself.
func first(candidates [][]float64, sd []float64) Pick {
	at, most := 0, -1.0
	for i := range candidates {
		for j := i + 1; j < len(candidates); j++ {
			if d, _ := distance(candidates[i], candidates[j], sd); d > most {
				at, most = i, d
			}
		}
	}
	return Pick{At: at, Nearest: -1}
}

// Random takes up to n of from by lot, in the order drawn. from is not changed.
func Random(rng *rand.Rand, from []int, n int) []int {
	out := make([]int, 0, min(n, len(from)))
	for _, k := range rng.Perm(len(from)) {
		if len(out) == n {
			break
		}
		out = append(out, from[k])
	}
	return out
}
