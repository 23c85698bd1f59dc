package interval_test

import (
	"fmt"

	"flourcast/eval/interval"
)

// A model of one component whose cross-validated error over 30 lots is 0.25 N: how far
// may a forecast of 3.6 N be off, and may the lot be at most 4.0 N?
func ExampleNew() {
	errors, err := interval.New(0.25*0.25, 30, 1)
	if err != nil {
		fmt.Println(err)
		return
	}
	leverage := 1.0 / 30 // of a lot like the average one
	low, high, err := errors.Around(3.6, leverage, 0.90)
	if err != nil {
		fmt.Println(err)
		return
	}
	limit := 4.0
	fmt.Printf("%.2f to %.2f N; at most 4.0 N with probability %.2f\n", low, high, errors.Conformance(3.6, leverage, nil, &limit))
	// Output:
	// 3.17 to 4.03 N; at most 4.0 N with probability 0.94
}

// So few lots give no finite interval without a distribution.
func ExampleLotsFor() {
	fmt.Println(interval.LotsFor(0.90), interval.LotsFor(0.95))
	// Output:
	// 9 19
}
