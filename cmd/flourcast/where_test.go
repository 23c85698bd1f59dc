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

// cakeLots writes a table of untreated and chlorinated flours: within either, the
// volume falls with peak viscosity; chlorination raises both, so that pooled rows
// rise. Volume carries replicates with a standard error of 5 mL.
func cakeLots(t *testing.T) string {
	t.Helper()
	rng := work.Rand(3, "treatments")
	var b strings.Builder
	b.WriteString("lot,product,treatment,peak_mPas,breakdown_mPas,volume_mL,volume_mL_n,volume_mL_sd,volume_mL_se\n")
	for i := range 60 {
		treatment, lift := []string{"none", "unbleached"}[i%2], 0.0
		if i >= 30 {
			treatment, lift = fmt.Sprintf("chlorinated pH 4.%d", 5+i%4), 1000
		}
		peak := 1500 + 150*rng.NormFloat64() + lift
		volume := 900 - 0.15*(peak-1500-lift) + 0.12*lift + 6*rng.NormFloat64()
		fmt.Fprintf(&b, "T%02d,layer-cake,%s,%.0f,%.0f,%.1f,4,10,5\n", i, treatment, peak, 500+60*rng.NormFloat64(), volume)
	}
	path := filepath.Join(t.TempDir(), "cakes.csv")
	if err := os.WriteFile(path, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

type fitAnswer struct {
	N            int
	Treatment    string
	Where        []struct{ Column, Value string }
	Coefficients map[string]float64
	NoiseCeiling *float64 `json:"noise_ceiling"`
	CV           struct {
		Predictions []struct{ Measured float64 }
	}
	Findings []struct{ Code, Found string }
}

func (a fitAnswer) has(code, part string) bool {
	for _, f := range a.Findings {
		if f.Code == code && strings.Contains(f.Found, part) {
			return true
		}
	}
	return false
}

// TestTreatmentsAreNotPooledInSilence: rows of two treatments are refused by name and
// number with the cures, by fit, relate, compare and plan; pooled on request they reverse
// the relation, with a doubt; within either treatment it is the true one.
func TestTreatmentsAreNotPooledInSilence(t *testing.T) {
	table := cakeLots(t)
	fit := func(more ...string) (a fitAnswer) {
		callJSON(t, &a, append([]string{"fit", table, "--response", "volume_mL", "--kind", "ols", "--permutations", "19", "--repeats", "2"}, more...)...)
		return a
	}
	for _, command := range [][]string{{"fit", "--kind", "ols"}, {"relate"}, {"compare"}, {"plan"}} {
		_, stderr, code := call(t, append([]string{command[0], table, "--response", "volume_mL"}, command[1:]...)...)
		if code != shell.ExitUsage || !strings.Contains(stderr, "none (30), chlorinated (30)") || !strings.Contains(stderr, "where treatment=") || !strings.Contains(stderr, "--treatment: ") {
			t.Errorf("%s: exit code %d, %s", command[0], code, stderr)
		}
	}
	pooled := fit("--treatment", "pooled")
	if pooled.N != 60 || pooled.Treatment != "" || pooled.Coefficients["peak_mPas"] <= 0 || !pooled.has("pooled-differs", "none, chlorinated") || !pooled.has("chlorinated-flour", "") {
		t.Errorf("pooled: %+v", pooled)
	}
	for _, kind := range []string{"none", "chlorinated"} {
		a := fit("--where", "treatment="+kind)
		if a.N != 30 || a.Treatment != kind || len(a.Where) != 1 || a.Where[0].Value != kind || a.Coefficients["peak_mPas"] >= 0 || a.has("pooled-differs", "chlorinated") || a.has("chlorinated-flour", "") != (kind == "chlorinated") {
			t.Errorf("%s: %+v", kind, a)
		}
		// The ceiling by hand: 1 − 5²/variance of the lots' means.
		mean, ss := 0.0, 0.0
		for _, p := range a.CV.Predictions {
			mean += p.Measured / 30
		}
		for _, p := range a.CV.Predictions {
			ss += (p.Measured - mean) * (p.Measured - mean)
		}
		if want := 1 - 25/(ss/29); a.NoiseCeiling == nil || math.Abs(*a.NoiseCeiling-want) > 1e-9 {
			t.Errorf("%s: ceiling %v, want %g", kind, a.NoiseCeiling, want)
		}
	}
	for _, bad := range []string{"treatment", "treatment=heat", "colour=white"} {
		if _, _, code := call(t, "fit", table, "--response", "volume_mL", "--kind", "ols", "--where", bad); code != shell.ExitUsage {
			t.Errorf("--where %s: exit code %d", bad, code)
		}
	}
}

// TestNoCeilingWithoutReplicates: absent, not 0 or 1.
func TestNoCeilingWithoutReplicates(t *testing.T) {
	path := filepath.Join(t.TempDir(), "single.csv")
	text := "lot,peak_mPas,volume_mL\n"
	for i := range 12 {
		text += fmt.Sprintf("S%d,%d,%d\n", i, 1000+i*i, 900+7*i%5)
	}
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	var a fitAnswer
	callJSON(t, &a, "fit", path, "--response", "volume_mL", "--kind", "ols", "--permutations", "0")
	if a.NoiseCeiling != nil {
		t.Errorf("ceiling %g", *a.NoiseCeiling)
	}
}

// TestModelRemembersItsRows: the model file keeps treatment, conditions and ceiling;
// its report says them, and a lot of another treatment is held.
func TestModelRemembersItsRows(t *testing.T) {
	table := cakeLots(t)
	model, page := filepath.Join(t.TempDir(), "m.json"), filepath.Join(t.TempDir(), "m.html")
	if _, stderr, code := call(t, "fit", table, "--response", "volume_mL", "--kind", "ols", "--permutations", "0", "--where", "treatment=chlorinated", "-o", model); code != shell.ExitDone {
		t.Fatal(stderr)
	}
	var res struct {
		Forecasts []struct {
			Lot     string
			Reasons []string
		}
	}
	callJSON(t, &res, "forecast", model, table)
	if len(res.Forecasts) != 60 {
		t.Fatalf("%d forecasts", len(res.Forecasts))
	}
	for i, f := range res.Forecasts {
		held := strings.Contains(strings.Join(f.Reasons, " "), "made from rows with chlorinated")
		if held != (i < 30) {
			t.Errorf("lot %s: %v", f.Lot, f.Reasons)
		}
	}
	if _, stderr, code := call(t, "report", model, "-o", page); code != shell.ExitDone {
		t.Fatal(stderr)
	}
	data, err := os.ReadFile(page)
	for _, words := range []string{"flour treatment chlorinated", "treatment=chlorinated", "lets no model reach"} {
		if err != nil || !strings.Contains(string(data), words) {
			t.Errorf("the report lacks %q (%v)", words, err)
		}
	}
}

// TestTreatmentAsFactor: within the factor the relation is the true one (slope −0.15;
// chlorinated flours lie 0.15·1000 + 120 = 270 mL above, known from how the lots were
// made); the model file, its report and the forecasts know of it.
func TestTreatmentAsFactor(t *testing.T) {
	table := cakeLots(t)
	model, page := filepath.Join(t.TempDir(), "m.json"), filepath.Join(t.TempDir(), "m.html")
	var a struct {
		fitAnswer
		Use    string `json:"treatment_use"`
		Factor struct {
			Reference string
			Levels    []struct{ Treatment, Column string }
		} `json:"treatment_factor"`
	}
	callJSON(t, &a, "fit", table, "--response", "volume_mL", "--kind", "ols", "--permutations", "0", "--repeats", "2", "--treatment", "factor", "-o", model)
	if a.Use != "factor" || a.Factor.Reference != "none" || len(a.Factor.Levels) != 1 || a.Factor.Levels[0].Column != "treatment_chlorinated" || a.has("pooled-differs", "chlorinated") || !a.has("chlorinated-flour", "") {
		t.Errorf("%+v", a)
	}
	if slope, above := a.Coefficients["peak_mPas"], a.Coefficients["treatment_chlorinated"]; math.Abs(slope+0.15) > 0.02 || math.Abs(above-270) > 25 {
		t.Errorf("slope %g, chlorinated above none %g", slope, above)
	}
	if _, stderr, code := call(t, "report", model, "-o", page); code != shell.ExitDone {
		t.Fatal(stderr)
	}
	if data, err := os.ReadFile(page); err != nil || !strings.Contains(string(data), "flour treatment as a factor: chlorinated against none") {
		t.Errorf("the report does not say how treatment was taken (%v)", err)
	}
	lots := filepath.Join(t.TempDir(), "new.csv")
	if err := os.WriteFile(lots, []byte("lot,treatment,peak_mPas,breakdown_mPas\nA,unbleached,1500,500\nB,chlorinated pH 4.8,2500,500\nC,heat-treated,2000,500\nD,,2000,500\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	var res struct {
		Forecasts []struct {
			Lot      string
			Value    *float64
			Decision string
			Reasons  []string
		}
	}
	callJSON(t, &res, "forecast", model, lots)
	for i, want := range []float64{900, 1020} {
		if v := res.Forecasts[i].Value; v == nil || math.Abs(*v-want) > 10 {
			t.Errorf("lot %s: %v, want %g", res.Forecasts[i].Lot, v, want)
		}
	}
	if c := strings.Join(res.Forecasts[2].Reasons, " "); !strings.Contains(c, "heat-treated") || res.Forecasts[2].Decision != "hold" {
		t.Errorf("a treatment that the model does not know: %+v", res.Forecasts[2])
	}
	if res.Forecasts[3].Decision != "hold" {
		t.Errorf("no treatment stated: %+v", res.Forecasts[3])
	}
	for _, bad := range [][]string{{"--treatment", "within"}, {"--treatment", "between"}, {"--treatment", "factor", "--where", "treatment=none"}, {"--weights", "n"}} {
		if _, _, code := call(t, append([]string{"fit", table, "--response", "volume_mL", "--kind", "ols"}, bad...)...); code != shell.ExitUsage {
			t.Errorf("%v: exit code %d", bad, code)
		}
	}
}

// TestCompareWithTreatmentAsFactor: what treatment explains is not put down to pasting:
// protein alone has the indicator too. Correlations are within treatments.
func TestCompareWithTreatmentAsFactor(t *testing.T) {
	rng := work.Rand(8, "factor")
	var b strings.Builder
	b.WriteString("lot,product,treatment,protein_pct,peak_mPas,volume_mL\n")
	for i := range 40 {
		kind, lift := "none", 0.0
		if i%2 == 1 {
			kind, lift = "chlorinated", 100
		}
		fmt.Fprintf(&b, "P%02d,layer-cake,%s,%.2f,%.0f,%.1f\n", i, kind, 8+rng.NormFloat64(), 2000+5*lift+100*rng.NormFloat64(), 900+lift+5*rng.NormFloat64())
	}
	table := filepath.Join(t.TempDir(), "t.csv")
	if err := os.WriteFile(table, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	type gain struct{ Value, Low, High float64 }
	var res struct {
		Use    string `json:"treatment_use"`
		Beyond *gain  `json:"beyond_protein"`
	}
	callJSON(t, &res, "compare", table, "--response", "volume_mL", "--treatment", "factor", "--repeats", "2")
	if res.Use != "factor" || res.Beyond == nil || res.Beyond.Value > 0.02 || res.Beyond.Low > 0 {
		t.Errorf("%+v %+v: pasting has no part in this volume", res, res.Beyond)
	}
	var fitted struct {
		Beyond *struct{ Gain float64 } `json:"beyond_protein"`
	}
	callJSON(t, &fitted, "fit", table, "--response", "volume_mL", "--kind", "ols", "--treatment", "factor", "--repeats", "2", "--permutations", "19")
	if fitted.Beyond == nil || fitted.Beyond.Gain > 0.02 {
		t.Errorf("%+v: pasting has no part in this volume", fitted.Beyond)
	}
	type related struct {
		Use       string `json:"treatment_use"`
		Relations []struct {
			Feature      string
			N            int
			Treatments   int
			R, Low, High float64
		}
	}
	var within, pooled related
	relate := []string{"relate", table, "--response", "volume_mL", "--features", "peak_mPas"}
	callJSON(t, &within, append(relate, "--treatment", "factor")...)
	callJSON(t, &pooled, append(relate, "--treatment", "pooled")...)
	if r := within.Relations[0]; within.Use != "factor" || r.Treatments != 2 || r.Low > 0 || r.High < 0 {
		t.Errorf("within treatments: %+v: pasting has no part in this volume", within)
	}
	if r := pooled.Relations[0]; math.Abs(r.R) < 0.5 || r.Treatments != 0 || r.N != within.Relations[0].N {
		t.Errorf("over treatments: %+v: treatment drives both", pooled)
	}
	if _, stderr, code := call(t, "relate", table, "--response", "volume_mL"); code != shell.ExitUsage || !strings.Contains(stderr, "where treatment=") {
		t.Errorf("relate without a choice: exit code %d, %s", code, stderr)
	}
	if text, stderr, code := call(t, append(relate, "--treatment", "factor")...); code != 0 || !strings.Contains(text, "within treatments") {
		t.Errorf("relate in words: exit code %d, %s\n%s", code, stderr, text)
	}
}

// TestWeightsByStandardError: the coefficients are those of weighted least squares with
// 1/SE², worked out here by its textbook formula; the answer says the rule.
func TestWeightsByStandardError(t *testing.T) {
	rng := work.Rand(5, "weights")
	var b strings.Builder
	b.WriteString("lot,peak_mPas,volume_mL,volume_mL_n,volume_mL_sd,volume_mL_se\n")
	var sw, sx, sy, sxx, sxy float64
	for i := range 24 {
		x, se := 1000+20*float64(i), 2+float64(i%5)
		y := math.Round(900-0.1*(x-1000)+se*rng.NormFloat64()*10) / 10 * 1
		fmt.Fprintf(&b, "W%02d,%g,%g,4,%g,%g\n", i, x, y, 2*se, se)
		w := 1 / (se * se)
		sw, sx, sy, sxx, sxy = sw+w, sx+w*x, sy+w*y, sxx+w*x*x, sxy+w*x*y
	}
	slope := (sw*sxy - sx*sy) / (sw*sxx - sx*sx)
	path := filepath.Join(t.TempDir(), "w.csv")
	if err := os.WriteFile(path, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	var a struct {
		fitAnswer
		Weighting *struct {
			By, Rule string
			Own      int     `json:"own_se"`
			Rows     float64 `json:"effective_rows"`
		}
	}
	base := []string{"fit", path, "--response", "volume_mL", "--features", "peak_mPas", "--permutations", "0", "--repeats", "2", "--kind"}
	callJSON(t, &a, append(base, "ols", "--weights", "se")...)
	if got := a.Coefficients["peak_mPas"]; math.Abs(got-slope) > 1e-9*math.Abs(slope) {
		t.Errorf("slope %.12g, weighted least squares by hand %.12g", got, slope)
	}
	if a.Weighting == nil || a.Weighting.By != "se" || a.Weighting.Own != 24 || !strings.Contains(a.Weighting.Rule, "1/(standard error") || !(a.Weighting.Rows < 24) {
		t.Errorf("%+v", a.Weighting)
	}
	var plain fitAnswer
	callJSON(t, &plain, append(base, "ols")...)
	if math.Abs(plain.Coefficients["peak_mPas"]-slope) < 1e-6*math.Abs(slope) {
		t.Errorf("weights changed nothing: slope %g", slope)
	}
	if _, _, code := call(t, append(base, "pls", "--weights", "se")...); code != shell.ExitUsage {
		t.Errorf("weights with a kind that takes none: exit code %d", code)
	}
}
