// Package components splits the variance of a measurement into the parts that
// lots, days, batches and single pieces have in it.
//
//  1. Factors say for every row which lot, day, batch it comes from; Analyse
//     reads from the labels which factor lies within which, and which cross.
//  2. Sums of squares are taken one term after the other, in the order of the
//     factors; two factors that cross get their interaction where it can be told
//     from the rest.
//  3. Each sum of squares is set equal to its expectation (analysis of variance
//     estimators) and the components are solved for, from the last term upwards.
//     An estimate below zero is reported as 0; the figure itself is kept.
//  4. Plan says how many days, batches and pieces a wanted standard error of a
//     lot's mean takes.
//
// All factors are random. Balanced or not makes no difference to the method;
// with crossed factors that are not balanced, the order of the factors does. It
// refuses figures that are not finite and data without repeats. It knows
// nothing of flour.
package components

import (
	"fmt"
	"math"
	"slices"
)

// Factor is a classification of the rows: one label each, none empty.
type Factor struct {
	Name   string
	Labels []string
}

// Options overrule what the labels say. Crossed and Nested name factors that
// cross all earlier ones, or lie within all earlier ones.
type Options struct{ Crossed, Nested []string }

// Error says what keeps the variance from being split.
type Error struct{ What, Found, Want string }

func (e *Error) Error() string {
	return fmt.Sprintf("components: %s: found %s, expected %s", e.What, e.Found, e.Want)
}

// Term is one line of the analysis. Raw is the estimate of its variance, in
// squared units of the measurement, and Variance max(0, Raw); Share is Variance
// over the sum of all Variances.
type Term struct {
	Name     string
	Factors  []string // the factors whose levels it multiplies, the earlier first
	Levels   int      // cells with at least one row
	DF       int
	SS, MS   float64
	Raw      float64
	Variance float64
	Share    float64
	// Expected are the coefficients of the expected mean square: Expected[i] is
	// that of the variance of term i; the last, of the residual, is 1.
	Expected []float64
}

// Analysis is the variance of N figures by term. The last term is the residual:
// what differs between rows that share all labels.
type Analysis struct {
	N       int
	Mean    float64
	Terms   []Term
	Factors []Placed
	// Left are terms that cannot be told from others in these data, and why.
	Left []Left
}

// Placed says how a factor was read: it lies within the factors Within, and
// crosses the factors Crossed. Counted is set where its labels only count (1, 2,
// 3) and recur under others, so that they were taken as counted anew.
type Placed struct {
	Name            string
	Labels          int // distinct ones, as written
	Within, Crossed []string
	Counted         bool
}

// Left is a term without an estimate.
type Left struct{ Name, Reason string }

// Residual names the last term where no factor does.
const Residual = "residual"

// Analyse splits the variance of y, one figure a row, by factors, the widest
// first. Which factor lies within which is read from the labels:
//
//   - A factor each of whose labels stands under one label of an earlier factor
//     lies within that factor.
//   - Labels that recur under several and only count (1, 2, 3; B1, B2; a, b) are
//     taken as counted anew: the factor lies within all earlier ones.
//   - Other labels that recur (dates, names, temperatures) mean the same wherever
//     they stand: the factor crosses.
//
// The sums of squares are sequential; with P_k the projection on the columns of
// terms up to k and Z_j the indicator columns of term j,
//
//	SS_k = y'(P_k − P_{k−1})y
//	E SS_k = df_k·σ² + Σ_{j ≥ k} tr[Z_j'(P_k − P_{k−1})Z_j]·σ_j²
//
// (Searle, Casella & McCulloch 1992, Variance Components, ch. 5; from memory). In
// balanced nested data σ_k² = (MS_k − MS_{k+1})/rows of a cell of k. Errors are *Error.
func Analyse(y []float64, factors []Factor, opt Options) (*Analysis, error) {
	if err := check(y, factors, opt); err != nil {
		return nil, err
	}
	a := &Analysis{N: len(y)}
	for _, v := range y {
		a.Mean += v / float64(len(y))
	}
	centred := make([]float64, len(y))
	for i, v := range y {
		centred[i] = v - a.Mean
	}
	cells := a.place(factors, opt)
	terms, residual := a.terms(factors, cells)
	sums, err := sequential(centred, terms)
	if err != nil {
		return nil, err
	}
	return a, a.solve(terms, residual, sums)
}

