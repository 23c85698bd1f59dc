package transform

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"

	"flourcast/model"
	"flourcast/model/design"
)

// Derivative fits Inner to derivatives of whole curves. All features must be one
// curve, in its order and evenly spaced: the caller sees to that. Half a window is
// lost at either end. A derivative removes what differs between runs by a constant
// (order 1) or a drift (order 2), and makes noise louder.
//
// Of several Orders the path takes each number of components by each order, in
// turn: 1 component as it is, 1 component of the first derivative, … A rule that
// takes the first step that is good enough so prefers fewer components, then the
// lower order.
type Derivative struct {
	Inner          model.Stepped
	Orders         []int // one or several of 0, 1, 2
	Window, Degree int   // see Filter
}

// Kind is that of the method inside.
func (d Derivative) Kind() string { return d.Inner.Kind() }

// Settled is false where an order is to be chosen.
func (d Derivative) Settled() bool { return len(d.Orders) == 1 && settled(d.Inner) }

// Steps is the longest path of p columns that so many training rows allow.
func (d Derivative) Steps(rows, p int) int {
	least := 0
	for k, order := range d.Orders {
		f, err := Filter{order, d.Window, d.Degree}.check()
		if err != nil {
			return 0
		}
		if n := d.Inner.Steps(rows, p-2*f.half()); k == 0 || n < least {
			least = n
		}
	}
	return least * len(d.Orders)
}

// Fit fits every order. A column of the filtered curves that does not vary has no
// say. Errors: *model.SettingError for a filter or curves that do not fit, those of
// the method inside.
func (d Derivative) Fit(m *design.Matrix) (model.Path, error) {
	if len(d.Orders) == 0 {
		return nil, &model.SettingError{Kind: "derivative", Setting: "orders", Found: "none", Want: "one or several of 0, 1, 2"}
	}
	out := &path{}
	for _, order := range d.Orders {
		f, err := Filter{order, d.Window, d.Degree}.check()
		if err != nil {
			return nil, err
		}
		b, err := d.branch(f, m)
		if err != nil {
			return nil, err
		}
		out.branches = append(out.branches, b)
	}
	if out.each = out.branches[0].path.Len(); len(d.Orders) > 1 {
		// So many as rows allow, whatever the rank: steps of the same number mean the
		// same in every training part.
		out.each = d.Steps(m.N(), m.P()) / len(d.Orders)
	}
	return out, nil
}

// branch is the path of one order.
type branch struct {
	filter Filter
	p      int
	used   []int // columns of the filtered curve that vary; nil: all
	path   model.Path
}

func (d Derivative) branch(f Filter, m *design.Matrix) (branch, error) {
	b := branch{filter: f, p: m.P()}
	filtered, err := filtered(f, m)
	if err != nil {
		return b, err
	}
	b.path, err = d.Inner.Fit(filtered)
	var flat *model.NoVarianceError
	if errors.As(err, &flat) && len(flat.Features) > 0 && len(flat.Features) < filtered.P() {
		var names []string
		for k, name := range filtered.Features() {
			if !slices.Contains(flat.Features, name) {
				b.used, names = append(b.used, k), append(names, name)
			}
		}
		if filtered, err = filtered.WithFeatures(names); err != nil {
			return b, err
		}
		b.path, err = d.Inner.Fit(filtered)
	}
	return b, err
}

// filtered is m with the filtered curves, each column named for the middle of its
// window.
func filtered(f Filter, m *design.Matrix) (*design.Matrix, error) {
	if f.Order == 0 {
		return m, nil
	}
	h := f.half()
	if m.P() <= 2*h {
		return nil, &model.SettingError{Kind: "derivative", Setting: "window", Found: fmt.Sprintf("%d columns for a curve of %d", f.Window, m.P()), Want: "a window narrower than the curve"}
	}
	s := design.Spec{Features: m.Features()[h : m.P()-h], Response: m.Response(), Y: m.Y(), Lots: m.Lots(), Weights: m.Weights(), SE: m.SE(), Groupings: map[string][]string{}}
	for _, name := range m.Groupings() {
		s.Groupings[name], _ = m.Grouping(name)
	}
	w, top := f.weights(), make([]float64, m.P())
	for i := range m.N() {
		row := make([]float64, m.P()-2*h)
		f.filter(w, m.Row(i), row)
		s.X = append(s.X, row)
		for j, v := range m.Row(i) {
			top[j] = max(top[j], math.Abs(v))
		}
	}
	settle(s.X, w, top)
	return design.New(s)
}

// settle gives the columns of filtered rows that differ by rounding only one
// figure; top is the largest figure of each column before.
func settle(rows [][]float64, w, top []float64) {
	limit := still(w)
	for k := range rows[0] {
		low, high := rows[0][k], rows[0][k]
		for _, row := range rows {
			low, high = min(low, row[k]), max(high, row[k])
		}
		if high-low > limit*slices.Max(top[k:k+len(w)]) {
			continue
		}
		for _, row := range rows {
			row[k] = rows[0][k]
		}
	}
}

// path has each branch's steps in turn; a branch that ends early repeats its last.
type path struct {
	branches []branch
	each     int
}

func (p *path) Len() int { return p.each * len(p.branches) }

