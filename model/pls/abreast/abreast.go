// Package abreast extracts components of partial least squares for many training
// parts of a matrix with more features than rows, side by side.
//
// Features that are only centred need no more than the n×n products UUᵀ of all
// rows, n² multiplications a job and component: with e what is left of y over the
// part,
//
//	k = UUᵀe,  t = k − Σ (tᵦᵀk/tᵦᵀtᵦ)·tᵦ,  q = tᵀe/tᵀt,  e ← e − q·t
//
// with k brought to mean 0 over the part; the rows left out follow along and get
// their scores from the same sums. Features that are scaled have another UD²Uᵀ in
// every part (D = 1/SD of the part). Where many responses share a part, it pays to
// form it, n²p/2; where few do, the rows are used instead, a component of many
// jobs together in one pass over them,
//
//	t = U·g − shift·g,  Zᵀt = D·Uᵀt   with g = D·r,
//
// 2·n·p multiplications a job and component.
//
//  1. New takes the rows of all parts once.
//  2. Solve groups jobs by part, and takes the cheapest of the three ways.
//  3. A component that cannot be told from rounding ends a job (see Resolution); a
//     job that would lose digits is handed back, for its rows to be fitted.
package abreast

import "flourcast/model/moment"

// Where extraction ends, whatever way it goes.
const (
	// Spent is the share of the first covariance at which nothing is left, and
	// Nothing the share of the largest possible one below which there never was any.
	Spent, Nothing = 1e-10, 1e-14
	// Resolution is the least variance of a score beside the variance that it would
	// have if its features had nothing to do with each other, tᵀt/Σ r²·ZᵀZ. Below a
	// millionth (a thousandth of the spread) features cancel to the last digits that
	// were written down, and a component would read their rounding. The ratio knows
	// no units: it is the same for any scaling of a feature.
	Resolution = 1e-6
	// Squaring, times the number of features, is the resolution below which products
	// may keep fewer than 8 digits of tᵀt: each of their figures is rounded at 2⁻⁵²
	// of the two spreads it stands for.
	Squaring = 1e-8
)

// bundle is how many jobs share a pass over the rows, and strip how many rows
// stay in the nearest cache meanwhile.
const bundle, strip = 64, 4

// Solver fits parts of a wide matrix. It is not safe for concurrent use, and keeps
// its memory from call to call.
type Solver struct {
	w      *moment.Wide
	scaled bool
	most   func(rows, p int) int
	lanes  []lane
	gram   []float64 // of one part, n×n
	row    []float64
}

// New readies the parts of w. scaled says whether each part divides its features by
// their SD (n − 1), and most how many components so many rows and features allow.
func New(w *moment.Wide, scaled bool, most func(rows, p int) int) *Solver {
	return &Solver{w: w, scaled: scaled, most: most}
}

// Solve fills in every job's Out and OK, as model.WideSolver says.
func (s *Solver) Solve(jobs []moment.Job, steps int) {
	for len(jobs) > 0 {
		group := 1
		for group < len(jobs) && jobs[group].SamePart(&jobs[0]) {
			group++
		}
		switch {
		case !s.scaled:
			s.few(jobs[:min(bundle, len(jobs))], steps, s.w.Gram())
			jobs = jobs[min(bundle, len(jobs)):]
		case s.pays(group, steps):
			s.share(jobs[:group], steps)
			jobs = jobs[group:]
		default:
			some := group
			for some < min(bundle, len(jobs)) { // parts of few responses, together
				next := 1
				for some+next < len(jobs) && jobs[some+next].SamePart(&jobs[some]) {
					next++
				}
				if s.pays(next, steps) {
					break
				}
				some += next
			}
			some = min(some, bundle)
			s.few(jobs[:some], steps, nil)
			jobs = jobs[some:]
		}
	}
}

// pays is whether a part's own products cost less than passes over the rows for
// so many responses.
func (s *Solver) pays(responses, steps int) bool {
	n, p := float64(s.w.N), float64(s.w.P)
	each := float64(responses * steps)
	return n*n*p/2+each*1.5*n*n < each*2*n*p
}

