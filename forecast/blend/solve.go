package blend

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// mostNodes bounds the search for a largest number of flours; real stocks take a few
// hundred.
const mostNodes = 50_000

// Limit is what became of one limit. Value is the blend's figure. Saves is what
// relaxing the limit by one unit saves per tonne of blend, 0 or more; it holds for a
// small change, with the same flours to choose from. A Property of "" is the most that
// Flour's stock allows, and Saves is then per unit of share.
type Limit struct {
	Property string
	Flour    string
	Side     string
	At       float64
	Value    float64
	Binds    bool
	Saves    float64
}

// Answer is the blend of least cost. Several says that more limits meet at it than it
// has need of: Saves is then one of several figures, and relaxing one limit alone may
// save less.
type Answer struct {
	Shares  []float64
	Cost    float64
	Limits  []Limit
	Several bool
	Looked  int // linear programmes solved
}

// Solve finds the answer. Errors: those of Check, *InfeasibleError, or one of the solver.
func Solve(p Problem) (*Answer, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	s := &search{p: p, rows: p.rows()}
	err := s.visit(make([]state, len(p.Flours)))
	if err != nil {
		return nil, err
	}
	if s.best == nil {
		return nil, p.infeasible(s.rows)
	}
	return s.answer()
}

// state of a flour in the search.
type state int8

const (
	free state = iota
	used       // at least the least share
	left       // out
)

type search struct {
	p    Problem
	rows []row

	best      *solution
	bestRows  []row // of the programme that found it, with least shares
	bestOut   []bool
	programme int
}

// visit solves the programme without the flours left out. Its cost is a lower bound;
// where its blend breaks a count or a least share, one flour is decided both ways.
func (s *search) visit(states []state) error {
	n, inUse := len(states), 0
	for _, st := range states {
		if st == used {
			inUse++
		}
	}
	full := s.p.MaxFlours > 0 && inUse >= s.p.MaxFlours
	if s.p.MaxFlours > 0 && inUse > s.p.MaxFlours || float64(inUse)*s.p.MinShare > 1+held {
		return nil
	}
	if s.programme++; s.programme > mostNodes {
		return fmt.Errorf("blend: %d programmes were not enough to settle which flours to use: take some flours out of the stock file, or drop the least share or the number of flours", mostNodes)
	}
	out, rows := make([]bool, n), slices.Clone(s.rows)
	for i, st := range states {
		out[i] = st == left || st == free && full
		if st == used && s.p.MinShare > 0 {
			r := row{a: make([]float64, n), b: s.p.MinShare, scale: 1, prop: -1, side: Low, flour: i}
			r.a[i] = 1
			rows = append(rows, r)
		}
	}
	sol, err := minimise(s.p.Prices, rows, out, n)
	if errors.Is(err, errInfeasible) {
		return nil
	}
	if err != nil {
		return err
	}
	if s.best != nil && sol.cost >= s.best.cost-1e-9*(1+math.Abs(s.best.cost)) {
		return nil
	}
	undecided, count := -1, 0
	for i, x := range sol.x {
		if x > 0 {
			count++
		}
		if x > 0 && x < s.p.MinShare-held && states[i] == free && (undecided < 0 || x > sol.x[undecided]) {
			undecided = i
		}
	}
	if undecided < 0 && s.p.MaxFlours > 0 && count > s.p.MaxFlours {
		for i, x := range sol.x {
			if x > 0 && states[i] == free && (undecided < 0 || x > sol.x[undecided]) {
				undecided = i
			}
		}
	}
	if undecided < 0 {
		s.best, s.bestRows, s.bestOut = &sol, rows, out
		return nil
	}
	for _, st := range []state{used, left} {
		next := slices.Clone(states)
		next[undecided] = st
		if err := s.visit(next); err != nil {
			return err
		}
	}
	return nil
}

// answer adds what binds and what it costs. The duals are those of the programme that
// found the blend, and their value must be its cost: both solvers agree, or it is said.
func (s *search) answer() (*Answer, error) {
	a := &Answer{Shares: s.best.x, Cost: s.best.cost, Looked: s.programme}
	y, value, err := duals(s.p.Prices, s.bestRows, s.bestOut)
	if err != nil {
		return nil, err
	}
	if math.Abs(value-a.Cost) > 1e-6*(1+math.Abs(a.Cost)) {
		return nil, fmt.Errorf("blend: the solver's two answers differ (%.10g and %.10g per tonne): the figures are too ill-conditioned to trust either", a.Cost, value)
	}
	positive, binding := 0, 0
	for _, x := range a.Shares {
		if x > 0 {
			positive++
		}
	}
	for k, r := range s.bestRows {
		binds := r.room(a.Shares) < held
		if binds {
			binding++
		}
		price := max(0, y[k]) / r.scale
		switch {
		case r.prop >= 0:
			q := s.p.Properties[r.prop]
			l := Limit{Property: q.Name, Side: r.side, At: *q.limit(r.side), Binds: binds}
			if l.Value, err = q.Of(a.Shares); err != nil {
				return nil, err
			}
			if binds {
				mass := 0.0
				for i, x := range a.Shares {
					mass += x * q.weight(i)
				}
				l.Saves = price * mass * math.Abs(q.Rule.Slope(l.At))
			}
			a.Limits = append(a.Limits, l)
		case r.side == High:
			l := Limit{Flour: s.p.Flours[r.flour], Side: High, At: -r.b, Value: a.Shares[r.flour], Binds: binds}
			if binds {
				l.Saves = price
			}
			a.Limits = append(a.Limits, l)
		}
	}
	a.Several = binding > positive-1
	return a, nil
}
