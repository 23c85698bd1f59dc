package eval

import (
	"context"
	"slices"
	"strconv"

	"flourcast/eval/fold"
	"flourcast/eval/part"
	"flourcast/model"
	"flourcast/model/design"
	"flourcast/work"
)

// Choosing says how a step is chosen inside a training part.
type Choosing struct {
	// Inner splits the training part: it gets the outer repeat and fold and the
	// part's rows in ascending order, and its plan's first repeat is used.
	Inner func(repeat, k int, rows []int) (fold.Plan, error)
	// Least takes the step of least error instead of Choose's rule.
	Least bool
}

// Nested cross-validates the method with its choice: in each training part the
// step is chosen by Choose's rule on an inner split of that part (fold.Inner: 10
// folds by unit), the part is fitted at that step, and the rows left out are
// predicted. A path of one step, and a settled method, need no choice. seed
// decides the inner splits. Errors are those of CrossValidate.
func Nested(ctx context.Context, f model.Fitter, m *design.Matrix, plan fold.Plan, seed uint64, cores int) (*Honest, error) {
	return NestedBy(ctx, f, m, plan, byUnit(m, seed), cores)
}

// byUnit is how Nested chooses.
func byUnit(m *design.Matrix, seed uint64) Choosing {
	units, _ := fold.Units(m)
	return Choosing{Inner: func(repeat, k int, rows []int) (fold.Plan, error) {
		return fold.Inner(at(units, rows), work.Seed(seed, "inner", strconv.Itoa(repeat), strconv.Itoa(k)))
	}}
}

// NestedBy is Nested with another way of choosing.
func NestedBy(ctx context.Context, f model.Fitter, m *design.Matrix, plan fold.Plan, how Choosing, cores int) (*Honest, error) {
	if err := plan.Check(m.N()); err != nil {
		return nil, err
	}
	d, y, err := part.New(f, m, cores)
	if err != nil {
		return nil, err
	}
	n, repeats := m.N(), plan.Repeats()
	h := &nest{d: d, how: how, ys: []*part.Response{y}}
	folds := jobsOf(plan, 0, repeats, y)
	out, mean, step := make([]float64, len(folds.test)), make([]float64, len(folds.list)), make([]int, len(folds.list))
	err = work.Each(ctx, len(folds.list), cores, func(j int) error {
		r := folds.repeat[j]
		mean[j] = d.MeanError(folds.list[j])
		err := h.fold(r, j-folds.first[r], folds.list[j], 0, 1, func(_, chosen int, predicted []float64) {
			step[j] = chosen
			copy(out[folds.at[j]:], predicted)
		})
		if err != nil {
			return &FoldError{plan.Scheme, r, j - folds.first[r], err}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	predicted, picks := make([]float64, n), make([][]int, repeats)
	press, meanPRESS := 0.0, 0.0
	for j, job := range folds.list {
		meanPRESS += mean[j]
		picks[folds.repeat[j]] = append(picks[folds.repeat[j]], step[j])
		for t, i := range job.Test {
			v := out[folds.at[j]+t]
			press += (y.V[i] - v) * (y.V[i] - v)
			predicted[i] += (y.Mean + v) / float64(repeats)
		}
	}
	return honest(predicted, picks, press, meanPRESS, n*repeats), nil
}

// nest chooses and predicts for some responses.
type nest struct {
	d   *part.Data
	how Choosing
	ys  []*part.Response
}

// fold chooses a step for each of the responses from…to-1 inside the rows that the
// job does not leave out, and calls done with it and the predictions of its test
// rows (deviations, reused memory). All that depends on the features only is done
// once for all responses. The job's own response is not looked at.
func (h *nest) fold(repeat, k int, job part.Job, from, to int, done func(q, step int, out []float64)) error {
	b := h.d.Bench()
	defer h.d.Put(b)
	ys := h.ys[from:to]
	rows := others(len(ys[0].V), job.Left)
	steps := h.d.Steps(len(rows))
	chosen := make([]int, len(ys))
	for q := range chosen {
		chosen[q] = steps - 1
	}
	if steps > 1 && !h.d.Settled() {
		plan, err := h.how.Inner(repeat, k, rows)
		if err != nil {
			return err
		}
		if steps, err = h.choose(b, ys, job.Left, rows, plan, chosen); err != nil {
			return err
		}
	}
	list := make([]part.Job, len(ys))
	for q, y := range ys {
		list[q] = part.Job{Left: job.Left, Test: job.Test, Y: y}
	}
	_, err := b.Run(list, steps, func(q int, out []float64) {
		n := len(job.Test)
		done(q, chosen[q], out[chosen[q]*n:(chosen[q]+1)*n])
	})
	return err
}

// choose fills in the chosen step of each response from an inner split of rows,
// and returns how many steps were compared.
func (h *nest) choose(b *part.Bench, ys []*part.Response, left, rows []int, plan fold.Plan, chosen []int) (steps int, err error) {
	plan = plan.First(1)
	if err := plan.Check(len(rows)); err != nil {
		return 0, err
	}
	steps = h.d.Steps(len(rows) - plan.Largest())
	unit, _ := number(at(h.d.Units(), rows))
	order, ends := plan.Sorted(0)
	var list []part.Job
	var unitEnds [][]int // of each fold: where each unit's test rows end
	begin := 0
	for _, end := range ends {
		in := slices.Clone(order[begin:end])
		begin = end
		slices.SortStableFunc(in, func(a, b int) int { return unit[a] - unit[b] })
		ends := make([]int, 0, len(in))
		for t := range in {
			if t+1 == len(in) || unit[in[t]] != unit[in[t+1]] {
				ends = append(ends, t+1)
			}
		}
		out := append(slices.Clone(left), at(rows, in)...)
		for _, y := range ys {
			list = append(list, part.Job{Left: out, Test: out[len(left):], Y: y})
		}
		unitEnds = append(unitEnds, ends)
	}
	choices := make([]choice, len(ys))
	for q := range choices {
		choices[q] = newChoice(steps)
	}
	b.Within(left)
	defer b.Within(nil)
	if _, err := b.Run(list, steps, func(i int, out []float64) {
		choices[i%len(ys)].gather(out, list[i].Y.V, list[i].Test, unitEnds[i/len(ys)], h.how.Least, steps)
	}); err != nil {
		return 0, err
	}
	for q, c := range choices {
		if h.how.Least {
			chosen[q] = c.least(steps)
		} else {
			chosen[q] = c.step(steps)
		}
	}
	return steps, nil
}

// gather adds each unit's mean squared error of predictions out, [step][test row];
// with rows, each row's own.
func (c choice) gather(out, v []float64, test, ends []int, rows bool, steps int) {
	for a := range steps {
		row := out[a*len(test) : (a+1)*len(test)]
		t := 0
		for _, end := range ends {
			sum, from := 0.0, t
			for ; t < end; t++ {
				e := v[test[t]] - row[t]
				sum += e * e
			}
			if !rows {
				sum /= float64(end - from)
			}
			c.add(a, sum)
		}
	}
}

// others lists the rows of 0…n-1 that are not left, ascending.
func others(n int, left []int) []int {
	out := make([]bool, n)
	for _, i := range left {
		out[i] = true
	}
	rows := make([]int, 0, n-len(left))
	for i, l := range out {
		if !l {
			rows = append(rows, i)
		}
	}
	return rows
}

func at[T any](values []T, positions []int) []T {
	out := make([]T, len(positions))
	for k, i := range positions {
		out[k] = values[i]
	}
	return out
}
