package catalog_test

import (
	"fmt"

	"flourcast/model/catalog"
	"flourcast/model/design"
)

// A method by its name, fitted, written and read back. Invented figures.
func Example() {
	m, err := design.New(design.Spec{Features: []string{"peak_mPas"}, Response: "hardness_N",
		X: [][]float64{{3200}, {2900}, {2500}, {2200}, {1900}, {1700}}, Y: []float64{3.0, 3.3, 3.6, 4.1, 4.2, 4.5}, Lots: []string{"L1", "L2", "L3", "L4", "L5", "L6"}})
	if err != nil {
		fmt.Println(err)
		return
	}
	method, err := catalog.New("pls", catalog.Options{Components: 1})
	if err != nil {
		fmt.Println(err)
		return
	}
	path, err := method.Fit(m)
	if err != nil {
		fmt.Println(err)
		return
	}
	saved, err := catalog.Encode(path.At(0))
	if err != nil {
		fmt.Println(err)
		return
	}
	back, err := catalog.Decode(saved)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%s: %.2f N, as before: %v\n", back.Kind(), back.Predict([]float64{2400}), back.Predict([]float64{2400}) == path.At(0).Predict([]float64{2400}))
	// Output:
	// pls: 3.78 N, as before: true
}
