// Package domain says whether a new lot resembles the lots that a model was
// calibrated on, and by which feature it does not.
//
//  1. Rows of one lot are averaged, features are autoscaled (mean 0, SD 1).
//  2. Principal components describe how the features vary together. Components
//     are kept until they carry 95 % of the variance, at most one per six lots.
//     Exact dependences (breakdown = peak − trough) only lower the rank.
//  3. Three questions are asked of a new lot: does each feature lie where the
//     next lot's may be expected; is the lot far out along the ways in which the
//     calibration lots differed (Hotelling's T²); do its features go together
//     as theirs did (the Q residual)?
//  4. The answer is inside, edge or outside, with the features that cause it,
//     and the calibration lot that is nearest.
//
// A lot is at the edge when T² or Q is above its 95 % limit, or a feature lies
// both beyond its calibrated range and beyond the 95 % prediction limit of one
// further lot, mean ± t·s·√(1 + 1/n), all features taken together (Bonferroni).
// It is outside by the same tests at 99 %, or where a feature differs that
// calibration lots never differed in. Else it is inside. Beyond the range alone
// says little: n lots span a range that the next one passes with probability
// 2/(n + 1) in every single feature. The levels are ours (95 % and 99 % are common
// practice, no source). Of new lots from the very population that was calibrated,
// simulated with ten flour-like features of rank seven, some are called outside
// or edge by chance; the package's tests hold
//
//	calibration lots   15      30      60      100
//	outside            1 %     3 %     2 %     2 %
//	edge or outside    7 %     11 %    11 %    9 %
//
// The package refuses fewer than three lots. It knows no flour and no model.
//
// # In a few lines
//
// Build it of the calibration's matrix, keep it, ask for each new lot:
//
//	known, err := domain.Build(m)
//	place := known.Place(x) // the features in the order of m
//	if place.Where != domain.Inside {
//		fmt.Println(place.Where, place.By)
//	}
package domain

import (
	"fmt"
	"math"
	"slices"

	"flourcast/model/design"
)

// Where a lot stands.
const (
	Inside  = "inside"
	Edge    = "edge"
	Outside = "outside"
)

// Tests that a reason can come from.
const (
	TestRange = "range"
	TestT2    = "t2"
	TestQ     = "q"
)

// levels of edge and outside.
var levels = [2]float64{0.95, 0.99}

const (
	keepShare   = 0.95  // of the variance, carried by the components that are kept
	lotsPerAxis = 6     // calibration lots for each component kept
	rounding    = 0.01  // SDs by which rounding may break an exact dependence
	least       = 1e-12 // variance below which a direction is rounding
	farthest    = 1e9   // SDs; a figure farther out counts as this far
	sameValue   = 1e-9  // of the mean, within which a feature that never varied has its value
)

// Domain is what the calibration lots covered. It is immutable; Build or JSON
// makes one.
type Domain struct {
	features    []string
	lots        int
	mean, sd    []float64   // per feature; sd 0: all calibration lots had one value
	low, high   []float64   // calibrated range
	loadings    [][]float64 // A components of p
	eigenvalues []float64   // variances of the A components
	t2          [2]float64  // 95 % and 99 % limits
	q           [2]float64
	names       []string    // calibration lots
	scores      [][]float64 // of each, divided by √λ: A figures
	spacing     float64     // see Nearest
}

// Placement says where a lot stands and why. T2Limit and QLimit are the 95 %
// limits (edge), T2Outer and QOuter the 99 % limits (outside).
type Placement struct {
	Where    string   `json:"where"` // inside | edge | outside
	By       []string `json:"by"`    // features, heaviest cause first; empty inside
	Reasons  []Reason `json:"reasons"`
	Leverage float64  `json:"leverage"` // 1/n + T²/(n − 1)
	T2       float64  `json:"t2"`
	T2Limit  float64  `json:"t2_limit"`
	T2Outer  float64  `json:"t2_outer"`
	Q        float64  `json:"q"`
	QLimit   float64  `json:"q_limit"`
	QOuter   float64  `json:"q_outer"`
	Nearest  Nearest  `json:"nearest"`
}

