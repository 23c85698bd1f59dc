package candidate

import (
	"errors"
	"math"
	"testing"

	"flourcast/model"
	"flourcast/model/design"
	"flourcast/model/linear"
)

// The line is that of OLS on the feature alone, whatever the features' sizes.
func TestSingle(t *testing.T) {
	s := design.Spec{Features: []string{"flat", "weak", "best", "large"}, Response: "y"}
	for i := range 12 {
		v := float64(i)
		s.X = append(s.X, []float64{3, math.Mod(v*5, 7), 1e-9 * (v + 0.3*math.Mod(v, 2)), 1e150 * math.Mod(v*3, 5)})
		s.Y, s.Lots = append(s.Y, 2-v+0.1*math.Mod(v*7, 3)), append(s.Lots, string(rune('a'+i)))
	}
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	path, err := Single{}.Fit(m)
	if err != nil {
		t.Fatal(err)
	}
	f := path.At(0).(*SingleModel)
	one, _ := m.WithFeatures([]string{"best"})
	line, err := linear.OLS{}.Regress(one)
	if err != nil {
		t.Fatal(err)
	}
	if f.feature != 2 || path.Label(0) != "best" || path.Len() != 1 || f.DF() != 1 || f.Kind() != "single" || f.Complexity() != (model.Complexity{}) {
		t.Errorf("chose feature %d (%s)", f.feature, path.Label(0))
	}
	lin := f.Linear()
	for i := range m.N() {
		want := line.Predict(one.Row(i))
		by := lin.Intercept
		for j, b := range lin.Coefficients {
			by += b * m.Row(i)[j]
		}
		if got := f.Predict(m.Row(i)); got != want || math.Abs(by-want) > 1e-9*math.Abs(want) {
			t.Errorf("row %d: %v and %v by coefficients, OLS says %v", i, got, by, want)
		}
	}
	flat, _ := m.WithFeatures([]string{"flat"})
	var none *model.NoVarianceError
	if _, err := (Single{}).Fit(flat); !errors.As(err, &none) {
		t.Errorf("nothing varies: %v", err)
	}
	empty, _ := m.WithFeatures(nil)
	if path, err := (Single{}).Fit(empty); err != nil || path.At(0).Kind() != "mean" {
		t.Errorf("no feature: %v", err)
	}
	var few *model.TooFewRowsError
	if _, err := (Single{}).Fit(m.Subset([]int{0, 1})); !errors.As(err, &few) {
		t.Errorf("two rows: %v", err)
	}
}