func check(y []float64, factors []Factor, opt Options) error {
	if len(y) < 3 {
		return &Error{"rows", fmt.Sprint(len(y)), "at least 3"}
	}
	for i, v := range y {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return &Error{fmt.Sprint("row ", i+1), fmt.Sprint(v), "a finite figure"}
		}
	}
	if len(factors) == 0 {
		return &Error{"factors", "none", "at least one"}
	}
	var names []string
	for _, f := range factors {
		switch {
		case f.Name == "" || f.Name == Residual || slices.Contains(names, f.Name):
			return &Error{"factors", fmt.Sprintf("the name %q", f.Name), "a name of its own for each, and not " + Residual}
		case len(f.Labels) != len(y):
			return &Error{f.Name, fmt.Sprint(len(f.Labels), " labels"), fmt.Sprint(len(y), ", one a row")}
		}
		if i := slices.Index(f.Labels, ""); i >= 0 {
			return &Error{f.Name, fmt.Sprint("no label in row ", i+1), "a label in every row"}
		}
		names = append(names, f.Name)
	}
	for _, n := range append(slices.Clone(opt.Crossed), opt.Nested...) {
		if !slices.Contains(names, n) {
			return &Error{"options", "the factor " + n, fmt.Sprint("one of ", names)}
		}
		if slices.Contains(opt.Crossed, n) && slices.Contains(opt.Nested, n) {
			return &Error{"options", n + " as crossed and as nested", "one of the two"}
		}
	}
	return nil
}

// solve equates mean squares with their expectations, from the last term upwards.
func (a *Analysis) solve(terms []term, residual string, s sums) error {
	rest := len(s.df) - 1
	if s.df[rest] < 1 {
		return &Error{"repeats", "no rows that share all labels", "at least two rows in a cell of the last factor; or leave that factor out"}
	}
	var kept []int
	for k, t := range terms {
		if s.df[k] == 0 {
			a.Left = append(a.Left, Left{t.name, "its levels cannot be told from those of the terms before it"})
			continue
		}
		kept = append(kept, k)
	}
	kept = append(kept, rest)
	for _, k := range kept {
		t := Term{Name: residual, DF: s.df[k], SS: s.ss[k], MS: s.ss[k] / float64(s.df[k]), Levels: a.N}
		if k < rest {
			t.Name, t.Factors, t.Levels = terms[k].name, terms[k].factors, terms[k].levels
			for _, j := range kept[:len(kept)-1] {
				t.Expected = append(t.Expected, s.expected[k][j]/float64(t.DF))
			}
		} else {
			t.Expected = make([]float64, len(kept)-1)
			for _, p := range a.Factors {
				t.Factors = append(t.Factors, p.Name)
			}
		}
		t.Expected = append(t.Expected, 1)
		a.Terms = append(a.Terms, t)
	}
	total := 0.0
	for k := len(a.Terms) - 1; k >= 0; k-- {
		t := &a.Terms[k]
		t.Raw = t.MS
		for j := k + 1; j < len(a.Terms); j++ {
			t.Raw -= t.Expected[j] * a.Terms[j].Raw
		}
		t.Raw /= t.Expected[k]
		t.Variance = max(0, t.Raw)
		total += t.Variance
	}
	for k := range a.Terms {
		if total > 0 {
			a.Terms[k].Share = a.Terms[k].Variance / total
		}
	}
	return nil
}

// LevelMean is the plain mean of the rows with one label.
type LevelMean struct {
	Label string
	N     int
	Mean  float64
}

// Means are the means of y by label, in order of appearance.
func Means(y []float64, labels []string) []LevelMean {
	at := map[string]int{}
	var out []LevelMean
	for i, l := range labels {
		k, ok := at[l]
		if !ok {
			k = len(out)
			at[l] = k
			out = append(out, LevelMean{Label: l})
		}
		out[k].N++
		out[k].Mean += (y[i] - out[k].Mean) / float64(out[k].N)
	}
	return out
}
