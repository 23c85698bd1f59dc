package blend

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize/convex/lp"
)

// Tolerances on scaled conditions and on shares: far above what the solver loses, far
// below what anyone weighs.
const (
	held = 1e-8
	tiny = 1e-9
	tol  = 1e-10 // of the solver, on reduced costs relative to the largest price
)

// errInfeasible says that no shares hold all conditions.
var errInfeasible = errors.New("blend: no shares hold all conditions")

// solution is what the solver found: shares of all flours, and their cost.
type solution struct {
	x    []float64
	cost float64
}

// minimise solves min c·x over x ≥ 0, a·x ≥ b for every row, the first flours of x
// adding up to 1, over the columns that are not out; those get 0. Each row gets a
// surplus of its own, so that the rows are independent whatever they say.
//
// It returns errInfeasible, or an error of the solver; what it returns was checked
// against every condition.
func minimise(c []float64, rows []row, out []bool, flours int) (solution, error) {
	var in []int
	for i := range c {
		if !out[i] {
			in = append(in, i)
		}
	}
	n, m := len(in), len(rows)
	if n == 0 {
		return solution{}, errInfeasible
	}
	x := make([]float64, len(c))
	if n == 1 { // the solver wants more columns than rows
		x[in[0]] = 1
		return checked(x, c, rows, flours)
	}
	cmax := 0.0
	for _, i := range in {
		cmax = max(cmax, math.Abs(c[i]))
	}
	if cmax == 0 {
		cmax = 1
	}
	a := mat.NewDense(m+1, n+m, nil)
	b := make([]float64, m+1)
	cost := make([]float64, n+m)
	for j, i := range in {
		cost[j] = c[i] / cmax
		if i < flours {
			a.Set(m, j, 1)
		}
		for k, r := range rows {
			a.Set(k, j, r.a[i])
		}
	}
	b[m] = 1
	for k, r := range rows {
		a.Set(k, n+k, -1)
		b[k] = r.b
	}
	_, full, err := simplex(cost, a, b)
	switch {
	case errors.Is(err, lp.ErrInfeasible):
		return solution{}, errInfeasible
	case err != nil && full == nil:
		return solution{}, fmt.Errorf("blend: %w", err)
	}
	for j, i := range in {
		x[i] = full[j]
	}
	return checked(x, c, rows, flours)
}

// simplex calls the solver; its panics on ill-conditioned bases come back as errors.
func simplex(c []float64, a mat.Matrix, b []float64) (f float64, x []float64, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("the solver gave up: %v", r)
		}
	}()
	return lp.Simplex(c, a, b, tol, nil)
}

// checked rounds shares below tiny to 0, makes them add up to 1, and holds them against
// every condition.
func checked(x, c []float64, rows []row, flours int) (solution, error) {
	sum := 0.0
	for i, v := range x {
		if v < tiny {
			x[i] = 0
		}
		if i < flours {
			sum += x[i]
		}
	}
	if sum < 1-held || sum > 1+held {
		return solution{}, errInfeasible
	}
	s := solution{x: x}
	for i := range x {
		if i < flours {
			x[i] /= sum
		}
		s.cost += c[i] * x[i]
	}
	for _, r := range rows {
		if r.room(x) < -held {
			return solution{}, errInfeasible
		}
	}
	return s, nil
}

// room is a·x − b, by how much the condition holds, in scaled units.
func (r row) room(x []float64) float64 {
	v := -r.b
	for i, a := range r.a {
		v += a * x[i]
	}
	return v
}

// duals solves max b·y + μ over y ≥ 0, A'y + μ ≤ c, the dual programme of minimise,
// whose y are what the conditions cost. Every flour's slack makes its own column, so
// that a first basis is always at hand.
func duals(c []float64, rows []row, out []bool) (y []float64, value float64, err error) {
	var in []int
	cmax := 1.0
	for i := range c {
		if !out[i] {
			in = append(in, i)
			cmax = max(cmax, math.Abs(c[i]))
		}
	}
	var kept []int // conditions on flours that are in; the others cost nothing
	for k, r := range rows {
		if slices.ContainsFunc(in, func(i int) bool { return r.a[i] != 0 }) {
			kept = append(kept, k)
		}
	}
	n, m := len(in), len(kept)
	a := mat.NewDense(n, m+2+n, nil)
	cost, b := make([]float64, m+2+n), make([]float64, n)
	for k, at := range kept {
		cost[k] = -rows[at].b
	}
	cost[m], cost[m+1] = -1, 1
	basis := make([]int, n)
	for j, i := range in {
		for k, at := range kept {
			a.Set(j, k, rows[at].a[i])
		}
		a.Set(j, m, 1)
		a.Set(j, m+1, -1)
		a.Set(j, m+2+j, 1)
		b[j] = c[i] / cmax
		basis[j] = m + 2 + j
	}
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("blend: the solver gave up: %v", r)
		}
	}()
	f, full, err := lp.Simplex(cost, a, b, tol, basis)
	if err != nil {
		return nil, 0, fmt.Errorf("blend: %w", err)
	}
	y = make([]float64, len(rows))
	for k, at := range kept {
		y[at] = full[k] * cmax
	}
	return y, -f * cmax, nil
}