// Reason is one feature's part in a placement. Value, Low and High are the lot's
// value and the calibrated range. Amount is, for a range, how many calibration
// SDs beyond it the value lies; for T² and Q, the feature's share of the
// statistic, 0…1 (T² shares can exceed 1, since others may be negative).
type Reason struct {
	Feature string  `json:"feature"`
	Test    string  `json:"test"`  // range | t2 | q
	Where   string  `json:"where"` // edge | outside: what this reason alone makes of the lot
	Value   float64 `json:"value"`
	Low     float64 `json:"low"`
	High    float64 `json:"high"`
	Amount  float64 `json:"amount"`
}

// TooFewLotsError says that the calibration set cannot describe a domain.
type TooFewLotsError struct{ Lots int }

func (e *TooFewLotsError) Error() string {
	return fmt.Sprintf("domain: found %d lots, expected at least 3; calibrate on more lots", e.Lots)
}

// Build describes the domain of m's rows (n lots, p features; p may be 0 and may
// exceed n). It returns a *TooFewLotsError below three lots. Cost: one singular
// value decomposition of n×p, and one more for each lot up to 200 lots.
func Build(m *design.Matrix) (*Domain, error) {
	names, x := lotMeans(m)
	n, p := len(x), m.P()
	if n < 3 {
		return nil, &TooFewLotsError{n}
	}
	d := &Domain{features: slices.Clone(m.Features()), lots: n, low: make([]float64, p), high: make([]float64, p)}
	for j := range p {
		d.low[j], d.high[j] = x[0][j], x[0][j]
		for i := range x {
			d.low[j], d.high[j] = min(d.low[j], x[i][j]), max(d.high[j], x[i][j])
		}
	}
	axes, err := components(x)
	if err != nil {
		return nil, err
	}
	d.mean, d.sd = axes.mean, axes.sd
	a := axes.keep(n)
	d.loadings, d.eigenvalues = axes.loadings[:a], axes.eigenvalues[:a]

	wider, err := leftOutRatio(x, a, axes)
	if err != nil {
		return nil, err
	}
	allowance := rounding * rounding * float64(p)
	for k, level := range levels {
		d.t2[k] = T2Limit(n, a, level)
		d.q[k] = max(wider*QLimit(axes.eigenvalues[a:], level), allowance)
	}
	d.remember(names, x)
	return d, nil
}

// Features are the names of the figures that Place takes, in order.
func (d *Domain) Features() []string { return slices.Clone(d.features) }

// Lots is the number of calibration lots.
func (d *Domain) Lots() int { return d.lots }

// Components is the number of principal components kept.
func (d *Domain) Components() int { return len(d.loadings) }

// Range is the calibrated range of a feature; ok is false for an unknown one.
func (d *Domain) Range(feature string) (low, high float64, ok bool) {
	j := slices.Index(d.features, feature)
	if j < 0 {
		return 0, 0, false
	}
	return d.low[j], d.high[j], true
}

