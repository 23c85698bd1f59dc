package eval

import (
	"context"
	"fmt"

	"flourcast/eval/fold"
	"flourcast/eval/part"
	"flourcast/model"
	"flourcast/model/design"
	"flourcast/work"
)

// Permutation is the answer of a permutation test of Q².
type Permutation struct {
	// P is (Better + 1)/(M + 1): the chance of a Q² this high without any relation
	// (Phipson and Smyth 2010, Stat Appl Genet Mol Biol 9:39). It is never 0.
	P float64
	// Observed is the honest Q² of the data as they are, Better how many of M
	// shuffles reached it.
	Observed  float64
	Better, M int
	// Within names the grouping inside which lots were shuffled, or is empty.
	Within string
	// Null is Q² of each shuffle, in order.
	Null []float64
}

// Permute asks how often the whole procedure of Nested, every choice inside,
// does as well on shuffled responses as on the data. Units (lots, or families of
// lots: fold.Units) are shuffled whole, among units with as many rows; within
// crop years when at least 2 years have 5 lots. The null hypothesis is that,
// there, responses and features have nothing to do with each other. Every
// shuffle uses the same folds, so that all that depends on X is done once.
// Errors: *model.SettingError for permutations < 1, *fold.TooFewArrangementsError,
// those of Nested.
func Permute(ctx context.Context, f model.Fitter, m *design.Matrix, plan fold.Plan, permutations int, seed uint64, cores int, progress work.Progress) (Permutation, error) {
	if permutations < 1 {
		return Permutation{}, &model.SettingError{Kind: "permutation", Setting: "permutations", Found: fmt.Sprint(permutations), Want: "at least 1"}
	}
	if err := plan.Check(m.N()); err != nil {
		return Permutation{}, err
	}
	s, err := fold.NewShuffle(m)
	if err != nil {
		return Permutation{}, err
	}
	d, y, err := part.New(f, m, cores)
	if err != nil {
		return Permutation{}, err
	}
	if progress == nil {
		progress = work.Quiet
	}
	h := &nest{d: d, how: byUnit(m, seed), ys: make([]*part.Response, permutations+1)}
	h.ys[0] = y
	if err := work.Each(ctx, permutations, cores, func(q int) error {
		h.ys[q+1] = d.Reordered(y, s.Order(seed, q))
		return nil
	}); err != nil {
		return Permutation{}, err
	}
	folds := jobsOf(plan, 0, plan.Repeats(), y)
	pieces := bunches(len(folds.list), len(h.ys))
	press, mean := make([][]float64, len(pieces)), make([][]float64, len(pieces))
	progress.Start("permutations", len(pieces))
	defer progress.Done()
	err = work.Each(ctx, len(pieces), cores, func(i int) error {
		p := pieces[i]
		job := folds.list[p.fold]
		press[i], mean[i] = make([]float64, p.to-p.from), make([]float64, p.to-p.from)
		r := folds.repeat[p.fold]
		err := h.fold(r, p.fold-folds.first[r], job, p.from, p.to, func(q, _ int, out []float64) {
			y := h.ys[p.from+q]
			for t, row := range job.Test {
				e := y.V[row] - out[t]
				press[i][q] += e * e
			}
			mean[i][q] = d.MeanError(part.Job{Left: job.Left, Test: job.Test, Y: y})
		})
		if err != nil {
			return &FoldError{plan.Scheme, r, p.fold - folds.first[r], err}
		}
		progress.Step(1)
		return nil
	})
	if err != nil {
		return Permutation{}, err
	}
	total, totalMean := make([]float64, len(h.ys)), make([]float64, len(h.ys))
	for i, p := range pieces {
		for q := p.from; q < p.to; q++ {
			total[q] += press[i][q-p.from]
			totalMean[q] += mean[i][q-p.from]
		}
	}
	out := Permutation{M: permutations, Within: s.Within, Null: make([]float64, permutations)}
	for q := range h.ys {
		q2 := 1 - total[q]/totalMean[q]
		if q == 0 {
			out.Observed = q2
			continue
		}
		out.Null[q-1] = q2
		if q2 >= out.Observed {
			out.Better++
		}
	}
	out.P = float64(out.Better+1) / float64(permutations+1)
	return out, nil
}
