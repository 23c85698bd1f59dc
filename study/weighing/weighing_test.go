package weighing

import (
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"flourcast/dataset/method"
	"flourcast/dataset/slurry"
	"flourcast/finding"
	"flourcast/study/job"
)

func at(v float64) *float64 { return &v }

func weigh(t *testing.T, q Request) *Result {
	t.Helper()
	r, err := Weigh(t.Context(), job.Env{}, q)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// has fails unless there is a finding of the code and severity whose words have
// all parts.
func has(t *testing.T, l finding.List, code string, s finding.Severity, parts ...string) {
	t.Helper()
	for _, f := range l {
		if f.Code != code {
			continue
		}
		for _, p := range parts {
			if f.Severity != s || !strings.Contains(f.String(), p) {
				t.Errorf("%s: %s %s; want %s with %q", code, f.Severity, f, s, p)
			}
		}
		return
	}
	t.Errorf("no finding %s in %v", code, l)
}

// TestWhatIsSaid: the convention with both sums, what a strength and a quoted
// fill mean, whose a strength is.
func TestWhatIsSaid(t *testing.T) {
	r := weigh(t, Request{Method: "noodle-water", MoisturePct: at(12)})
	has(t, r.Findings, "convention", finding.Note, "total fill constant: 29.0 g in all and 13.79 %", "25 mL of solvent regardless", "29.5 g and 13.54 %")
	has(t, r.Findings, "pressure-assumed", finding.Note, "sea level", "--pressure")
	if r.Findings.Count(finding.Doubt) != 0 || r.AsWeighed != nil || len(r.Readings) != 0 || len(r.Implied) != 0 {
		t.Errorf("a plain weigh-in has doubts: %v", r.Findings)
	}

	r = weigh(t, Request{Method: "cake-sucrose50", MoisturePct: at(13.8)})
	has(t, r.Findings, "method-example", finding.Doubt, "cake-sucrose50")
	has(t, r.Findings, "convention-unstated", finding.Doubt, "does not say", "constant =")
	has(t, r.Findings, "strength-unclear", finding.Doubt, `what "50 %" and "25 mL" mean`, "before results are compared")
	has(t, r.Findings, "fill-implied", finding.Doubt, "31.1 g is quoted", "34.2 g by the density table", "25.1 % by mass", "22.4 mL")
	has(t, r.Findings, "sucrose-diluted", finding.Note, "from 50.0 to 49.1 %")
	if len(r.Readings) != 4 || len(r.Implied) != 2 {
		t.Errorf("%d readings, %d implied", len(r.Readings), len(r.Implied))
	}

	r = weigh(t, Request{Method: "noodle-inhibited", MoisturePct: at(13.8)})
	has(t, r.Findings, "strength-is-method", finding.Note, "12 mmol/L", "never pooled")
	var topics []string
	for _, c := range r.Cautions {
		topics = append(topics, c.Topic)
	}
	for _, want := range []string{"Silver nitrate", "alkali or ammonia", "Silver waste", "Aluminium", "Chloride", "Hot paste", "Tasting", "Flour dust", "Raw flour"} {
		if !strings.Contains(strings.Join(topics, "; "), want) {
			t.Errorf("no caution on %s among %v", want, topics)
		}
	}
}

// TestOwnMethods: a laboratory that says what it means gets no doubt; one that
// contradicts itself does.
func TestOwnMethods(t *testing.T) {
	own, _ := method.Lookup("cake-sucrose50")
	own.ID, own.Example, own.Strength.Unit, own.QuotedFillG, own.Constant = "ours", false, method.PctByMass, 0, method.KeepsSolvent
	r := weigh(t, Request{Methods: []method.Method{own}, MoisturePct: at(13.8)}) // the only own method needs no name
	if r.Method.ID != "ours" || r.Findings.Count(finding.Doubt) != 0 {
		t.Errorf("%s: %v", r.Method.ID, r.Findings)
	}
	own.TotalFillG, own.Constant = 31.1, method.KeepsTotalFill
	r = weigh(t, Request{Method: "ours", Methods: []method.Method{own}, MoisturePct: at(13.8)})
	has(t, r.Findings, "fill-implied", finding.Doubt, "31.1 g is the total fill of ours")
	if math.Abs(r.WeighIn.Method.TotalG-31.1) > 1e-9 {
		t.Errorf("total %g", r.WeighIn.Method.TotalG)
	}
	silver, _ := method.Lookup("noodle-inhibited")
	silver.ID, silver.Strength, silver.SolventStrength = "words", method.Strength{}, "silver nitrate, weak"
	r = weigh(t, Request{Method: "words", Methods: []method.Method{silver}, MoisturePct: at(13.8)})
	has(t, r.Findings, "strength-unknown", finding.Doubt, "silver nitrate, weak")
	// An own method hides a built-in one of its name.
	mine, _ := method.Lookup("noodle-water")
	mine.SolidsG, mine.TotalFillG = 5, 30
	if r = weigh(t, Request{Method: "noodle-water", Methods: []method.Method{mine}, MoisturePct: at(12)}); r.Method.SolidsG != 5 {
		t.Errorf("solids %g", r.Method.SolidsG)
	}
}

func TestSolidsMoistureAndBasis(t *testing.T) {
	r := weigh(t, Request{Method: "cake-water", MoisturePct: at(12), SolidsG: at(4)})
	has(t, r.Findings, "solids-changed", finding.Doubt, "4 g of solids instead of the 3.5 g", "never pooled")
	if math.Abs(r.WeighIn.Method.TotalG-29) > 1e-9 {
		t.Errorf("total %g", r.WeighIn.Method.TotalG)
	}
	for _, unusual := range []float64{0.138, 7.9, 18.1} {
		has(t, weigh(t, Request{Method: "cake-water", MoisturePct: &unusual}).Findings, "moisture-unusual", finding.Doubt, "8 to 18 %")
	}
	wet := weigh(t, Request{Method: "cake-water", MoisturePct: at(13.8)})
	dry := weigh(t, Request{Method: "cake-water", MoisturePct: at(100 * 13.8 / 86.2), MoistureBasis: Dry})
	if math.Abs(wet.WeighIn.Method.FlourG-dry.WeighIn.Method.FlourG) > 1e-9 || dry.MoistureGiven.Basis != Dry || wet.MoistureGiven.Basis != Wet {
		t.Errorf("%g g by wet, %g g by dry moisture", wet.WeighIn.Method.FlourG, dry.WeighIn.Method.FlourG)
	}
}

// TestLateMoisture: out of tolerance the run is repeated and nothing is corrected.
func TestLateMoisture(t *testing.T) {
	for _, c := range []struct {
		moisture float64
		code     string
		severity finding.Severity
	}{{13.8, "solids-as-weighed", finding.Note}, {15.2, "solids-off", finding.Doubt}, {17.5, "solids-off", finding.Refused}} {
		r := weigh(t, Request{Method: "noodle-water", MoisturePct: &c.moisture, FlourG: at(4.64), SolventG: at(24.36)})
		has(t, r.Findings, c.code, c.severity, "solids as weighed")
		if c.code == "solids-off" {
			has(t, r.Findings, c.code, c.severity, "repeat the run", "no viscosity is corrected")
		}
	}
}

func TestBoiling(t *testing.T) {
	q := Request{Method: "general-13min", MoisturePct: at(13.8), AltitudeM: at(2000)}
	_, err := Weigh(t.Context(), job.Env{}, q)
	var asked *job.RequestError
	if !errors.As(err, &asked) || !strings.Contains(err.Error(), "boils at 93.3 °C") || !strings.Contains(err.Error(), "--cap") {
		t.Errorf("at 2000 m: %v", err)
	}
	q.Cap = true
	r := weigh(t, q)
	has(t, r.Findings, "programme-capped", finding.Doubt, "92.3 °C", "never pooled")
	for _, p := range r.Programme {
		if p.TemperatureC > r.Boiling.LimitC+1e-9 {
			t.Errorf("capped programme reaches %g °C", p.TemperatureC)
		}
	}
	r = weigh(t, Request{Method: "general-13min", MoisturePct: at(13.8), AltitudeM: at(1300)})
	has(t, r.Findings, "programme-near-boiling", finding.Doubt, "--pressure")
	r = weigh(t, Request{Method: "general-13min", MoisturePct: at(13.8), PressureHPa: at(1000), Cap: true})
	if r.Capped || r.Boiling.Verdict != slurry.Clear || r.PressureFrom != "pressure at the bench" || r.Findings.Has("pressure-assumed") {
		t.Errorf("%+v", r.Boiling)
	}
}

func TestRefusals(t *testing.T) {
	sucrose, _ := method.Lookup("cake-sucrose50")
	sucrose.ID, sucrose.Strength, sucrose.SolventStrength = "ours", method.Strength{}, "strong sucrose"
	moist := at(13.8)
	for name, c := range map[string]struct {
		q    Request
		says string
	}{
		"unknown method":     {Request{Method: "noodle", MoisturePct: moist}, "noodle-water"},
		"no method":          {Request{MoisturePct: moist}, "found no method"},
		"no moisture":        {Request{Method: "noodle-water"}, "--moisture"},
		"moisture 100":       {Request{Method: "noodle-water", MoisturePct: at(100)}, "0 to 60"},
		"moisture negative":  {Request{Method: "noodle-water", MoisturePct: at(-1)}, "moisture of -1"},
		"moisture NaN":       {Request{Method: "noodle-water", MoisturePct: at(math.NaN())}, "NaN"},
		"dry moisture":       {Request{Method: "noodle-water", MoisturePct: at(-1), MoistureBasis: Dry}, "dry matter"},
		"basis":              {Request{Method: "noodle-water", MoisturePct: moist, MoistureBasis: "as is"}, "wet"},
		"solids":             {Request{Method: "noodle-water", MoisturePct: moist, SolidsG: at(0)}, "solids of 0"},
		"strength in words":  {Request{Methods: []method.Method{sucrose}, MoisturePct: moist}, "strong sucrose"},
		"solvent alone":      {Request{Method: "noodle-water", MoisturePct: moist, SolventG: at(25)}, "--weighed-flour"},
		"no solvent weighed": {Request{Method: "noodle-water", MoisturePct: moist, FlourG: at(4), SolventG: at(0)}, "0 g"},
		"flour weighed":      {Request{Method: "noodle-water", MoisturePct: moist, FlourG: at(-4)}, "as weighed"},
		"both":               {Request{Method: "noodle-water", MoisturePct: moist, AltitudeM: at(1), PressureHPa: at(1000)}, "one of the two"},
		"sea-level pressure": {Request{Method: "noodle-water", MoisturePct: moist, PressureHPa: at(101325)}, "hPa"},
		"high mountain":      {Request{Method: "noodle-water", MoisturePct: moist, AltitudeM: at(30000)}, "altitude"},
	} {
		r, err := Weigh(t.Context(), job.Env{}, c.q)
		var asked *job.RequestError
		if r != nil || !errors.As(err, &asked) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want %q", name, err, c.says)
		}
	}
}