// Place says where a lot with features x (length p, in Build's order and units)
// stands. With z the autoscaled features, t = zP the scores and λ the variances
// of the A components kept:
//
//	T² = Σ t²/λ      contribution of feature j: z_j·Σ_a t_a·p_ja/λ_a, summing to T²
//	Q  = Σ e_j², e = z − tPᵀ, contribution of feature j: e_j², summing to Q
//	h  = 1/n + T²/(n − 1)
//
// Reasons name, for T² and Q, the features that make up half of the statistic,
// at most three. x must be finite and of the right length: it panics otherwise,
// for a caller has checked both.
func (d *Domain) Place(x []float64) Placement {
	if len(x) != len(d.features) {
		panic(fmt.Sprintf("domain: Place of %d figures, expected %d", len(x), len(d.features)))
	}
	z := make([]float64, len(x))
	for j, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			panic(fmt.Sprintf("domain: Place: %s is %v, expected a finite number", d.features[j], v))
		}
		if d.sd[j] > 0 {
			z[j] = min(max((v-d.mean[j])/d.sd[j], -farthest), farthest)
		}
	}
	p := Placement{Where: Inside, T2Limit: d.t2[0], T2Outer: d.t2[1], QLimit: d.q[0], QOuter: d.q[1]}
	e, pull := slices.Clone(z), make([]float64, len(z))
	for a, axis := range d.loadings {
		t := dot(z, axis)
		p.T2 += t * t / d.eigenvalues[a]
		for j, w := range axis {
			e[j] -= t * w
			pull[j] += z[j] * t * w / d.eigenvalues[a]
		}
	}
	p.Q = dot(e, e)
	p.Nearest = d.nearest(z)
	p.Leverage = 1/float64(d.lots) + p.T2/float64(d.lots-1)

	p.Reasons = d.beyond(x)
	square := make([]float64, len(e))
	for j := range e {
		square[j] = e[j] * e[j]
	}
	p.Reasons = append(p.Reasons, d.blame(TestQ, x, square, p.Q, d.q)...)
	p.Reasons = append(p.Reasons, d.blame(TestT2, x, pull, p.T2, d.t2)...)
	slices.SortStableFunc(p.Reasons, func(a, b Reason) int { return weight(b.Where) - weight(a.Where) })
	p.By = []string{}
	for _, r := range p.Reasons {
		if weight(r.Where) > weight(p.Where) {
			p.Where = r.Where
		}
		if !slices.Contains(p.By, r.Feature) {
			p.By = append(p.By, r.Feature)
		}
	}
	return p
}

// beyond lists the features that lie farther out than the next lot's may be
// expected to, farthest first.
func (d *Domain) beyond(x []float64) []Reason {
	out := []Reason{}
	limit := d.farthestExpected()
	for j, v := range x {
		by := max(d.low[j]-v, v-d.high[j])
		if by <= 0 {
			continue
		}
		r := Reason{Feature: d.features[j], Test: TestRange, Where: Edge, Value: v, Low: d.low[j], High: d.high[j]}
		switch {
		case d.sd[j] > 0:
			r.Amount = min(by/d.sd[j], farthest)
			z := math.Abs(v-d.mean[j]) / d.sd[j]
			if z <= limit[0] {
				continue
			}
			if z > limit[1] {
				r.Where = Outside
			}
		case by > sameValue*math.Abs(d.mean[j]):
			r.Amount, r.Where = farthest, Outside // never seen to vary
		default:
			continue // the same value, rounded elsewhere
		}
		out = append(out, r)
	}
	slices.SortStableFunc(out, func(a, b Reason) int { return descending(a.Amount, b.Amount) })
	return out
}

// blame names the features behind a statistic that is above its limit.
func (d *Domain) blame(test string, x, parts []float64, total float64, limits [2]float64) []Reason {
	if total <= limits[0] {
		return nil
	}
	where := Edge
	if total > limits[1] {
		where = Outside
	}
	order := make([]int, len(parts))
	for j := range order {
		order[j] = j
	}
	slices.SortStableFunc(order, func(a, b int) int { return descending(parts[a], parts[b]) })
	var out []Reason
	sum := 0.0
	for _, j := range order {
		if sum >= total/2 || len(out) == 3 {
			break
		}
		sum += parts[j]
		out = append(out, Reason{d.features[j], test, where, x[j], d.low[j], d.high[j], parts[j] / total})
	}
	return out
}

func weight(where string) int { return slices.Index([]string{Inside, Edge, Outside}, where) }

func descending(a, b float64) int {
	switch {
	case a > b:
		return -1
	case a < b:
		return 1
	}
	return 0
}

func dot(a, b []float64) float64 {
	s := 0.0
	for j := range a {
		s += a[j] * b[j]
	}
	return s
}

// lotMeans averages the rows of each lot, lots in order of first appearance.
func lotMeans(m *design.Matrix) (names []string, sums [][]float64) {
	at := map[string]int{}
	var counts []int
	for i, lot := range m.Lots() {
		k, ok := at[lot]
		if !ok {
			k = len(sums)
			at[lot] = k
			names = append(names, lot)
			sums, counts = append(sums, make([]float64, m.P())), append(counts, 0)
		}
		counts[k]++
		for j, v := range m.Row(i) {
			sums[k][j] += (v - sums[k][j]) / float64(counts[k])
		}
	}
	return names, sums
}
