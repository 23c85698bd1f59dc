// Package part fits training parts of one matrix, quickly where that costs no
// digits, and predicts the rows left out.
//
//  1. New takes a method and a matrix, and forms once what all parts share.
//  2. A Job is one training part (the rows left out of it) and one response.
//  3. A Bench does jobs one after another; several benches work side by side.
//
// A method that works from cross-products is fitted by subtraction (see
// moment.Base) when there are no more features than rows, and from the rows of many
// parts at once (moment.Wide) when there are more. Any other method, a matrix with
// row weights, and any part where those would lose digits, is fitted on its own
// rows. All give the same figures. A feature that does not vary in a part has no say there; a part in
// which nothing can be explained predicts its mean.
package part

import (
	"errors"
	"slices"
	"sync"

	"flourcast/eval/fold"
	"flourcast/model"
	"flourcast/model/design"
	"flourcast/model/moment"
)

// Data is a matrix and a method, ready for many jobs. It is safe for concurrent
// use.
type Data struct {
	f       model.Fitter
	m       *design.Matrix
	quick   model.MomentFitter // nil: only rows can be fitted
	base    *moment.Base       // of a narrow matrix
	batch   model.WideFitter
	wide    *moment.Wide // of a wide matrix
	rows    *moment.Rows
	path    model.Path
	units   []string
	settled bool
	benches sync.Pool
}

// Response is a response over all rows.
type Response struct {
	*moment.Target
	Y    []float64
	sums *moment.Response // nil but for a narrow matrix
	mean float64          // Σ v/n, next to 0
}

// Job is one training part and one response. Left are the rows left out, in any
// order; Test those of them to predict.
type Job struct {
	Left, Test []int
	Y          *Response
}

// New fits all rows first: what the method refuses, it refuses here. cores is for
// the sums of a large matrix.
func New(f model.Fitter, m *design.Matrix, cores int) (*Data, *Response, error) {
	d := &Data{f: f, m: m}
	d.benches.New = func() any { return &Bench{d: d} }
	d.units, _ = fold.Units(m)
	if s, ok := f.(model.Settled); ok {
		d.settled = s.Settled()
	}
	if err := d.prepare(cores); err != nil {
		return nil, nil, err
	}
	y, err := d.Response(m.Response(), m.Y())
	if err != nil {
		return nil, nil, err
	}
	if d.base != nil {
		d.path, err = d.fitWhole(y)
	}
	if d.base == nil || errors.Is(err, model.ErrNeedRows) {
		d.path, err = f.Fit(m)
	}
	if err != nil {
		return nil, nil, err
	}
	if y.Flat {
		return nil, nil, &model.NoVarianceError{Kind: f.Kind(), Response: m.Response()}
	}
	return d, y, nil
}

// fitWhole fits all rows from their cross-products.
func (d *Data) fitWhole(y *Response) (model.Path, error) {
	b := d.Bench()
	defer d.Put(b)
	b.part = d.base.Whole().Without(nil, b.part)
	mo := model.Moments{Features: d.m.Features(), Response: d.m.Response()}
	b.part.Moments(&mo.X)
	y.sums.Whole().Moments(b.part, y.sums, &mo.Y)
	return d.quick.FitMoments(mo)
}

// prepare decides how parts are fitted.
func (d *Data) prepare(cores int) (err error) {
	d.quick, _ = d.f.(model.MomentFitter)
	plain := d.m.Weights() == nil
	switch batch, ok := d.f.(model.WideFitter); {
	case plain && d.quick != nil && d.m.P() <= d.m.N():
		if d.base, err = moment.NewBase(d.m, cores); err == nil {
			d.rows = d.base.Rows
		}
	case plain && ok && d.m.P() > d.m.N():
		d.batch = batch
		if d.wide, err = moment.NewWide(d.m); err == nil {
			d.rows = d.wide.Rows
		}
	default:
		d.rows, err = moment.NewRows(d.m)
	}
	if err == nil {
		d.rows.Keep()
	}
	return err
}

// Path is the method's path on all rows.
func (d *Data) Path() model.Path { return d.path }

