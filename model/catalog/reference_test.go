package catalog_test

import (
	"compress/gzip"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"testing"

	"flourcast/model"
	"flourcast/model/design"
	"flourcast/model/linear"
	"flourcast/model/pls"
	"flourcast/model/ridge"
)

// reference is what testdata/reference/SOURCE.md describes.
type reference struct {
	Every int `json:"every"`
	PLS   map[model.Scaling]struct {
		Coefficients [][]float64 `json:"coefficients"`
		Intercepts   []float64   `json:"intercepts"`
		VIP          [][]float64 `json:"vip"`
		Weights      [][]float64 `json:"weights"`
		Rotations    [][]float64 `json:"rotations"`
		YLoadings    []float64   `json:"y_loadings"`
		XPercent     []float64   `json:"x_percent"`
		FirstScores  []float64   `json:"first_scores"`
		RMSEC        []float64   `json:"rmsec"`
	} `json:"pls"`
	Ridge struct {
		Lambda       []float64   `json:"lm_ridge_lambda"`
		Coefficients [][]float64 `json:"lm_ridge_coefficients"`
		DF           []float64   `json:"lm_ridge_df"`
		GCV          []float64   `json:"lm_ridge_gcv"`
		Alpha        []float64   `json:"sklearn_alpha"`
		Raw          [][]float64 `json:"sklearn_raw_x"`
	} `json:"ridge"`
	OLS struct {
		Coefficients []float64 `json:"coefficients_intercept_first"`
		SE           []float64 `json:"se"`
		Sigma        float64   `json:"sigma"`
		R2           float64   `json:"r2"`
		RMSELOO      float64   `json:"rmse_loo"`
		Hat, Cooks   []float64
	} `json:"ols"`
}

func columns(t testing.TB, path string) ([]string, [][]float64) {
	t.Helper()
	f, err := os.Open(path)
	var r io.Reader = f
	if err != nil {
		if f, err = os.Open(path + ".gz"); err != nil {
			t.Fatal(err)
		}
		if r, err = gzip.NewReader(f); err != nil {
			t.Fatal(err)
		}
	}
	defer f.Close()
	rows, err := csv.NewReader(r).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := make([][]float64, len(rows)-1)
	for i, row := range rows[1:] {
		for _, cell := range row {
			v, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				t.Fatal(err)
			}
			out[i] = append(out[i], v)
		}
	}
	return rows[0], out
}

func load(t testing.TB, name string) (*design.Matrix, reference) {
	t.Helper()
	dir := "../testdata/reference/" + name + "/"
	var ref reference
	data, err := os.ReadFile(dir + "reference.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, &ref); err != nil {
		t.Fatal(err)
	}
	names, x := columns(t, dir+"x.csv")
	response, y := columns(t, dir+"y.csv")
	s := design.Spec{Features: names, Response: response[0], X: x}
	for i, v := range y {
		s.Y, s.Lots = append(s.Y, v[0]), append(s.Lots, fmt.Sprint(i))
	}
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return m, ref
}

// far is the largest difference relative to the largest figure wanted.
func far(got, want []float64) float64 {
	if len(got) != len(want) {
		return math.Inf(1)
	}
	worst, size := 0.0, 0.0
	for i, w := range want {
		worst, size = max(worst, math.Abs(got[i]-w)), max(size, math.Abs(w))
	}
	return worst / size
}

func thin(v []float64, every int) []float64 {
	var out []float64
	for i := 0; i < len(v); i += every {
		out = append(out, v[i])
	}
	return out
}

func moments(t testing.TB, m *design.Matrix) model.Moments {
	t.Helper()
	mo, err := model.NewMoments("test", m)
	if err != nil {
		t.Fatal(err)
	}
	return mo
}

// TestPLSReference compares with R pls 2.8-1 (kernel algorithm), every number of
// components, from rows and from cross-products.
func TestPLSReference(t *testing.T) {
	for _, name := range []string{"cake", "diabetes", "biomass", "gasoline"} {
		m, ref := load(t, name)
		for scaling, want := range ref.PLS {
			f := pls.PLS{Components: len(want.RMSEC), Scaling: scaling}
			rows, err := f.Fit(m)
			if err != nil {
				t.Fatal(name, err)
			}
			crossed, err := f.FitMoments(moments(t, m))
			if err != nil {
				t.Fatal(name, err)
			}
			worst := 0.0
			check := func(what string, a int, got, want []float64) {
				d := far(got, want)
				worst = max(worst, d)
				if !(d <= 1e-8) {
					t.Errorf("%s %s: %s with %d components differs by %.2g", name, scaling, what, a+1, d)
				}
			}
			for _, path := range []model.Path{rows, crossed} {
				if path.Len() != len(want.RMSEC) {
					t.Fatalf("%s %s: %d components, expected %d", name, scaling, path.Len(), len(want.RMSEC))
				}
				for a := range path.Len() {
					p := path.At(a).(*pls.Model)
					l := p.Linear()
					check("coefficients", a, thin(l.Coefficients, ref.Every), want.Coefficients[a])
					check("intercept", a, []float64{l.Intercept}, want.Intercepts[a:a+1])
					check("VIP", a, thin(p.VIP(), ref.Every), want.VIP[a])
					// The reference takes w = s/|s|; ours has its largest figure positive.
					sign := math.Copysign(1, p.Weights()[a][0]*want.Weights[a][0])
					flip := func(v []float64) []float64 {
						out := thin(v, 1)
						for i := range out {
							out[i] *= sign
						}
						return out
					}
					check("weights", a, flip(thin(p.Weights()[a], ref.Every)), want.Weights[a])
					check("rotations", a, flip(thin(p.Rotations()[a], ref.Every)), want.Rotations[a])
					check("y loading", a, flip(p.YLoadings()[a:]), want.YLoadings[a:a+1])
					check("score of row 1", a, flip(p.Scores(m.Row(0))[a:]), want.FirstScores[a:a+1])
					check("X explained", a, []float64{100 * p.XExplained()[a]}, want.XPercent[a:a+1])
					ss := 0.0
					for i, y := range m.Y() {
						e := y - p.Predict(m.Row(i))
						ss += e * e
					}
					check("RMSEC", a, []float64{math.Sqrt(ss / float64(m.N()))}, want.RMSEC[a:a+1])
				}
			}
			t.Logf("%s %s: largest relative difference %.1g", name, scaling, worst)
		}
	}
}

