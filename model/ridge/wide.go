package ridge

import (
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"

	"flourcast/model"
	"flourcast/model/moment"
)

// steep is how small D² + λ may be beside the largest D² for singular values to
// keep 10 digits. Below it nothing does, and all must be fitted alike.
const steep = 1e-12

// wideSolver fits parts of a wide matrix in the dual form.
type wideSolver struct {
	f              Ridge
	scaling        model.Scaling
	w              *moment.Wide
	shift, ss, inv []float64 // of the part's columns
	plain          bool
	left           []bool
	train          []int
	lambdas        []float64
	square         []float64  // squared singular values, k
	u              []float64  // their left vectors, train×k
	onto           []float64  // z·Zᵀ·u of the rows to predict, test×k
	vd             *mat.Dense // V·D, features×k; nil in the dual form
	row, v, z      []float64
	work           []float64
}

// Wide readies ridge for the parts of w. With K = Z·Zᵀ of a part's n rows (formed
// from the n×n products of all rows when features are only centred, row by row
// when they are scaled) and K = U·D²·Uᵀ,
//
//	ŷ = ȳ + z·Zᵀ·U·(D² + λ)⁻¹·Uᵀ·y
//
// for every λ and row z, which has as many digits as the rows themselves unless
// D² + λ falls below 1e-6 of the largest D²; then U, D and V = Zᵀ·U/D come from the singular
// value decomposition of the part's rows. Once a part: n²·p/2 and about 9·n³
// multiplications; each response n² and n a penalty and row.
func (f Ridge) Wide(w *moment.Wide) (model.WideSolver, error) {
	scaling, err := f.Scaling.Check("ridge")
	if err != nil {
		return nil, err
	}
	if _, err := f.penalties(w.N, nil); err != nil {
		return nil, err
	}
	return &wideSolver{f: f, scaling: scaling, w: w, shift: make([]float64, w.P), ss: make([]float64, w.P), inv: make([]float64, w.P), row: make([]float64, w.P)}, nil
}

// Solve is that of model.WideSolver.
func (s *wideSolver) Solve(jobs []moment.Job, steps int) {
	ready := false
	for i := range jobs {
		j := &jobs[i]
		if i == 0 || !j.SamePart(&jobs[i-1]) {
			ready = s.prepare(j)
		} else if ready && !sameRows(j.Test, jobs[i-1].Test) {
			s.project(j.Test)
		}
		j.OK = ready && s.predict(j, steps)
	}
}

func sameRows(a, b []int) bool {
	return len(a) == len(b) && (len(a) == 0 || &a[0] == &b[0])
}

// prepare decomposes the job's part.
func (s *wideSolver) prepare(j *moment.Job) bool {
	s.plain = s.w.Columns(j.Left, s.shift, s.ss)
	if cap(s.left) < s.w.N {
		s.left = make([]bool, s.w.N)
	}
	clear(s.left)
	for _, i := range j.Left {
		s.left[i] = true
	}
	s.train = s.train[:0]
	for i, l := range s.left {
		if !l {
			s.train = append(s.train, i)
		}
	}
	n := len(s.train)
	var err error
	if s.lambdas, err = s.f.penalties(n, s.lambdas); err != nil {
		return false
	}
	if !s.plain || n < 2 {
		return false
	}
	for c, ss := range s.ss {
		s.inv[c] = model.InverseOf(ss, n, s.scaling)
	}
	if !s.dual() && !s.exact() {
		return false
	}
	s.project(j.Test)
	return true
}

// along writes the centred, scaled row i times D into s.row and returns its
// product with the part's mean: K[i,k] is then s.row·u_k less that.
func (s *wideSolver) along(i int) (mean float64) {
	for c, u := range s.w.Deviation(i, nil) {
		s.row[c] = (u - s.shift[c]) * s.inv[c] * s.inv[c]
	}
	return moment.Dot(s.row, s.shift)
}

