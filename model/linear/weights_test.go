package linear

import (
	"encoding/json"
	"errors"
	"math"
	"os"
	"testing"

	"pgregory.net/rapid"

	"flourcast/model"
	"flourcast/model/design"
)

// TestThroughTheOrigin against the certified values of NIST StRD NoInt1 and NoInt2
// (testdata/SOURCE.md). R² is about zero.
func TestThroughTheOrigin(t *testing.T) {
	for _, name := range []string{"NoInt1", "NoInt2"} {
		m, want := nist(t, name)
		f, err := OLS{Origin: true}.Regress(m)
		if err != nil {
			t.Fatal(name, err)
		}
		l := f.Linear()
		intercept, se := f.StandardErrors()
		b, s, sd, r2 := digits(l.Coefficients[0], want.Estimates[0], 1), digits(se[0], want.StandardErrors[0], 1), digits(f.Sigma(), want.ResidualSD, 1), digits(f.R2(), want.RSquared, 1)
		t.Logf("%s correct digits: coefficient %.1f, standard error %.1f, residual SD %.1f, R² about zero %.1f", name, b, s, sd, r2)
		if min(b, s, sd, r2) < 13.5 || l.Intercept != 0 || intercept != 0 || !f.Origin() || f.Predict([]float64{0}) != 0 {
			t.Errorf("%s: fewer than 13.5 digits, or an intercept: %+v", name, l)
		}
		if got := float64(f.N()) - f.DF() - 1; got != float64(m.N()-1) {
			t.Errorf("%s: %v degrees of freedom left", name, got)
		}
	}
}

// TestWeightedReference compares weighted fits with R 4.2.2's lm, with an intercept
// and without (testdata/SOURCE.md).
func TestWeightedReference(t *testing.T) {
	data, err := os.ReadFile("testdata/weighted.json")
	if err != nil {
		t.Fatal(err)
	}
	var all map[string]struct {
		Weights, Estimates, Sigma, Hat, Cook, Press []float64
		SE                                          []float64 `json:"standard_errors"`
		R2                                          []float64 `json:"r_squared"`
	}
	if err := json.Unmarshal(data, &all); err != nil {
		t.Fatal(err)
	}
	for name, want := range all {
		longley, _ := nist(t, "Longley")
		se := make([]float64, longley.N())
		for i, w := range want.Weights {
			se[i] = 3 / math.Sqrt(w) // in any unit
		}
		f := OLS{Weighted: true}
		if name == "longley_origin" {
			f.Origin = true
			if longley, err = longley.WithFeatures(longley.Features()[:2]); err != nil {
				t.Fatal(err)
			}
		}
		for source, m := range map[string]*design.Matrix{"weights": weighted(t, longley, want.Weights, nil), "standard errors": weighted(t, longley, nil, se)} {
			fit, err := f.Regress(m)
			if err != nil {
				t.Fatal(err)
			}
			rows, err := fit.Rows(m)
			if err != nil {
				t.Fatal(err)
			}
			b, l := []float64(nil), fit.Linear()
			errors, ofEach := []float64(nil), []float64(nil)
			if intercept, each := fit.StandardErrors(); f.Origin {
				b, errors = l.Coefficients, each
			} else {
				b, errors = append([]float64{l.Intercept}, l.Coefficients...), append([]float64{intercept}, each...)
			}
			for i := range longley.N() {
				ofEach = append(ofEach, rows.Leverage[i])
			}
			for _, c := range []struct {
				what      string
				got, want []float64
				tol       float64
			}{{"coefficients", b, want.Estimates, 1e-9}, {"standard errors", errors, want.SE, 1e-9}, {"σ", []float64{fit.Sigma()}, want.Sigma, 1e-9}, {"R²", []float64{fit.R2()}, want.R2, 1e-11},
				{"leverage", ofEach, want.Hat, 1e-9}, {"Cook's distance", rows.Cook, want.Cook, 1e-8}, {"PRESS", []float64{rows.PRESS}, want.Press, 1e-8}} {
				if len(c.got) != len(c.want) {
					t.Fatalf("%s, %s: %d figures, expected %d", name, c.what, len(c.got), len(c.want))
				}
				for i := range c.want {
					if !near(c.got[i], c.want[i], c.tol) {
						t.Errorf("%s by %s, %s %d: %.15g, R has %.15g", name, source, c.what, i, c.got[i], c.want[i])
					}
				}
			}
		}
	}
}

