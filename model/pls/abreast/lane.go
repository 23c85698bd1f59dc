package abreast

import (
	"math"

	"flourcast/model/moment"
)

// lane is one job under way. Names are those of pls.PLS.Fit; vectors over rows have
// n figures, those over features p.
type lane struct {
	left              []bool
	shift, ss, inv    []float64 // of the part: mean, Σ Z², 1/SD
	plain             bool      // no column lost digits
	known             bool      // shift, ss, inv, plain are the part's already
	v, t, s, w, g, l  []float64
	loadings, rot     []float64 // most×p, of the components so far
	scores, dual, k   []float64 // Gram form: most×n, most×n, n
	tt                []float64
	mean, yy          float64
	first, total, off float64
	widest            float64 // largest of ss
	steps             int
	done              bool
}

// columns takes over what another lane knows of the same part's columns.
func (z *lane) columns(from *lane) {
	z.shift = append(z.shift[:0], from.shift...)
	z.ss, z.inv = append(z.ss[:0], from.ss...), append(z.inv[:0], from.inv...)
	z.plain, z.total, z.widest, z.known = from.plain, from.total, from.widest, true
}

// begin sets the lane up for a job.
func (z *lane) begin(s *Solver, job *moment.Job, steps int, gram bool) {
	w, n, p := s.w, s.w.N, s.w.P
	if cap(z.left) < n {
		z.left = make([]bool, n)
	}
	z.left = z.left[:n]
	clear(z.left)
	for _, i := range job.Left {
		z.left[i] = true
	}
	trained := n - len(job.Left)
	if !z.known {
		z.measure(w, job, s.scaled, trained)
	}
	z.known = false
	z.v, z.t, z.tt = grow(z.v, n), grow(z.t, n), grow(z.tt, steps)
	var okY bool
	z.mean, z.yy, okY = w.Centre(job.Y, job.Left, z.v)
	job.OK = z.plain && okY && s.most(trained, p) >= steps
	z.steps, z.done, z.first = 0, !job.OK, 0
	clear(job.Out[:steps*len(job.Test)])
	if gram {
		z.scores, z.dual, z.k = grow(z.scores, steps*n), grow(z.dual, steps*n), grow(z.k, n)
		return
	}
	z.s, z.w, z.g, z.l = grow(z.s, p), grow(z.w, p), grow(z.g, p), grow(z.l, p)
	z.loadings, z.rot = grow(z.loadings, steps*p), grow(z.rot, steps*p)
}

// measure fills in what depends on the part's columns only.
func (z *lane) measure(w *moment.Wide, job *moment.Job, scaled bool, trained int) {
	z.shift, z.ss, z.inv = grow(z.shift, w.P), grow(z.ss, w.P), grow(z.inv, w.P)
	z.plain, z.total, z.widest = w.Columns(job.Left, z.shift, z.ss), 0, 0
	for j, ss := range z.ss {
		z.inv[j] = moment.InverseScale(ss, trained, scaled)
		z.ss[j] *= z.inv[j] * z.inv[j]
		z.total += z.ss[j]
		z.widest = max(z.widest, z.ss[j])
	}
}

// end adds the part's mean and repeats the last step.
func (z *lane) end(job *moment.Job, steps int) {
	if !job.OK {
		return
	}
	m := len(job.Test)
	for a := range steps {
		out := job.Out[a*m : (a+1)*m]
		if a >= z.steps && a > 0 {
			copy(out, job.Out[(a-1)*m:a*m])
			continue
		}
		for t := range out {
			out[t] += z.mean
		}
	}
}

// start takes the first covariance from l = Uᵀv.
func (z *lane) start() {
	for j, inv := range z.inv {
		z.s[j] = z.l[j] * inv
	}
	z.first = math.Sqrt(moment.Dot(z.s, z.s))
	z.done = z.done || !(z.first > Nothing*math.Sqrt(z.total*z.yy))
}

