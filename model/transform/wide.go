package transform

import (
	"math"
	"slices"

	"flourcast/model"
	"flourcast/model/moment"
)

// Wide filters the rows of w once and readies the method inside for the parts of
// each order. A filter looks at one row only, so nothing passes from rows left out
// to the others.
func (d Derivative) Wide(w *moment.Wide) (model.WideSolver, error) {
	out := &wide{}
	batch, ok := d.Inner.(model.WideFitter)
	if !ok {
		return out, nil // every job fits its rows
	}
	for _, order := range d.Orders {
		f, err := Filter{order, d.Window, d.Degree}.check()
		if err != nil {
			return nil, err
		}
		in := w
		if order > 0 {
			if in, err = moment.NewWide(filteredRows(f, w)); err != nil {
				return nil, err
			}
		}
		solver, err := batch.Wide(in)
		if err != nil {
			return nil, err
		}
		out.each = append(out.each, solver)
	}
	return out, nil
}

// wide asks the solver of each order in turn.
type wide struct {
	each []model.WideSolver
	jobs []moment.Job
	out  []float64
}

// Solve is that of model.WideSolver; steps of all orders take turns.
func (s *wide) Solve(jobs []moment.Job, steps int) {
	for i := range jobs {
		jobs[i].OK = len(s.each) > 0
	}
	for k, solver := range s.each {
		own := (steps + len(s.each) - 1 - k) / len(s.each) // steps of this order
		if own == 0 {
			continue
		}
		total := 0
		for _, j := range jobs {
			total += own * len(j.Test)
		}
		s.out, s.jobs = slices.Grow(s.out[:0], total)[:total], s.jobs[:0]
		at := 0
		for _, j := range jobs {
			end := at + own*len(j.Test)
			s.jobs = append(s.jobs, moment.Job{Left: j.Left, Test: j.Test, Y: j.Y, Out: s.out[at:end]})
			at = end
		}
		solver.Solve(s.jobs, own)
		for i, j := range s.jobs {
			n := len(j.Test)
			jobs[i].OK = jobs[i].OK && j.OK
			for a := range own {
				copy(jobs[i].Out[(a*len(s.each)+k)*n:], j.Out[a*n:(a+1)*n])
			}
		}
	}
}

// rows is a matrix of filtered curves for package moment.
type rows struct {
	x     [][]float64
	names []string
}

func (r rows) N() int              { return len(r.x) }
func (r rows) P() int              { return len(r.names) }
func (r rows) Row(i int) []float64 { return r.x[i] }
func (r rows) Features() []string  { return r.names }

// filteredRows filters the deviations of w from its column means; the filter being
// linear, they are the deviations of the filtered curves.
func filteredRows(f Filter, w *moment.Wide) rows {
	h, weights := f.half(), f.weights()
	r := rows{names: make([]string, w.P-2*h)}
	buf, top := make([]float64, w.P), make([]float64, w.P)
	for j, mean := range w.Mean {
		top[j] = math.Abs(mean)
	}
	for i := range w.N {
		row, u := make([]float64, w.P-2*h), w.Deviation(i, buf)
		f.filter(weights, u, row)
		r.x = append(r.x, row)
		for j, v := range u {
			top[j] = max(top[j], math.Abs(v)+math.Abs(w.Mean[j]))
		}
	}
	settle(r.x, weights, top)
	return r
}
