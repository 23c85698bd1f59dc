package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/cmd/flourcast/shell"
	"flourcast/work"
)

// tableFile writes a table of text lines into a file.
func tableFile(t *testing.T, lines ...string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "table.csv")
	if err := os.WriteFile(path, []byte(strings.Join(lines, "\n")+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// grown is 24 lots whose firmness grows by a share, with a standard error of its
// own for each.
func grown(t *testing.T) string {
	r := work.Rand(1, "grown")
	lines := []string{"lot,peak_mPas,protein_pct,hardness_N,hardness_N_se"}
	for i := range 24 {
		peak, protein := 2000+40*float64(i)+100*r.NormFloat64(), 10+r.NormFloat64()
		lines = append(lines, fmt.Sprintf("L%02d,%.1f,%.2f,%.4f,%.3f", i, peak, protein, math.Exp(3-peak/2000+0.05*protein+0.05*r.NormFloat64()), 0.05+0.01*float64(i%4)))
	}
	return tableFile(t, lines...)
}

type methodFit struct {
	StandardErrors map[string]float64 `json:"standard_errors"`
	VIF            map[string]float64
	T              map[string]float64 `json:"t_values"`
	PRESS          *float64
	R2About        string `json:"r2_about"`
	Weighted       bool   `json:"weighted"`
	Rows           []any  `json:"row_figures"`
	CV             struct{ RMSECV, Q2 float64 }
	Coefficients   map[string]float64
	Intercept      float64
	Condition      float64
	Transform      string
	Findings       []struct{ Code, Found string }
	Verdict        struct{ Standing string }
	PLS            *struct{ Rows []struct{ T2, Q float64 } }
	Derivative     *struct{ Order, Window int }
	Curve          *struct{ At, Mean, Coefficient []float64 }
}

// TestLeastSquaresOptions: figures of least squares, through the origin, and by
// standard errors.
func TestLeastSquaresOptions(t *testing.T) {
	table := grown(t)
	args := []string{"fit", table, "--response", "hardness_N", "--kind", "ols", "--repeats", "1", "--permutations", "0"}
	var plain, origin, weighted methodFit
	callJSON(t, &plain, args...)
	callJSON(t, &origin, append(args, "--origin")...)
	model := filepath.Join(t.TempDir(), "w.json")
	callJSON(t, &weighted, append(args, "--weights", "se", "-o", model)...)
	if len(plain.StandardErrors) != 3 || plain.StandardErrors["(intercept)"] <= 0 || len(plain.VIF) != 2 || len(plain.T) != 3 || plain.PRESS == nil || plain.R2About != "mean" || len(plain.Rows) != 24 {
		t.Errorf("got %+v", plain)
	}
	if rmse := math.Sqrt(*plain.PRESS / 24); math.Abs(rmse/plain.CV.RMSECV-1) > 0.2 {
		t.Errorf("leave-one-out in closed form %v, ten folds %v", rmse, plain.CV.RMSECV)
	}
	if _, has := origin.StandardErrors["(intercept)"]; has || origin.Intercept != 0 || origin.R2About != "zero" {
		t.Errorf("through the origin: %+v", origin)
	}
	if !weighted.Weighted || weighted.Coefficients["peak_mPas"] == plain.Coefficients["peak_mPas"] {
		t.Errorf("by standard errors the coefficient is %v, as without: %v", weighted.Coefficients, plain.Coefficients)
	}
	if text, _, _ := call(t, "show", model); !strings.Contains(text, "weighted by standard errors") {
		t.Errorf("show does not say that the model is weighted:\n%s", text)
	}
	for _, c := range []struct {
		args []string
		says string
	}{
		{[]string{"--weights", "sd"}, "weights"}, {[]string{"--transform", "root"}, "transform"}, {[]string{"--weights", "se", "--transform", "log"}, "weights"}, {[]string{"--derivative", "3"}, "derivative"},
		{[]string{"--derivative", "1"}, "columns of one curve on time"}, {[]string{"--kind", "pls", "--origin"}, "kind ols"},
	} {
		if _, stderr, code := call(t, append(args, c.args...)...); code != shell.ExitUsage || !strings.Contains(stderr, c.says) {
			t.Errorf("%v: exit code %d, %s", c.args, code, stderr)
		}
	}
}

// TestLogOption: errors in the response's units, a forecast of the mean with limits
// above zero, and a response at zero refused by row.
func TestLogOption(t *testing.T) {
	table := grown(t)
	model := filepath.Join(t.TempDir(), "log.json")
	args := []string{"fit", table, "--response", "hardness_N", "--repeats", "1", "--permutations", "19"}
	var logged, plain methodFit
	callJSON(t, &logged, append(args, "--kind", "pls", "--transform", "log", "-o", model)...)
	callJSON(t, &plain, append(args, "--kind", "pls")...)
	if logged.Transform != "log" || logged.PLS == nil || len(logged.PLS.Rows) != 24 || math.Abs(logged.CV.RMSECV/plain.CV.RMSECV-1) > 0.5 {
		t.Errorf("RMSECV %v by logarithms, %v without: %+v", logged.CV.RMSECV, plain.CV.RMSECV, logged)
	}
	var forecast struct {
		Forecasts []struct{ Value, Low, High *float64 }
	}
	callJSON(t, &forecast, "forecast", model, table)
	for i, f := range forecast.Forecasts {
		if f.Value == nil || f.Low == nil || !(0 < *f.Low && *f.Low < *f.Value && *f.Value < *f.High) || *f.High-*f.Value < *f.Value-*f.Low {
			t.Errorf("forecast %d: %v", i, f)
		}
	}
	if len(forecast.Forecasts) != 24 {
		t.Errorf("%d forecasts", len(forecast.Forecasts))
	}
	// Probabilities and classes come from the errors on logarithms, as the limits do;
	// what rests on one size of error is absent.
	var decided struct {
		Forecasts []struct {
			Value, Low, Probability *float64
			StandardError           *float64 `json:"standard_error"`
			Contributions           []any
			Classes                 []struct{ Probability float64 }
		}
	}
	callJSON(t, &decided, "forecast", model, table, "--spec", "hardness_N=5..", "--bands", "hardness_N=soft..5..medium..9..firm")
	for i, f := range decided.Forecasts {
		if f.Probability == nil || f.StandardError != nil || len(f.Contributions) > 0 || len(f.Classes) != 3 {
			t.Fatalf("forecast %d: %+v", i, f)
		}
		sum := f.Classes[0].Probability + f.Classes[1].Probability + f.Classes[2].Probability
		if math.Abs(sum-1) > 1e-12 || math.Abs(f.Classes[0].Probability-(1-*f.Probability)) > 1.0/24 || *f.Low > 5 && *f.Probability < 0.9 {
			t.Errorf("forecast %d: probability %v, low %v, classes %v", i, *f.Probability, *f.Low, f.Classes)
		}
	}
	if text, _, _ := call(t, "show", model); !strings.Contains(text, "natural logarithm") {
		t.Error("show does not say that coefficients are of the logarithm")
	}
	data, err := os.ReadFile(table)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(string(data)), "\n")
	lines[7] = "L06,2300,10,0,0.05"
	if _, stderr, code := call(t, append([]string{"fit", tableFile(t, lines...)}, append(args[2:], "--kind", "ols", "--transform", "log")...)...); code != shell.ExitUsage || !strings.Contains(stderr, "row 7 (lot L06)") {
		t.Errorf("a response of zero: exit code %d, %s", code, stderr)
	}
}

// TestDerivativeOption: whole curves of lots that differ by an offset, by the first
// derivative and with the order chosen; the report draws the coefficients.
func TestDerivativeOption(t *testing.T) {
	r := work.Rand(2, "offset curves")
	header := "lot,hardness_N"
	for s := 12; s <= 240; s += 4 {
		header += fmt.Sprintf(",v_%04ds", s)
	}
	lines := []string{header}
	for i := range 30 {
		peak, offset := 1500+300*r.NormFloat64(), 800*r.NormFloat64()
		line := fmt.Sprintf("L%02d,%.3f", i, 8-peak/500+0.1*r.NormFloat64())
		for s := 12; s <= 240; s += 4 {
			d := (float64(s) - 130) / 35
			line += fmt.Sprintf(",%.2f", 3000+offset+peak*math.Exp(-d*d/2)+3*r.NormFloat64())
		}
		lines = append(lines, line)
	}
	table, model, page := tableFile(t, lines...), filepath.Join(t.TempDir(), "d.json"), filepath.Join(t.TempDir(), "d.html")
	args := []string{"fit", table, "--response", "hardness_N", "--kind", "pls", "--features", "v_*", "--repeats", "1", "--permutations", "0", "--derivative"}
	var first, chosen methodFit
	callJSON(t, &first, append(args, "1", "--window", "9")...)
	callJSON(t, &chosen, append(args, "choose", "-o", model)...)
	if first.Derivative == nil || first.Derivative.Order != 1 || first.Derivative.Window != 9 || first.Curve == nil || len(first.Curve.At) != 58 || first.Curve.At[1] != 16 || first.CV.Q2 < 0.9 {
		t.Errorf("got %+v, %+v, Q² %v", first.Derivative, first.Curve, first.CV.Q2)
	}
	if chosen.Derivative == nil || chosen.CV.Q2 < 0.9 {
		t.Errorf("chosen %+v, Q² %v", chosen.Derivative, chosen.CV.Q2)
	}
	if _, stderr, code := call(t, "report", model, "-o", page); code != 0 {
		t.Fatal(stderr)
	}
	data, err := os.ReadFile(page)
	if err != nil || !strings.Contains(string(data), "Coefficients over the mean curve") {
		t.Errorf("the report does not draw the curve (%v)", err)
	}
	var forecast struct {
		Forecasts []struct {
			Value      *float64
			Components *struct {
				T2, Q   float64
				T2Limit float64 `json:"t2_limit"`
			}
		}
	}
	callJSON(t, &forecast, "forecast", model, table)
	if len(forecast.Forecasts) != 30 || forecast.Forecasts[0].Value == nil || chosen.PLS == nil {
		t.Fatalf("forecasts %+v", forecast.Forecasts)
	}
	for i, f := range forecast.Forecasts { // the training rows, forecast as if they were new
		if was := chosen.PLS.Rows[i]; f.Components == nil || math.Abs(f.Components.T2-was.T2) > 1e-9 || math.Abs(f.Components.Q-was.Q) > 1e-9*(1+was.Q) || f.Components.T2Limit <= 0 {
			t.Errorf("row %d: %+v, in the fit %+v", i, f.Components, was)
		}
	}
	for _, window := range []string{"4", "99"} {
		if _, stderr, code := call(t, append(args, "1", "--window", window)...); code != shell.ExitUsage || !strings.Contains(stderr, "window") {
			t.Errorf("a window of %s: exit code %d, %s", window, code, stderr)
		}
	}
	if _, stderr, code := call(t, append(args, "1", "--where", "lot=L01", "--features", "v_0012s,v_0020s,v_0024s")...); code != shell.ExitUsage {
		t.Errorf("a curve with a hole: exit code %d, %s", code, stderr)
	}
}

// TestEachResponseHasItsOwnRows: a lot that lacks one response serves the other,
// and is named where it is left out.
func TestEachResponseHasItsOwnRows(t *testing.T) {
	r := work.Rand(4, "two responses")
	lines := []string{"lot,peak_mPas,hardness_N,springiness"}
	for i := range 20 {
		peak := 2500 + 300*r.NormFloat64()
		hardness, springiness := fmt.Sprintf("%.3f", 8-peak/800+0.1*r.NormFloat64()), fmt.Sprintf("%.3f", 0.7+peak/20000+0.01*r.NormFloat64())
		if i < 3 {
			hardness = ""
		}
		if i >= 15 {
			springiness = ""
		}
		lines = append(lines, fmt.Sprintf("L%02d,%.0f,%s,%s", i, peak, hardness, springiness))
	}
	table := tableFile(t, lines...)
	for response, want := range map[string]struct {
		n     int
		first string
	}{"hardness_N": {17, "L00"}, "springiness": {15, "L15"}} {
		var res struct {
			N       int
			LeftOut []struct{ Lot, Reason string } `json:"left_out"`
		}
		callJSON(t, &res, "fit", table, "--response", response, "--features", "peak_mPas", "--kind", "ols", "--repeats", "1", "--permutations", "0")
		if res.N != want.n || len(res.LeftOut) != 20-want.n || res.LeftOut[0].Lot != want.first || !strings.Contains(res.LeftOut[0].Reason, response) {
			t.Errorf("%s: %d rows, left out %v", response, res.N, res.LeftOut)
		}
	}
}

// TestBootstrapOption: intervals of every coefficient, the same by the same seed.
func TestBootstrapOption(t *testing.T) {
	args := []string{"fit", grown(t), "--response", "hardness_N", "--kind", "pls", "--features", "peak_mPas,protein_pct", "--repeats", "1", "--permutations", "0", "--bootstrap", "99"}
	var one, two struct {
		Bootstrap []struct {
			Feature       string
			Low, High, SE float64
			Value         float64
		} `json:"bootstrap_intervals"`
	}
	callJSON(t, &one, args...)
	callJSON(t, &two, append(args, "--cores", "1")...)
	if len(one.Bootstrap) != 2 || one.Bootstrap[0] != two.Bootstrap[0] || !(one.Bootstrap[0].Low < one.Bootstrap[0].Value && one.Bootstrap[0].Value < one.Bootstrap[0].High) {
		t.Errorf("got %+v and %+v", one, two)
	}
	if text, _, _ := call(t, args...); !strings.Contains(text, "Coefficients by bootstrap") {
		t.Error("the text has no bootstrap intervals")
	}
	if _, stderr, code := call(t, append(args[:len(args)-1], "5")...); code != shell.ExitUsage || !strings.Contains(stderr, "bootstrap") {
		t.Errorf("five resamples: exit code %d, %s", code, stderr)
	}
}
