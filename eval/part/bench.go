package part

import (
	"flourcast/model"
	"flourcast/model/moment"
)

// Bench is the memory of one worker. It is not safe for concurrent use.
type Bench struct {
	d       *Data
	part    *moment.Part
	moments model.XMoments
	solver  model.Solver
	shift   []float64 // mean of the part less the overall mean
	sums    moment.Sums
	y       model.YMoments
	b       []float64 // coefficients, [step][feature]
	u, buf  []float64
	outer   outer

	jobs []moment.Job // of a wide matrix, with their memory
	out  []float64
	wide model.WideSolver
}

// Run does the jobs, steps steps each, and calls done with each one's
// predictions, [step][test row], as deviations from its response's mean, in the
// order of jobs; done must not keep them. Steps that a part does not have repeat
// its last. Jobs that leave out the same rows should follow each other: what
// depends on the features only is then done once. It returns the first job that
// could not be fitted, and why.
func (b *Bench) Run(jobs []Job, steps int, done func(i int, out []float64)) (failed int, err error) {
	if b.d.wide != nil {
		return b.runWide(jobs, steps, done)
	}
	fast := false
	for i, j := range jobs {
		if b.d.base != nil && (i == 0 || !same(j.Left, jobs[i-1].Left)) {
			fast = b.prepare(j.Left)
		}
		b.out = grow(b.out, steps*len(j.Test))
		if !fast || !b.solve(j, steps) {
			if err := b.d.fitRows(j, steps, b.out); err != nil {
				return i, err
			}
		}
		done(i, b.out)
	}
	return 0, nil
}

// same is whether two lists are the same piece of memory.
func same(a, b []int) bool {
	return len(a) == len(b) && (len(a) == 0 || &a[0] == &b[0])
}

// prepare leaves rows out, and reports whether cross-products will do.
func (b *Bench) prepare(left []int) bool {
	d := b.d
	from, left := b.outer.part(d.base, left)
	b.part = from.Without(left, b.part)
	if d.quick.Steps(b.part.Rows(), d.m.P()) == 0 || !b.part.Moments(&b.moments) {
		return false
	}
	solver, err := d.quick.Prepare(b.moments, b.solver)
	if err != nil {
		return false // the rows will be fitted, and say what is wrong if anything is
	}
	b.solver = solver
	b.shift = grow(b.shift, d.m.P())
	for j := range b.shift {
		b.shift[j] = b.part.Shift(j)
	}
	return true
}

// solve predicts from cross-products; false is for a response that they blur.
func (b *Bench) solve(j Job, steps int) bool {
	d := b.d
	from, left := b.outer.sums(d.base, j)
	from.Without(d.base, j.Y.sums, left, &b.sums)
	if !b.sums.Moments(b.part, j.Y.sums, &b.y) {
		return false
	}
	width := d.m.P()
	b.b, b.u, b.buf = grow(b.b, max(steps, d.quick.Steps(b.part.Rows(), width))*width), grow(b.u, width), grow(b.buf, width)
	have, ok := b.solver.Solve(b.y, b.b)
	if !ok {
		return false
	}
	have = min(have, steps)
	n, mean := len(j.Test), b.sums.Shift()
	for t, i := range j.Test {
		for k, u := range d.base.Deviation(i, b.buf) {
			b.u[k] = u - b.shift[k]
		}
		v := mean
		for a := range steps {
			if a < have {
				v = mean + moment.Dot(b.b[a*width:(a+1)*width], b.u)
			}
			b.out[a*n+t] = v
		}
	}
	return true
}

// outer is a part from which smaller ones are taken, so that the rows that all
// of them leave out are subtracted once.
type outer struct {
	left []int
	x    *moment.Part
	ys   map[*Response]*moment.Sums
	free []*moment.Sums
}

// Within says that all coming jobs leave out these rows and, before or behind
// them in Left, others. Nil ends it.
func (b *Bench) Within(left []int) {
	o := &b.outer
	o.left = left
	for y, s := range o.ys {
		o.free = append(o.free, s)
		delete(o.ys, y)
	}
	if left != nil && b.d.base != nil {
		o.x = b.d.base.Whole().Without(left, o.x)
	}
}

// part is where to subtract from, and what is then left to subtract.
func (o *outer) part(base *moment.Base, left []int) (*moment.Part, []int) {
	if o.left == nil {
		return base.Whole(), left
	}
	return o.x, left[len(o.left):]
}

func (o *outer) sums(base *moment.Base, j Job) (*moment.Sums, []int) {
	if o.left == nil {
		return j.Y.sums.Whole(), j.Left
	}
	s, ok := o.ys[j.Y]
	if !ok {
		if o.ys == nil {
			o.ys = map[*Response]*moment.Sums{}
		}
		s = &moment.Sums{}
		if k := len(o.free); k > 0 {
			s, o.free = o.free[k-1], o.free[:k-1]
		}
		j.Y.sums.Whole().Without(base, j.Y.sums, o.left, s)
		o.ys[j.Y] = s
	}
	return s, j.Left[len(o.left):]
}

// runWide is Run on rows of a wide matrix.
func (b *Bench) runWide(jobs []Job, steps int, done func(i int, out []float64)) (failed int, err error) {
	total := 0
	for _, j := range jobs {
		total += steps * len(j.Test)
	}
	b.out = grow(b.out, total)
	b.jobs = b.jobs[:0]
	at := 0
	for _, j := range jobs {
		end := at + steps*len(j.Test)
		b.jobs = append(b.jobs, moment.Job{Left: j.Left, Test: j.Test, Y: j.Y.Target, Out: b.out[at:end]})
		at = end
	}
	if b.wide == nil {
		if b.wide, err = b.d.batch.Wide(b.d.wide); err != nil {
			return 0, err
		}
	}
	b.wide.Solve(b.jobs, steps)
	for i, j := range jobs {
		if !b.jobs[i].OK {
			if err := b.d.fitRows(j, steps, b.jobs[i].Out); err != nil {
				return i, err
			}
		}
		done(i, b.jobs[i].Out)
	}
	return 0, nil
}

// Many is how many jobs make a good helping for one call of Run: enough that a
// pass over a wide matrix serves many parts.
func (d *Data) Many() int {
	if d.wide != nil {
		return 32
	}
	return 1
}

func grow(v []float64, n int) []float64 {
	if cap(v) < n {
		return make([]float64, n)
	}
	return v[:n]
}
