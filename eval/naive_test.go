package eval

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"flourcast/eval/fold"
	"flourcast/model"
	"flourcast/model/design"
	"flourcast/work"
)

// naive is the plain way to do what the engine does: copy the training rows,
// fit them, predict. Nothing is shared with the engine but fold plans, fitters
// and the rule of choice.
type naive struct {
	f model.Fitter
	m *design.Matrix
}

// predict returns [step][test row] of the part without test.
func (c naive) predict(t testing.TB, train, test []int, steps int) [][]float64 {
	sub := c.m.Subset(train)
	var vary []string
	for j, name := range c.m.Features() {
		col := sub.Column(j)
		if slices.Max(col) != slices.Min(col) {
			vary = append(vary, name)
		}
	}
	mean := 0.0
	for _, v := range sub.Y() {
		mean += v / float64(sub.N())
	}
	var path model.Path
	var err error = &model.NoVarianceError{}
	var flat *model.NoVarianceError
	var none *model.NoCovarianceError
	if len(vary) > 0 {
		if sub, err = sub.WithFeatures(vary); err == nil {
			path, err = c.fit(sub)
		}
	}
	if err != nil && !errors.As(err, &flat) && !errors.As(err, &none) {
		t.Fatal(err)
	}
	all, aerr := c.m.Subset(test).WithFeatures(vary)
	if aerr != nil {
		t.Fatal(aerr)
	}
	out := make([][]float64, steps)
	for a := range out {
		for k := range test {
			v := mean
			if err == nil {
				v = path.At(min(a, path.Len()-1)).Predict(all.Row(k))
			}
			out[a] = append(out[a], v)
		}
	}
	return out
}

func smallestPart(n int, plan fold.Plan) int {
	least := n
	for r, k := range plan.K {
		for f := range k {
			least = min(least, n-len(plan.Test(r, f)))
		}
	}
	return least
}

func (c naive) steps(rows int, t testing.TB) int {
	path, err := c.f.Fit(c.m)
	if err != nil {
		t.Fatal(err)
	}
	if q, ok := c.f.(model.MomentFitter); ok {
		return min(path.Len(), q.Steps(rows, c.m.P()))
	}
	return path.Len()
}

// cross returns predictions [repeat][step][row].
func (c naive) cross(t testing.TB, plan fold.Plan) [][][]float64 {
	n := c.m.N()
	steps := c.steps(smallestPart(n, plan), t)
	var out [][][]float64
	for r, k := range plan.K {
		one := make([][]float64, steps)
		for a := range one {
			one[a] = make([]float64, n)
		}
		for f := range k {
			test, train := split(plan.Fold[r], f)
			for a, row := range c.predict(t, train, test, steps) {
				for k, i := range test {
					one[a][i] = row[k]
				}
			}
		}
		out = append(out, one)
	}
	return out
}

// nested returns the prediction of each row and the picks, first repeat only.
func (c naive) nested(t testing.TB, plan fold.Plan, seed uint64) ([]float64, []int) {
	units, _ := fold.Units(c.m)
	predicted := make([]float64, c.m.N())
	var picks []int
	for f := range plan.K[0] {
		test, train := split(plan.Fold[0], f)
		var u []string
		for _, i := range train {
			u = append(u, units[i])
		}
		inner, err := fold.Inner(u, work.Seed(seed, "inner", "0", fmt.Sprint(f)))
		if err != nil {
			t.Fatal(err)
		}
		in := naive{c.f, c.m.Subset(train)}
		outer := c.steps(smallestPart(len(train), inner), t)
		cross := naive{c.f, in.m}.crossSteps(t, inner, outer)
		pick := chooseNaive(cross, in.m.Y(), u)
		picks = append(picks, pick)
		for k, v := range c.predict(t, train, test, outer)[pick] {
			predicted[test[k]] = v
		}
	}
	return predicted, picks
}

func (c naive) crossSteps(t testing.TB, plan fold.Plan, steps int) [][]float64 {
	out := make([][]float64, steps)
	for a := range out {
		out[a] = make([]float64, c.m.N())
	}
	for f := range plan.K[0] {
		test, train := split(plan.Fold[0], f)
		for a, row := range c.predict(t, train, test, steps) {
			for k, i := range test {
				out[a][i] = row[k]
			}
		}
	}
	return out
}

// chooseNaive writes the one-standard-error rule out once more.
func chooseNaive(predicted [][]float64, y []float64, units []string) int {
	of, n := number(units)
	mse, se := make([]float64, len(predicted)), make([]float64, len(predicted))
	for a, p := range predicted {
		sum, count := make([]float64, n), make([]float64, n)
		for i := range y {
			sum[of[i]] += (y[i] - p[i]) * (y[i] - p[i])
			count[of[i]]++
		}
		for u := range sum {
			sum[u] /= count[u]
			mse[a] += sum[u] / float64(n)
		}
		for _, v := range sum {
			se[a] += (v - mse[a]) * (v - mse[a])
		}
		se[a] = math.Sqrt(se[a]/float64(n-1)) / math.Sqrt(float64(n))
	}
	best := slices.Index(mse, slices.Min(mse))
	return slices.IndexFunc(mse, func(v float64) bool { return v <= mse[best]+se[best] })
}

// apart is the largest difference relative to size.
func apart(got, want []float64, size float64) float64 {
	worst := 0.0
	for i, w := range want {
		d := math.Abs(got[i]-w) / size
		if math.IsNaN(d) {
			return math.Inf(1)
		}
		worst = max(worst, d)
	}
	return worst
}

func spread(v []float64) float64 { return slices.Max(v) - slices.Min(v) }

// fit is the method's way through the rows, where it has one of its own.
func (c naive) fit(m *design.Matrix) (model.Path, error) {
	if f, ok := c.f.(interface {
		FitRows(*design.Matrix) (model.Path, error)
	}); ok {
		return f.FitRows(m)
	}
	return c.f.Fit(m)
}

// split lists a fold's test and training rows.
func split(of []int, fold int) (test, train []int) {
	for i, f := range of {
		if f == fold {
			test = append(test, i)
		} else {
			train = append(train, i)
		}
	}
	return test, train
}
