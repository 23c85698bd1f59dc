package verdict_test

import (
	"fmt"

	"flourcast/eval/verdict"
)

// What evaluation measured goes in; what it could not measure stays nil and is not held
// against the model, with two exceptions.
func ExampleJudge() {
	q2, p, rpd := 0.67, 0.001, 1.7
	v := verdict.Judge(verdict.Evidence{Response: "hardness_N", Lots: 48, Q2: &q2, PermutationP: &p, RPD: &rpd})
	fmt.Println(v.Standing + "; " + v.Grade)
	for _, c := range v.Checks {
		if c.Outcome != verdict.NotAssessed {
			fmt.Printf("%s: %s\n", c.Name, c.Outcome)
		}
	}
	// Output:
	// provisional; ranks lots
	// enough lots: pass
	// better than the mean: pass
	// a rule covers this response: caution
	// holds across crop years: caution
}
