package moment

import (
	"math"
	"sync"
)

// Wide is a matrix with more columns than rows, of which many training parts are
// fitted from the rows themselves.
type Wide struct {
	*Rows
	once sync.Once
	gram []float64
}

// Job is one training part of a Wide and one response: the rows Left out, of
// which Test are to be predicted. Out gets the predictions, [step][test row], as
// deviations from the response's mean. OK is false when the job could not be done
// to enough digits: fit its rows.
type Job struct {
	Left, Test []int
	Y          *Target
	Out        []float64
	OK         bool
}

// SamePart is whether two jobs leave out the very same list of rows.
func (j *Job) SamePart(k *Job) bool {
	return len(j.Left) == len(k.Left) && (len(j.Left) == 0 || &j.Left[0] == &k.Left[0])
}

// NewWide keeps all deviations of m in memory. It returns a *RangeError.
func NewWide(m Matrix) (*Wide, error) {
	r, err := NewRows(m)
	if err != nil {
		return nil, err
	}
	r.keep()
	return &Wide{Rows: r}, nil
}

// Gram is u uᵀ, n×n, formed by the first call: n²·p/2 multiplications.
func (w *Wide) Gram() []float64 {
	w.once.Do(func() {
		w.gram = make([]float64, w.N*w.N)
		for i := range w.N {
			u := w.Deviation(i, nil)
			for k := i; k < w.N; k++ {
				v := Dot(u, w.Deviation(k, nil))
				w.gram[i*w.N+k], w.gram[k*w.N+i] = v, v
			}
		}
	})
	return w.gram
}

// Columns writes the mean and the sum of squares of the columns without the left
// rows, as deviations from the overall means. ok is false when a column that
// varies kept less than 1e-4 of its sum of squares.
func (w *Wide) Columns(left []int, shift, ss []float64) (ok bool) {
	n := float64(w.N - len(left))
	copy(ss, w.SS)
	clear(shift)
	for _, i := range left {
		for j, v := range w.Deviation(i, nil) {
			shift[j] -= v
			ss[j] -= v * v
		}
	}
	ok = true
	for j := range shift {
		shift[j] /= n
		ss[j] -= n * shift[j] * shift[j]
		if ss[j] < kept*w.SS[j] {
			ok = false
		}
	}
	return ok
}

// Centre writes y's deviations from the mean of the rows that stay into v, 0 for
// the left ones, and returns that mean (as a deviation) and the sum of squares.
// ok is false when too little of its variance stayed.
func (w *Wide) Centre(y *Target, left []int, v []float64) (mean, ss float64, ok bool) {
	copy(v, y.V)
	whole := 0.0
	for _, x := range y.V {
		mean += x
		whole += x * x
	}
	for _, i := range left {
		mean -= y.V[i]
	}
	mean /= float64(w.N - len(left))
	for i := range v {
		v[i] -= mean
	}
	for _, i := range left {
		v[i] = 0
	}
	ss = Dot(v, v)
	return mean, ss, ss > 0 && ss >= kept*whole
}

// InverseScale is 1/SD (n − 1) of a column with sum of squares ss over n rows, or 1
// when it is not scaled; 0 for a column without variance.
func InverseScale(ss float64, n int, scaled bool) float64 {
	switch {
	case ss <= 0:
		return 0
	case !scaled:
		return 1
	}
	return math.Sqrt(float64(n-1) / ss)
}
