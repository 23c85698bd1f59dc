package moment

import (
	"context"

	"gonum.org/v1/gonum/floats"

	"flourcast/work"
)

// Base is a data set with its overall column means removed (u = x − x̄) and its
// sums of products formed once. Training parts subtract their left-out rows T:
//
//	S = Σ u          − Σ_T u              n_N = n − n_T
//	Q = Σ u uᵀ       − Σ_T u uᵀ           (likewise Σ u v, Σ v² for v = y − ȳ)
//	mean of the part = x̄ + S/n_N
//	centred products = Q − S Sᵀ/n_N
//
// which is exact algebra. Removing x̄ first keeps it exact to rounding too, whatever the offset of a
// column: without it a column with mean/SD of 1e6 loses 12 digits. What remains
// is cancellation when the left-out rows hold nearly all of a column's variance;
// Part.Moments and Sums.Moments then report false, and the rows themselves must
// be fitted (two passes). Cost: n·p²/2 once, n_T·p²/2 + p² a part. The idea of
// fast partition-based cross-validation is Engstrøm and Jensen's (2025, J
// Chemometrics, from memory).
type Base struct {
	*Rows
	whole Part
}

// kept is the share of a column's variance that must remain after subtraction
// for its digits to be trusted: below it, more than 4 of 16 digits are gone.
const kept = 1e-4

// fewRows is the number of rows below which they are taken one by one, tile the
// columns that stay in the nearest cache, and parallel the columns from which more
// than one core pays.
const fewRows, tile, parallel = 8, 8, 64

// blockRows is how many rows are multiplied at once: no more than 250, and no more
// than 800 kB.
func blockRows(p int) int { return max(32, min(250, 100000/max(1, p))) }

// NewBase forms the products of m's features on up to cores cores (0: all). It
// returns a *RangeError for a feature that cannot be squared; one without
// variance is allowed and has no influence.
func NewBase(m Matrix, cores int) (*Base, error) {
	r, err := NewRows(m)
	if err != nil {
		return nil, err
	}
	b := &Base{Rows: r, whole: Part{s: make([]float64, r.P), q: make([]float64, r.P*r.P)}}
	b.whole.base = b
	if r.P < parallel {
		cores = 1
	}
	var blk block
	most := blockRows(r.P)
	rows := make([]int, 0, most)
	for from := 0; from < r.N; from += most {
		rows = rows[:0]
		for i := from; i < min(from+most, r.N); i++ {
			rows = append(rows, i)
		}
		b.whole.n += len(rows)
		blk.load(r, rows)
		// Background: a block takes milliseconds, and the caller asks its own context.
		if err := work.Each(context.Background(), (r.P+tile-1)/tile, cores, func(k int) error {
			b.whole.add(&blk, k*tile, min((k+1)*tile, r.P), 1)
			return nil
		}); err != nil {
			return nil, err
		}
	}
	return b, nil
}

// block is some rows' deviations, column after column, so that the product of two
// columns is one run through memory.
type block struct {
	n int
	u []float64
}

func (k *block) load(r *Rows, rows []int) {
	k.n = len(rows)
	k.u = grow(k.u, k.n*r.P)
	t := 0
	for ; t+4 <= len(rows); t += 4 { // four rows fill half a cache line of a column
		a, b, c, d := r.m.Row(rows[t]), r.m.Row(rows[t+1]), r.m.Row(rows[t+2]), r.m.Row(rows[t+3])
		at := t
		for j, mean := range r.Mean {
			u := k.u[at : at+4 : at+4]
			u[0], u[1], u[2], u[3] = a[j]-mean, b[j]-mean, c[j]-mean, d[j]-mean
			at += k.n
		}
	}
	for ; t < len(rows); t++ {
		at := t
		for j, x := range r.m.Row(rows[t]) {
			k.u[at] = x - r.Mean[j]
			at += k.n
		}
	}
	for _, j := range r.flat {
		clear(k.column(j))
	}
}

func (k *block) column(j int) []float64 { return k.u[j*k.n : (j+1)*k.n] }

// Part is the sums of some rows of a Base, the features' side.
type Part struct {
	base *Base
	n    int
	s    []float64 // Σ u
	q    []float64 // Σ u uᵀ, upper triangle
	blk  block
	buf  []float64
}

// add adds (sign 1) or subtracts (sign −1) a block's products for the columns
// from…to-1 and those after them.
func (t *Part) add(k *block, from, to int, sign float64) {
	p := len(t.s)
	for j := from; j < to; j++ {
		t.s[j] += sign * floats.Sum(k.column(j))
	}
	for l := from; l < p; l++ {
		c := k.column(l)
		for j := from; j < to && j <= l; j++ {
			t.q[j*p+l] += sign * Dot(k.column(j), c)
		}
	}
}

