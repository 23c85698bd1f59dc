package transform

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"flourcast/model"
	"flourcast/model/design"
	"flourcast/model/linear"
	"flourcast/model/pls"
	"flourcast/work"
)

func matrix(t testing.TB, x [][]float64, y []float64) *design.Matrix {
	t.Helper()
	s := design.Spec{Response: "hardness", X: x, Y: y}
	for j := range x[0] {
		s.Features = append(s.Features, fmt.Sprintf("v_%04ds", 4*j))
	}
	for i := range y {
		s.Lots = append(s.Lots, fmt.Sprint("lot ", i))
	}
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// TestSmearing by hand: ln y = 1, 3 | 2, 4 at x 0 and 1: μ = 2, 3 and residuals ±1,
// S = (e + 1/e)/2 = cosh 1.
func TestSmearing(t *testing.T) {
	y := []float64{math.E, math.Exp(3), math.Exp(2), math.Exp(4)}
	m := matrix(t, [][]float64{{0}, {0}, {1}, {1}}, y)
	path, err := Log{linear.OLS{}}.Fit(m)
	if err != nil {
		t.Fatal(err)
	}
	f := path.At(0).(*Logged)
	for x, want := range map[float64]float64{0: math.Exp(2) * math.Cosh(1), 1: math.Exp(3) * math.Cosh(1)} {
		if got := f.Predict([]float64{x}); math.Abs(got-want) > 1e-12*want {
			t.Errorf("at %v: %v, expected %v", x, got, want)
		}
	}
	if math.Abs(f.Smearing()-math.Cosh(1)) > 1e-12 || f.Kind() != "ols" || !f.OnLog() || math.Abs(f.Linear().Coefficients[0]-1) > 1e-12 {
		t.Errorf("got %v, %v", f.Smearing(), f.Linear())
	}
	if big := f.Predict([]float64{1e9}); math.IsInf(big, 0) || big < 1e90 {
		t.Errorf("far out: %v", big)
	}
}

// TestMeanIsNotBiased: of lognormal lots (σ 0.5) the mean forecast is within 2 % of
// the mean of y, where the exponential of the fit alone is 12 % too low.
func TestMeanIsNotBiased(t *testing.T) {
	r := work.Rand(1, "lognormal")
	forecast, median, truth := 0.0, 0.0, 0.0
	for range 200 {
		x, y := make([][]float64, 60), make([]float64, 60)
		for i := range x {
			x[i] = []float64{r.NormFloat64()}
			y[i] = math.Exp(1 + 0.4*x[i][0] + 0.5*r.NormFloat64())
		}
		path, err := Log{linear.OLS{}}.Fit(matrix(t, x, y))
		if err != nil {
			t.Fatal(err)
		}
		f := path.At(0).(*Logged)
		for range 20 {
			at := []float64{r.NormFloat64()}
			forecast += f.Predict(at)
			median += f.Predict(at) / f.Smearing()
			truth += math.Exp(1 + 0.4*at[0] + 0.125) // mean of the lognormal
		}
	}
	if math.Abs(forecast/truth-1) > 0.02 || median/truth > 0.9 {
		t.Errorf("forecasts are %.3f of the truth, without smearing %.3f", forecast/truth, median/truth)
	}
}

func TestLogRefuses(t *testing.T) {
	m := matrix(t, [][]float64{{1}, {2}, {4}, {5}}, []float64{1, 2, 0, 3})
	_, err := Log{linear.OLS{}}.Fit(m)
	var positive *PositiveError
	if !errors.As(err, &positive) || positive.Row != 2 || positive.Lot != "lot 2" || positive.Value != 0 {
		t.Errorf("got %v", err)
	}
}

// TestPublishedWeights: tables of Savitzky & Golay 1964 (from memory).
func TestPublishedWeights(t *testing.T) {
	for _, c := range []struct {
		f    Filter
		want []float64
		over float64
	}{
		{Filter{1, 5, 2}, []float64{-2, -1, 0, 1, 2}, 10},
		{Filter{2, 5, 2}, []float64{2, -1, -2, -1, 2}, 7},
		{Filter{1, 7, 2}, []float64{-3, -2, -1, 0, 1, 2, 3}, 28},
		{Filter{1, 5, 4}, []float64{1, -8, 0, 8, -1}, 12},
		{Filter{2, 7, 3}, []float64{5, 0, -3, -4, -3, 0, 5}, 42},
	} {
		for i, w := range c.f.weights() {
			if math.Abs(w-c.want[i]/c.over) > 1e-14 {
				t.Errorf("%+v, column %d: %v, expected %v", c.f, i, w, c.want[i]/c.over)
			}
		}
	}
}

// curves are n runs of p columns: a peak whose height drives y, on an offset and a
// drift that differ from run to run and say nothing.
func curves(t testing.TB, n, p int, seed uint64) *design.Matrix {
	t.Helper()
	r := work.Rand(seed, "curves")
	x, y := make([][]float64, n), make([]float64, n)
	for i := range n {
		peak, offset, drift := 1000+200*r.NormFloat64(), 2000*r.NormFloat64(), 10*r.NormFloat64()
		y[i] = 5 + peak/200 + 0.1*r.NormFloat64()
		for j := range p {
			d := (float64(j) - float64(p)/2) / float64(p) * 8
			x[i] = append(x[i], offset+drift*float64(j)+peak*math.Exp(-d*d/2)+2*r.NormFloat64())
		}
	}
	return matrix(t, x, y)
}

// TestCoefficientsAreOnTheCurve: the equation in original units is the fit of the
// filtered curve, for every order, window and step of the path; and a polynomial's
// derivative is exact.
func TestCoefficientsAreOnTheCurve(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		m := curves(t, rapid.IntRange(20, 40).Draw(rt, "rows"), rapid.IntRange(15, 60).Draw(rt, "columns"), rapid.Uint64().Draw(rt, "seed"))
		order := rapid.IntRange(0, 2).Draw(rt, "order")
		f := Filter{order, 2*rapid.IntRange(2, 6).Draw(rt, "half") + 1, rapid.IntRange(2, 4).Draw(rt, "degree")}
		path, err := Derivative{Inner: pls.PLS{Components: 3}, Orders: []int{order}, Window: f.Window, Degree: f.Degree}.Fit(m)
		if err != nil {
			rt.Fatal(err)
		}
		for a := range path.Len() {
			fitted := path.At(a).(*Differentiated)
			l := fitted.Linear()
			inside, err := fitted.Matrix(m)
			if err != nil {
				rt.Fatal(err)
			}
			for i := range m.N() {
				sum := l.Intercept
				for j, b := range l.Coefficients {
					sum += b * m.Row(i)[j]
				}
				got := fitted.Predict(m.Row(i))
				if math.Abs(got-sum) > 1e-8*math.Abs(got) || fitted.Inner().Predict(inside.Row(i)) != got {
					rt.Fatalf("step %d: Predict %v, equation %v", a, got, sum)
				}
			}
		}
		c := [5]float64{3, -2, 0.5, 0.25, -0.125}
		line := make([]float64, f.Window)
		for i := range line {
			at := float64(i - f.Window/2)
			for k := f.Degree; k >= 0; k-- {
				line[i] = line[i]*at + c[k]
			}
		}
		if order == 0 {
			return
		}
		var out [1]float64
		f.filter(f.weights(), line, out[:])
		if want := c[order] * float64(order); math.Abs(out[0]-want) > 1e-9*math.Abs(line[0])+1e-12 {
			rt.Fatalf("derivative %d of a polynomial: %v, expected %v", order, out[0], want)
		}
	})
}

