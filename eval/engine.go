package eval

import (
	"errors"
	"slices"
	"sync"

	"flourcast/eval/fold"
	"flourcast/model"
	"flourcast/model/design"
)

// engine fits training parts of one matrix.
type engine struct {
	f       model.Fitter
	quick   model.MomentFitter // nil: only rows can be fitted
	base    *model.Base        // nil when cross-products do not pay
	m       *design.Matrix
	path    model.Path // of all rows
	units   []string
	settled bool
	pool    sync.Pool // of *bench
}

// response is y over all rows, and its deviations from its mean.
type response struct {
	y, v []float64
	mean float64
	sums *model.Response // nil without base
}

// newEngine fits all rows first: what the method refuses, it refuses here.
func newEngine(f model.Fitter, m *design.Matrix) (*engine, *response, error) {
	e := &engine{f: f, m: m}
	e.pool.New = func() any { return &bench{} }
	e.units, _ = fold.Units(m)
	if s, ok := f.(model.Settled); ok {
		e.settled = s.Settled()
	}
	var err error
	if e.path, err = f.Fit(m); err != nil {
		return nil, nil, err
	}
	e.quick, _ = f.(model.MomentFitter)
	if e.quick != nil && m.P() <= m.N() {
		if e.base, err = model.NewBase(m); err != nil {
			return nil, nil, err
		}
	}
	y, err := e.response(m.Y())
	if err != nil {
		return nil, nil, err
	}
	return e, y, nil
}

func (e *engine) response(y []float64) (*response, error) {
	r := &response{y: y}
	var err error
	if r.mean, err = model.MeanOf(e.m.Response(), y); err != nil {
		return nil, err
	}
	if slices.Max(y) == slices.Min(y) {
		return nil, &model.NoVarianceError{Kind: e.f.Kind(), Response: e.m.Response()}
	}
	if e.base != nil {
		if r.sums, err = e.base.Response(e.m.Response(), y); err != nil {
			return nil, err
		}
		r.v = r.sums.V
		return r, nil
	}
	for _, v := range y {
		r.v = append(r.v, v-r.mean)
	}
	return r, nil
}

// steps is how many steps can be compared when the smallest training part has so
// many rows.
func (e *engine) steps(smallest int) int {
	if e.quick == nil {
		return e.path.Len()
	}
	return max(1, min(e.path.Len(), e.quick.Steps(smallest, e.m.P())))
}

// part is a training part, prepared for any number of responses. test are the
// rows left out of its parent, rows those it has.
type part struct {
	rows, test []int
	fast       bool
	x          *model.Part
	moments    model.XMoments
	solver     model.Solver
	shift      []float64 // mean of the part less the overall mean
}

// prepare leaves test out of parent (nil: all rows), reusing p's memory.
func (p *part) prepare(e *engine, parent *model.Part, rows, test []int) {
	p.rows, p.test, p.fast = rows, test, false
	if e.base == nil {
		return
	}
	p.x = parent.Without(test, p.x)
	if e.quick.Steps(len(rows), e.m.P()) == 0 || !p.x.Moments(&p.moments) {
		return
	}
	solver, err := e.quick.Prepare(p.moments, p.solver)
	if err != nil {
		return // the rows will be fitted, and say what is wrong if anything is
	}
	p.solver, p.fast = solver, true
	if p.shift == nil {
		p.shift = make([]float64, e.m.P())
	}
	for j := range p.shift {
		p.shift[j] = p.x.Shift(j)
	}
}

// bench is the memory that one piece of work needs.
type bench struct {
	outer, inner part
	sums         []model.Sums // of the outer part, a response each
	sum          model.Sums
	y            model.YMoments
	b, d, out    []float64
	choices      []choice
}

func grow(v []float64, n int) []float64 {
	if cap(v) < n {
		return make([]float64, n)
	}
	return v[:n]
}

// predict writes the predictions of steps steps for p's test rows into w.out,
// [step][test row], as deviations from r's overall mean. sums are those of r over
// p's rows.
func (w *bench) predict(e *engine, p *part, r *response, sums *model.Sums, steps int) error {
	w.out = grow(w.out, steps*len(p.test))
	if p.fast && sums.Moments(p.x, r.sums, &w.y) {
		w.b = grow(w.b, max(steps, e.quick.Steps(len(p.rows), e.m.P()))*e.m.P())
		if have, ok := p.solver.Solve(w.y, w.b); ok {
			w.evaluate(e, p, sums.Shift(), min(have, steps), steps)
			return nil
		}
	}
	return e.predictRows(p.rows, p.test, r, steps, w.out)
}

// evaluate applies the first have steps in w.b; later ones repeat the last.
func (w *bench) evaluate(e *engine, p *part, mean float64, have, steps int) {
	n, width := len(p.test), e.m.P()
	w.d = grow(w.d, width)
	for t, i := range p.test {
		for j, u := range e.base.Deviation(i) {
			w.d[j] = u - p.shift[j]
		}
		v := mean
		for a := range steps {
			if a < have {
				v = mean
				b := w.b[a*width : (a+1)*width]
				for j, d := range w.d {
					v += d * b[j]
				}
			}
			w.out[a*n+t] = v
		}
	}
}

// predictRows is predict by fitting the rows.
func (e *engine) predictRows(rows, test []int, r *response, steps int, out []float64) error {
	m := e.m
	if &r.y[0] != &m.Y()[0] {
		var err error
		if m, err = m.WithResponse(m.Response(), r.y); err != nil {
			return err
		}
	}
	sub := m.Subset(rows)
	keep := make([]int, m.P()) // columns of m that sub has
	for j := range keep {
		keep[j] = j
	}
	path, err := e.f.Fit(sub)
	var flat *model.NoVarianceError
	if errors.As(err, &flat) && len(flat.Features) > 0 && len(flat.Features) < m.P() {
		keep = slices.DeleteFunc(keep, func(j int) bool { return slices.Contains(flat.Features, m.Features()[j]) })
		names := make([]string, len(keep))
		for k, j := range keep {
			names[k] = m.Features()[j]
		}
		if sub, err = sub.WithFeatures(names); err != nil {
			return err
		}
		path, err = e.f.Fit(sub)
	}
	var none *model.NoCovarianceError
	if errors.As(err, &flat) || errors.As(err, &none) {
		mean := 0.0
		for _, i := range rows {
			mean += r.v[i] / float64(len(rows))
		}
		for k := range out {
			out[k] = mean
		}
		return nil
	}
	if err != nil {
		return err
	}
	x := make([]float64, len(keep))
	for a := range steps {
		fitted := path.At(min(a, path.Len()-1))
		for t, i := range test {
			for k, j := range keep {
				x[k] = m.Row(i)[j]
			}
			out[a*len(test)+t] = fitted.Predict(x) - r.mean
		}
	}
	return nil
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

// meanError is the sum of squared errors of the training mean on the test rows.
func meanError(r *response, test []int) float64 {
	sum, n := 0.0, len(r.v)-len(test)
	for _, v := range r.v {
		sum += v
	}
	for _, i := range test {
		sum -= r.v[i]
	}
	mean, ss := sum/float64(n), 0.0
	for _, i := range test {
		ss += (r.v[i] - mean) * (r.v[i] - mean)
	}
	return ss
}
