package ridge_test

import (
	"fmt"

	"flourcast/model/design"
	"flourcast/model/ridge"
)

// Peak, trough and breakdown determine each other; ridge bears that. The path goes from
// the largest penalty to the smallest. Invented figures.
func Example() {
	m, err := design.New(design.Spec{
		Features: []string{"peak_mPas", "trough_mPas", "breakdown_mPas"},
		Response: "hardness_N",
		X:        [][]float64{{3200, 2100, 1100}, {2900, 2000, 900}, {2500, 1700, 800}, {2200, 1600, 600}, {1900, 1300, 600}, {1700, 1250, 450}},
		Y:        []float64{3.0, 3.3, 3.6, 4.1, 4.2, 4.5},
		Lots:     []string{"L1", "L2", "L3", "L4", "L5", "L6"},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	path, err := ridge.Ridge{Lambdas: []float64{100, 1}}.Fit(m)
	if err != nil {
		fmt.Println(err)
		return
	}
	for i := range path.Len() {
		fitted := path.At(i)
		fmt.Printf("%s: %.2f N with %.1f degrees of freedom\n", path.Label(i), fitted.Predict([]float64{3200, 2100, 1100}), fitted.DF())
	}
	// Output:
	// lambda 100: 3.68 N with 0.1 degrees of freedom
	// lambda 1: 3.03 N with 1.2 degrees of freedom
}