// Units names what belongs together (see fold.Units), row by row.
func (d *Data) Units() []string { return d.units }

// Settled is whether nothing is to be chosen.
func (d *Data) Settled() bool { return d.settled }

// Steps is how many steps can be compared when the smallest training part has so
// many rows: at least 1.
func (d *Data) Steps(smallest int) int {
	known, ok := d.f.(model.Stepped)
	if !ok {
		return d.path.Len()
	}
	return max(1, min(d.path.Len(), known.Steps(smallest, d.m.P())))
}

// Response readies another response of as many rows. It returns a
// *model.RangeError.
func (d *Data) Response(name string, y []float64) (*Response, error) {
	t, err := d.rows.Target(name, y)
	if err != nil {
		return nil, err
	}
	r := &Response{Target: t, Y: y}
	if d.base != nil {
		r.sums = d.base.Response(t)
	}
	return d.total(r), nil
}

// Reordered is the response whose row i has the figure that y has in row
// order[i].
func (d *Data) Reordered(y *Response, order []int) *Response {
	t := &moment.Target{V: make([]float64, len(order)), Mean: y.Mean, Rest: y.Rest, Flat: y.Flat}
	r := &Response{Target: t, Y: make([]float64, len(order))}
	for i, k := range order {
		t.V[i], r.Y[i] = y.V[k], y.Y[k]
	}
	if d.base != nil {
		r.sums = d.base.Response(t)
	}
	return d.total(r)
}

func (d *Data) total(r *Response) *Response {
	for _, v := range r.V {
		r.mean += v / float64(len(r.V))
	}
	return r
}

// MeanError is the sum of squared errors, on the test rows, of the mean of the rows
// that are not left out: what the mean model does there.
func (d *Data) MeanError(j Job) float64 {
	n := float64(len(j.Y.V))
	sum := n * j.Y.mean
	for _, i := range j.Left {
		sum -= j.Y.V[i]
		n--
	}
	mean, ss := sum/n, 0.0
	for _, i := range j.Test {
		e := j.Y.V[i] - mean
		ss += e * e
	}
	return ss
}

// Bench returns a bench, which Put takes back.
func (d *Data) Bench() *Bench { return d.benches.Get().(*Bench) }

// Put takes a bench back whose answers nobody reads any more.
func (d *Data) Put(b *Bench) { d.benches.Put(b) }

// fitRows predicts a job's test rows by fitting its training rows.
func (d *Data) fitRows(j Job, steps int, out []float64) error {
	m := d.m
	if &j.Y.Y[0] != &m.Y()[0] {
		var err error
		if m, err = m.WithResponse(m.Response(), j.Y.Y); err != nil {
			return err
		}
	}
	left := make([]bool, m.N())
	for _, i := range j.Left {
		left[i] = true
	}
	rows := make([]int, 0, m.N()-len(j.Left))
	for i, l := range left {
		if !l {
			rows = append(rows, i)
		}
	}
	sub := m.Subset(rows)
	keep := make([]int, m.P()) // columns of m that sub has
	for k := range keep {
		keep[k] = k
	}
	path, err := d.f.Fit(sub)
	var flat *model.NoVarianceError
	if errors.As(err, &flat) && len(flat.Features) > 0 && len(flat.Features) < m.P() {
		keep = slices.DeleteFunc(keep, func(k int) bool { return slices.Contains(flat.Features, m.Features()[k]) })
		names := make([]string, len(keep))
		for k, col := range keep {
			names[k] = m.Features()[col]
		}
		if sub, err = sub.WithFeatures(names); err != nil {
			return err
		}
		path, err = d.f.Fit(sub)
	}
	var none *model.NoCovarianceError
	if errors.As(err, &flat) || errors.As(err, &none) {
		mean := 0.0
		for _, i := range rows {
			mean += j.Y.V[i] / float64(len(rows))
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
		for t, i := range j.Test {
			for k, col := range keep {
				x[k] = m.Row(i)[col]
			}
			out[a*len(j.Test)+t] = fitted.Predict(x) - j.Y.Mean
		}
	}
	return nil
}
