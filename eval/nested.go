package eval

import (
	"context"
	"slices"

	"flourcast/eval/fold"
	"flourcast/model"
	"flourcast/model/design"
	"flourcast/work"
)

// Nested cross-validates the method with its choice: in each training part the
// step is chosen by Choose's rule on an inner split of that part (fold.Inner: 10
// folds by unit), the part is fitted at that step, and the rows left out are
// predicted. A path of one step, and a settled method, need no choice. seed
// decides the inner splits. Errors are those of CrossValidate.
func Nested(ctx context.Context, f model.Fitter, m *design.Matrix, plan fold.Plan, seed uint64, cores int) (*Honest, error) {
	if err := plan.Check(m.N()); err != nil {
		return nil, err
	}
	e, y, err := newEngine(f, m)
	if err != nil {
		return nil, err
	}
	n, repeats := m.N(), plan.Repeats()
	predicted, picks := make([]float64, n), make([][]int, repeats)
	press, meanPRESS := 0.0, 0.0
	one := make([]float64, n)
	for r := range repeats {
		picks[r] = make([]int, plan.K[r])
		means := make([]float64, plan.K[r])
		err := work.Each(ctx, plan.K[r], cores, func(k int) error {
			test, train := split(plan.Fold[r], k)
			means[k] = meanError(y, test)
			w := e.pool.Get().(*bench)
			defer e.pool.Put(w)
			err := w.nested(e, []*response{y}, train, test, innerSeed(seed, r, k), func(_, step int, out []float64) {
				picks[r][k] = step
				for t, i := range test {
					one[i] = out[t]
				}
			})
			if err != nil {
				return &FoldError{plan.Scheme, r, k, err}
			}
			return nil
		})
		if err != nil {
			return nil, err
		}
		for _, v := range means {
			meanPRESS += v
		}
		for i, d := range one {
			press += (y.v[i] - d) * (y.v[i] - d)
			predicted[i] += (y.mean + d) / float64(repeats)
		}
	}
	return honest(predicted, picks, press, meanPRESS, n*repeats), nil
}

// nested chooses a step for each response inside the training rows and calls
// done with it and the predictions of the test rows (deviations, reused memory).
// All that depends on X only is done once for all responses.
func (w *bench) nested(e *engine, ys []*response, train, test []int, seed uint64, done func(q, step int, out []float64)) error {
	var whole *model.Part
	if e.base != nil {
		whole = e.base.Whole()
		for len(w.sums) < len(ys) {
			w.sums = append(w.sums, model.Sums{})
		}
		for q, y := range ys {
			y.sums.Whole().Without(e.base, y.sums, test, &w.sums[q])
		}
	} else {
		w.sums = make([]model.Sums, len(ys))
	}
	w.outer.prepare(e, whole, train, test)
	steps := e.steps(len(train))
	chosen := make([]int, len(ys))
	for q := range chosen {
		chosen[q] = steps - 1
	}
	if steps > 1 && !e.settled {
		var err error
		if steps, err = w.choose(e, ys, seed, chosen); err != nil {
			return err
		}
	}
	for q, y := range ys {
		if err := w.predict(e, &w.outer, y, &w.sums[q], steps); err != nil {
			return err
		}
		at := chosen[q] * len(test)
		done(q, chosen[q], w.out[at:at+len(test)])
	}
	return nil
}

// choose fills in the chosen step of each response from an inner split of the
// outer part, and returns how many steps were compared.
func (w *bench) choose(e *engine, ys []*response, seed uint64, chosen []int) (steps int, err error) {
	rows := w.outer.rows
	units := make([]string, len(rows))
	for k, i := range rows {
		units[k] = e.units[i]
	}
	plan, err := fold.Inner(units, seed)
	if err != nil {
		return 0, err
	}
	steps = e.steps(len(rows) - largestFold(plan))
	if len(w.choices) < len(ys) {
		w.choices = make([]choice, len(ys))
		for q := range w.choices {
			w.choices[q] = newChoice(e.path.Len())
		}
	}
	for q := range ys {
		w.choices[q].reset()
	}
	unit, _ := number(units)
	for k := range plan.K[0] {
		in, out := split(plan.Fold[0], k)
		slices.SortStableFunc(in, func(a, b int) int { return unit[a] - unit[b] })
		ends := make([]int, 0, len(in)) // where each unit's test rows end
		for t := range in {
			if t+1 == len(in) || unit[in[t]] != unit[in[t+1]] {
				ends = append(ends, t+1)
			}
		}
		test, train := at(rows, in), at(rows, out)
		w.inner.prepare(e, w.outer.x, train, test)
		for q, y := range ys {
			if w.inner.fast {
				w.sums[q].Without(e.base, y.sums, test, &w.sum)
			}
			if err := w.predict(e, &w.inner, y, &w.sum, steps); err != nil {
				return 0, err
			}
			w.choices[q].gather(w.out, y.v, test, ends, steps)
		}
	}
	for q := range ys {
		chosen[q] = w.choices[q].step(steps)
	}
	return steps, nil
}

// gather adds each unit's mean squared error of predictions out, [step][test row].
func (c choice) gather(out, v []float64, test, ends []int, steps int) {
	for a := range steps {
		row := out[a*len(test) : (a+1)*len(test)]
		t := 0
		for _, end := range ends {
			sum, from := 0.0, t
			for ; t < end; t++ {
				e := v[test[t]] - row[t]
				sum += e * e
			}
			c.add(a, sum/float64(end-from))
		}
	}
}

func at(rows, positions []int) []int {
	out := make([]int, len(positions))
	for k, i := range positions {
		out[k] = rows[i]
	}
	return out
}
