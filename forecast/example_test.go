package forecast_test

import (
	"fmt"

	"flourcast/eval/domain"
	"flourcast/eval/interval"
	"flourcast/forecast"
	"flourcast/model/design"
	"flourcast/model/linear"
)

// One lot put to a model and a specification: a value, an interval, a decision with its
// reasons. Invented figures.
func ExampleMake() {
	spec := design.Spec{Features: []string{"peak_mPas"}, Response: "hardness_N"}
	for i, off := range []float64{0.1, -0.2, 0.15, 0, -0.1, 0.2, -0.15, 0.05, -0.05, 0.1, 0, -0.1} {
		peak := 1800 + 120*float64(i)
		spec.X, spec.Y, spec.Lots = append(spec.X, []float64{peak}), append(spec.Y, 6-0.001*peak+off), append(spec.Lots, fmt.Sprint("L", i+1))
	}
	m, err := design.New(spec)
	if err != nil {
		fmt.Println(err)
		return
	}
	path, err := linear.OLS{}.Fit(m)
	if err != nil {
		fmt.Println(err)
		return
	}
	known, err := domain.Build(m)
	if err != nil {
		fmt.Println(err)
		return
	}
	errors, err := interval.New(0.15*0.15, m.N(), 1) // 0.15 N: the error of cross-validation
	if err != nil {
		fmt.Println(err)
		return
	}
	model := forecast.Model{Response: m.Response(), Features: m.Features(), Fitted: path.At(0), Interval: errors, Domain: known, Standing: "fit for use"}
	limits, err := forecast.ParseSpec("hardness_N=..3.9")
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, peak := range []float64{2700, 2100, 4500} {
		f := forecast.Make(forecast.Input{Lot: "new", Features: map[string]float64{"peak_mPas": peak}, Model: model, Spec: &limits, Level: 0.90})
		fmt.Printf("%.0f mPa·s: %.2f N, %.2f to %.2f: %s\n", peak, *f.Value, *f.Low, *f.High, f.Decision)
	}
	// Output:
	// 2700 mPa·s: 3.29 N, 3.01 to 3.58: accept
	// 2100 mPa·s: 3.91 N, 3.62 to 4.20: hold
	// 4500 mPa·s: 1.45 N, 0.97 to 1.93: hold
}
