package forecast

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"

	"flourcast/eval/domain"
	"flourcast/eval/interval"
	"flourcast/eval/verdict"
	"flourcast/model/design"
	"pgregory.net/rapid"
)

// line is a model: hardness 12 N less 2 N for each 1000 mPa·s of peak.
type line struct{}

func (line) Predict(x []float64) float64 { return 12 - x[0]/500 }

// broken is a model that gives no number.
type broken struct{}

func (broken) Predict([]float64) float64 { return math.NaN() }

// manyMethods is the same model with the method in the feature's name.
func manyMethods(t testing.TB) Model {
	m := noodles(t)
	data, err := json.Marshal(m.Domain)
	if err != nil {
		t.Fatal(err)
	}
	m.Domain = new(domain.Domain)
	if err := json.Unmarshal([]byte(strings.Replace(string(data), "peak_mPas", "peak_mPas@noodle-water", 1)), m.Domain); err != nil {
		t.Fatal(err)
	}
	m.Method, m.Features = "", []string{"peak_mPas@noodle-water", "protein_pct"}
	return m
}

// noodles is a model of hardness on two features, calibrated on 40 invented lots
// with peak 1900…3100 and protein 9…12, RMSECV 0.5 N.
func noodles(t testing.TB) Model {
	t.Helper()
	rng := rand.New(rand.NewPCG(1, 1))
	s := design.Spec{Features: []string{"peak_mPas", "protein_pct"}, Response: "hardness_N"}
	for i := range 40 {
		peak, protein := 1900+1200*float64(i)/39, 9+3*rng.Float64()
		s.X, s.Y, s.Lots = append(s.X, []float64{peak, protein}), append(s.Y, 12-peak/500), append(s.Lots, fmt.Sprint("L", i))
	}
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	d, err := domain.Build(m)
	if err != nil {
		t.Fatal(err)
	}
	iv, err := interval.New(0.25, 40, 2)
	if err != nil {
		t.Fatal(err)
	}
	return Model{Response: "hardness_N", Features: s.Features, Method: "noodle-water", Fitted: line{}, Interval: iv, Domain: d, Standing: verdict.FitForUse}
}

// lot is a lot in the middle of everything, forecast at 7.00 N.
func lot(t testing.TB) Input {
	return Input{Lot: "N1", Features: map[string]float64{"peak_mPas": 2500, "protein_pct": 10.5}, Method: "noodle-water",
		Model: noodles(t), Level: 0.90, Spec: &Spec{"hardness_N", ptr(5), ptr(9)}}
}