// direction prepares component a: r, and g = D·r.
func (z *lane) direction(a int) {
	length := math.Sqrt(moment.Dot(z.s, z.s))
	if !(length > Spent*z.first) {
		z.done = true
		return
	}
	p := len(z.s)
	r := z.rot[a*p : (a+1)*p]
	for j, v := range z.s {
		z.w[j] = v / length
	}
	copy(r, z.w)
	for b := range a {
		moment.Add(r, -moment.Dot(z.loadings[b*p:(b+1)*p], z.w), z.rot[b*p:(b+1)*p])
	}
	for j, inv := range z.inv {
		z.g[j] = r[j] * inv
	}
	z.off = moment.Dot(z.g, z.shift)
	clear(z.l)
}

// component finishes component a from its scores t and Uᵀt.
func (z *lane) component(a int, job *moment.Job) {
	p := len(z.s)
	tt, alone := z.trained(z.t, z.t), 0.0
	for j, r := range z.rot[a*p : (a+1)*p] {
		alone += r * r * z.ss[j]
	}
	if !(tt > Resolution*alone) {
		z.done = true
		return
	}
	length := moment.Dot(z.s, z.w)
	l := z.loadings[a*p : (a+1)*p]
	for j, inv := range z.inv {
		l[j] = z.l[j] * inv / tt
	}
	moment.Add(z.s, -length, l)
	z.predict(a, length/tt, z.t, job)
}

// predict adds q·t to the predictions of component a's step.
func (z *lane) predict(a int, q float64, t []float64, job *moment.Job) {
	m := len(job.Test)
	for k, i := range job.Test {
		before := 0.0
		if a > 0 {
			before = job.Out[(a-1)*m+k]
		}
		job.Out[a*m+k] = before + q*t[i]
	}
	z.steps = a + 1
}

// gramComponent finishes component a from k = UUᵀe, e being z.v. Scores are not
// normed: t is |s|·t here, which changes no prediction.
func (z *lane) gramComponent(a, trained int, job *moment.Job) {
	n := len(z.v)
	mean := 0.0
	for i, k := range z.k {
		if !z.left[i] {
			mean += k
		}
	}
	mean /= float64(trained)
	for i := range z.k {
		z.k[i] -= mean
	}
	length := math.Sqrt(max(0, moment.Dot(z.v, z.k))) // |Zᵀe|, e being 0 in rows left out
	if a == 0 {
		z.first = length
		if !(length > Nothing*math.Sqrt(z.total*z.yy)) {
			z.done = true
			return
		}
	}
	if !(length > Spent*z.first) {
		z.done = true
		return
	}
	t, c := z.scores[a*n:(a+1)*n], z.dual[a*n:(a+1)*n]
	copy(t, z.k)
	copy(c, z.v)
	for b := range a {
		tb := z.scores[b*n : (b+1)*n]
		f := z.trained(tb, z.k) / z.tt[b]
		moment.Add(t, -f, tb)
		moment.Add(c, -f, z.dual[b*n:(b+1)*n])
	}
	tt := z.trained(t, t)
	// rᵀr is cᵀt; with the largest column's Σ Z² it is no less than Σ r²·ZᵀZ.
	// Where that does not settle that the component is to be had, the rows must.
	if !(tt > max(Resolution, Squaring*float64(len(z.ss)))*z.widest*moment.Dot(c, t)) {
		z.done, job.OK = true, false
		return
	}
	z.tt[a] = tt
	q := z.trained(t, z.v) / tt
	moment.Add(z.v, -q, t)
	for _, i := range job.Left {
		z.v[i] = 0
	}
	z.predict(a, q, t, job)
}

// trained is the product of two row vectors over the training rows.
func (z *lane) trained(a, b []float64) float64 {
	sum := 0.0
	for i, out := range z.left {
		if !out {
			sum += a[i] * b[i]
		}
	}
	return sum
}