// TestAnyRequest: whatever the figures, a result is finite and can be written as
// JSON, or the request is refused; nothing panics.
func TestAnyRequest(t *testing.T) {
	ids := []string{"", "nothing"}
	for _, m := range method.Builtin() {
		ids = append(ids, m.ID, m.ID)
	}
	figure := rapid.OneOf(rapid.Float64(), rapid.Float64Range(-1, 120), rapid.SampledFrom([]float64{0, math.NaN(), math.Inf(1), math.Inf(-1), 1e308}))
	accepted := 0
	rapid.Check(t, func(rt *rapid.T) {
		maybe := func(name string, g *rapid.Generator[float64]) *float64 {
			if !rapid.Bool().Draw(rt, "has "+name) {
				return nil
			}
			return at(g.Draw(rt, name))
		}
		q := Request{Method: rapid.SampledFrom(ids).Draw(rt, "method"), MoisturePct: at(rapid.OneOf(figure, rapid.Float64Range(5, 20), rapid.Float64Range(5, 20)).Draw(rt, "moisture")),
			MoistureBasis: rapid.SampledFrom([]string{"", Wet, Dry, "odd"}).Draw(rt, "basis"), Cap: rapid.Bool().Draw(rt, "cap")}
		if rapid.Bool().Draw(rt, "more") {
			q.SolidsG, q.FlourG, q.SolventG, q.AltitudeM = maybe("solids", figure), maybe("flour", figure), maybe("solvent", figure), maybe("altitude", figure)
		}
		r, err := Weigh(t.Context(), job.Env{}, q)
		var asked *job.RequestError
		if err != nil {
			if !errors.As(err, &asked) || r != nil {
				rt.Fatalf("%v", err)
			}
			return
		}
		accepted++
		if _, err := json.Marshal(r); err != nil {
			rt.Fatalf("%v", err)
		}
	})
	if accepted < 5 {
		t.Errorf("%d requests were accepted: the test tries nothing", accepted)
	}
}
