package eval

import (
	"context"
	"math"
	"strconv"

	"flourcast/eval/fold"
	"flourcast/model"
	"flourcast/model/design"
	"flourcast/work"
)

// CrossValidate predicts every row of m by models fitted without its fold, for
// every step of f's path, in every repeat of the plan. Steps are those that the
// smallest training part allows. The figures are the same bits for any number of
// cores (0: all). Cost for a method on cross-products: n·p²/2 once, then for each
// fold p²·(n_T/2 + steps). Errors: those of f.Fit on all rows and of plan.Check,
// *model.NoVarianceError, *FoldError, ctx's.
func CrossValidate(ctx context.Context, f model.Fitter, m *design.Matrix, plan fold.Plan, cores int) (*CV, error) {
	if err := plan.Check(m.N()); err != nil {
		return nil, err
	}
	e, y, err := newEngine(f, m)
	if err != nil {
		return nil, err
	}
	n, repeats := m.N(), plan.Repeats()
	steps := e.steps(n - largestFold(plan))
	cv := &CV{Scheme: plan.Scheme, PRESS: make([]float64, steps), RMSECV: make([]float64, steps), Q2: make([]float64, steps),
		Predicted: make([][]float64, steps), Squared: make([][]float64, steps), repeats: repeats, settled: e.settled}
	for a := range steps {
		cv.Labels, cv.Steps = append(cv.Labels, e.path.Label(a)), append(cv.Steps, e.path.At(a).Complexity())
		cv.Predicted[a], cv.Squared[a] = make([]float64, n), make([]float64, n)
	}
	out := make([]float64, steps*n) // of one repeat, [step][row]
	for r := range repeats {
		means := make([]float64, plan.K[r])
		err := work.Each(ctx, plan.K[r], cores, func(k int) error {
			test, train := split(plan.Fold[r], k)
			means[k] = meanError(y, test)
			w := e.pool.Get().(*bench)
			defer e.pool.Put(w)
			if err := w.leave(e, y, train, test, steps); err != nil {
				return &FoldError{plan.Scheme, r, k, err}
			}
			for a := range steps {
				for t, i := range test {
					out[a*n+i] = w.out[a*len(test)+t]
				}
			}
			return nil
		})
		if err != nil {
			return nil, err
		}
		for _, v := range means {
			cv.MeanPRESS += v
		}
		for a := range steps {
			for i, v := range y.v {
				d := out[a*n+i]
				e2 := (v - d) * (v - d)
				cv.PRESS[a] += e2
				cv.Squared[a][i] += e2 / float64(repeats)
				cv.Predicted[a][i] += (y.mean + d) / float64(repeats)
			}
		}
	}
	for a, press := range cv.PRESS {
		cv.RMSECV[a] = math.Sqrt(press / float64(n*repeats))
		cv.Q2[a] = 1 - press/cv.MeanPRESS
	}
	cv.Chosen = Choose(cv, m)
	return cv, nil
}

// leave predicts the test rows of one response from the others.
func (w *bench) leave(e *engine, y *response, train, test []int, steps int) error {
	var whole *model.Part
	if e.base != nil {
		whole = e.base.Whole()
		y.sums.Whole().Without(e.base, y.sums, test, &w.sum)
	}
	w.outer.prepare(e, whole, train, test)
	return w.predict(e, &w.outer, y, &w.sum, steps)
}

func largestFold(p fold.Plan) int {
	most := 0
	for r, of := range p.Fold {
		size := make([]int, p.K[r])
		for _, k := range of {
			size[k]++
			most = max(most, size[k])
		}
	}
	return most
}

func innerSeed(seed uint64, repeat, fold int) uint64 {
	return work.Seed(seed, "inner", strconv.Itoa(repeat), strconv.Itoa(fold))
}
