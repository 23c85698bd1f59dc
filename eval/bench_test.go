package eval

import (
	"context"
	"fmt"
	"testing"

	"flourcast/eval/fold"
	"flourcast/model"
	"flourcast/model/design"
	"flourcast/model/linear"
	"flourcast/model/pls"
	"flourcast/model/ridge"
)

// Workloads: W2 10-fold × 20 repeats, W4 nested 10×10 × 5, W5 999 permutations ×
// 10-fold, all for 1…A components; S is 60×12 with A 5, M is 400×12 with A 10, C
// is 300×800 with A 10. The number of cores is the one handed to the functions
// and stands in the name: under -cpu 1,2 these sub-benchmarks were seen to run at
// GOMAXPROCS 2 under both labels, so the flag does not tell one core from two.

// onCores runs f once with one core and once with two.
func onCores(b *testing.B, name string, f func(cores int) error) {
	for _, cores := range []int{1, 2} {
		b.Run(fmt.Sprintf("%s/cores=%d", name, cores), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if err := f(cores); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func benchPlan(b *testing.B, m *design.Matrix, repeats int) fold.Plan {
	plan, err := fold.ByUnit(m.Lots(), 10, repeats, 1)
	if err != nil {
		b.Fatal(err)
	}
	return plan
}

func BenchmarkCrossValidate(b *testing.B) {
	for _, c := range []struct {
		name    string
		n, p, a int
	}{{"W2-S", 60, 12, 5}, {"W2-M", 400, 12, 10}, {"W2-C", 300, 800, 10}} {
		m := lab(b, c.n, 1, c.p, 1, 1)
		plan := benchPlan(b, m, 20)
		for _, f := range []model.Fitter{pls.PLS{Components: c.a}, linear.OLS{}, ridge.Ridge{}} {
			if c.p > c.n && f.Kind() != "pls" {
				continue
			}
			onCores(b, c.name+"/"+f.Kind(), func(cores int) error {
				_, err := CrossValidate(context.Background(), f, m, plan, cores)
				return err
			})
		}
	}
}

func BenchmarkNested(b *testing.B) {
	for _, c := range []struct {
		name          string
		n, p, repeats int
	}{{"60x10x10", 60, 10, 10}, {"W4-M", 400, 12, 5}} {
		m := lab(b, c.n, 1, c.p, 1, 1)
		plan := benchPlan(b, m, c.repeats)
		for _, f := range []model.Fitter{pls.PLS{}, ridge.Ridge{}} {
			onCores(b, c.name+"/"+f.Kind(), func(cores int) error {
				_, err := Nested(context.Background(), f, m, plan, 1, cores)
				return err
			})
		}
	}
}

// BenchmarkPermute: nested chooses inside each training part; W5 has its
// components settled beforehand.
func BenchmarkPermute(b *testing.B) {
	for _, c := range []struct {
		name string
		n, p int
		f    model.Fitter
	}{
		{"nested-60x10/pls", 60, 10, pls.PLS{}}, {"nested-60x10/ridge", 60, 10, ridge.Ridge{}}, {"60x10/ols", 60, 10, linear.OLS{}},
		{"W5-S/pls", 60, 12, pls.PLS{Components: 5, Exactly: true}}, {"W5-M/pls", 400, 12, pls.PLS{Components: 10, Exactly: true}},
	} {
		m := lab(b, c.n, 1, c.p, 1, 1)
		plan := benchPlan(b, m, 1)
		onCores(b, c.name, func(cores int) error {
			_, err := Permute(context.Background(), c.f, m, plan, 999, 1, cores, nil)
			return err
		})
	}
}
