package forecast

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"flourcast/eval/interval"
)

// crossed gives the model an interval from n lots left out in turn, every fold's
// model the model itself, with errors of 0.1, 0.2 … n/10 N.
func crossed(t testing.TB, in Input, n int) Input {
	t.Helper()
	var models []interval.Equation
	var misses []interval.Miss
	for i := range n {
		models = append(models, interval.Equation{Intercept: 12, Coefficients: []float64{-1.0 / 500, 0}})
		misses = append(misses, interval.Miss{Lot: fmt.Sprint(i), Model: i, Size: float64(i+1) / 10})
	}
	c, err := interval.NewCross(models, misses)
	if err != nil {
		t.Fatal(err)
	}
	in.Model.Cross = c
	return in
}

// The limits are order statistics of the errors, and a lot whose specification is
// its interval meets it with the interval's level.
func TestCrossInterval(t *testing.T) {
	in := crossed(t, lot(t), 15)
	f := Make(in)
	// ⌈0.9·16⌉ = 15: the largest error, 1.5 N, at a level of 15/16.
	if f.Low == nil || math.Abs(*f.Low-5.5) > 1e-9 || math.Abs(*f.High-8.5) > 1e-9 || f.IntervalKind != interval.KindJackknifePlus || math.Abs(f.IntervalLevel-15.0/16) > 1e-12 {
		t.Fatalf("%+v", f)
	}
	if said := strings.Join(f.Reasons, " "); !strings.Contains(said, "of 15 lots the interval's level is 93.8 %") {
		t.Errorf("the level is not said: %s", said)
	}
	// Decided by normal theory (RMSECV 0.5 N); the errors are counted beside it.
	in.Spec = &Spec{"hardness_N", f.Low, f.High}
	f = Make(in)
	if f.FromErrors == nil || math.Abs(*f.FromErrors-15.0/16) > 1e-9 || f.Decision != Accept {
		t.Errorf("a specification equal to the interval: %v, %s", f.FromErrors, f.Decision)
	}
	if said := strings.Join(f.Reasons, " "); !strings.Contains(said, "counted from the errors of 15 lots, without a distribution, the probability is 0.937") {
		t.Errorf("that the errors would hold is not said: %s", said)
	}
	in.Spec = &Spec{"hardness_N", ptr(5.4), nil}
	if f := Make(in); f.Decision != Accept { // 1 − 1/32
		t.Errorf("a lower limit below all errors: %s, %v", f.Decision, *f.Probability)
	}
}

func TestTooFewLotsForAnInterval(t *testing.T) {
	f := Make(crossed(t, lot(t), 7))
	if f.Low != nil || f.High != nil || f.Value == nil || f.Decision != Hold {
		t.Fatalf("%+v", f)
	}
	if said := strings.Join(f.Reasons, " "); !strings.Contains(said, "a finite 90 % interval needs 9 lots, this model has 7") {
		t.Errorf("the reason is not said: %s", said)
	}
	data, err := json.Marshal(f)
	if err != nil || !strings.Contains(string(data), `"low":null,"high":null`) {
		t.Errorf("%s (%v)", data, err)
	}
	in := crossed(t, lot(t), 20)
	in.Model.Cross.Models[0].Coefficients = nil
	if f := Make(in); f.Decision != Hold || f.Low != nil {
		t.Errorf("fold models of another length: %+v", f)
	}
}
