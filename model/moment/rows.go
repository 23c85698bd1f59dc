package moment

import "math"

// Rows are a matrix seen as deviations from its column means, u = x − mean.
type Rows struct {
	N, P int
	// Mean is each column's mean, corrected once for rounding; Rest is what it
	// still lacks: the true mean is Mean + Rest. SS is Σ u², exactly 0 for a
	// column that does not vary.
	Mean, Rest, SS []float64

	m    Matrix
	flat []int
	u    []float64 // n×p, nil when deviations are formed as they are needed
}

// keepAll is the number of figures up to which Keep keeps.
const keepAll = 1 << 18

// NewRows measures m's columns: two passes over the data and no copy. It returns a *RangeError for a
// column that cannot be squared.
func NewRows(m Matrix) (*Rows, error) {
	n, p := m.N(), m.P()
	r := &Rows{N: n, P: p, m: m, Mean: make([]float64, p), Rest: make([]float64, p), SS: make([]float64, p)}
	r.measure()
	for j, name := range m.Features() {
		if r.plain(j) {
			continue
		}
		flat, err := r.examine(j, name)
		if err != nil {
			return nil, err
		}
		if flat {
			r.flat, r.SS[j], r.Rest[j] = append(r.flat, j), 0, 0
		}
	}
	return r, nil
}

// measure fills Mean, Rest and SS: means in the first pass; in the second the
// deviations' own mean, by which the first is corrected.
func (r *Rows) measure() {
	first, off := make([]float64, r.P), make([]float64, r.P)
	share := 1 / float64(r.N)
	for i := range r.N {
		Add(first, share, r.m.Row(i)) // cannot overflow
	}
	for i := range r.N {
		for j, x := range r.m.Row(i) {
			d := x - first[j]
			off[j] += share * d
			r.SS[j] += d * d
		}
	}
	for j, d := range off {
		r.Mean[j] = first[j] + d
		moved := r.Mean[j] - first[j]
		r.Rest[j] = d - moved
		r.SS[j] += float64(r.N) * moved * (moved - 2*d)
	}
}

// plain is whether column j certainly varies and can be squared: judged by its
// root mean square, which is no larger than its largest deviation.
func (r *Rows) plain(j int) bool {
	if !(r.SS[j] > 0) || math.IsInf(r.SS[j], 0) {
		return false
	}
	rms, top := math.Sqrt(r.SS[j]/float64(r.N)), math.Abs(r.Mean[j])+math.Sqrt(r.SS[j])
	return rms > 2*Rounding*top && rms > 2*smallest && top < largest/2
}

// examine looks at every figure of column j.
func (r *Rows) examine(j int, name string) (flat bool, err error) {
	spread, top := 0.0, 0.0
	for i := range r.N {
		x := r.m.Row(i)[j]
		top = max(top, math.Abs(x))
		spread = max(spread, math.Abs(x-r.Mean[j]))
	}
	if err := CheckRange(name, spread, top); err != nil {
		return false, err
	}
	return spread <= Rounding*top, nil
}

// Keep holds all deviations in memory from now on, for whoever asks for them often;
// of more than a quarter of a million figures it does nothing.
func (r *Rows) Keep() {
	if r.N*r.P <= keepAll {
		r.keep()
	}
}

// keep is Keep whatever the size.
func (r *Rows) keep() {
	if r.u != nil {
		return
	}
	u := make([]float64, r.N*r.P)
	for i := range r.N {
		r.Deviation(i, u[i*r.P:(i+1)*r.P])
	}
	r.u = u
}

// Deviation is row i's u. buf, of length P, may be used for it; the answer must
// not be written to. A column without variance has exact zeros.
func (r *Rows) Deviation(i int, buf []float64) []float64 {
	if r.u != nil {
		return r.u[i*r.P : (i+1)*r.P : (i+1)*r.P]
	}
	row := r.m.Row(i)
	buf = buf[:len(row)]
	for j, mean := range r.Mean {
		buf[j] = row[j] - mean
	}
	for _, j := range r.flat {
		buf[j] = 0
	}
	return buf
}

// Flat lists the columns that do not vary.
func (r *Rows) Flat() []int { return r.flat }

// Target is a response as deviations V from its mean. Rest is what the mean
// lacks, as in Rows; Flat says that it does not vary, and V is then all zeros.
type Target struct {
	V          []float64
	Mean, Rest float64
	Flat       bool
}

// Target centres a response of length N on its mean. It returns a
// *RangeError when it cannot be squared.
func (r *Rows) Target(name string, y []float64) (*Target, error) {
	mean, spread, top := Mean(y)
	if err := CheckRange(name, spread, top); err != nil {
		return nil, err
	}
	t := &Target{V: make([]float64, len(y)), Mean: mean, Flat: spread <= Rounding*top}
	for i := range y {
		if !t.Flat {
			t.V[i] = y[i] - mean
			t.Rest += t.V[i] / float64(r.N)
		}
	}
	return t, nil
}

// MeanAt is the height at Mean of a fit with coefficients b, original units. It
// is t.Mean but for what rounding took from the means, which a steep fit on
// far-away figures would show.
func (r *Rows) MeanAt(t *Target, b []float64) float64 {
	rest := t.Rest
	for j, v := range b {
		rest -= v * r.Rest[j]
	}
	return t.Mean + rest
}
