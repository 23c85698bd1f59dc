// Package eval asks how well a method predicts lots it has not seen.
//
//  1. CrossValidate predicts every row from models that never saw its lot, for
//     every step of the method's path, beside the mean model on the same folds.
//  2. Choose takes the smallest step within one standard error of the best.
//  3. Nested makes that choice inside each training part, so that the reported
//     error comes from lots that the choice never saw.
//  4. Permute repeats Nested on shuffled responses: how often does chance do as
//     well?
//
// Training parts are fitted by package part, quickly where that costs no digits.
//
// It names no method. It refuses a response without variance, a plan that does
// not split, and a training part that the method cannot fit (a *FoldError says
// which).
//
// # In a few lines
//
// Say what never parts (rows of a lot, lots of a family), make a plan of folds, ask:
//
//	units, _ := fold.Units(m)
//	plan, err := fold.ByUnit(units, 10, 10, seed)             // 10 folds, 10 times
//	honest, err := eval.Nested(ctx, pls.PLS{}, m, plan, seed, 0) // 0: all cores, same bits
//	fmt.Println(honest.RMSECV, honest.Q2)
//	chance, err := eval.Permute(ctx, pls.PLS{}, m, plan, 999, seed, 0, nil)
//	fmt.Println(chance.P)
package eval

import (
	"fmt"
	"math"

	"flourcast/model"
	"flourcast/model/design"
)

// CV is a cross-validation of every step of a path.
type CV struct {
	Scheme string
	// Labels and Steps name each step: "3 components".
	Labels []string
	Steps  []model.Complexity
	// PRESS is the sum of squared errors of each step over rows and repeats, and
	// MeanPRESS that of the mean model on the same folds.
	PRESS     []float64
	MeanPRESS float64
	// RMSECV is √(PRESS/(rows·repeats)), Q2 is 1 − PRESS/MeanPRESS.
	RMSECV, Q2 []float64
	// Predicted and Squared are the mean prediction and mean squared error over
	// repeats, [step][row].
	Predicted, Squared [][]float64
	// Chosen is the step of Choose.
	Chosen int

	repeats int
	settled bool
}

// Honest is a cross-validation whose step was chosen inside each training part,
// or stood fixed before.
type Honest struct {
	RMSECV, Q2 float64
	// Predicted is the out-of-fold prediction of each row, mean over repeats.
	Predicted        []float64
	PRESS, MeanPRESS float64
	// Picks is the chosen step, [repeat][fold]; nil where nothing was chosen.
	Picks [][]int
	// MSECV is PRESS/(rows·repeats).
	MSECV float64
}

// FoldError says which training part could not be fitted. Repeat and Fold count
// from 0.
type FoldError struct {
	Scheme       string
	Repeat, Fold int
	Err          error
}

func (e *FoldError) Error() string {
	return fmt.Sprintf("eval: %s, repeat %d, without fold %d: %v", e.Scheme, e.Repeat+1, e.Fold+1, e.Err)
}

func (e *FoldError) Unwrap() error { return e.Err }

// Choose returns the smallest step whose mean squared error is no more than the
// least one's plus its standard error, sd(e²)/√n (Breiman's rule; Hastie,
// Tibshirani and Friedman, Elements of Statistical Learning, §7.10, from
// memory). e² is averaged over repeats and over the rows of a lot; n is the
// number of lots. A settled method's last step is returned as it is.
func Choose(cv *CV, m *design.Matrix) int {
	if cv.settled {
		return len(cv.PRESS) - 1
	}
	lot, lots := number(m.Lots())
	rows := make([]float64, lots)
	for _, l := range lot {
		rows[l]++
	}
	c := newChoice(len(cv.PRESS))
	for a, squared := range cv.Squared {
		each := make([]float64, lots)
		for i, e2 := range squared {
			each[lot[i]] += e2
		}
		for l, sum := range each {
			c.add(a, sum/rows[l])
		}
	}
	return c.step(len(cv.PRESS))
}

// choice gathers e² of lots for each step.
type choice struct{ n, sum, squares []float64 }

func newChoice(steps int) choice {
	return choice{make([]float64, steps), make([]float64, steps), make([]float64, steps)}
}

func (c choice) add(step int, e2 float64) {
	c.n[step]++
	c.sum[step] += e2
	c.squares[step] += e2 * e2
}

// step is the rule of Choose over the first steps steps.
func (c choice) step(steps int) int {
	best := c.least(steps)
	n := c.n[best]
	limit := c.sum[best] / n
	if n > 1 {
		limit += math.Sqrt(max(0, c.squares[best]-c.sum[best]*c.sum[best]/n) / (n - 1) / n)
	}
	for a := range best {
		if c.sum[a]/n <= limit {
			return a
		}
	}
	return best
}

// least is the step of least error, the first of equals.
func (c choice) least(steps int) int {
	best := 0
	for a := range steps {
		if c.sum[a] < c.sum[best] {
			best = a
		}
	}
	return best
}

// number gives distinct names numbers in order of first appearance.
func number(names []string) (of []int, distinct int) {
	at := map[string]int{}
	of = make([]int, len(names))
	for i, name := range names {
		k, ok := at[name]
		if !ok {
			k = len(at)
			at[name] = k
		}
		of[i] = k
	}
	return of, len(at)
}

// Fixed is what a cross-validation says of one step that stood fixed before the
// data were seen.
func Fixed(cv *CV, m *design.Matrix, step int) *Honest {
	return honest(cv.Predicted[step], nil, cv.PRESS[step], cv.MeanPRESS, m.N()*cv.repeats)
}

func honest(predicted []float64, picks [][]int, press, meanPRESS float64, rows int) *Honest {
	mse := press / float64(rows)
	return &Honest{RMSECV: math.Sqrt(mse), Q2: 1 - press/meanPRESS, Predicted: predicted, PRESS: press, MeanPRESS: meanPRESS, Picks: picks, MSECV: mse}
}
