package anatomy

import (
	"flourcast/eval/domain"
	"flourcast/model"
	"flourcast/model/design"
	"flourcast/model/pls"
	"flourcast/model/transform"
)

// Inside is the method inside a fit's transforms, with the matrix as it saw it and
// what becomes of a row on the way there. Filter is that of a derivative.
type Inside struct {
	Fitted model.Fitted
	Matrix *design.Matrix
	Filter *transform.Filter
	rows   []func([]float64) []float64
}

// Open takes the transforms off a fit of m. Errors are those of refitting them.
func Open(f model.Fitted, m *design.Matrix) (Inside, error) {
	in := Inside{Fitted: f, Matrix: m}
	for {
		around, ok := in.Fitted.(interface {
			Inner() model.Fitted
			Matrix(*design.Matrix) (*design.Matrix, error)
			Row([]float64) []float64
		})
		if !ok {
			return in, nil
		}
		if d, ok := around.(*transform.Differentiated); ok {
			filter := d.Filter()
			in.Filter = &filter
		}
		var err error
		if in.Matrix, err = around.Matrix(in.Matrix); err != nil {
			return in, err
		}
		in.Fitted, in.rows = around.Inner(), append(in.rows, around.Row)
	}
}

// Distance is how far a new row lies out on a PLS model's components (T²) and off
// their plane (Q), with the limits that one new row in twenty exceeds. QLimit is nil
// where the components leave nothing.
type Distance struct {
	T2      float64
	T2Limit float64
	Q       float64
	QLimit  *float64
}

// Distances gives the distance of rows in original units; nil for methods without
// components.
func (in Inside) Distances() func(x []float64) Distance {
	f, ok := in.Fitted.(*pls.Model)
	if !ok {
		return nil
	}
	d := Distance{T2Limit: domain.T2Limit(in.Matrix.N(), f.Components(), level)}
	if left, ok := f.ResidualVariances(in.Matrix); ok {
		if q := domain.QLimit(left, level); q > 0 {
			d.QLimit = &q
		}
	}
	return func(x []float64) Distance {
		for _, row := range in.rows {
			x = row(x)
		}
		out := d
		out.T2, out.Q = f.T2(x), f.Q(x)
		return out
	}
}
