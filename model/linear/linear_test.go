package linear

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"

	"github.com/sajari/regression"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"

	"flourcast/model"
	"flourcast/model/design"
	"flourcast/work"
)

func matrix(t testing.TB, names []string, x [][]float64, y []float64) *design.Matrix {
	t.Helper()
	s := design.Spec{Features: names, Response: "hardness", X: x, Y: y}
	for i := range y {
		s.Lots = append(s.Lots, fmt.Sprint("lot ", i))
	}
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// random is n rows of p independent features and a response that follows them.
func random(t testing.TB, n, p int, seed uint64) *design.Matrix {
	t.Helper()
	r := work.Rand(seed, "linear")
	var names []string
	for j := range p {
		names = append(names, fmt.Sprint("x", j))
	}
	x, y := make([][]float64, n), make([]float64, n)
	for i := range n {
		y[i] = 10 + r.NormFloat64()
		for j := range p {
			v := 100*float64(j+1) + math.Pow(10, float64(j%4-1))*r.NormFloat64()
			x[i] = append(x[i], v)
			y[i] += v * float64(j-1)
		}
	}
	return matrix(t, names, x, y)
}

func near(got, want, relative float64) bool { return math.Abs(got-want) <= relative*math.Abs(want) }

// TestLeaveOneOut: exact fractions computed from the certified data (by us).
func TestLeaveOneOut(t *testing.T) {
	for _, c := range []struct {
		name        string
		press, most float64
		row         int
		sum         float64
	}{
		{"Norris", 30.4750917859, 0.1071063, 28, 2},
		{"Longley", 2886892.54145, 0.6886146, 15, 7},
	} {
		m, _ := nist(t, c.name)
		f, err := OLS{}.Regress(m)
		if err != nil {
			t.Fatal(err)
		}
		r, err := f.Rows(m)
		if err != nil {
			t.Fatal(err)
		}
		at, sum := 0, 0.0
		for i, h := range r.Leverage {
			sum += h
			if h > r.Leverage[at] {
				at = i
			}
		}
		if !r.PRESSOK || !near(r.PRESS, c.press, 1e-11) || !near(r.Leverage[at], c.most, 1e-6) || at != c.row || !near(sum, c.sum, 1e-11) {
			t.Errorf("%s: PRESS %v, leverage %v in row %d, sum %v", c.name, r.PRESS, r.Leverage[at], at+1, sum)
		}
	}
}

// TestVIFLongley: the published variance inflation factors of the Longley data
// (recomputed by us from the correlation matrix).
func TestVIFLongley(t *testing.T) {
	m, _ := nist(t, "Longley")
	f, err := OLS{}.Regress(m)
	if err != nil {
		t.Fatal(err)
	}
	for j, want := range []float64{135.532, 1788.513, 33.619, 3.589, 399.151, 758.981} {
		if got := f.VIF()[j]; math.Abs(got-want) > 6e-4 {
			t.Errorf("feature %d: %v, expected %v", j+1, got, want)
		}
	}
}

// TestPredictionIntervalNorris at x = 500 (computed by us): ŷ, leverage and the
// half-widths of the mean and of a new row.
func TestPredictionIntervalNorris(t *testing.T) {
	m, _ := nist(t, "Norris")
	f, err := OLS{}.Regress(m)
	if err != nil {
		t.Fatal(err)
	}
	x := []float64{500}
	h := f.LeverageAt(x)
	q := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(f.N()) - f.DF() - 1}.Quantile(0.975)
	for _, c := range []struct{ got, want float64 }{{f.Predict(x), 500.796085936}, {h, 0.0293191280}, {f.Sigma(), 0.884796396},
		{q * f.Sigma() * math.Sqrt(h), 0.307889465}, {q * f.Sigma() * math.Sqrt(1+h), 1.824291882}} {
		if !near(c.got, c.want, 2e-9) {
			t.Errorf("got %v, expected %v", c.got, c.want)
		}
	}
}