func TestDecisions(t *testing.T) {
	tests := []struct {
		name     string
		change   func(*Input)
		decision string
		says     []string // in the reasons
		value    bool
		p        bool
	}{
		{"well inside the spec", func(in *Input) {}, Accept, []string{"supports accepting", "5.00 to 9.00 N", "release stays"}, true, true},
		{"one-sided, met", func(in *Input) { in.Spec = &Spec{"hardness_N", ptr(5), nil} }, Accept, []string{"at least 5.00 N"}, true, true},
		{"one-sided, missed", func(in *Input) { in.Spec = &Spec{"hardness_N", nil, ptr(5)} }, Reject, []string{"at most 5.00 N", "supports rejecting"}, true, true},
		{"well outside the spec", func(in *Input) { in.Spec = &Spec{"hardness_N", ptr(9), ptr(11)} }, Reject, []string{"below 0.001"}, true, true},
		{"at the limit", func(in *Input) { in.Spec = &Spec{"hardness_N", ptr(7), nil} }, Hold, []string{"0.500", "too unsure", "make noodles"}, true, true},
		{"spec narrower than the interval", func(in *Input) { in.Spec = &Spec{"hardness_N", ptr(6.9), ptr(7.1)} }, Hold, []string{"too unsure"}, true, true},
		{"a stricter rule", func(in *Input) {
			in.Spec, in.Rule = &Spec{"hardness_N", ptr(6), nil}, &Rule{Accept: 0.99, Reject: 0.01}
		}, Hold, []string{"between 0.01 and 0.99"}, true, true},
		{"the same by the default rule", func(in *Input) { in.Spec = &Spec{"hardness_N", ptr(6), nil} }, Accept, nil, true, true},
		{"no specification", func(in *Input) { in.Spec = nil }, "", []string{"no specification"}, true, false},

		{"feature missing", func(in *Input) { delete(in.Features, "protein_pct") }, Hold, []string{"no figure for protein", "repeat the run"}, false, false},
		{"feature NaN", func(in *Input) { in.Features["peak_mPas"] = math.NaN() }, Hold, []string{"no figure for peak viscosity"}, false, false},
		{"feature infinite", func(in *Input) { in.Features["peak_mPas"] = math.Inf(-1) }, Hold, []string{"no figure for peak viscosity"}, false, false},
		{"feature missing, no spec", func(in *Input) { delete(in.Features, "peak_mPas"); in.Spec = nil }, Hold, []string{"no figure for peak viscosity"}, false, false},
		{"outside", func(in *Input) { in.Features["peak_mPas"] = 4200 }, Hold, []string{"outside", "peak viscosity 4200 mPa·s (calibrated 1900 to 3100)", "repeat the run"}, true, true},
		{"outside, no spec", func(in *Input) { in.Features["peak_mPas"], in.Spec = 4200, nil }, Hold, []string{"outside"}, true, false},
		{"edge", func(in *Input) { in.Features["peak_mPas"], in.Spec.Low = 3400, ptr(3) }, Accept, []string{"at the edge", "peak viscosity 3400 mPa·s (calibrated 1900 to 3100)"}, true, true},
		{"another method", func(in *Input) { in.Method = "noodle-inhibited" }, Hold, []string{"by noodle-inhibited", "run the lot by noodle-water"}, true, true},
		{"method not known", func(in *Input) { in.Method = "" }, Hold, []string{"state the method"}, true, true},
		{"model without a method", func(in *Input) { in.Model.Method = "" }, Hold, []string{"does not say by which method"}, true, true},
		{"no method anywhere", func(in *Input) { in.Method, in.Model.Method = "", "" }, Accept, nil, true, true},
		{"methods named by the features", func(in *Input) {
			in.Model = manyMethods(t)
			in.Features = map[string]float64{"peak_mPas@noodle-water": 2500, "protein_pct": 10.5}
		}, Accept, nil, true, true},
		{"failing run", func(in *Input) { in.Problems = []string{"the control of that day failed; repeat the run"} }, Hold, []string{"control of that day"}, true, true},
		{"a note", func(in *Input) { in.Notes = []string{"moisture was taken from the supplier"} }, Accept, []string{"moisture was taken"}, true, true},

		{"not fit for use", func(in *Input) {
			in.Model.Standing, in.Model.StandingCause = verdict.NotFitForUse, "Not fit for use: chance alone does as well."
		}, Hold, []string{"the verdict on the model: Not fit for use: chance alone does as well; make noodles"}, true, false},
		{"not fit for use, no spec", func(in *Input) { in.Model.Standing, in.Spec = verdict.NotFitForUse, nil }, Hold, []string{"not fit for use"}, true, false},
		{"provisional", func(in *Input) {
			in.Model.Standing, in.Model.StandingCause = verdict.Provisional, "Provisional: 20 lots."
		}, Accept, []string{"the verdict on the model: Provisional: 20 lots"}, true, true},
		{"standing not known", func(in *Input) { in.Model.Standing = "fine" }, Hold, []string{"standing is not known"}, true, true},
		{"an override is repeated", func(in *Input) { in.Model.Overrides = []string{"P02: heat-treated flour"} }, Accept, []string{"overridden: P02: heat-treated flour"}, true, true},

		{"spec of another response", func(in *Input) { in.Spec = &Spec{"springiness", ptr(0.8), nil} }, Hold, []string{"specification is for springiness"}, true, false},
		{"impossible spec", func(in *Input) { in.Spec = &Spec{"hardness_N", ptr(4), ptr(3)} }, Hold, []string{"smaller figure first"}, true, false},
		{"impossible rule", func(in *Input) { in.Rule = &Rule{Accept: 0.05, Reject: 0.95} }, Hold, []string{"decision rule"}, true, false},
		{"impossible level", func(in *Input) { in.Level = 90 }, Hold, []string{"no interval", "0.90"}, true, false},
		{"model gives no number", func(in *Input) { in.Model.Fitted = broken{} }, Hold, []string{"no finite figure"}, false, false},
		{"no model", func(in *Input) { in.Model.Fitted = nil }, Hold, []string{"do not belong together"}, false, false},
		{"features in another order", func(in *Input) { in.Model.Features = []string{"protein_pct", "peak_mPas"} }, Hold, []string{"do not belong together"}, false, false},
		{"interval without freedom", func(in *Input) { in.Model.Interval = interval.Interval{} }, Hold, []string{"no interval"}, true, false},
		{"response outside the glossary", func(in *Input) {
			in.Model.Response = "bite"
			in.Spec = &Spec{"bite", ptr(7), nil}
		}, Hold, []string{"measure bite itself"}, true, true},
	}
	for _, c := range tests {
		in := lot(t)
		c.change(&in)
		f := Make(in)
		reasons := strings.Join(f.Reasons, "\n")
		if f.Decision != c.decision || (f.Value != nil) != c.value || (f.Probability != nil) != c.p {
			t.Errorf("%s: %q, value %v, probability %v; want %q, %v, %v\n%s", c.name, f.Decision, f.Value != nil, f.Probability != nil, c.decision, c.value, c.p, reasons)
		}
		for _, s := range c.says {
			if !strings.Contains(reasons, s) {
				t.Errorf("%s: reasons do not say %q:\n%s", c.name, s, reasons)
			}
		}
		if _, err := json.Marshal(f); err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

func TestFigures(t *testing.T) {
	f := Make(lot(t))
	if f.Value == nil || *f.Value != 7 || f.Domain != domain.Inside || f.Spec != "hardness_N=5..9" || f.Level != 0.90 {
		t.Fatalf("%+v", f)
	}
	// Lot 19 of 40 has 2485, lot 20 2515 mPa·s; the one nearer in protein is named.
	if n := f.Nearest; n == nil || (n.Lot != "L18" && n.Lot != "L19" && n.Lot != "L20" && n.Lot != "L21") || !(n.Distance < n.Spacing) || len(n.Features) == 0 {
		t.Errorf("nearest calibrated lot %+v", n)
	}
	// t₀.₉₅ with 37 degrees of freedom is 1.6871 (printed tables); s is 0.5·√(1 + h)
	// with h between 1/40 and 0.1 for a lot in the middle.
	half := (*f.High - *f.Low) / 2
	if least, most := 1.6871*0.5*math.Sqrt(1+1.0/40), 1.6871*0.5*math.Sqrt(1.1); half < least-1e-4 || half > most {
		t.Errorf("half-width %v, want %v to %v", half, least, most)
	}
}

// Names that scripts rely on; figures that could not be had are null.
func TestJSON(t *testing.T) {
	in := lot(t)
	delete(in.Features, "peak_mPas")
	data, err := json.Marshal(Make(in))
	if err != nil {
		t.Fatal(err)
	}
	want := `{"lot":"N1","response":"hardness_N","value":null,"low":null,"high":null,"level":0.9,"standard_error":null,"df":null,"domain":"","domain_by":[],"nearest":null,"probability":null,"spec":"hardness_N=5..9","decision":"hold",` +
		`"reasons":["no figure for peak viscosity, so nothing is forecast; repeat the run, or measure what is missing"],"average":null,"contributions":[],"replicates":[]}`
	if string(data) != want {
		t.Errorf("got  %s\nwant %s", data, want)
	}
}

// Whatever is put in: nothing panics, the decision is one of the four, only a lot
// without any objection is accepted or rejected, and the same input gives the
// same answer.
func TestDoubtNeverDecides(t *testing.T) {
	m := noodles(t)
	rapid.Check(t, func(t *rapid.T) {
		in := Input{Lot: "x", Model: m, Features: map[string]float64{}, Level: rapid.Float64Range(0.01, 0.999).Draw(t, "level")}
		for _, name := range m.Features {
			if rapid.IntRange(0, 9).Draw(t, "has "+name) > 0 {
				in.Features[name] = rapid.Float64().Draw(t, name)
			}
		}
		if rapid.Bool().Draw(t, "near") {
			in.Features["peak_mPas"] = rapid.Float64Range(1500, 3500).Draw(t, "peak")
			in.Features["protein_pct"] = rapid.Float64Range(8, 13).Draw(t, "protein")
		}
		in.Method = rapid.SampledFrom([]string{"noodle-water", "noodle-water", "noodle-inhibited", ""}).Draw(t, "method")
		in.Model.Standing = rapid.SampledFrom([]string{verdict.FitForUse, verdict.Provisional, verdict.NotFitForUse, ""}).Draw(t, "standing")
		if rapid.Bool().Draw(t, "problem") {
			in.Problems = []string{"repeat"}
		}
		if rapid.Bool().Draw(t, "spec") {
			in.Spec = &Spec{"hardness_N", ptr(rapid.Float64Range(0, 8).Draw(t, "low")), nil}
		}
		f := Make(in)
		_, peak := in.Features["peak_mPas"]
		_, protein := in.Features["protein_pct"]
		object := !peak || !protein || f.Domain == domain.Outside || in.Method != "noodle-water" || len(in.Problems) > 0 ||
			(in.Model.Standing != verdict.FitForUse && in.Model.Standing != verdict.Provisional) || f.Low == nil
		switch {
		case object && f.Decision != Hold:
			t.Fatalf("%q in spite of an objection: %v", f.Decision, f.Reasons)
		case !object && in.Spec == nil && f.Decision != "":
			t.Fatalf("%q without a specification", f.Decision)
		case !object && in.Spec != nil && (*f.Probability >= 0.95) != (f.Decision == Accept):
			t.Fatalf("%q at probability %v", f.Decision, *f.Probability)
		case !object && in.Spec != nil && (*f.Probability <= 0.05) != (f.Decision == Reject):
			t.Fatalf("%q at probability %v", f.Decision, *f.Probability)
		}
		if len(f.Reasons) == 0 {
			t.Fatal("no reason is given")
		}
		if _, err := json.Marshal(f); err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(f, Make(in)) {
			t.Fatal("the same lot, another answer")
		}
	})
}

// The decision limits of JCGM 106 / ILAC-G8 with u = 50 and one limit at 2500:
// accept from 2582.24, reject to 2417.76 (normal; here t with 10⁷ degrees of
// freedom; SciPy).
func TestGuardBands(t *testing.T) {
	rows := make([][]float64, 10)
	s := design.Spec{Features: []string{"x"}, Response: "y", Y: make([]float64, 10), Lots: make([]string, 10)}
	for i := range rows {
		rows[i], s.Lots[i] = []float64{float64(i)}, fmt.Sprint(i)
	}
	s.X = rows
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	d, err := domain.Build(m)
	if err != nil {
		t.Fatal(err)
	}
	h := d.Place([]float64{4.5}).Leverage
	for _, c := range []struct {
		value    float64
		decision string
	}{{2582.3, Accept}, {2582.2, Hold}, {2417.8, Hold}, {2417.7, Reject}} {
		f := Make(Input{Lot: "a", Features: map[string]float64{"x": 4.5}, Level: 0.9, Spec: &Spec{"y", ptr(2500), nil},
			Model: Model{Response: "y", Features: []string{"x"}, Fitted: constant(c.value), Domain: d, Standing: verdict.FitForUse,
				Interval: interval.Interval{MSECV: 50 * 50 / (1 + h), DF: 1e7, N: 1e7 + 2}}})
		if f.Decision != c.decision {
			t.Errorf("value %v: %s at p %v, want %s", c.value, f.Decision, *f.Probability, c.decision)
		}
	}
}

type constant float64

func (c constant) Predict([]float64) float64 { return float64(c) }
