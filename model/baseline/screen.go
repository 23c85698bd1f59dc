package baseline

import (
	"math"

	"github.com/sajari/regression"

	"flourcast/model"
	"flourcast/model/design"
)

// ScreenRow is one feature's own straight line: response = Intercept +
// Slope·feature, with correlation R and R². OK is false when there is none;
// Reason then says why and the figures are not set.
type ScreenRow struct {
	Feature          string
	Slope, Intercept float64
	R, R2            float64
	OK               bool
	Reason           string
}

// screenRows is the number of rows up to which the library is called: it keeps
// an n×n matrix. Above it the same line is computed here.
const screenRows = 1000

// Screen fits each feature alone, in the order of m's features. The fits are
// those of github.com/sajari/regression, which answers anything without
// complaint: so fewer than three rows, a feature or response without variance,
// and figures that cannot be squared are caught before, and it is given the
// centred feature in SDs and the centred response.
func Screen(m *design.Matrix) []ScreenRow {
	out := make([]ScreenRow, m.P())
	for j, name := range m.Features() {
		out[j] = screenOne(m, j)
		out[j].Feature = name
	}
	return out
}

func screenOne(m *design.Matrix, j int) ScreenRow {
	if m.N() < 3 {
		return ScreenRow{Reason: (&model.TooFewRowsError{Kind: "screen", Rows: m.N(), Need: 3}).Error()}
	}
	one, err := m.WithFeatures(m.Features()[j : j+1])
	if err != nil {
		return ScreenRow{Reason: err.Error()}
	}
	s, err := model.Standardise("screen", one, model.ScaleUnit)
	if err != nil {
		return ScreenRow{Reason: err.Error()}
	}
	slope, r2, err := straightLine(s)
	if err != nil {
		return ScreenRow{Reason: err.Error()}
	}
	row := ScreenRow{Slope: slope / s.Scale[0], R2: r2, OK: true}
	row.R = math.Copysign(math.Sqrt(r2), slope)
	row.Intercept = s.YMean - row.Slope*s.XMean[0]
	return row
}

// straightLine is the slope of centred y on standardised z, and R².
func straightLine(s *model.Standard) (slope, r2 float64, err error) {
	if s.N > screenRows {
		zy, yy := 0.0, 0.0
		for i, y := range s.Y {
			zy += s.Z[i] * y
			yy += y * y
		}
		slope = zy / float64(s.N-1)
		return slope, min(1, slope*zy/yy), nil
	}
	var r regression.Regression
	for i, y := range s.Y {
		r.Train(regression.DataPoint(y, s.Z[i:i+1]))
	}
	if err := r.Run(); err != nil {
		return 0, 0, err
	}
	return r.Coeff(1), min(1, max(0, r.R2)), nil
}
