package domain_test

import (
	"fmt"

	"flourcast/eval/domain"
	"flourcast/model/design"
)

// Is a new lot like those that were calibrated? Here peak and trough go together, and in
// the last lot they do not. Invented figures.
func Example() {
	spec := design.Spec{Features: []string{"peak_mPas", "trough_mPas"}, Response: "hardness_N"}
	for i, off := range []float64{-20, 10, 30, -10, 0, 20, -30, 15, -15, 5, -5, 25} {
		peak := 1800 + 120*float64(i)
		spec.X = append(spec.X, []float64{peak, 0.6*peak + off})
		spec.Y = append(spec.Y, 6-0.001*peak)
		spec.Lots = append(spec.Lots, fmt.Sprint("L", i+1))
	}
	m, err := design.New(spec)
	if err != nil {
		fmt.Println(err)
		return
	}
	known, err := domain.Build(m)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, lot := range [][]float64{{2500, 1510}, {4800, 2880}, {2500, 2300}} {
		place := known.Place(lot)
		fmt.Println(place.Where, place.By)
	}
	// Output:
	// inside []
	// outside [peak_mPas trough_mPas]
	// outside [trough_mPas]
}
