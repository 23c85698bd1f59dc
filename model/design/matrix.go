// Package design is the plank between laboratory data and numbers: a complete,
// finite, labelled matrix.
//
//  1. The laboratory side assembles one Spec: rows, names, lots, groupings.
//  2. New checks shapes and refuses every NaN and Inf by row and column.
//  3. Fitters and evaluation read the Matrix and cannot change it.
//
// No other package needs to look for NaN again. It knows nothing of flour,
// files or models.
package design

import (
	"fmt"
	"math"
	"slices"
)

// Spec is what a Matrix is made from. X has one slice of len(Features) figures
// a row; Y, Lots and every grouping have one entry a row. Weights and SE are
// optional (nil): a row's weight (> 0) and the standard error of its response.
//
// Instead of X, Flat may hold the n×p figures row after row; New then takes that
// memory over without a copy, and the caller must not write to it any more.
type Spec struct {
	Features  []string
	Response  string
	X         [][]float64
	Flat      []float64
	Y         []float64
	Lots      []string
	Groupings map[string][]string
	Weights   []float64
	SE        []float64
}

// Matrix is n rows (one a lot, or several of one lot), p features and one
// response, all finite. It is immutable: accessors return its own memory,
// which callers must not write.
type Matrix struct {
	n, p      int
	x         []float64 // row-major n×p
	y         []float64
	features  []string
	response  string
	lots      []string
	groupings map[string][]string
	weights   []float64
	se        []float64
}

// ValueError says which figure was not finite.
type ValueError struct {
	Row    int // from 0
	Lot    string
	Column string
	Value  float64
}

func (e *ValueError) Error() string {
	return fmt.Sprintf("design: row %d (lot %s), column %s: found %v, expected a finite number; leave the row out or fill the figure in", e.Row+1, e.Lot, e.Column, e.Value)
}

// ShapeError says which part had the wrong length or a repeated name.
type ShapeError struct{ Part, Found, Want string }

func (e *ShapeError) Error() string {
	return fmt.Sprintf("design: %s: found %s, expected %s", e.Part, e.Found, e.Want)
}

// New copies s into a Matrix. It returns a *ShapeError when lengths disagree, a
// feature is named twice, or the response is also a feature; a *ValueError for
// the first figure (by row, then column) that is NaN or infinite, or a weight or
// standard error that is not positive (a standard error may be 0).
func New(s Spec) (*Matrix, error) {
	n, p := len(s.Y), len(s.Features)
	if n == 0 {
		return nil, &ShapeError{"rows", "none", "at least one"}
	}
	if len(s.Lots) != n {
		return nil, &ShapeError{"lots", fmt.Sprint(len(s.Lots)), fmt.Sprint(n, " as in Y")}
	}
	seen := map[string]bool{s.Response: true}
	for _, f := range s.Features {
		if seen[f] {
			return nil, &ShapeError{"features", f + " twice, or the response among them", "each name once"}
		}
		seen[f] = true
	}
	x, err := s.flat(n, p)
	if err != nil {
		return nil, err
	}
	m := &Matrix{n: n, p: p, x: x, y: slices.Clone(s.Y), features: slices.Clone(s.Features),
		response: s.Response, lots: slices.Clone(s.Lots), groupings: map[string][]string{}}
	for i := range n {
		for j, v := range m.Row(i) {
			if !finite(v) {
				return nil, &ValueError{i, s.Lots[i], s.Features[j], v}
			}
		}
		if !finite(s.Y[i]) {
			return nil, &ValueError{i, s.Lots[i], s.Response, s.Y[i]}
		}
	}
	for name, values := range s.Groupings {
		if len(values) != n {
			return nil, &ShapeError{"grouping " + name, fmt.Sprint(len(values)), fmt.Sprint(n, " as in Y")}
		}
		m.groupings[name] = slices.Clone(values)
	}
	check := func(name string, v []float64, zero bool) error {
		if v != nil && len(v) != n {
			return &ShapeError{name, fmt.Sprint(len(v)), fmt.Sprint(n, " as in Y")}
		}
		for i, w := range v {
			if !finite(w) || w < 0 || (w == 0 && !zero) {
				return &ValueError{i, s.Lots[i], name, w}
			}
		}
		return nil
	}
	if err := check("weight", s.Weights, false); err != nil {
		return nil, err
	}
	if err := check("standard error", s.SE, true); err != nil {
		return nil, err
	}
	m.weights, m.se = slices.Clone(s.Weights), slices.Clone(s.SE)
	return m, nil
}

