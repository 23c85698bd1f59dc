package replicate

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"flourcast/finding"
)

// NIST Statistical Reference Datasets, univariate summary statistics, NumAcc1:
// 10000001, 10000003, 10000002 have mean 10000002 and sample SD 1 exactly.
func TestOf(t *testing.T) {
	s := Of([]float64{10000001, 10000003, 10000002})
	if s.N != 3 || s.Mean != 10000002 || s.SD != 1 || math.Abs(s.SE-1/math.Sqrt(3)) > 1e-15 || !s.Repeated {
		t.Errorf("%+v", s)
	}
	if s := Of([]float64{0.1}); s != (Summary{N: 1, Mean: 0.1}) {
		t.Errorf("one value: %+v", s)
	}
	defer func() {
		if recover() == nil {
			t.Error("no values: no panic")
		}
	}()
	Of(nil)
}

func TestOfIsBetweenItsValues(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		v := rapid.SliceOfN(rapid.Float64Range(-1e6, 1e6), 1, 12).Draw(rt, "values")
		s := Of(v)
		if s.Mean < slices.Min(v)-1e-6 || s.Mean > slices.Max(v)+1e-6 || s.SD < 0 || s.SE > s.SD {
			rt.Fatalf("%v: %+v", v, s)
		}
		shifted := make([]float64, len(v))
		for i := range v {
			shifted[i] = v[i] + 1000
		}
		if o := Of(shifted); math.Abs(o.SD-s.SD) > 1e-6*(1+s.SD) {
			rt.Fatalf("SD %v moved to %v", s.SD, o.SD)
		}
	})
}

func TestSummarise(t *testing.T) {
	set := Summarise([]map[string]float64{{"final_mPas": 3000, "peak_mPas": 2000, "mine": 1}, {"peak_mPas": 2100}})
	if len(set) != 2 || set[0].ID != "peak_mPas" || set[1].ID != "final_mPas" {
		t.Fatalf("%v, want curve order", set)
	}
	if _, ok := set.Of("mine"); ok {
		t.Errorf("%v has what the glossary does not", set)
	}
	if p, f := set[0], set[1]; p.N != 2 || p.Mean != 2050 || f.N != 1 || f.Repeated {
		t.Errorf("%+v %+v", p, f)
	}
}

func TestDisagreement(t *testing.T) {
	for _, c := range []struct {
		name   string
		values [2]map[string]float64
		doubt  bool
	}{
		{"within 10 %", [2]map[string]float64{{"peak_mPas": 2000}, {"peak_mPas": 2100}}, false},
		{"beyond", [2]map[string]float64{{"peak_mPas": 2000}, {"peak_mPas": 2600}}, true},
		{"a difference varies more", [2]map[string]float64{{"breakdown_mPas": 200}, {"breakdown_mPas": 400}}, false},
		{"texture varies more", [2]map[string]float64{{"hardness_N": 3}, {"hardness_N": 4}}, false},
		{"texture beyond", [2]map[string]float64{{"hardness_N": 1}, {"hardness_N": 4}}, true},
		{"around zero", [2]map[string]float64{{"symmetry_index_mm": 1}, {"symmetry_index_mm": 9}}, false},
	} {
		f := Summarise(c.values[:]).Disagreement("lot A", finding.Place{})
		if (f != nil) != c.doubt {
			t.Errorf("%s: %v", c.name, f)
		}
	}
	if f := Summarise([]map[string]float64{{"peak_mPas": 1}}).Disagreement("x", finding.Place{}); f != nil {
		t.Errorf("one run disagrees with itself: %v", f)
	}
}

func TestGroupAndDistinct(t *testing.T) {
	g := Group([]int{3, 1, 4, 1, 5}, func(i int) ([2]string, bool) {
		return [2]string{map[bool]string{true: "odd", false: "even"}[i%2 == 1]}, i != 5
	})
	if !slices.Equal(g.Keys, [][2]string{{"odd"}, {"even"}}) || !slices.Equal(g.Of[[2]string{"odd"}], []int{3, 1, 1}) {
		t.Errorf("%+v", g)
	}
	if d := Distinct([]string{"b", "", "a", "b"}, func(s string) string { return s }); !slices.Equal(d, []string{"b", "a"}) {
		t.Errorf("%v", d)
	}
}

// Two lots run twice and one once: SD² = (8 + 2)/2, and the mean of 1/n is 2/3.
func TestPool(t *testing.T) {
	p, ok := Pool([]Summary{Of([]float64{10, 14}), Of([]float64{20, 22}), Of([]float64{7})})
	if !ok || p.DF != 2 || math.Abs(p.SD*p.SD-5) > 1e-12 || math.Abs(p.Share-2.0/3) > 1e-12 {
		t.Errorf("%+v, %v", p, ok)
	}
	if _, ok := Pool([]Summary{Of([]float64{7})}); ok {
		t.Error("one run repeats")
	}
}
