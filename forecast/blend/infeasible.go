package blend

import (
	"errors"
	"fmt"
	"slices"
	"strings"
)

// Relaxed is a limit as it would have to be, of the blend with the least change of all
// limits together.
type Relaxed struct {
	Property string // "": the most that Flour's stock allows
	Flour    string
	Side     string
	At       float64 // the limit asked for
	Needed   float64 // what the nearest blend has
}

// InfeasibleError says why no blend will do.
//
//   - Conflict are limits that cannot be met together, none to spare: without any one
//     of them the others can.
//   - Nearest are the limits to change for the least change of all together, each
//     change measured against how far the flours differ in that property.
//   - Counted says that a blend would do but for the least share or the number of
//     flours; Needs is then how many flours the cheapest has, and Cost its cost.
type InfeasibleError struct {
	Conflict []Relaxed
	Nearest  []Relaxed
	Shares   []float64 // of the nearest blend; nil when Counted
	Counted  bool
	Needs    int
	Cost     float64
}

// String is the limit in words: "protein_pct at least 9".
func (l Relaxed) String() string {
	sign := "at least"
	if l.Side == High {
		sign = "at most"
	}
	name := l.Property
	if name == "" {
		name = "stock of " + l.Flour
	}
	return fmt.Sprintf("%s %s %.6g", name, sign, l.At)
}

func (e *InfeasibleError) Error() string {
	if e.Counted {
		return fmt.Sprintf("blend: the limits can be met, at %.2f per tonne with %d flours, but not with the least share and the number of flours asked for", e.Cost, e.Needs)
	}
	var conflict, nearest []string
	for _, l := range e.Conflict {
		conflict = append(conflict, l.String())
	}
	for _, l := range e.Nearest {
		nearest = append(nearest, fmt.Sprintf("%s to %.6g", l, l.Needed))
	}
	if len(conflict) == 0 {
		return "blend: no blend meets the limits"
	}
	text := "blend: no blend meets " + strings.Join(conflict, " and ")
	if len(conflict) > 1 {
		text = "blend: no blend meets together " + strings.Join(conflict, " and ")
	}
	if len(nearest) > 0 {
		text += "; the least change: " + strings.Join(nearest, ", ")
	}
	return text
}

// infeasible finds out why.
func (p Problem) infeasible(rows []row) error {
	out := make([]bool, len(p.Flours))
	sol, err := minimise(p.Prices, rows, out, len(out))
	if err == nil {
		e := &InfeasibleError{Counted: true, Cost: sol.cost}
		for _, x := range sol.x {
			if x > 0 {
				e.Needs++
			}
		}
		return e
	}
	if !errors.Is(err, errInfeasible) {
		return err
	}
	// A limit without which the rest still conflicts is not needed for the conflict.
	core := slices.Clone(rows)
	for k := 0; k < len(core); {
		rest := slices.Delete(slices.Clone(core), k, k+1)
		if _, err := minimise(p.Prices, rest, out, len(out)); errors.Is(err, errInfeasible) {
			core = rest
			continue
		} else if err != nil {
			return err
		}
		k++
	}
	e := &InfeasibleError{}
	shares, err := p.nearest(rows)
	if err != nil {
		return err
	}
	e.Shares = shares
	for _, r := range core {
		e.Conflict = append(e.Conflict, p.relaxed(r, shares))
	}
	for _, r := range rows {
		if r.room(shares) < -held {
			e.Nearest = append(e.Nearest, p.relaxed(r, shares))
		}
	}
	return e
}

// relaxed names a row and the figure that the nearest blend has.
func (p Problem) relaxed(r row, shares []float64) Relaxed {
	if r.prop < 0 {
		return Relaxed{Flour: p.Flours[r.flour], Side: High, At: -r.b, Needed: shares[r.flour]}
	}
	q := p.Properties[r.prop]
	l := Relaxed{Property: q.Name, Side: r.side, At: *q.limit(r.side)}
	l.Needed, _ = q.Of(shares) // the figures were checked
	return l
}

// nearest gives the shares that miss the limits least: min Σ v over a·x + v ≥ b, with
// one v for each row. Rows are scaled by the flour farthest from the limit, so that v is
// a share of that distance.
func (p Problem) nearest(rows []row) ([]float64, error) {
	n, m := len(p.Flours), len(rows)
	wide, cost := make([]row, m), make([]float64, n+m)
	for k, r := range rows {
		wide[k] = row{a: make([]float64, n+m), b: r.b}
		copy(wide[k].a, r.a)
		wide[k].a[n+k], cost[n+k] = 1, 1
	}
	sol, err := minimise(cost, wide, make([]bool, n+m), n)
	return sol.x[:min(n, len(sol.x))], err
}
