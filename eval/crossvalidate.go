package eval

import (
	"context"
	"math"

	"flourcast/eval/fold"
	"flourcast/eval/part"
	"flourcast/model"
	"flourcast/model/design"
	"flourcast/work"
)

// CrossValidate predicts every row of m by models fitted without its fold, for
// every step of f's path, in every repeat of the plan. Steps are those that the
// smallest training part allows. Errors are counted alike whatever the rows'
// weights. The figures are the same bits for any number of cores (0: all). Cost
// for a method on cross-products: n·p²/2 once, then for each fold
// p²·(n_T/2 + steps). Errors: those of f.Fit on all rows and of plan.Check,
// *model.NoVarianceError, *FoldError, ctx's.
func CrossValidate(ctx context.Context, f model.Fitter, m *design.Matrix, plan fold.Plan, cores int) (*CV, error) {
	if err := plan.Check(m.N()); err != nil {
		return nil, err
	}
	d, y, err := part.New(f, m, cores)
	if err != nil {
		return nil, err
	}
	n, repeats := m.N(), plan.Repeats()
	steps := d.Steps(n - plan.Largest())
	cv := &CV{Scheme: plan.Scheme, PRESS: make([]float64, steps), RMSECV: make([]float64, steps), Q2: make([]float64, steps),
		Predicted: make([][]float64, steps), Squared: make([][]float64, steps), repeats: repeats, settled: d.Settled()}
	for a := range steps {
		cv.Labels, cv.Steps = append(cv.Labels, d.Path().Label(a)), append(cv.Steps, d.Path().At(a).Complexity())
		cv.Predicted[a], cv.Squared[a] = make([]float64, n), make([]float64, n)
	}
	// Repeats are taken a few at a time, so that their predictions fit in memory.
	few := max(1, mostFigures/(steps*n))
	for from := 0; from < repeats; from += few {
		jobs := jobsOf(plan, from, min(from+few, repeats), y)
		out := make([]float64, len(jobs.test)*steps) // of every job in turn, [step][test row]
		mean := make([]float64, len(jobs.list))
		err := jobs.run(ctx, d, steps, cores, func(j int, predicted []float64) {
			copy(out[jobs.at[j]*steps:], predicted)
			mean[j] = d.MeanError(jobs.list[j])
		})
		if err != nil {
			return nil, err
		}
		for j, job := range jobs.list {
			cv.MeanPRESS += mean[j]
			predicted := out[jobs.at[j]*steps:]
			for a := range steps {
				press := 0.0
				for t, i := range job.Test {
					v := predicted[a*len(job.Test)+t]
					e := y.V[i] - v
					press += e * e
					cv.Squared[a][i] += e * e / float64(repeats)
					cv.Predicted[a][i] += (y.Mean + v) / float64(repeats)
				}
				cv.PRESS[a] += press
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

// mostFigures is how many predictions are held before they are added up.
const mostFigures = 1 << 20

// jobs are the folds of some repeats, one response.
type jobs struct {
	scheme string
	list   []part.Job
	test   []int // all test rows, job after job
	at     []int // where each job's begin
	repeat []int
	first  []int // job of each repeat's first fold
}

func jobsOf(plan fold.Plan, from, to int, y *part.Response) *jobs {
	js := &jobs{scheme: plan.Scheme}
	n := 0
	for r := from; r < to; r++ {
		n += plan.K[r]
	}
	js.list, js.at, js.repeat = make([]part.Job, 0, n), make([]int, 0, n), make([]int, 0, n)
	js.test = make([]int, 0, (to-from)*len(y.V))
	for r := from; r < to; r++ {
		js.first = append(js.first, len(js.list))
		order, ends := plan.Sorted(r)
		base := len(js.test)
		js.test = append(js.test, order...)
		begin := 0
		for _, end := range ends {
			rows := js.test[base+begin : base+end : base+end]
			js.list = append(js.list, part.Job{Left: rows, Test: rows, Y: y})
			js.at, js.repeat = append(js.at, base+begin), append(js.repeat, r)
			begin = end
		}
	}
	return js
}

// helpings is how many pieces of work a core gets at least, so that one that
// starts late does not hold up the other.
const helpings = 4

// run does all jobs and calls done with each one's number and predictions, from
// several goroutines.
func (js *jobs) run(ctx context.Context, d *part.Data, steps, cores int, done func(j int, predicted []float64)) error {
	each := max(1, len(js.list)/(helpings*work.Cores(cores)))
	if each > 1 || d.Many() > 1 {
		each = max(each, min(d.Many(), (len(js.list)+work.Cores(cores)-1)/work.Cores(cores)))
	}
	return work.Each(ctx, (len(js.list)+each-1)/each, cores, func(i int) error {
		from, to := i*each, min((i+1)*each, len(js.list))
		b := d.Bench()
		defer d.Put(b)
		failed, err := b.Run(js.list[from:to], steps, func(k int, out []float64) { done(from+k, out) })
		if err != nil {
			j := from + failed
			r := js.repeat[j]
			return &FoldError{js.scheme, r, j - js.first[r-js.repeat[0]], err}
		}
		return nil
	})
}

// Shuffled is the PRESS of every step for responses that changed places: row i of
// response q has the figure of row orders[q][i]. All that depends on the features
// only is done once for all of them. Errors are those of CrossValidate.
func Shuffled(ctx context.Context, f model.Fitter, m *design.Matrix, plan fold.Plan, orders [][]int, cores int) ([][]float64, error) {
	if err := plan.Check(m.N()); err != nil {
		return nil, err
	}
	d, y, err := part.New(f, m, cores)
	if err != nil {
		return nil, err
	}
	ys := make([]*part.Response, len(orders))
	if err := work.Each(ctx, len(orders), cores, func(q int) error {
		ys[q] = d.Reordered(y, orders[q])
		return nil
	}); err != nil {
		return nil, err
	}
	steps := d.Steps(m.N() - plan.Largest())
	folds := jobsOf(plan, 0, plan.Repeats(), y)
	pieces := bunches(len(folds.list), len(orders))
	press := make([][]float64, len(pieces)) // [piece][response × step]
	err = work.Each(ctx, len(pieces), cores, func(i int) error {
		p := pieces[i]
		fold := folds.list[p.fold]
		list := make([]part.Job, 0, p.to-p.from)
		for _, y := range ys[p.from:p.to] {
			list = append(list, part.Job{Left: fold.Left, Test: fold.Test, Y: y})
		}
		press[i] = make([]float64, len(list)*steps)
		b := d.Bench()
		defer d.Put(b)
		_, err := b.Run(list, steps, func(q int, out []float64) {
			for a := range steps {
				for t, row := range fold.Test {
					e := list[q].Y.V[row] - out[a*len(fold.Test)+t]
					press[i][q*steps+a] += e * e
				}
			}
		})
		if err != nil {
			r := folds.repeat[p.fold]
			return &FoldError{plan.Scheme, r, p.fold - folds.first[r], err}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	out := make([][]float64, len(orders))
	for q := range out {
		out[q] = make([]float64, steps)
	}
	for i, p := range pieces {
		for q := p.from; q < p.to; q++ {
			for a := range steps {
				out[q][a] += press[i][(q-p.from)*steps+a]
			}
		}
	}
	return out, nil
}

// piece is one fold and some of many responses, from…to-1.
type piece struct{ fold, from, to int }

// bunch is how many responses share one preparation of a training part: enough that
// it costs little beside them, few enough that two cores get equal shares.
const bunch = 250

func bunches(folds, responses int) []piece {
	var out []piece
	for k := range folds {
		for from := 0; from < responses; from += bunch {
			out = append(out, piece{k, from, min(from+bunch, responses)})
		}
	}
	return out
}
