package validation

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"flourcast/eval/domain"
	"flourcast/eval/interval"
	"flourcast/model"
	"flourcast/model/catalog"
	"flourcast/model/design"
	"flourcast/model/linear"
	"flourcast/study/card"
)

// identity is a model of hardness that forecasts its one feature: least squares of
// twelve lots whose errors ±0.4 go along with neither intercept nor slope.
func identity(t testing.TB) *card.Card {
	t.Helper()
	s := design.Spec{Features: []string{"peak_mPas"}, Response: "hardness_N"}
	sign := []float64{1, -1, -1, 1}
	for i := range 12 {
		s.X, s.Y, s.Lots = append(s.X, []float64{9 + float64(i)}), append(s.Y, 9+float64(i)+0.4*sign[i%4]), append(s.Lots, fmt.Sprint("T", i))
	}
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	f, err := catalog.New("ols", catalog.Options{Scaling: model.ScaleUnit})
	if err != nil {
		t.Fatal(err)
	}
	path, err := f.Fit(m)
	if err != nil {
		t.Fatal(err)
	}
	ols := path.At(0).(*linear.OLSModel)
	payload, err := catalog.Encode(ols)
	if err != nil {
		t.Fatal(err)
	}
	d, err := domain.Build(m)
	if err != nil {
		t.Fatal(err)
	}
	iv, err := interval.New(ols.Sigma()*ols.Sigma(), 12, 1)
	if err != nil {
		t.Fatal(err)
	}
	c := &card.Card{Response: s.Response, Features: s.Features, Model: payload, Interval: &iv, Domain: d}
	for i := range s.Lots {
		c.Training = append(c.Training, card.Row{Lot: s.Lots[i], X: s.X[i], Measured: s.Y[i]})
	}
	return c
}

var (
	measured = []float64{10.2, 11.8, 12.5, 13.1, 14.0, 14.9, 15.7, 16.8, 17.5, 19.0}
	forecast = []float64{10.9, 11.5, 12.9, 13.6, 13.8, 15.6, 15.9, 17.5, 17.3, 19.6}
)

func worked() []Row {
	var rows []Row
	for i := range measured {
		rows = append(rows, Row{Lot: fmt.Sprint("V", i), X: []float64{forecast[i]}, Measured: measured[i]})
	}
	return rows
}

func near(t *testing.T, what string, got *float64, want, tol float64) {
	t.Helper()
	if got == nil || math.Abs(*got-want) > tol {
		t.Errorf("%s: %v, want %v", what, got, want)
	}
}

// Ten made-up pairs, worked with NumPy and SciPy by the formulas of ISO 12099:2017
// (from memory) outside this program.
func TestWorkedSet(t *testing.T) {
	res, err := Judge(identity(t), worked(), 0.9, false)
	f, lots, left := res.Figures, res.Lots, res.LeftOut
	if err != nil || len(lots) != 10 || len(left) != 0 {
		t.Fatalf("%v, %d lots, left %v", err, len(lots), left)
	}
	near(t, "bias", &f.Bias.Value, -0.31, 1e-6)
	near(t, "its limit", f.Bias.Limit, 0.290970, 1e-6)
	near(t, "SEP", &f.SEP.Value, 0.406749, 1e-6)
	near(t, "RMSEP", f.RMSEP, 0.494975, 1e-6)
	near(t, "slope", &f.Slope.Slope, 0.972159, 1e-6)
	near(t, "intercept", &f.Slope.Intercept, 0.103714, 1e-6)
	near(t, "t of slope", &f.Slope.T, 0.552247, 1e-6)
	near(t, "its limit", &f.Slope.Limit, 2.306004, 1e-6)
	near(t, "RPD", f.RPD, 6.763043, 1e-6)
	near(t, "RER", f.RER, 21.634984, 1e-6)
	if !f.Bias.Beyond || f.Slope.Beyond {
		t.Errorf("bias beyond its limit %v, slope %v; want true, false", f.Bias.Beyond, f.Slope.Beyond)
	}
	// SEC: 12 errors of ±0.4 on 10 degrees of freedom; F(0.95; 9, 10) = 3.0204 (printed tables).
	near(t, "SEC", f.SEC, 0.4*math.Sqrt(1.2), 1e-9)
	near(t, "limit of SEP", f.SEP.Limit, 0.4*math.Sqrt(1.2)*math.Sqrt(3.0204), 1e-4)
	if f.SEP.Beyond || f.RPDBand != "any application" || f.RERBand != "quantification" {
		t.Errorf("SEP beyond %v; bands %q, %q", f.SEP.Beyond, f.RPDBand, f.RERBand)
	}
	if c := f.Coverage; c.N != 10 || c.Inside != 10 || c.Few || c.Kind != interval.KindParametric {
		t.Errorf("coverage %+v", c)
	}
}

