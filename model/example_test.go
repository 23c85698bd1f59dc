package model_test

import (
	"fmt"

	"flourcast/model"
	"flourcast/model/design"
	"flourcast/model/linear"
	"flourcast/model/pls"
)

// The figures of these lots are invented.
func lots() *design.Matrix {
	m, err := design.New(design.Spec{
		Features: []string{"peak_mPas", "protein_pct"},
		Response: "hardness_N",
		X:        [][]float64{{3200, 9.1}, {2900, 9.4}, {2500, 9.2}, {2200, 10.1}, {1900, 9.9}, {1700, 10.4}},
		Y:        []float64{3.0, 3.3, 3.6, 4.1, 4.2, 4.5},
		Lots:     []string{"L1", "L2", "L3", "L4", "L5", "L6"},
	})
	if err != nil {
		panic(err)
	}
	return m
}

// Every method is a Fitter: the same lines fit least squares and PLS, and each
// step of the path predicts in original units. PLS with as many components as features
// is least squares.
func Example() {
	for _, method := range []model.Fitter{linear.OLS{}, pls.PLS{Components: 2}} {
		path, err := method.Fit(lots())
		if err != nil {
			fmt.Println(err)
			return
		}
		for i := range path.Len() {
			fitted := path.At(i)
			fmt.Printf("%s, %s: %.2f N\n", fitted.Kind(), path.Label(i), fitted.Predict([]float64{2400, 9.5}))
		}
	}
	// Output:
	// ols, least squares: 3.73 N
	// pls, 1 component: 3.68 N
	// pls, 2 components: 3.73 N
}