// TestOffsetsAndDriftsVanish: with the first derivative one component tells the
// peak from the offset, with the second from the drift too.
func TestChoice(t *testing.T) {
	m := curves(t, 40, 50, 3)
	d := Derivative{Inner: pls.PLS{}, Orders: []int{0, 1, 2}, Window: 9}
	path, err := d.Fit(m)
	if err != nil {
		t.Fatal(err)
	}
	if path.Len() != 18 || path.Len() != d.Steps(40, 50) || path.Label(4) != "2 components, first derivative" || path.Label(0) != "1 component, as measured" || d.Settled() {
		t.Errorf("%d steps of %d, %q", path.Len(), d.Steps(40, 50), path.Label(4))
	}
	rss := func(i int) float64 {
		sum := 0.0
		for k, y := range m.Y() {
			e := y - path.At(i).Predict(m.Row(k))
			sum += e * e
		}
		return sum
	}
	if raw, second := rss(0), rss(2); second > raw/20 {
		t.Errorf("one component leaves %v of raw curves and %v of second derivatives", raw, second)
	}
}

// TestDerivativeRefuses filters that cannot be, and leaves out what does not vary.
func TestDerivativeRefuses(t *testing.T) {
	m := curves(t, 20, 10, 4)
	var set *model.SettingError
	for name, d := range map[string]Derivative{"no order": {}, "third": {Orders: []int{3}}, "even": {Orders: []int{1}, Window: 6}, "narrow": {Orders: []int{1}, Window: 3, Degree: 3},
		"wide": {Orders: []int{1}, Window: 11}, "degree": {Orders: []int{1}, Degree: 9}, "order above degree": {Orders: []int{2}, Degree: 1}} {
		d.Inner = pls.PLS{Components: 1}
		if _, err := d.Fit(m); !errors.As(err, &set) {
			t.Errorf("%s: %v", name, err)
		}
	}
	var x [][]float64
	for i := range m.N() {
		row := append([]float64(nil), m.Row(i)...)
		copy(row, []float64{7, 7, 7, 7, 7, 7}) // before the paste rises
		x = append(x, row)
	}
	path, err := Derivative{Inner: pls.PLS{Components: 1}, Orders: []int{1}, Window: 5}.Fit(matrix(t, x, m.Y()))
	if err != nil {
		t.Fatal(err)
	}
	f := path.At(0).(*Differentiated)
	if len(f.used) != 4 || f.Linear().Coefficients[0] != 0 {
		t.Errorf("used %v, coefficients %v", f.used, f.Linear().Coefficients)
	}
	if got, sum := f.Predict(x[0]), f.Linear(); math.IsNaN(got) || len(sum.Coefficients) != 10 {
		t.Errorf("predicts %v", got)
	}
}