// Lots of the training set are left out by name, and by figures under another name.
func TestTrainingLotsAreLeftOut(t *testing.T) {
	c := identity(t)
	rows := append(worked(), Row{Lot: "T3", X: []float64{40}, Measured: 3}, Row{Lot: "renamed", X: c.Training[5].X, Measured: c.Training[5].Measured},
		Row{Lot: "V0", X: []float64{11.1}, Measured: 10.4}, Row{Lot: "lacking", Problem: "no figure for peak viscosity"})
	res, err := Judge(c, rows, 0.9, false)
	f, lots, left := res.Figures, res.Lots, res.LeftOut
	if err != nil {
		t.Fatal(err)
	}
	if f.N != 10 || len(left) != 3 || !strings.Contains(left[0].Reason, "made from this lot") || !strings.Contains(left[1].Reason, "lot T5") || left[2].Lot != "lacking" {
		t.Errorf("%d lots, left out %+v", f.N, left)
	}
	if lots[0].Lot != "V0" || math.Abs(lots[0].Measured-10.3) > 1e-12 || math.Abs(lots[0].Forecast-11) > 1e-9 {
		t.Errorf("two rows of V0: %+v, want their means", lots[0])
	}
}

// Lots that share a family with the model's own do not count, unless they are meant to;
// they are named either way.
func TestRelativesAreLeftOut(t *testing.T) {
	c := identity(t)
	c.Training[2].Family = "silo 7"
	rows := append(worked(), Row{Lot: "V10", X: []float64{12}, Measured: 12.3, Family: "silo 7"}, Row{Lot: "V11", X: []float64{13}, Measured: 12.8, Family: "T4"},
		Row{Lot: "silo 7", X: []float64{14}, Measured: 14.2}, Row{Lot: "V12", X: []float64{15}, Measured: 15.1, Family: "silo 8"})
	want := []Related{{"V10", "T2", "silo 7"}, {"V11", "T4", "T4"}, {"silo 7", "T2", "silo 7"}}
	res, err := Judge(c, rows, 0.9, false)
	if err != nil || res.N != 11 || len(res.LeftOut) != 3 || !slices.Equal(res.Related, want) || !strings.Contains(res.LeftOut[1].Reason, "family of lot T4") {
		t.Errorf("%v: %d lots, left out %+v, related %+v", err, res.N, res.LeftOut, res.Related)
	}
	res, err = Judge(c, rows, 0.9, true)
	if err != nil || res.N != 14 || len(res.LeftOut) != 0 || !slices.Equal(res.Related, want) {
		t.Errorf("meant: %v: %d lots, left out %+v, related %+v", err, res.N, res.LeftOut, res.Related)
	}
}

// A model that is off is told so; one, two or three lots give what they can.
func TestWhatFewLotsGive(t *testing.T) {
	c := identity(t)
	for n := range 4 {
		f, err := Judge(c, worked()[:n], 0.9, false)
		if err != nil {
			t.Fatal(err)
		}
		if (f.RMSEP != nil) != (n > 0) || (f.Bias != nil) != (n > 1) || (f.SEP != nil) != (n > 1) || (f.Slope != nil) != (n > 2) || (f.Coverage != nil) != (n > 0) {
			t.Errorf("%d lots: %+v", n, f)
		}
		if _, err := json.Marshal(f); err != nil {
			t.Error(err)
		}
	}
	rng := rand.New(rand.NewPCG(3, 4))
	var wide []Row
	for i := range 30 {
		x := 9 + 12*rng.Float64()
		wide = append(wide, Row{Lot: fmt.Sprint(i), X: []float64{x}, Measured: 15 + 0.5*(x-15) + 2*rng.NormFloat64()})
	}
	f, err := Judge(c, wide, 0.9, false)
	if err != nil || !f.SEP.Beyond || !f.Slope.Beyond || !f.Coverage.Few || f.RPDBand != "very poor" {
		t.Errorf("%v: %+v, %+v, %+v, %s", err, f.SEP, f.Slope, f.Coverage, f.RPDBand)
	}
}

// Clopper and Pearson's limits in closed form: none of n, high = 1 − 0.025^(1/n).
func TestExact(t *testing.T) {
	low, high := exact(0, 10)
	if low != 0 || math.Abs(high-(1-math.Pow(0.025, 0.1))) > 1e-9 {
		t.Errorf("0 of 10: %v to %v", low, high)
	}
	low, high = exact(10, 10)
	if high != 1 || math.Abs(low-math.Pow(0.025, 0.1)) > 1e-9 {
		t.Errorf("10 of 10: %v to %v", low, high)
	}
	if a, b := exact(3, 10); a > 0.3 || b < 0.3 {
		t.Errorf("3 of 10: %v to %v", a, b)
	}
}

func TestBands(t *testing.T) {
	for _, c := range []struct {
		v        float64
		rpd, rer string
	}{{1.5, "very poor", "below screening"}, {2, "rough screening", "below screening"}, {3.2, "quality control", "below screening"}, {4, "process control", "screening"}, {12, "any application", "quality control"}} {
		if a, b := RPDBands.Of(c.v), RERBands.Of(c.v); a != c.rpd || b != c.rer {
			t.Errorf("%v: %q and %q, want %q and %q", c.v, a, b, c.rpd, c.rer)
		}
	}
}