// subtract takes one row away.
func (t *Part) subtract(u []float64) {
	p := len(u)
	for j, v := range u {
		t.s[j] -= v
		if v != 0 {
			Add(t.q[j*p+j:j*p+p], -v, u[j:])
		}
	}
}

// Whole is the part with all rows.
func (b *Base) Whole() *Part { return &b.whole }

// Rows is the number of rows in the part.
func (t *Part) Rows() int { return t.n }

// Without is the part less the given rows, which must be in it. reuse may be nil
// or a part of the same base whose memory is taken.
func (t *Part) Without(rows []int, reuse *Part) *Part {
	if reuse == nil || len(reuse.q) != len(t.q) {
		reuse = &Part{s: make([]float64, len(t.s)), q: make([]float64, len(t.q))}
	}
	reuse.base, reuse.n = t.base, t.n-len(rows)
	copy(reuse.s, t.s)
	copy(reuse.q, t.q)
	k := &reuse.blk
	for len(rows) >= fewRows {
		some := rows[:min(len(rows), blockRows(len(t.s)))]
		rows = rows[len(some):]
		k.load(t.base.Rows, some)
		for from := 0; from < len(t.s); from += tile {
			reuse.add(k, from, min(from+tile, len(t.s)), -1)
		}
	}
	reuse.buf = grow(reuse.buf, len(t.s))
	for _, i := range rows {
		reuse.subtract(t.base.Deviation(i, reuse.buf))
	}
	return reuse
}

// Shift is the part's mean less the overall mean of feature j.
func (t *Part) Shift(j int) float64 { return t.s[j] / float64(t.n) }

// Moments centres the part's sums on its own means. ok is false when a feature
// kept less than 1e-4 of its overall sum of squares: digits are lost, fit the
// rows. x.XX is the part's own memory: afterwards the part has no products any
// more, and can only be handed to Without as reuse, which ends x too.
func (t *Part) Moments(x *X) (ok bool) {
	p := len(t.s)
	x.N, x.P, x.Mean, x.XX = t.n, p, grow(x.Mean, p), t.q
	ok = true
	for j := range p {
		shift := t.s[j] / float64(t.n)
		x.Mean[j] = t.base.Mean[j] + shift
		row := t.q[j*p+j : (j+1)*p]
		for k, s := range t.s[j:] {
			row[k] -= shift * s
		}
		for k, v := range row {
			t.q[(j+k)*p+j] = v
		}
		if row[0] < kept*t.base.SS[j] {
			ok = false
		}
	}
	return ok
}

// Response is one response over the rows of a Base: its deviations and the whole
// data's sums.
type Response struct {
	*Target
	whole Sums
}

// Sums are one response's side of a Part: Σ v, Σ v², Σ u v.
type Sums struct {
	n       int
	sum, sq float64
	xy, buf []float64
}

// Response forms the sums of a response: n·p multiplications. One without
// variance gets exact zeros.
func (b *Base) Response(t *Target) *Response {
	r := &Response{Target: t, whole: Sums{n: b.N, xy: make([]float64, b.P), buf: make([]float64, b.P)}}
	for i, v := range t.V {
		r.whole.add(b.Deviation(i, r.whole.buf), v, 1)
	}
	return r
}

func (s *Sums) add(u []float64, v, sign float64) {
	f := sign * v
	s.sum += f
	s.sq += f * v
	Add(s.xy, f, u)
}

// Whole is the response's sums over all rows.
func (r *Response) Whole() *Sums { return &r.whole }

// Without writes the sums less the given rows into out, whose memory is reused.
func (s *Sums) Without(b *Base, r *Response, rows []int, out *Sums) {
	if len(out.xy) != len(s.xy) {
		out.xy, out.buf = make([]float64, len(s.xy)), make([]float64, len(s.xy))
	}
	out.n, out.sum, out.sq = s.n-len(rows), s.sum, s.sq
	copy(out.xy, s.xy)
	for _, i := range rows {
		out.add(b.Deviation(i, out.buf), r.V[i], -1)
	}
}

// Moments centres the sums on the part's means (t must be the same rows). ok is
// false when the response does not vary in the part, or kept less than 1e-4 of
// its overall sum of squares. y may hold memory from an earlier call.
func (s *Sums) Moments(t *Part, r *Response, y *Y) (ok bool) {
	y.XY = grow(y.XY, len(s.xy))
	shift := s.sum / float64(s.n)
	y.N, y.Mean = s.n, r.Mean+shift
	y.YY = s.sq - shift*s.sum
	for j, xy := range s.xy {
		y.XY[j] = xy - shift*t.s[j]
	}
	return y.YY > 0 && y.YY >= kept*r.whole.sq
}

// Shift is the mean of the summed rows less the overall mean.
func (s *Sums) Shift() float64 { return s.sum / float64(s.n) }
