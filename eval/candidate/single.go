package candidate

import (
	"math"

	"flourcast/model"
	"flourcast/model/baseline"
	"flourcast/model/design"
	"flourcast/model/linear"
)

// Single is least squares on one feature: the one that goes with the response
// most closely over the rows at hand. The choice is part of Fit, so in
// cross-validation it is made anew in every training part.
type Single struct{}

// SingleModel is a straight line on feature Feature of p.
type SingleModel struct {
	line       *linear.OLSModel
	feature, p int
}

// Kind is "single".
func (Single) Kind() string { return "single" }

// Fit takes the feature of the largest |r| (of several, the first) and fits the
// line. A feature that does not vary is passed over. Errors are those of
// linear.OLS when no feature is left.
func (Single) Fit(m *design.Matrix) (model.Path, error) {
	best, bestR := 0, -1.0
	y, yMean := m.Y(), 0.0
	for i, v := range y {
		yMean += (v - yMean) / float64(i+1)
	}
	for j := range m.P() {
		x, xMean := m.Column(j), 0.0
		for i, v := range x {
			xMean += (v - xMean) / float64(i+1)
		}
		// Scaled by its largest deviation, so that squares neither overflow nor vanish.
		size := 0.0
		for _, v := range x {
			size = max(size, math.Abs(v-xMean))
		}
		if !(size > 1e-12*math.Abs(xMean)) {
			continue
		}
		xx, xy := 0.0, 0.0
		for i, v := range x {
			d := (v - xMean) / size
			xx, xy = xx+d*d, xy+d*(y[i]-yMean)
		}
		if r := math.Abs(xy) / math.Sqrt(xx); r > bestR {
			best, bestR = j, r
		}
	}
	if m.P() == 0 {
		return baseline.Mean{}.Fit(m)
	}
	one, err := m.WithFeatures(m.Features()[best : best+1])
	if err != nil {
		return nil, err
	}
	line, err := linear.OLS{}.Regress(one)
	if err != nil {
		return nil, err
	}
	return singlePath{&SingleModel{line, best, m.P()}, m.Features()[best]}, nil
}

// singlePath is a path of one step.
type singlePath struct {
	*SingleModel
	label string
}

func (s singlePath) Len() int { return 1 }

func (s singlePath) At(i int) model.Fitted {
	if i != 0 {
		panic("candidate: the path has one step")
	}
	return s.SingleModel
}

func (s singlePath) Label(int) string { return s.label }

// Kind is "single".
func (f *SingleModel) Kind() string { return "single" }

// Predict evaluates the line; it panics when len(x) is not p.
func (f *SingleModel) Predict(x []float64) float64 {
	if len(x) != f.p {
		panic("candidate: Predict needs as many figures as the model has features")
	}
	return f.line.Predict(x[f.feature : f.feature+1])
}

// Linear has a coefficient of zero for every other feature.
func (f *SingleModel) Linear() model.Linear {
	one := f.line.Linear()
	out := model.Linear{Intercept: one.Intercept, Coefficients: make([]float64, f.p)}
	out.Coefficients[f.feature] = one.Coefficients[0]
	return out
}

// DF is 1; the choice of the feature is not counted.
func (f *SingleModel) DF() float64 { return 1 }

// Complexity is empty: the choice is part of Fit.
func (f *SingleModel) Complexity() model.Complexity { return model.Complexity{} }

var _ model.Fitter = Single{}