// TestSaved: both forms are written and read back to the same bits.
func TestSaved(t *testing.T) {
	m := curves(t, 30, 20, 5)
	write := func(f model.Fitted) (json.RawMessage, error) { return json.Marshal(f) }
	read := func(data json.RawMessage) (model.Fitted, error) { return pls.Unmarshal(data) }
	path, err := Derivative{Inner: pls.PLS{Components: 2}, Orders: []int{1}, Window: 5}.Fit(m)
	if err != nil {
		t.Fatal(err)
	}
	d := path.At(1).(*Differentiated)
	data, err := d.Encode(write)
	if err != nil {
		t.Fatal(err)
	}
	back, err := DecodeDerivative(data, read)
	if err != nil {
		t.Fatal(err)
	}
	if path, err = (Log{pls.PLS{Components: 2}}).Fit(m); err != nil {
		t.Fatal(err)
	}
	l := path.At(1).(*Logged)
	if data, err = l.Encode(write); err != nil {
		t.Fatal(err)
	}
	backLog, err := DecodeLog(data, read)
	if err != nil {
		t.Fatal(err)
	}
	for i := range m.N() {
		if back.Predict(m.Row(i)) != d.Predict(m.Row(i)) || backLog.Predict(m.Row(i)) != l.Predict(m.Row(i)) {
			t.Fatal("other bits after reading")
		}
	}
	if !reflect.DeepEqual(back.Linear(), d.Linear()) || back.Filter() != (Filter{1, 5, 2}) {
		t.Error("the equation or the filter differ")
	}
	var payload *model.PayloadError
	for _, bad := range []string{`{"smearing":0,"inner":{}}`, `{"smearing":1,"inner":{},"x":1}`} {
		if _, err := DecodeLog([]byte(bad), read); !errors.As(err, &payload) {
			t.Errorf("%s: %v", bad, err)
		}
	}
	inner, err := json.Marshal(d.Inner())
	if err != nil {
		t.Fatal(err)
	}
	for _, bad := range []string{`{"order":1,"window":5,"degree":2,"features":21,"inner":%s}`, `{"order":1,"window":4,"degree":2,"features":20,"inner":%s}`, `{"order":1,"window":5,"degree":2,"features":20,"used":[3,2],"inner":%s}`} {
		if _, err := DecodeDerivative([]byte(fmt.Sprintf(bad, inner)), read); err == nil {
			t.Errorf("%s was read", bad)
		}
	}
}