// weighted is m with row weights or standard errors.
func weighted(t testing.TB, m *design.Matrix, w, se []float64) *design.Matrix {
	t.Helper()
	s := design.Spec{Features: m.Features(), Response: m.Response(), Y: m.Y(), Lots: m.Lots(), Weights: w, SE: se}
	for i := range m.N() {
		s.X = append(s.X, m.Row(i))
	}
	out, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// TestWeightsAreRepeats: a whole number as weight gives the coefficients of that
// many copies of the row, and equal weights those of none; residuals times weights
// are orthogonal to every column.
func TestWeightsAreRepeats(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		m := random(t, rapid.IntRange(8, 20).Draw(rt, "rows"), rapid.IntRange(1, 4).Draw(rt, "features"), rapid.Uint64().Draw(rt, "seed"))
		origin := rapid.Bool().Draw(rt, "origin")
		var copies []int
		w, equal := make([]float64, m.N()), make([]float64, m.N())
		for i := range w {
			k := rapid.IntRange(1, 4).Draw(rt, "copies")
			w[i], equal[i] = float64(k), 7
			for range k {
				copies = append(copies, i)
			}
		}
		fit := func(f OLS, m *design.Matrix) *OLSModel {
			f.Origin = origin
			out, err := f.Regress(m)
			if err != nil {
				rt.Fatal(err)
			}
			return out
		}
		by := fit(OLS{Weighted: true}, weighted(t, m, w, nil))
		for name, pair := range map[string][2]*OLSModel{"copies": {by, fit(OLS{}, m.Subset(copies))}, "equal": {fit(OLS{Weighted: true}, weighted(t, m, equal, nil)), fit(OLS{}, m)}} {
			for i := range m.N() {
				if a, b := pair[0].Predict(m.Row(i)), pair[1].Predict(m.Row(i)); !near(a, b, 1e-9) {
					rt.Fatalf("%s: %v and %v", name, a, b)
				}
			}
		}
		for j := range m.P() {
			sum, size := 0.0, 0.0
			for i, y := range m.Y() {
				v := w[i] * (y - by.Predict(m.Row(i))) * m.Row(i)[j]
				sum, size = sum+v, size+math.Abs(v)
			}
			if math.Abs(sum) > 1e-8*size {
				rt.Fatalf("column %d: Σ w·e·x = %v of %v", j, sum, size)
			}
		}
	})
}

func TestWeightsRefused(t *testing.T) {
	m := random(t, 10, 2, 4)
	se := make([]float64, 10)
	for i := range se {
		se[i] = 1
	}
	zero, tiny := append([]float64(nil), se...), append([]float64(nil), se...)
	zero[3], tiny[3] = 0, 1e-9
	var set *model.SettingError
	for name, m := range map[string]*design.Matrix{"none": m, "an error of zero": weighted(t, m, nil, zero), "one row of all the weight": weighted(t, m, nil, tiny)} {
		if _, err := (OLS{Weighted: true}).Fit(m); !errors.As(err, &set) || set.Setting != "weights" {
			t.Errorf("%s: %v", name, err)
		}
	}
	var few *model.TooFewRowsError
	if _, err := (OLS{Origin: true}).Fit(m.Subset([]int{0, 1})); !errors.As(err, &few) || few.Need != 3 {
		t.Errorf("two rows of two features: %v", err)
	}
	none := matrix(t, nil, make([][]float64, 4), []float64{1, 2, 3, 5})
	if _, err := (OLS{Origin: true}).Fit(none); !errors.As(err, &set) {
		t.Errorf("no feature through the origin: %v", err)
	}
}