// dual decomposes the part's K; false is for one that is graded too steeply.
func (s *wideSolver) dual() bool {
	n := len(s.train)
	s.u, s.square, s.vd = grow(s.u, n*n), grow(s.square, n), nil
	if s.scaling == model.ScaleNone {
		s.centred()
	} else {
		for a, i := range s.train {
			mean := s.along(i)
			for b, k := range s.train[a:] {
				v := moment.Dot(s.row, s.w.Deviation(k, nil)) - mean
				s.u[a*n+a+b], s.u[(a+b)*n+a] = v, v
			}
		}
	}
	a := blas64.Symmetric{N: n, Stride: n, Data: s.u, Uplo: 'U'}
	s.work = grow(s.work, 34*n)
	if !lapack64.Syev(lapack.EVCompute, a, s.square, s.work, len(s.work)) {
		return false
	}
	for c, v := range s.square {
		s.square[c] = max(v, 0)
	}
	// The first is that of centring, whose vector no centred response has.
	return s.square[1]+s.lambdas[len(s.lambdas)-1] >= graded*s.square[n-1]
}

// centred takes the part's K from the products of all rows: both ways less the
// part's means.
func (s *wideSolver) centred() {
	n, all, gram := len(s.train), s.w.N, s.w.Gram()
	mean, total := grow(s.z, n), 0.0
	s.z = mean
	for a, i := range s.train {
		mean[a] = 0
		for _, k := range s.train {
			mean[a] += gram[i*all+k]
		}
		mean[a] /= float64(n)
		total += mean[a] / float64(n)
	}
	for a, i := range s.train {
		for b, k := range s.train {
			s.u[a*n+b] = gram[i*all+k] - mean[a] - mean[b] + total
		}
	}
}

// exact decomposes the part's rows themselves, of which it makes a copy.
func (s *wideSolver) exact() bool {
	n, p := len(s.train), s.w.P
	z := mat.NewDense(n, p, nil)
	for a, i := range s.train {
		row := z.RawRowView(a)
		for c, u := range s.w.Deviation(i, nil) {
			row[c] = (u - s.shift[c]) * s.inv[c]
		}
	}
	var svd mat.SVD
	if !svd.Factorize(z, mat.SVDThin) {
		return false
	}
	var u, v mat.Dense
	svd.UTo(&u)
	svd.VTo(&v)
	s.square = svd.Values(s.square[:min(n, p)])
	k := len(s.square)
	s.u = grow(s.u, n*k)
	copy(s.u, u.RawMatrix().Data)
	s.vd = &v
	for c, d := range s.square {
		for j := range p {
			v.Set(j, c, v.At(j, c)*d)
		}
		s.square[c] = d * d
	}
	return s.square[max(0, min(k, n-1)-1)]+s.lambdas[len(s.lambdas)-1] >= steep*s.square[0]
}

// project fills onto for the rows to predict.
func (s *wideSolver) project(test []int) {
	k := len(s.square)
	s.onto = grow(s.onto, len(test)*k)
	clear(s.onto)
	for t, i := range test {
		out := s.onto[t*k : (t+1)*k]
		if s.vd != nil {
			for c, u := range s.w.Deviation(i, nil) {
				moment.Add(out, (u-s.shift[c])*s.inv[c], s.vd.RawRowView(c))
			}
			continue
		}
		mean := s.along(i)
		for a, l := range s.train {
			moment.Add(out, moment.Dot(s.row, s.w.Deviation(l, nil))-mean, s.u[a*k:(a+1)*k])
		}
	}
}

// predict fills in the job's Out.
func (s *wideSolver) predict(j *moment.Job, steps int) bool {
	s.v = grow(s.v, s.w.N)
	mean, _, ok := s.w.Centre(j.Y, j.Left, s.v)
	if !ok {
		return false
	}
	if len(s.lambdas) < steps {
		return false
	}
	k := len(s.square)
	z, scaled := grow(s.z, k), grow(s.work, k)
	s.z, s.work = z, scaled
	clear(z)
	for a, i := range s.train {
		moment.Add(z, s.v[i], s.u[a*k:(a+1)*k])
	}
	m := len(j.Test)
	for a, lambda := range s.lambdas[:steps] {
		for c, d := range s.square {
			scaled[c] = z[c] / (d + lambda)
		}
		for t := range j.Test {
			j.Out[a*m+t] = mean + moment.Dot(s.onto[t*k:(t+1)*k], scaled)
		}
	}
	return true
}

func grow(v []float64, n int) []float64 {
	if cap(v) < n {
		return make([]float64, n)
	}
	return v[:n]
}