// flat is Flat, or a copy of X row after row.
func (s Spec) flat(n, p int) ([]float64, error) {
	if s.Flat != nil {
		if s.X != nil || len(s.Flat) != n*p {
			return nil, &ShapeError{"Flat", fmt.Sprint(len(s.Flat), " figures"), fmt.Sprint(n*p, ", and no X")}
		}
		return s.Flat, nil
	}
	if len(s.X) != n {
		return nil, &ShapeError{"X", fmt.Sprint(len(s.X), " rows"), fmt.Sprint(n, " as in Y")}
	}
	x := make([]float64, 0, n*p)
	for i, row := range s.X {
		if len(row) != p {
			return nil, &ShapeError{fmt.Sprint("X row ", i+1), fmt.Sprint(len(row), " figures"), fmt.Sprint(p)}
		}
		x = append(x, row...)
	}
	return x, nil
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// N is the number of rows.
func (m *Matrix) N() int { return m.n }

// P is the number of features.
func (m *Matrix) P() int { return m.p }

// X is the n×p feature matrix, row-major.
func (m *Matrix) X() []float64 { return m.x }

// Row is row i of X, length p.
func (m *Matrix) Row(i int) []float64 { return m.x[i*m.p : (i+1)*m.p : (i+1)*m.p] }

// Y is the response, length n.
func (m *Matrix) Y() []float64 { return m.y }

// Features are the names of X's columns.
func (m *Matrix) Features() []string { return m.features }

// Response is the name of y.
func (m *Matrix) Response() string { return m.response }

// Lots names the lot of each row. Rows of one lot never part in folds.
func (m *Matrix) Lots() []string { return m.lots }

// Grouping returns a row label (crop_year, supplier, family …) and whether it is known.
func (m *Matrix) Grouping(name string) ([]string, bool) {
	g, ok := m.groupings[name]
	return g, ok
}

// Groupings names the row labels, sorted.
func (m *Matrix) Groupings() []string {
	names := make([]string, 0, len(m.groupings))
	for n := range m.groupings {
		names = append(names, n)
	}
	slices.Sort(names)
	return names
}

// Weights are the row weights, or nil.
func (m *Matrix) Weights() []float64 { return m.weights }

// SE are the standard errors of the response, or nil.
func (m *Matrix) SE() []float64 { return m.se }

// Column copies feature j, length n.
func (m *Matrix) Column(j int) []float64 {
	out := make([]float64, m.n)
	for i := range out {
		out[i] = m.x[i*m.p+j]
	}
	return out
}

// Subset copies the given rows, in the given order. It panics on a row outside
// 0…n-1 or an empty list: the caller chose the rows.
func (m *Matrix) Subset(rows []int) *Matrix {
	if len(rows) == 0 {
		panic("design: Subset of no rows")
	}
	s := &Matrix{n: len(rows), p: m.p, features: m.features, response: m.response, groupings: map[string][]string{}}
	s.x = make([]float64, 0, len(rows)*m.p)
	for _, i := range rows {
		s.x = append(s.x, m.Row(i)...)
	}
	s.y, s.lots = pick(m.y, rows), pick(m.lots, rows)
	s.weights, s.se = pick(m.weights, rows), pick(m.se, rows)
	for name, g := range m.groupings {
		s.groupings[name] = pick(g, rows)
	}
	return s
}

// WithResponse is m with another response (for permutations and simulated
// responses). It returns the errors of New.
func (m *Matrix) WithResponse(name string, y []float64) (*Matrix, error) {
	if len(y) != m.n {
		return nil, &ShapeError{"response " + name, fmt.Sprint(len(y)), fmt.Sprint(m.n, " rows")}
	}
	for i, v := range y {
		if !finite(v) {
			return nil, &ValueError{i, m.lots[i], name, v}
		}
	}
	c := *m
	c.y, c.response = slices.Clone(y), name
	return &c, nil
}

// WithFeatures is m with only the named features, in the given order. It
// returns a *ShapeError naming the first feature that m lacks.
func (m *Matrix) WithFeatures(names []string) (*Matrix, error) {
	at := make([]int, len(names))
	for k, name := range names {
		if at[k] = slices.Index(m.features, name); at[k] < 0 {
			return nil, &ShapeError{"features", name, "one of the matrix's features"}
		}
	}
	c := *m
	c.p, c.features = len(names), slices.Clone(names)
	c.x = make([]float64, 0, m.n*len(names))
	for i := range m.n {
		for _, j := range at {
			c.x = append(c.x, m.x[i*m.p+j])
		}
	}
	return &c, nil
}

// WithColumn is m with one more feature, last; x has one figure a row. A feature
// of that name that m has already is kept as it is. It returns the errors of New.
func (m *Matrix) WithColumn(name string, x []float64) (*Matrix, error) {
	if slices.Contains(m.features, name) {
		return m, nil
	}
	if name == m.response {
		return nil, &ShapeError{"features", name + ", the response", "another column"}
	}
	if len(x) != m.n {
		return nil, &ShapeError{"feature " + name, fmt.Sprint(len(x)), fmt.Sprint(m.n, " rows")}
	}
	c := *m
	c.p, c.features = m.p+1, append(slices.Clone(m.features), name)
	c.x = make([]float64, 0, c.n*c.p)
	for i, v := range x {
		if !finite(v) {
			return nil, &ValueError{i, m.lots[i], name, v}
		}
		c.x = append(append(c.x, m.Row(i)...), v)
	}
	return &c, nil
}

func pick[T any](from []T, rows []int) []T {
	if from == nil {
		return nil
	}
	out := make([]T, len(rows))
	for k, i := range rows {
		out[k] = from[i]
	}
	return out
}