func (p *path) at(i int) (branch, int) {
	if i < 0 || i >= p.Len() {
		panic("transform: no such step")
	}
	b := p.branches[i%len(p.branches)]
	return b, min(i/len(p.branches), b.path.Len()-1)
}

func (p *path) At(i int) model.Fitted {
	b, step := p.at(i)
	return differentiated(b.filter, b.p, b.used, b.path.At(step))
}

// Label is "3 components, first derivative".
func (p *path) Label(i int) string {
	b, step := p.at(i)
	return b.path.Label(step) + ", " + b.filter.words()
}

func (f Filter) words() string {
	return [...]string{"as measured", "first derivative", "second derivative"}[f.Order]
}

// Differentiated is a fit of filtered curves. Its equation is on the curves
// themselves.
type Differentiated struct {
	inner  model.Fitted
	filter Filter
	w      []float64
	used   []int
	line   model.Linear
}

func differentiated(f Filter, p int, used []int, inner model.Fitted) *Differentiated {
	d := &Differentiated{inner: inner, filter: f, w: f.weights(), used: used}
	line := inner.Linear()
	b := line.Coefficients
	if used != nil {
		b = make([]float64, p-2*f.half())
		for k, j := range used {
			b[j] = line.Coefficients[k]
		}
	}
	d.line = model.Linear{Intercept: line.Intercept, Coefficients: back(d.w, b, p)}
	return d
}

// Kind is that of the method inside.
func (d *Differentiated) Kind() string { return d.inner.Kind() }

// Predict filters the curve x and asks the method inside. It panics when len(x) is
// not p.
func (d *Differentiated) Predict(x []float64) float64 {
	if len(x) != len(d.line.Coefficients) {
		panic("transform: Predict needs as many figures as the model has features")
	}
	return d.inner.Predict(d.filtered(x))
}

func (d *Differentiated) filtered(x []float64) []float64 {
	z := make([]float64, len(x)-2*d.filter.half())
	d.filter.filter(d.w, x, z)
	if d.used == nil {
		return z
	}
	kept := make([]float64, len(d.used))
	for k, j := range d.used {
		kept[k] = z[j]
	}
	return kept
}

// Linear is the equation on the curve, in original units.
func (d *Differentiated) Linear() model.Linear {
	return model.Linear{Intercept: d.line.Intercept, Coefficients: slices.Clone(d.line.Coefficients)}
}

// DF and Complexity are those of the method inside.
func (d *Differentiated) DF() float64 { return d.inner.DF() }

// Complexity is that of the method within.
func (d *Differentiated) Complexity() model.Complexity { return d.inner.Complexity() }

// Filter is the filter that the curves go through.
func (d *Differentiated) Filter() Filter { return d.filter }

// Inner is the fit of the filtered curves.
func (d *Differentiated) Inner() model.Fitted { return d.inner }

// Row is the curve x as the method inside sees it. It panics when len(x) is not p.
func (d *Differentiated) Row(x []float64) []float64 {
	if len(x) != len(d.line.Coefficients) {
		panic("transform: Row needs as many figures as the model has features")
	}
	return d.filtered(x)
}

// Matrix is m as the method inside saw it: filtered, without columns that did not
// vary. Errors are those of Fit.
func (d *Differentiated) Matrix(m *design.Matrix) (*design.Matrix, error) {
	f, err := filtered(d.filter, m)
	if err != nil || d.used == nil {
		return f, err
	}
	names := make([]string, len(d.used))
	for k, j := range d.used {
		names[k] = f.Features()[j]
	}
	return f.WithFeatures(names)
}

type derivativePayload struct {
	Filter
	Features int             `json:"features"`
	Used     []int           `json:"used,omitempty"`
	Inner    json.RawMessage `json:"inner"`
}

// Encode writes what DecodeDerivative reads; inner writes the method inside.
func (d *Differentiated) Encode(inner func(model.Fitted) (json.RawMessage, error)) (json.RawMessage, error) {
	data, err := inner(d.inner)
	if err != nil {
		return nil, err
	}
	return json.Marshal(derivativePayload{d.filter, len(d.line.Coefficients), d.used, data})
}

// DecodeDerivative reads a saved fit of filtered curves. Errors:
// *model.PayloadError, *model.SettingError, those of inner.
func DecodeDerivative(data []byte, inner func(json.RawMessage) (model.Fitted, error)) (*Differentiated, error) {
	var s derivativePayload
	if err := model.DecodePayload("derivative", data, &s); err != nil {
		return nil, err
	}
	f, err := s.Filter.check()
	if err != nil {
		return nil, err
	}
	fitted, err := inner(s.Inner)
	if err != nil {
		return nil, err
	}
	have, columns := len(fitted.Linear().Coefficients), s.Features-2*f.half()
	want := columns
	if s.Used != nil {
		want = len(s.Used)
		for k, j := range s.Used {
			if j < 0 || j >= columns || (k > 0 && j <= s.Used[k-1]) {
				return nil, &model.PayloadError{Kind: "derivative", Found: fmt.Sprint("column ", j), Want: "columns of the filtered curve, ascending"}
			}
		}
	}
	if err := model.CheckLength("derivative", "coefficients", have, want); err != nil {
		return nil, err
	}
	return differentiated(f, s.Features, s.Used, fitted), nil
}
