// Package anatomy lays a fitted model open: what its method says of itself beyond
// the equation.
//
//  1. OLS gives least squares' standard errors, t, intervals, inflation of
//     variance, PRESS, and each row's leverage, Cook's distance and intervals.
//  2. PLS gives the components: weights, loadings, rotations, explained variance,
//     VIP, and each row's scores, T² and Q beside their limits.
//  3. Curve lays the coefficients of a model of whole curves over the mean curve.
//
// It fits nothing. A figure that does not exist is absent, never 0.
package anatomy

import (
	"fmt"
	"math"

	"flourcast/finding"
	"flourcast/model/design"
	"flourcast/model/linear"

	"gonum.org/v1/gonum/stat/distuv"
)

// level of all intervals here.
const level = 0.95

// interceptName is the intercept's name among coefficients.
const interceptName = "(intercept)"

// LeastSquares is what ordinary least squares says of itself. Maps have each
// feature, those of coefficients the intercept too unless the fit goes through the
// origin. Intervals are at 95 %.
type LeastSquares struct {
	StandardErrors map[string]float64 `json:"standard_errors"`
	T              map[string]float64 `json:"t_values"` // absent where the standard error is 0
	P              map[string]float64 `json:"p_values"`
	Low            map[string]float64 `json:"confidence_low"`
	High           map[string]float64 `json:"confidence_high"`
	VIF            map[string]float64 `json:"vif"`

	R2        float64  `json:"r2"`
	R2About   string   `json:"r2_about"` // mean, or zero through the origin
	Sigma     float64  `json:"sigma"`
	DF        float64  `json:"df"` // left for σ
	Condition float64  `json:"condition"`
	Weighted  bool     `json:"weighted"`
	PRESS     *float64 `json:"press"` // leave-one-row-out in closed form; nil where a row decides its own value
	RMSELOO   *float64 `json:"rmse_loo"`
	Rows      []Row    `json:"row_figures"`
}

// Row is one training row of a least-squares fit. Low and High are the interval of
// the mean at that row, NewLow and NewHigh that of one further lot like it.
type Row struct {
	Lot      string   `json:"lot"`
	Fitted   float64  `json:"fitted"`
	Residual float64  `json:"residual"`
	Leverage float64  `json:"leverage"`
	Cook     *float64 `json:"cook"`
	Low      float64  `json:"mean_low"`
	High     float64  `json:"mean_high"`
	NewLow   float64  `json:"new_low"`
	NewHigh  float64  `json:"new_high"`
}

// illConditioned is the condition number above which a fit is doubted: six digits
// of the data are lost in its coefficients (common practice, no source).
const illConditioned = 1e6

// OLS gives the figures of a fit on its training matrix, and a doubt that names
// the condition number where it is above illConditioned. Errors are those of
// linear.OLSModel.Rows.
func OLS(f *linear.OLSModel, m *design.Matrix) (*LeastSquares, finding.List, error) {
	df := float64(f.N()) - f.DF() - 1
	out := &LeastSquares{StandardErrors: map[string]float64{}, T: map[string]float64{}, P: map[string]float64{}, Low: map[string]float64{}, High: map[string]float64{}, VIF: map[string]float64{},
		R2: f.R2(), R2About: "mean", Sigma: f.Sigma(), DF: df, Condition: f.Condition(), Weighted: f.Weighted()}
	student := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}
	t := student.Quantile(0.5 + level/2)
	coefficient := func(name string, b, se float64) {
		out.StandardErrors[name] = se
		out.Low[name], out.High[name] = b-t*se, b+t*se
		if ratio := b / se; se > 0 && !math.IsInf(ratio, 0) {
			out.T[name] = ratio
			out.P[name] = 2 * student.CDF(-math.Abs(ratio))
		}
	}
	line := f.Linear()
	intercept, se := f.StandardErrors()
	if f.Origin() {
		out.R2About = "zero"
	} else {
		coefficient(interceptName, line.Intercept, intercept)
	}
	vif := f.VIF()
	for j, name := range m.Features() {
		coefficient(name, line.Coefficients[j], se[j])
		out.VIF[name] = vif[j]
	}
	rows, err := f.Rows(m)
	if err != nil {
		return nil, nil, err
	}
	if rows.PRESSOK {
		rmse := math.Sqrt(rows.PRESS / float64(m.N()))
		out.PRESS, out.RMSELOO = &rows.PRESS, &rmse
	}
	for i, lot := range m.Lots() {
		r := Row{Lot: lot, Fitted: f.Predict(m.Row(i)), Residual: rows.Residual[i], Leverage: rows.Leverage[i]}
		if rows.Cook != nil {
			r.Cook = &rows.Cook[i]
		}
		h := f.LeverageAt(m.Row(i))
		mean, one := t*f.Sigma()*math.Sqrt(h), t*f.Sigma()*math.Sqrt(1+h)
		r.Low, r.High, r.NewLow, r.NewHigh = r.Fitted-mean, r.Fitted+mean, r.Fitted-one, r.Fitted+one
		out.Rows = append(out.Rows, r)
	}
	return out, conditioned(f.Condition()), nil
}

func conditioned(condition float64) finding.List {
	var fl finding.List
	if condition > illConditioned {
		fl.Add(finding.Finding{Code: "ill-conditioned", Severity: finding.Doubt,
			Found: fmt.Sprintf("a condition number of %.3g: the features nearly determine each other, and about %d digits of the coefficients are lost", condition, int(math.Log10(condition))),
			Want:  fmt.Sprintf("at most %.0g", float64(illConditioned)), Do: "leave features out, or use ridge or pls; trust forecasts inside the calibrated range only"})
	}
	return fl
}