// share does jobs of one part from its own scaled products.
func (s *Solver) share(jobs []moment.Job, steps int) {
	n := s.w.N
	s.grow(1)
	s.lanes[0].begin(s, &jobs[0], steps, true)
	s.gram, s.row = grow(s.gram, n*n), grow(s.row, s.w.P)
	for i := range n {
		for j, u := range s.w.Deviation(i, nil) {
			s.row[j] = u * s.lanes[0].inv[j] * s.lanes[0].inv[j]
		}
		for k := i; k < n; k++ {
			v := moment.Dot(s.row, s.w.Deviation(k, nil))
			s.gram[i*n+k], s.gram[k*n+i] = v, v
		}
	}
	for len(jobs) > 0 {
		some := min(bundle, len(jobs))
		s.few(jobs[:some], steps, s.gram)
		jobs = jobs[some:]
	}
}

// few does no more than a bundle of jobs; gram is nil to work on rows.
func (s *Solver) few(jobs []moment.Job, steps int, gram []float64) {
	s.grow(len(jobs))
	lanes := s.lanes[:len(jobs)]
	for i := range jobs {
		if i > 0 && jobs[i].SamePart(&jobs[i-1]) {
			lanes[i].columns(&lanes[i-1])
		}
		lanes[i].begin(s, &jobs[i], steps, gram != nil)
	}
	if gram != nil {
		s.followGram(gram, lanes, jobs, steps)
	} else {
		s.follow(lanes, jobs, steps)
	}
	for i := range jobs {
		lanes[i].end(&jobs[i], steps)
	}
}

func (s *Solver) grow(lanes int) {
	for len(s.lanes) < lanes {
		s.lanes = append(s.lanes, lane{})
	}
}

// follow extracts all lanes' components side by side from the rows.
func (s *Solver) follow(lanes []lane, jobs []moment.Job, steps int) {
	w := s.w
	for i := range lanes {
		clear(lanes[i].l)
	}
	eachStrip(w.N, lanes, func(z *lane, i int) { // Uᵀv
		if f := z.v[i]; f != 0 {
			moment.Add(z.l, f, w.Deviation(i, nil))
		}
	})
	for c := range lanes {
		lanes[c].start()
	}
	for a := range steps {
		open := 0
		for c := range lanes {
			if z := &lanes[c]; !z.done {
				z.direction(a)
			}
			if !lanes[c].done {
				open++
			}
		}
		if open == 0 {
			return
		}
		eachStrip(w.N, lanes, func(z *lane, i int) {
			u := w.Deviation(i, nil)
			z.t[i] = moment.Dot(z.g, u) - z.off
			if !z.left[i] {
				moment.Add(z.l, z.t[i], u)
			}
		})
		for c := range lanes {
			if z := &lanes[c]; !z.done {
				z.component(a, &jobs[c])
			}
		}
	}
}

// followGram is follow in the Gram form.
func (s *Solver) followGram(gram []float64, lanes []lane, jobs []moment.Job, steps int) {
	n := s.w.N
	for a := range steps {
		eachStrip(n, lanes, func(z *lane, i int) { z.k[i] = moment.Dot(gram[i*n:(i+1)*n], z.v) })
		open := 0
		for c := range lanes {
			z := &lanes[c]
			if z.done {
				continue
			}
			z.gramComponent(a, n-len(jobs[c].Left), &jobs[c])
			if !z.done {
				open++
			}
		}
		if open == 0 {
			return
		}
	}
}

// eachStrip calls f for every lane that is not done and every row, a few rows at
// a time.
func eachStrip(n int, lanes []lane, f func(z *lane, i int)) {
	for from := 0; from < n; from += strip {
		to := min(from+strip, n)
		for c := range lanes {
			z := &lanes[c]
			if z.done {
				continue
			}
			for i := from; i < to; i++ {
				f(z, i)
			}
		}
	}
}

func grow(v []float64, n int) []float64 {
	if cap(v) < n {
		return make([]float64, n)
	}
	return v[:n]
}
