package model

import (
	"math"

	"flourcast/model/design"
)

// XMoments are the means and centred cross-products of the features over some
// rows: XX[j,k] = Σ (x[j] − Mean[j])(x[k] − Mean[k]), p×p row-major, both halves.
// A feature without variance has a row and column of exact zeros.
type XMoments struct {
	N, P     int
	Mean, XX []float64
}

// YMoments are one response's part: XY[j] = Σ (x[j] − mean)(y − Mean) and
// YY = Σ (y − Mean)².
type YMoments struct {
	N    int
	Mean float64
	XY   []float64
	YY   float64
}

// Moments are everything a least-squares method needs to know of its rows. The
// names go into errors.
type Moments struct {
	X        XMoments
	Y        YMoments
	Features []string
	Response string
}

// Base is a data set with its overall column means removed (u = x − x̄) and its
// sums of products formed once. Training parts subtract their left-out rows T:
//
//	S = Σ u          − Σ_T u              n_N = n − n_T
//	Q = Σ u uᵀ       − Σ_T u uᵀ           (likewise Σ u v, Σ v² for v = y − ȳ)
//	mean of the part = x̄ + S/n_N
//	centred products = Q − S Sᵀ/n_N
//
// which is exact algebra. Removing x̄ first keeps it exact to rounding too,
// whatever the offset of a column: without it a column with mean/SD of 1e6
// loses 12 digits. What remains is cancellation when the left-out rows hold
// nearly all of a column's variance; Part.Moments and Sums.Moments then report
// false, and the rows themselves must be fitted (two passes). Cost: n·p²/2 once,
// n_T·p²/2 + p² a part. One copy of the data is held, none per part. The idea of
// fast partition-based cross-validation is Engstrøm and Jensen's (2025, J
// Chemometrics, from memory).
type Base struct {
	m     *design.Matrix
	n, p  int
	xMean []float64
	u     []float64
	whole Part
}

// kept is the share of a column's variance that must remain after subtraction
// for its digits to be trusted: below it, more than 4 of 16 digits are gone.
const kept = 1e-4

// NewBase centres m's features and forms their products. It returns a
// *RangeError for a feature that cannot be squared; one without variance is
// allowed and has no influence.
func NewBase(m *design.Matrix) (*Base, error) {
	n, p := m.N(), m.P()
	b := &Base{m: m, n: n, p: p, xMean: make([]float64, p), u: make([]float64, n*p)}
	if _, err := centre(m, b.xMean, b.u); err != nil {
		return nil, err
	}
	b.whole = Part{base: b, n: n, s: make([]float64, p), q: make([]float64, p*p)}
	for i := range n {
		b.whole.add(b.Deviation(i), 1)
	}
	return b, nil
}

// N is the number of rows.
func (b *Base) N() int { return b.n }

// P is the number of features.
func (b *Base) P() int { return b.p }

// Deviation is row i's distance from the overall means, u. It is the base's own
// memory.
func (b *Base) Deviation(i int) []float64 { return b.u[i*b.p : (i+1)*b.p : (i+1)*b.p] }

// Whole is the part with all rows.
func (b *Base) Whole() *Part { return &b.whole }

// Part is the sums of some rows of a Base, the features' side.
type Part struct {
	base *Base
	n    int
	s    []float64 // Σ u
	q    []float64 // Σ u uᵀ, upper triangle
}

// add adds (sign 1) or subtracts (sign −1) one row.
func (t *Part) add(u []float64, sign float64) {
	p := len(u)
	for j, uj := range u {
		f := sign * uj
		t.s[j] += f
		if f == 0 {
			continue
		}
		row := t.q[j*p : j*p+p]
		for k := j; k < len(row) && k < len(u); k++ {
			row[k] += f * u[k]
		}
	}
}

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
	for _, i := range rows {
		reuse.add(t.base.Deviation(i), -1)
	}
	return reuse
}

// Shift is the part's mean less the overall mean of feature j.
func (t *Part) Shift(j int) float64 { return t.s[j] / float64(t.n) }

// Moments centres the part's sums on its own means. ok is false when a feature
// kept less than 1e-4 of its overall sum of squares: digits are lost, fit the
// rows. x may hold memory from an earlier call.
func (t *Part) Moments(x *XMoments) (ok bool) {
	p := t.base.p
	x.N, x.P = t.n, p
	if len(x.XX) != p*p {
		x.Mean, x.XX = make([]float64, p), make([]float64, p*p)
	}
	ok = true
	for j := range p {
		shift := t.s[j] / float64(t.n)
		x.Mean[j] = t.base.xMean[j] + shift
		for k := j; k < p; k++ {
			v := t.q[j*p+k] - shift*t.s[k]
			x.XX[j*p+k], x.XX[k*p+j] = v, v
		}
		if x.XX[j*p+j] < kept*t.base.whole.q[j*p+j] {
			ok = false
		}
	}
	return ok
}