// TestIndependentRegression: github.com/sajari/regression gives the same
// coefficients and R² by its own route (uncentred QR).
func TestIndependentRegression(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		p := rapid.IntRange(1, 6).Draw(rt, "features")
		m := random(t, rapid.IntRange(p+4, 50).Draw(rt, "rows"), p, rapid.Uint64().Draw(rt, "seed"))
		f, err := OLS{}.Regress(m)
		if err != nil {
			rt.Fatal(err)
		}
		var r regression.Regression
		for i, y := range m.Y() {
			r.Train(regression.DataPoint(y, append([]float64(nil), m.Row(i)...)))
		}
		if err := r.Run(); err != nil {
			rt.Fatal(err)
		}
		l := f.Linear()
		for j, b := range l.Coefficients {
			if _, se := f.StandardErrors(); math.Abs(b-r.Coeff(j+1)) > 1e-6*math.Abs(b)+1e-6*se[j] {
				rt.Fatalf("coefficient %d: %v, independently %v", j, b, r.Coeff(j+1))
			}
		}
		if math.Abs(f.R2()-r.R2) > 1e-7 {
			rt.Fatalf("R² %v, independently %v", f.R2(), r.R2)
		}
		sum := 0.0
		rows, err := f.Rows(m)
		if err != nil {
			rt.Fatal(err)
		}
		for _, e := range rows.Residual {
			sum += e
		}
		if math.Abs(sum) > 1e-9*f.Sigma()*float64(m.N()) {
			rt.Fatalf("residuals sum to %v", sum)
		}
	})
}

func TestDependencesAreNamed(t *testing.T) {
	r := work.Rand(3, "pasting")
	names := []string{"peak", "trough", "breakdown", "final", "setback", "fahrenheit", "celsius"}
	var x [][]float64
	var y []float64
	for range 40 {
		peak, trough, final := 2500+300*r.NormFloat64(), 1600+150*r.NormFloat64(), 2900+200*r.NormFloat64()
		peak, trough, final = math.Round(peak*10)/10, math.Round(trough*10)/10, math.Round(final*10)/10
		celsius := math.Round(10*(66+r.NormFloat64())) / 10
		x = append(x, []float64{peak, trough, peak - trough, final, final - trough, 32 + 1.8*celsius, celsius})
		y = append(y, peak+r.NormFloat64())
	}
	m := matrix(t, names, x, y)
	_, err := OLS{}.Fit(m)
	var rank *model.RankError
	if !errors.As(err, &rank) || rank.Rank != 4 || rank.Features != 7 || len(rank.Dependences) != 3 {
		t.Fatalf("got %v", err)
	}
	text := err.Error()
	for _, want := range []string{"breakdown = peak − trough", "setback = −trough + final", "celsius = 0.5556·fahrenheit − 17.78", "rank 4 of 7"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in %q", want, text)
		}
	}
	// Least squares takes the same table without the repeats.
	free, err := m.WithFeatures([]string{"peak", "trough", "final", "celsius"})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := (OLS{}).Fit(free); err != nil {
		t.Error(err)
	}
}

// TestNearDependence: what rounding cannot explain is fitted, with its condition.
func TestNearDependence(t *testing.T) {
	m := random(t, 40, 2, 5)
	for _, c := range []struct {
		noise float64
		ok    bool
	}{{1e-3, true}, {1e-8, true}, {1e-17, false}} {
		r := work.Rand(1, "noise")
		var x [][]float64
		for i := range m.N() {
			row := m.Row(i)
			x = append(x, []float64{row[0], row[1], row[0] - row[1] + c.noise*r.NormFloat64()})
		}
		f, err := OLS{}.Regress(matrix(t, []string{"a", "b", "c"}, x, m.Y()))
		var rank *model.RankError
		if c.ok {
			if err != nil || f.Condition() < 0.01/c.noise {
				t.Errorf("noise %g: %v", c.noise, err)
			}
		} else if !errors.As(err, &rank) {
			t.Errorf("noise %g was not refused: %v", c.noise, err)
		}
	}
}

