package components

import (
	"fmt"
	"math"
	"slices"
)

// Option is one way to test a unit (a lot): N[i] levels of Plan.Lower[i], each
// within every one before it, and Repeats pieces in the last. SE is the standard
// error of the unit's mean, Tests the pieces in all.
type Option struct {
	N       []int
	Repeats int
	Tests   int
	SE      float64
}

// Plan is what the standard error of a unit's mean comes to. Options is a table
// over small numbers. With a wanted standard error, Ways has for each numbers
// above the last the fewest repeats that reach it, those first that take the
// fewest tests; ways that reach it with no number of repeats up to MostRepeats
// are not in it, and Floor is the least standard error that any of the numbers
// tried could reach.
type Plan struct {
	Unit    string
	Lower   []string
	Repeat  string // what a repeat is: the residual's name
	Options []Option
	Want    float64
	Ways    []Option
	Floor   float64
}

// MostRepeats is how many repeats a plan considers, MostLevels how many levels
// of a factor within the one before it.
const (
	MostRepeats = 50
	MostLevels  = 6
)

var repeatsShown = []int{1, 2, 3, 4, 6, 8, 12, 20}

// SE is the standard error of a unit's mean, in units of the measurement, when
// it is tested on n[i] levels of the i-th factor below the first and with repeats
// pieces in each last cell:
//
//	SE² = Σ over terms but the first factor's own of Variance / Π of the numbers of the term's factors
//
// A term's negative estimate counts as 0. It panics when n has not one positive
// number a factor, or repeats is below 1.
func (a *Analysis) SE(n []int, repeats int) float64 {
	lower := a.lower()
	if len(n) != len(lower) || slices.ContainsFunc(n, func(k int) bool { return k < 1 }) || repeats < 1 {
		panic(fmt.Sprintf("components: SE of %v levels and %d repeats of %d factors", n, repeats, len(lower)))
	}
	v, last := 0.0, len(a.Terms)-1
	for k, t := range a.Terms {
		if k < last && len(t.Factors) == 1 && t.Factors[0] == a.unit() {
			continue
		}
		over := 1.0
		for i, name := range lower {
			if k == last || slices.Contains(t.Factors, name) {
				over *= float64(n[i])
			}
		}
		if k == last {
			over *= float64(repeats)
		}
		v += t.Variance / over
	}
	return math.Sqrt(v)
}

func (a *Analysis) unit() string { return a.Factors[0].Name }

// lower are the factors below the first that have a term; the one that gives the
// residual its name is the repeats.
func (a *Analysis) lower() []string {
	var out []string
	for _, p := range a.Factors[1:] {
		if slices.ContainsFunc(a.Terms[:len(a.Terms)-1], func(t Term) bool { return t.Name == p.Name }) {
			out = append(out, p.Name)
		}
	}
	return out
}

// Plan says what numbers of levels and repeats come to, and which reach the
// wanted standard error; 0 wants none. It returns an *Error for a want that is
// negative or not finite.
func (a *Analysis) Plan(want float64) (Plan, error) {
	if !(want >= 0) || math.IsInf(want, 0) {
		return Plan{}, &Error{"wanted standard error", fmt.Sprint(want), "a finite number above 0"}
	}
	p := Plan{Unit: a.unit(), Lower: a.lower(), Repeat: a.Terms[len(a.Terms)-1].Name, Want: want, Options: []Option{}, Ways: []Option{}}
	p.Floor = math.Inf(1)
	for _, n := range numbers(len(p.Lower)) {
		for _, r := range repeatsShown {
			p.Options = append(p.Options, a.option(n, r))
		}
		p.Floor = min(p.Floor, a.SE(n, MostRepeats))
		if want == 0 {
			continue
		}
		for r := 1; r <= MostRepeats; r++ {
			if a.SE(n, r) <= want {
				p.Ways = append(p.Ways, a.option(n, r))
				break
			}
		}
	}
	slices.SortStableFunc(p.Ways, func(x, y Option) int { return x.Tests - y.Tests })
	return p, nil
}

func (a *Analysis) option(n []int, repeats int) Option {
	tests := repeats
	for _, k := range n {
		tests *= k
	}
	return Option{N: n, Repeats: repeats, Tests: tests, SE: a.SE(n, repeats)}
}

// numbers are the combinations of 1 … MostLevels of k factors; the first factor
// moves slowest. Above three factors each takes 1 or 2.
func numbers(k int) [][]int {
	most := MostLevels
	if k > 3 {
		most = 2
	}
	out := [][]int{{}}
	for range k {
		var next [][]int
		for _, n := range out {
			for v := 1; v <= most; v++ {
				next = append(next, append(slices.Clone(n), v))
			}
		}
		out = next
	}
	return out
}