// TestRidgeReference compares with R MASS::lm.ridge 7.3-58.2 (its SD has divisor
// n, so λ = lambda·(n − 1)/n) and scikit-learn 1.2.1 Ridge on columns as they are.
func TestRidgeReference(t *testing.T) {
	for _, name := range []string{"cake", "diabetes", "biomass"} {
		m, ref := load(t, name)
		worst := 0.0
		compare := func(f ridge.Ridge, want []float64, df float64) {
			t.Helper()
			rows, err := f.Fit(m)
			if err != nil {
				t.Fatal(err)
			}
			crossed, err := f.FitMoments(moments(t, m))
			if err != nil {
				t.Fatal(err)
			}
			for _, path := range []model.Path{rows, crossed} {
				l := path.At(0).Linear()
				d := max(far(l.Coefficients, want[1:]), far([]float64{l.Intercept}, want[:1]))
				if df > 0 {
					d = max(d, far([]float64{path.At(0).DF()}, []float64{df}))
				}
				worst = max(worst, d)
				if !(d <= 1e-8) {
					t.Errorf("%s lambda %v: differs by %.2g", name, f.Lambdas[0], d)
				}
			}
		}
		for i, lambda := range ref.Ridge.Lambda {
			compare(ridge.Ridge{Lambdas: []float64{ridge.FromDivisorN(lambda, m.N())}}, ref.Ridge.Coefficients[i], ref.Ridge.DF[i])
		}
		// R leaves the intercept out of the degrees of freedom and does not multiply
		// by n: its figure is RSS/(n − df)².
		for i, lambda := range ref.Ridge.Lambda {
			path, err := ridge.Ridge{Lambdas: []float64{ridge.FromDivisorN(lambda, m.N())}}.Fit(m)
			if err != nil {
				t.Fatal(err)
			}
			gcv, ok := path.(*ridge.Path).GCV(0)
			n, df := float64(m.N()), path.At(0).DF()
			got := gcv * (n - 1 - df) * (n - 1 - df) / (n * (n - df) * (n - df))
			if !ok || !(math.Abs(got/ref.Ridge.GCV[i]-1) <= 1e-8) {
				t.Errorf("%s lambda %v: GCV %v, lm.ridge %v", name, lambda, got, ref.Ridge.GCV[i])
			}
		}
		for i, alpha := range ref.Ridge.Alpha {
			compare(ridge.Ridge{Scaling: model.ScaleNone, Lambdas: []float64{alpha}}, ref.Ridge.Raw[i], 0)
		}
		t.Logf("%s: largest relative difference %.1g", name, worst)
	}
}

// TestOLSReference compares with R lm.
func TestOLSReference(t *testing.T) {
	for _, name := range []string{"cake", "diabetes", "biomass"} {
		m, ref := load(t, name)
		f, err := linear.OLS{}.Regress(m)
		if err != nil {
			t.Fatal(err)
		}
		l := f.Linear()
		rows, err := f.Rows(m)
		if err != nil {
			t.Fatal(err)
		}
		intercept, se := f.StandardErrors()
		want := ref.OLS
		for _, c := range []struct {
			what      string
			got, want []float64
		}{
			{"coefficients", append([]float64{l.Intercept}, l.Coefficients...), want.Coefficients},
			{"standard errors", append([]float64{intercept}, se...), want.SE},
			{"sigma", []float64{f.Sigma(), f.R2()}, []float64{want.Sigma, want.R2}},
			{"leave-one-out RMSE", []float64{math.Sqrt(rows.PRESS / float64(m.N()))}, []float64{want.RMSELOO}},
		} {
			if d := far(c.got, c.want); !(d <= 1e-9) {
				t.Errorf("%s %s: differs by %.2g", name, c.what, d)
			}
		}
		if want.Hat != nil && !(far(rows.Leverage, want.Hat) <= 1e-9 && far(rows.Cook, want.Cooks) <= 1e-9) {
			t.Errorf("%s: leverage or Cook's distance differ", name)
		}
	}
	if _, ref := load(t, "cake"); len(ref.OLS.Cooks) != 270 || len(ref.OLS.Hat) != 270 {
		t.Error("the cake reference has a leverage and a Cook's distance for each of its 270 rows")
	}
}