// Response is one response over the rows of a Base: deviations V from its mean,
// and the whole data's sums.
type Response struct {
	V     []float64
	mean  float64
	whole Sums
}

// Sums are one response's side of a Part: Σ v, Σ v², Σ u v.
type Sums struct {
	n       int
	sum, sq float64
	xy      []float64
}

// Response forms the sums of a response, length n: n·p multiplications. It
// returns a *RangeError when it cannot be squared. One without variance gets
// exact zeros.
func (b *Base) Response(name string, y []float64) (*Response, error) {
	r := &Response{V: make([]float64, b.n), whole: Sums{n: b.n, xy: make([]float64, b.p)}}
	var err error
	if r.mean, _, err = centreResponse(name, y, r.V); err != nil {
		return nil, err
	}
	b.sum(r)
	return r, nil
}

// Reordered is a response whose row i has the figure that from has in row
// order[i]: the same mean, no new centring.
func (b *Base) Reordered(from *Response, order []int) *Response {
	r := &Response{V: make([]float64, b.n), mean: from.mean, whole: Sums{n: b.n, xy: make([]float64, b.p)}}
	for i, k := range order {
		r.V[i] = from.V[k]
	}
	b.sum(r)
	return r
}

func (b *Base) sum(r *Response) {
	for i, v := range r.V {
		r.whole.add(b.Deviation(i), v, 1)
	}
}

func (s *Sums) add(u []float64, v, sign float64) {
	f := sign * v
	s.sum += f
	s.sq += f * v
	for j, uj := range u {
		s.xy[j] += f * uj
	}
}

// Whole is the response's sums over all rows.
func (r *Response) Whole() *Sums { return &r.whole }

// Without writes the sums less the given rows into out, whose memory is reused.
func (s *Sums) Without(b *Base, r *Response, rows []int, out *Sums) {
	if len(out.xy) != len(s.xy) {
		out.xy = make([]float64, len(s.xy))
	}
	out.n, out.sum, out.sq = s.n-len(rows), s.sum, s.sq
	copy(out.xy, s.xy)
	for _, i := range rows {
		out.add(b.Deviation(i), r.V[i], -1)
	}
}

// Moments centres the sums on the part's means (t must be the same rows). ok is
// false when the response does not vary in the part, or kept less than 1e-4 of
// its overall sum of squares. y may hold memory from an earlier call.
func (s *Sums) Moments(t *Part, r *Response, y *YMoments) (ok bool) {
	if len(y.XY) != len(s.xy) {
		y.XY = make([]float64, len(s.xy))
	}
	shift := s.sum / float64(s.n)
	y.N, y.Mean = s.n, r.mean+shift
	y.YY = s.sq - shift*s.sum
	for j := range s.xy {
		y.XY[j] = s.xy[j] - shift*t.s[j]
	}
	return y.YY > 0 && y.YY >= kept*r.whole.sq
}

// NewMoments forms the moments of all rows of m. It returns a *RangeError, or a
// *NoVarianceError naming the features, or else the response, that do not vary.
func NewMoments(kind string, m *design.Matrix) (Moments, error) {
	b, err := NewBase(m)
	if err != nil {
		return Moments{}, err
	}
	r, err := b.Response(m.Response(), m.Y())
	if err != nil {
		return Moments{}, err
	}
	mo := Moments{Features: m.Features(), Response: m.Response()}
	b.Whole().Moments(&mo.X)
	r.Whole().Moments(b.Whole(), r, &mo.Y)
	return mo, mo.CheckVariance(kind)
}

// CheckVariance returns a *NoVarianceError naming features, or else the
// response, without variance.
func (mo Moments) CheckVariance(kind string) error {
	var flat []string
	for j := range mo.X.P {
		if mo.X.XX[j*mo.X.P+j] <= 0 {
			flat = append(flat, mo.Features[j])
		}
	}
	if flat != nil {
		return &NoVarianceError{Kind: kind, Features: flat}
	}
	if mo.Y.YY <= 0 {
		return &NoVarianceError{Kind: kind, Response: mo.Response}
	}
	return nil
}

// InverseScale writes 1/SD (n − 1) of each feature into inv for ScaleUnit, 1 for
// ScaleNone, and 0 for a feature without variance.
func InverseScale(x XMoments, scaling Scaling, inv []float64) {
	for j := range inv {
		ss := x.XX[j*x.P+j]
		switch {
		case ss <= 0:
			inv[j] = 0
		case scaling == ScaleNone:
			inv[j] = 1
		default:
			inv[j] = math.Sqrt(float64(x.N-1) / ss)
		}
	}
}

// Mean is the response's overall mean.
func (r *Response) Mean() float64 { return r.mean }

// Shift is the mean of the summed rows less the overall mean.
func (s *Sums) Shift() float64 { return s.sum / float64(s.n) }
