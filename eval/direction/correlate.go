package direction

import (
	"context"
	"math"
	"slices"
	"strconv"

	"flourcast/work"
	"gonum.org/v1/gonum/stat/distuv"
)

const (
	resamples = 1999
	z95       = 1.959963984540054
	ceiling   = 1 - 1e-12 // |r| beyond which atanh is not taken
)

// pair is one feature and one response over the lots that have both, each
// brought to mean 0 and SD 1; year is a number for each crop year, -1 unknown.
type pair struct {
	x, y    []float64
	sdX     float64
	year    []int
	years   int
	flat    string // "feature" or "response" when that one does not vary
	protein []float64
	known   []bool // protein is known
}

// statistic computes a figure of the chosen lots; ok is false where it is not
// defined (no variance).
type statistic func(lots []int) (v float64, ok bool)

// correlation returns Pearson's r of the chosen lots; ok is false when one side
// does not vary among them.
func (p pair) correlation(lots []int) (float64, bool) {
	var sx, sy, xx, yy, xy float64
	for _, i := range lots {
		x, y := p.x[i], p.y[i]
		sx, sy, xx, yy, xy = sx+x, sy+y, xx+x*x, yy+y*y, xy+x*y
	}
	n := float64(len(lots))
	return ratio(xx-sx*sx/n, yy-sy*sy/n, xy-sx*sy/n, n)
}

// within returns Pearson's r after each crop year's mean is taken off both sides.
func (p pair) within(lots []int) (float64, bool) {
	count, sumX, sumY := make([]float64, p.years), make([]float64, p.years), make([]float64, p.years)
	var xx, yy, xy float64
	for _, i := range lots {
		x, y, k := p.x[i], p.y[i], p.year[i]
		count[k], sumX[k], sumY[k] = count[k]+1, sumX[k]+x, sumY[k]+y
		xx, yy, xy = xx+x*x, yy+y*y, xy+x*y
	}
	for k, n := range count {
		if n > 0 {
			xx, yy, xy = xx-sumX[k]*sumX[k]/n, yy-sumY[k]*sumY[k]/n, xy-sumX[k]*sumY[k]/n
		}
	}
	return ratio(xx, yy, xy, float64(len(lots)))
}

// curvature returns the correlation of y with x² given x: below zero where the
// response is highest in between.
func (p pair) curvature(lots []int) (float64, bool) {
	square := pair{x: make([]float64, len(p.x)), y: p.x}
	for i, v := range p.x {
		square.x[i] = v * v
	}
	yx, ok1 := p.correlation(lots)
	qx, ok2 := square.correlation(lots)
	yq, ok3 := pair{x: square.x, y: p.y}.correlation(lots)
	if !ok1 || !ok2 || !ok3 {
		return 0, false
	}
	return given(yq, yx, qx)
}

// given is the correlation of a and b with c held constant:
//
//	(r_ab − r_ac·r_bc)/√[(1 − r_ac²)(1 − r_bc²)]
func given(ab, ac, bc float64) (float64, bool) {
	rest := (1 - ac*ac) * (1 - bc*bc)
	if rest < 1e-12 {
		return 0, false
	}
	return bounded((ab - ac*bc) / math.Sqrt(rest)), true
}

func ratio(xx, yy, xy, n float64) (float64, bool) {
	if n < 3 || xx < 1e-9*n || yy < 1e-9*n {
		return 0, false
	}
	return bounded(xy / math.Sqrt(xx*yy)), true
}

func bounded(r float64) float64 { return min(1, max(-1, r)) }

// fisher is the 95 % interval of a correlation over n lots with k variables held
// constant: tanh(atanh r ± 1.96/√(n − 3 − k)). n − 3 − k must be positive.
func fisher(r float64, n, k int) (low, high float64) {
	z, half := math.Atanh(min(ceiling, max(-ceiling, r))), z95/math.Sqrt(float64(n-3-k))
	return math.Tanh(z - half), math.Tanh(z + half)
}

// bootstrap is the 95 % percentile interval of a statistic over the given lots:
// 1,999 resamples of whole lots; the 50th smallest and the 50th largest value
// (Efron & Tibshirani 1993, An Introduction to the Bootstrap, ch. 13, from
// memory). ok is false when more than one resample in twenty leaves the
// statistic undefined. Resample b draws from the stream of seed, label and b, so
// the interval does not depend on cores.
func bootstrap(ctx context.Context, lots []int, f statistic, seed uint64, label string, cores int) (low, high float64, ok bool, err error) {
	values, defined := make([]float64, resamples), make([]bool, resamples)
	err = work.Each(ctx, resamples, cores, func(b int) error {
		rng := work.Rand(seed, "direction", label, strconv.Itoa(b))
		drawn := make([]int, len(lots))
		for i := range drawn {
			drawn[i] = lots[rng.IntN(len(lots))]
		}
		values[b], defined[b] = f(drawn)
		return nil
	})
	if err != nil {
		return 0, 0, false, err
	}
	kept := make([]float64, 0, resamples)
	for b, v := range values {
		if defined[b] {
			kept = append(kept, v)
		}
	}
	if len(kept) < resamples*19/20 {
		return 0, 0, false, nil
	}
	slices.Sort(kept)
	tail := (len(kept) + 1) / 40 // 2.5 %
	return kept[tail-1], kept[len(kept)-tail], true, nil
}

// fisherP is the two-sided p of r over n lots against no correlation.
func fisherP(r float64, n int) float64 {
	return twoSided(math.Atanh(min(ceiling, max(-ceiling, r))) * math.Sqrt(float64(n-3)))
}

// differenceP is the two-sided p that two correlations over n and m other lots
// are of one population: (atanh r − atanh q)/√[1/(n − 3) + 1/(m − 3)] is normal.
func differenceP(r float64, n int, q float64, m int) float64 {
	a, b := math.Atanh(min(ceiling, max(-ceiling, r))), math.Atanh(min(ceiling, max(-ceiling, q)))
	return twoSided((a - b) / math.Sqrt(1/float64(n-3)+1/float64(m-3)))
}

func twoSided(z float64) float64 { return min(1, 2*distuv.UnitNormal.CDF(-math.Abs(z))) }

// FalseDiscovery returns the Benjamini–Hochberg adjusted values of p, in p's
// order: the smallest false discovery rate at which each would be called
// (Benjamini & Hochberg 1995, J R Stat Soc B 57:289).
func FalseDiscovery(p []float64) []float64 {
	order := make([]int, len(p))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case p[a] < p[b]:
			return -1
		case p[a] > p[b]:
			return 1
		}
		return 0
	})
	out, least := make([]float64, len(p)), 1.0
	for k := len(order) - 1; k >= 0; k-- {
		least = min(least, p[order[k]]*float64(len(p))/float64(k+1))
		out[order[k]] = least
	}
	return out
}
