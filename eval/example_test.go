package eval_test

import (
	"context"
	"fmt"

	"flourcast/eval"
	"flourcast/eval/fold"
	"flourcast/model/design"
	"flourcast/model/pls"
	"flourcast/work"
)

// thirty invented lots of two rows each: hardness falls as peak rises, with noise.
func thirty() *design.Matrix {
	noise := work.Rand(7, "example")
	spec := design.Spec{Features: []string{"peak_mPas", "protein_pct"}, Response: "hardness_N"}
	for lot := range 30 {
		peak, protein := 1600+1600*noise.Float64(), 8.5+2.5*noise.Float64()
		for range 2 {
			spec.X = append(spec.X, []float64{peak + 30*noise.NormFloat64(), protein})
			spec.Y = append(spec.Y, 6-0.001*peak+0.1*(protein-10)+0.2*noise.NormFloat64())
			spec.Lots = append(spec.Lots, fmt.Sprintf("L%02d", lot+1))
		}
	}
	m, err := design.New(spec)
	if err != nil {
		panic(err)
	}
	return m
}

// How well does a method predict lots it has not seen, and could chance do as well?
// Both rows of a lot stay in one fold; the number of components is chosen inside
// each training part.
func Example() {
	ctx, m := context.Background(), thirty()
	units, _ := fold.Units(m)
	plan, err := fold.ByUnit(units, 10, 5, 1) // 10 folds, 5 times, seed 1
	if err != nil {
		fmt.Println(err)
		return
	}
	honest, err := eval.Nested(ctx, pls.PLS{}, m, plan, 1, 0)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("RMSECV %.2f N, Q² %.2f\n", honest.RMSECV, honest.Q2)
	chance, err := eval.Permute(ctx, pls.PLS{}, m, plan, 99, 1, 0, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%d of %d shuffles did as well, p = %.2f\n", chance.Better, chance.M, chance.P)
	// Output:
	// RMSECV 0.21 N, Q² 0.84
	// 0 of 99 shuffles did as well, p = 0.01
}

// A plan that would part a lot is not made, and fewer lots than folds are refused.
func ExampleCrossValidate_tooFewLots() {
	_, err := fold.ByUnit([]string{"L1", "L1", "L2", "L2"}, 10, 1, 1)
	fmt.Println(err)
	// Output:
	// fold: 10-fold by unit: found 2 separate lots or groups, expected at least 10; measure more lots or ask for fewer folds
}