func TestMomentsAgree(t *testing.T) {
	m := random(t, 40, 5, 7)
	mo, err := model.NewMoments("test", m)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range []model.MomentFitter{OLS{}} {
		rows, err := f.Fit(m)
		if err != nil {
			t.Fatal(err)
		}
		crossed, err := f.FitMoments(mo)
		if err != nil {
			t.Fatal(err)
		}
		if rows.Len() != crossed.Len() || rows.Len() != f.Steps(40, 5) {
			t.Fatalf("%s: %d and %d steps", f.Kind(), rows.Len(), crossed.Len())
		}
		for a := range rows.Len() {
			r, c := rows.At(a), crossed.At(a)
			for i := range m.N() {
				if !near(c.Predict(m.Row(i)), r.Predict(m.Row(i)), 1e-10) {
					t.Errorf("%s step %d: %v and %v", f.Kind(), a, c.Predict(m.Row(i)), r.Predict(m.Row(i)))
				}
			}
			if !near(c.DF(), r.DF(), 1e-10) || c.Complexity() != r.Complexity() || rows.Label(a) != crossed.Label(a) {
				t.Errorf("%s step %d: %v, %v", f.Kind(), a, c.Complexity(), r.Complexity())
			}
		}
		if o, ok := rows.At(0).(*OLSModel); ok {
			c := crossed.At(0).(*OLSModel)
			intercept, each := o.StandardErrors()
			crossedIntercept, crossedEach := c.StandardErrors()
			for j, se := range append(each, intercept) {
				if got := append(crossedEach, crossedIntercept)[j]; !near(got, se, 1e-9) {
					t.Errorf("standard error %d: %v and %v", j, got, se)
				}
			}
			if !near(c.R2(), o.R2(), 1e-10) || !near(c.Sigma(), o.Sigma(), 1e-7) || !near(c.Condition(), o.Condition(), 1e-8) || !near(c.VIF()[2], o.VIF()[2], 1e-9) {
				t.Errorf("R² %v and %v, σ %v and %v, condition %v and %v", c.R2(), o.R2(), c.Sigma(), o.Sigma(), c.Condition(), o.Condition())
			}
		}
	}
	near := matrix(t, []string{"a", "b"}, [][]float64{{1, 1.0001}, {2, 2}, {3, 3}, {4, 4}, {5, 5.0001}}, []float64{1, 3, 2, 5, 4})
	if mo, err = model.NewMoments("test", near); err != nil {
		t.Fatal(err)
	}
	if _, err := (OLS{}).FitMoments(mo); !errors.Is(err, model.ErrNeedRows) {
		t.Errorf("nearly equal features by cross-products: %v", err)
	}
}

// TestSameBits: fit A, then B, then A again.
func TestSameBits(t *testing.T) {
	a, b := random(t, 30, 4, 11), random(t, 25, 6, 12)
	x := append([]float64(nil), a.X()...)
	for _, f := range []model.Fitter{OLS{}} {
		first, err := f.Fit(a)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := f.Fit(b); err != nil {
			t.Fatal(err)
		}
		again, err := f.Fit(a)
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(first, again) {
			t.Errorf("%s: the second fit differs", f.Kind())
		}
	}
	if !reflect.DeepEqual(x, a.X()) {
		t.Error("the matrix was written to")
	}
}

// LeverageForm is LeverageAt, with an intercept and through the origin.
func TestLeverageForm(t *testing.T) {
	for _, origin := range []bool{false, true} {
		s := design.Spec{Features: []string{"a", "b"}, Response: "y"}
		for i := range 9 {
			s.X = append(s.X, []float64{float64(i), float64((i * 4) % 7)})
			s.Y, s.Lots = append(s.Y, float64(3*i+i%2)), append(s.Lots, fmt.Sprint(i))
		}
		m, err := design.New(s)
		if err != nil {
			t.Fatal(err)
		}
		path, err := OLS{Origin: origin}.Fit(m)
		if err != nil {
			t.Fatal(err)
		}
		f := path.At(0).(*OLSModel)
		x := []float64{11, -3}
		h, centre, root := f.LeverageForm()
		for k := range x {
			v := 0.0
			for j := range x {
				v += root[j][k] * (x[j] - centre[j])
			}
			h += v * v
		}
		if want := f.LeverageAt(x); math.Abs(h-want) > 1e-12*want {
			t.Errorf("origin %v: %v, LeverageAt has %v", origin, h, want)
		}
	}
}
