package metric

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

var (
	measured  = []float64{10.2, 11.8, 12.5, 13.1, 14.0, 14.9, 15.7, 16.8, 17.5, 19.0}
	predicted = []float64{10.9, 11.5, 12.9, 13.6, 13.8, 15.6, 15.9, 17.5, 17.3, 19.6}
)

// TestWorkedSet: ten made-up pairs, figures computed by us with numpy and scipy
// from the same formulas (ISO 12099:2017 and common use, from memory), 6 decimals.
func TestWorkedSet(t *testing.T) {
	e := Errors(measured, predicted)
	sep, _ := SEP(e)
	limit, _ := BiasLimit(e)
	rpd, _ := RPD(measured, predicted)
	rer, _ := RER(measured, predicted)
	line, ok := Slope(measured, predicted)
	q2, _ := Q2(PRESS(e), SD(measured)*SD(measured)*9)
	if !ok {
		t.Fatal("no slope")
	}
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"bias", Bias(e), -0.310000}, {"SEP", sep, 0.406749}, {"RMSEP", RMSE(e), 0.494975}, {"bias limit", limit, 0.290970},
		{"slope", line.Slope, 0.972159}, {"intercept", line.Intercept, 0.103714}, {"residual SD", line.Residual, 0.423427},
		{"t of the slope", line.T, 0.552247}, {"its limit", line.Limit, 2.306004},
		{"SD", SD(measured), 2.750858}, {"RPD", rpd, 6.763043}, {"RER", rer, 21.634984}, {"Q²", q2, 0.964026},
	} {
		if math.Abs(c.got-c.want) > 6e-7 {
			t.Errorf("%s: %.6f, expected %.6f", c.name, c.got, c.want)
		}
	}
}

// TestErrorLimit: √F at 95 %, computed by us with scipy.
func TestErrorLimit(t *testing.T) {
	for _, c := range []struct {
		n, nCal, p int
		want       float64
	}{{10, 44, 3, 1.457405}, {10, 94, 3, 1.409111}, {20, 104, 3, 1.300575}} {
		got, ok := ErrorLimit(2, c.n, c.nCal, c.p, 0.05)
		if !ok || math.Abs(got/2-c.want) > 6e-7 {
			t.Errorf("n %d of %d: %v, expected %v", c.n, c.nCal, got/2, c.want)
		}
	}
	for _, c := range [][3]int{{1, 40, 3}, {10, 4, 3}} {
		if v, ok := ErrorLimit(2, c[0], c[1], c[2], 0.05); ok {
			t.Errorf("%v gave %v", c, v)
		}
	}
}

// TestIdentities hold for any data: RMSE² = bias² + SEP²(n − 1)/n.
func TestIdentities(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		e := rapid.SliceOfN(rapid.Float64Range(-1e3, 1e3), 2, 30).Draw(rt, "errors")
		sep, ok := SEP(e)
		n := float64(len(e))
		if left, right := RMSE(e)*RMSE(e), Bias(e)*Bias(e)+sep*sep*(n-1)/n; !ok || math.Abs(left-right) > 1e-9*left+1e-12 {
			rt.Fatalf("RMSE² %v, from bias and SEP %v", left, right)
		}
	})
}

func TestAbsent(t *testing.T) {
	same := []float64{0.1, 0.1, 0.1, 0.1}
	if SD(same) != 0 {
		t.Error("equal figures have no SD")
	}
	if _, ok := SEP(same[:1]); ok {
		t.Error("SEP of one row")
	}
	if _, ok := BiasLimit(same[:1]); ok {
		t.Error("bias limit of one row")
	}
	if _, ok := RPD(measured, measured); ok {
		t.Error("RPD without error")
	}
	if _, ok := RER(measured, measured); ok {
		t.Error("RER without error")
	}
	if _, ok := Q2(1, 0); ok {
		t.Error("Q² without variation")
	}
	for _, p := range [][]float64{same, {1, 2, 3, 4}} {
		if _, ok := Slope([]float64{1, 2, 3, 4}, p); ok {
			t.Error("slope on equal predictions, or without residual")
		}
	}
	if _, ok := Slope(measured[:2], predicted[:2]); ok {
		t.Error("slope of two rows")
	}
	for name, f := range map[string]func(){"unequal": func() { Errors(measured, predicted[:3]) }, "empty": func() { RMSE(nil) }} {
		func() {
			defer func() {
				if recover() == nil {
					t.Error(name, "slices did not panic")
				}
			}()
			f()
		}()
	}
}
