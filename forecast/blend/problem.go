// Package blend finds the cheapest blend of flours that meets limits.
//
//  1. Under its mixing rule (package mixing) every property is a straight line in the
//     shares, and so is every limit.
//  2. Solve finds the shares of least cost by linear programming, with a least share
//     and a largest number of flours by branch and bound.
//  3. The answer says which limits bind and what relaxing each by one unit saves, from
//     the dual programme. When nothing is feasible, InfeasibleError names the limits
//     that conflict and the least change that would do.
//
// What the solver finds is held against every condition, and the two programmes against
// each other. It refuses figures that a rule cannot take. Whether flours may be blended
// at all is not its business. It knows no flour.
package blend

import (
	"fmt"
	"math"

	"flourcast/forecast/mixing"
)

// Property is one figure of the flours with the limits that the blend is to keep,
// included; nil on a side without. Weights are what a share counts for, such as the
// dry matter of the flour for a protein on a fixed moisture basis; nil: 1.
type Property struct {
	Name      string
	Values    []float64
	Weights   []float64
	Rule      mixing.Rule
	Low, High *float64
}

// Problem is the flours to blend, n of them. Most is the largest share of each (what
// the stock allows), nil: 1. A flour that is used has MinShare or more; MaxFlours or
// fewer are used, 0: any number.
type Problem struct {
	Flours     []string
	Prices     []float64 // per tonne, 0 or more
	Properties []Property
	Most       []float64
	MinShare   float64
	MaxFlours  int
}

// Sides of a limit.
const (
	Low  = "low"
	High = "high"
)

// row is one condition a·x ≥ b on the shares, scaled so that the largest |a| is 1.
type row struct {
	a     []float64
	b     float64
	scale float64 // what a was divided by
	prop  int     // index into Properties, or −1: the most of a flour
	side  string
	flour int
}

// Check returns an error for a problem that cannot be put: lengths, prices, shares, or
// a *mixing.ValueError for a figure or limit that a rule cannot take.
func (p Problem) Check() error {
	n := len(p.Flours)
	switch {
	case n == 0:
		return fmt.Errorf("blend: no flour")
	case len(p.Prices) != n, p.Most != nil && len(p.Most) != n:
		return fmt.Errorf("blend: %d flours, %d prices, %d largest shares", n, len(p.Prices), len(p.Most))
	case !(p.MinShare >= 0 && p.MinShare <= 1):
		return fmt.Errorf("blend: least share %v, expected 0 to 1", p.MinShare)
	case p.MaxFlours < 0:
		return fmt.Errorf("blend: at most %d flours, expected 1 or more", p.MaxFlours)
	}
	for i, c := range p.Prices {
		if !(c >= 0) || math.IsInf(c, 0) {
			return &mixing.ValueError{Property: "price", Of: p.Flours[i], Found: fmt.Sprint(c), Want: "0 or more"}
		}
		if p.Most != nil && !(p.Most[i] >= 0) {
			return &mixing.ValueError{Property: "largest share", Of: p.Flours[i], Found: fmt.Sprint(p.Most[i]), Want: "0 or more"}
		}
	}
	for _, q := range p.Properties {
		if len(q.Values) != n || q.Weights != nil && len(q.Weights) != n {
			return fmt.Errorf("blend: %s: %d figures for %d flours", q.Name, len(q.Values), n)
		}
		for i, v := range q.Values {
			if _, ok := q.Rule.To(v); !ok {
				return &mixing.ValueError{Property: q.Name, Of: p.Flours[i], Found: fmt.Sprint(v), Want: q.Rule.Wants()}
			}
			if q.Weights != nil && !(q.Weights[i] > 0 && q.Weights[i] <= 1) {
				return &mixing.ValueError{Property: "weight of " + q.Name, Of: p.Flours[i], Found: fmt.Sprint(q.Weights[i]), Want: "above 0, at most 1"}
			}
		}
		for _, v := range []*float64{q.Low, q.High} {
			if v == nil {
				continue
			}
			if _, ok := q.Rule.To(*v); !ok {
				return &mixing.ValueError{Property: q.Name, Of: "the limit", Found: fmt.Sprint(*v), Want: q.Rule.Wants()}
			}
		}
		if q.Low != nil && q.High != nil && *q.Low > *q.High {
			return &mixing.ValueError{Property: q.Name, Of: "the limits", Found: fmt.Sprintf("%v to %v", *q.Low, *q.High), Want: "the lower first"}
		}
	}
	return nil
}

func (q Property) weight(i int) float64 {
	if q.Weights == nil {
		return 1
	}
	return q.Weights[i]
}

func (q Property) limit(side string) *float64 {
	if side == High {
		return q.High
	}
	return q.Low
}

// Of is the blend's figure; shares as long as Values. Errors are those of mixing.Rule.Mix.
func (q Property) Of(shares []float64) (float64, error) {
	w := make([]float64, len(shares))
	for i, x := range shares {
		w[i] = x * q.weight(i)
	}
	return q.Rule.Mix(q.Values, w)
}

// rows are the conditions of the problem. A limit L of a property under rule g is
//
//	Σ xᵢ·wᵢ·(g(vᵢ) − g(L)) ≥ 0
//
// with the sign turned for an upper limit or a falling g: a straight line in x even
// where the weights differ. Rows that hold for any shares are left out.
func (p Problem) rows() []row {
	var out []row
	for k, q := range p.Properties {
		for _, side := range []string{Low, High} {
			limit := q.limit(side)
			if limit == nil {
				continue
			}
			at, _ := q.Rule.To(*limit)
			sign := 1.0
			if (side == High) == q.Rule.Rising() {
				sign = -1
			}
			r := row{a: make([]float64, len(q.Values)), prop: k, side: side, flour: -1}
			for i, v := range q.Values {
				g, _ := q.Rule.To(v)
				r.a[i] = sign * q.weight(i) * (g - at)
				r.scale = max(r.scale, math.Abs(r.a[i]))
			}
			if r.scale == 0 {
				continue // every flour stands at the limit
			}
			for i := range r.a {
				r.a[i] /= r.scale
			}
			out = append(out, r)
		}
	}
	for i, most := range p.Most {
		if most < 1 {
			r := row{a: make([]float64, len(p.Flours)), b: -most, scale: 1, prop: -1, side: High, flour: i}
			r.a[i] = -1
			out = append(out, r)
		}
	}
	return out
}
