package pls_test

import (
	"fmt"

	"flourcast/model"
	"flourcast/model/design"
	"flourcast/model/pls"
)

// Peak, trough and breakdown of one curve depend on each other exactly. PLS takes
// them as they are, and its path ends where nothing is left to explain. The lots
// are invented.
func Example() {
	m, err := design.New(design.Spec{
		Features: []string{"peak_mPas", "trough_mPas", "breakdown_mPas"},
		Response: "hardness_N",
		X: [][]float64{
			{3200, 2300, 900}, {2900, 2250, 650}, {2500, 1900, 600}, {2200, 1700, 500}, {1900, 1550, 350}, {1700, 1300, 400},
		},
		Y:    []float64{3.0, 3.3, 3.6, 4.1, 4.2, 4.5},
		Lots: []string{"L1", "L2", "L3", "L4", "L5", "L6"},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	path, err := pls.PLS{Components: 3, Scaling: model.ScaleUnit}.Fit(m)
	if err != nil {
		fmt.Println(err)
		return
	}
	for i := range path.Len() {
		equation := path.At(i).Linear()
		fmt.Printf("%s: hardness = %.2f %+.5f·peak %+.5f·trough %+.5f·breakdown\n",
			path.Label(i), equation.Intercept, equation.Coefficients[0], equation.Coefficients[1], equation.Coefficients[2])
	}
	// Output:
	// 1 component: hardness = 6.05 -0.00034·peak -0.00050·trough -0.00094·breakdown
	// 2 components: hardness = 6.22 -0.00038·peak -0.00070·trough -0.00042·breakdown
}
