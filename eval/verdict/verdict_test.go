package verdict

import (
	"encoding/json"
	"errors"
	"math"
	"reflect"
	"strings"
	"testing"

	"flourcast/eval/direction"
	"pgregory.net/rapid"
)

func num(v float64) *float64 { return &v }

// said is one rule's answer that applies.
func said(id, feature, sign, standing, outcome string) direction.Answer {
	return direction.Answer{Rule: direction.Rule{ID: id, Feature: feature, Response: "hardness_N", Sign: sign, Standing: standing},
		Feature: feature, Applies: true, Outcome: outcome}
}

// sound is a model to which nothing can be objected.
func sound() Evidence {
	return Evidence{
		Response: "hardness_N", Lots: 60, Q2: num(0.55), PermutationP: num(0.001),
		Directions: []direction.Answer{said("A13", "peak_mPas", "-", direction.Established, direction.Confirmed),
			said("P02", "breakdown_mPas", "-", direction.Established, direction.CannotTell)},
		Protein: &Gain{0.2, 0.05, 0.35}, CropYears: 3, Years: &Years{Q2: 0.4, Worst: "2024", WorstQ2: num(0.1)},
		Coverage: &Coverage{Inside: 54, N: 60, Level: 0.9}, Reference: &Reference{RMSECV: 1, SE: 0.5, DF: 60}, OneLot: &OneLot{}, Data: &Data{}, RPD: num(1.5),
	}
}

func find(t testing.TB, v Verdict, name string) Check {
	t.Helper()
	for _, c := range v.Checks {
		if c.Name == name {
			return c
		}
	}
	t.Fatalf("no check %q", name)
	return Check{}
}

// Each row changes one thing in a sound model and names what one check must say,
// and what the standing becomes.
func TestChecks(t *testing.T) {
	protein := func(low, high float64) *direction.Correlation {
		return &direction.Correlation{R: (low + high) / 2, Low: low, High: high, N: 60}
	}
	tests := []struct {
		name      string
		change    func(*Evidence)
		check     string
		outcome   string
		standing  string
		figure    *float64
		threshold *float64
	}{
		{"nothing", func(e *Evidence) {}, CheckLots, Pass, FitForUse, num(60), num(30)},
		{"30 lots", func(e *Evidence) { e.Lots = 30 }, CheckLots, Pass, FitForUse, num(30), num(30)},
		{"29 lots", func(e *Evidence) { e.Lots = 29 }, CheckLots, Caution, Provisional, num(29), num(30)},
		{"15 lots", func(e *Evidence) { e.Lots = 15 }, CheckLots, Caution, Provisional, num(15), num(30)},
		{"14 lots", func(e *Evidence) { e.Lots = 14 }, CheckLots, Fail, NotFitForUse, num(14), num(15)},

		{"sound Q²", func(e *Evidence) {}, CheckMean, Pass, FitForUse, num(0.55), num(0)},
		{"Q² 0", func(e *Evidence) { e.Q2 = num(0) }, CheckMean, Fail, NotFitForUse, num(0), num(0)},
		{"Q² negative", func(e *Evidence) { e.Q2 = num(-0.2) }, CheckMean, Fail, NotFitForUse, num(-0.2), num(0)},
		{"Q² NaN", func(e *Evidence) { e.Q2 = num(math.NaN()) }, CheckMean, Fail, NotFitForUse, nil, num(0)},
		{"chance does as well", func(e *Evidence) { e.PermutationP = num(0.06) }, CheckMean, Fail, NotFitForUse, num(0.06), num(0.05)},
		{"p NaN", func(e *Evidence) { e.PermutationP = num(math.NaN()) }, CheckMean, Fail, NotFitForUse, nil, num(0.05)},
		{"p at the threshold", func(e *Evidence) { e.PermutationP = num(0.05) }, CheckMean, Pass, FitForUse, num(0.55), num(0)},
		{"not tested against chance", func(e *Evidence) { e.PermutationP = nil }, CheckMean, Caution, Provisional, num(0.55), num(0)},
		{"negative Q², not tested either", func(e *Evidence) { e.Q2, e.PermutationP = num(-0.1), nil }, CheckMean, Fail, NotFitForUse, num(-0.1), num(0)},
		{"not cross-validated", func(e *Evidence) { e.Q2 = nil }, CheckMean, Caution, Provisional, nil, num(0)},

		{"one confirmed, one not to be told", func(e *Evidence) {}, CheckDirections, Pass, FitForUse, num(1), num(1)},
		{"established contradicted", func(e *Evidence) { e.Directions[1].Outcome = direction.Contradicted }, CheckDirections, Fail, NotFitForUse, num(1), num(1)},
		{"contradicted, reason recorded", func(e *Evidence) {
			e.Directions[1].Outcome = direction.Contradicted
			e.Overrides = []Override{{Rule: "P02", Reason: "heat-treated flour", By: "R&D"}}
		}, CheckDirections, Pass, FitForUse, num(1), num(1)},
		{"contradicted, reason empty", func(e *Evidence) {
			e.Directions[1].Outcome = direction.Contradicted
			e.Overrides = []Override{{Rule: "P02", Reason: " "}}
		}, CheckDirections, Fail, NotFitForUse, num(1), num(1)},
		{"contradicted, reason for another rule", func(e *Evidence) {
			e.Directions[1].Outcome = direction.Contradicted
			e.Overrides = []Override{{Rule: "A13", Reason: "heat-treated flour"}}
		}, CheckDirections, Fail, NotFitForUse, num(1), num(1)},
		{"all contradicted and overridden", func(e *Evidence) {
			e.Directions[0].Outcome, e.Directions[1].Outcome = direction.Contradicted, direction.Contradicted
			e.Overrides = []Override{{Rule: "P02", Reason: "a"}, {Rule: "A13", Reason: "b"}}
		}, CheckDirections, Caution, Provisional, num(0), num(1)},
		{"none confirmed", func(e *Evidence) { e.Directions[0].Outcome = direction.CannotTell }, CheckDirections, Caution, Provisional, num(0), num(1)},
		{"only a contextual rule", func(e *Evidence) {
			e.Directions = []direction.Answer{said("P05", "breakdown_mPas", "+", direction.Contextual, direction.Confirmed)}
		},
			CheckDirections, Caution, Provisional, num(0), num(1)},
		{"confirmed, not given protein", func(e *Evidence) { e.Directions[0].GivenProtein = protein(-0.4, 0.1) }, CheckDirections, Caution, Provisional, num(1), num(1)},
		{"confirmed, reversed given protein", func(e *Evidence) { e.Directions[0].GivenProtein = protein(0.1, 0.4) }, CheckDirections, Caution, Provisional, num(1), num(1)},
		{"confirmed, also given protein", func(e *Evidence) { e.Directions[0].GivenProtein = protein(-0.6, -0.1) }, CheckDirections, Pass, FitForUse, num(1), num(1)},
		{"with the minority of a contested rule", func(e *Evidence) {
			a := said("A31", "amylose_pct", "-", direction.Contested, direction.Confirmed)
			a.AgainstMajority = true
			e.Directions = append(e.Directions, a)
		}, CheckDirections, Caution, Provisional, num(1), num(1)},
		{"contextual contradicted", func(e *Evidence) {
			e.Directions = append(e.Directions, said("P08", "protein_pct", "+", direction.Contextual, direction.Contradicted))
		}, CheckDirections, Caution, Provisional, num(1), num(1)},
		{"a relation where none was found before", func(e *Evidence) {
			e.Directions = append(e.Directions, said("A28", "peak_mPas", "0", direction.Contextual, direction.Contradicted))
		}, CheckDirections, Pass, FitForUse, num(1), num(1)},
		{"contradicted for another product", func(e *Evidence) {
			a := said("A24", "peak_mPas", "+", direction.Established, direction.Contradicted)
			a.Applies = false
			e.Directions = append(e.Directions, a)
		}, CheckDirections, Pass, FitForUse, num(1), num(1)},

		{"rules apply", func(e *Evidence) {}, CheckCovered, Pass, FitForUse, num(2), num(1)},
		{"no rule applies", func(e *Evidence) { e.Directions = nil }, CheckCovered, Caution, Provisional, num(0), num(1)},
		{"no rule applies: directions", func(e *Evidence) { e.Directions = nil }, CheckDirections, NotAssessed, Provisional, nil, nil},

		{"gain sure", func(e *Evidence) {}, CheckProtein, Pass, FitForUse, num(0.2), num(0)},
		{"gain may be nothing", func(e *Evidence) { e.Protein = &Gain{0.05, -0.05, 0.15} }, CheckProtein, Caution, Provisional, num(0.05), num(0)},
		{"loss", func(e *Evidence) { e.Protein = &Gain{-0.2, -0.3, -0.1} }, CheckProtein, Caution, Provisional, num(-0.2), num(0)},
		{"protein not known", func(e *Evidence) { e.Protein = nil }, CheckProtein, NotAssessed, FitForUse, nil, nil},

		{"years hold", func(e *Evidence) {}, CheckYears, Pass, FitForUse, num(0.4), num(0)},
		{"years do not hold", func(e *Evidence) { e.Years.Q2 = -0.1 }, CheckYears, Fail, NotFitForUse, num(-0.1), num(0)},
		{"two years hold", func(e *Evidence) { e.CropYears = 2 }, CheckYears, Caution, Provisional, num(2), num(3)},
		{"two years do not hold", func(e *Evidence) { e.CropYears, e.Years.Q2 = 2, 0 }, CheckYears, Fail, NotFitForUse, num(0), num(0)},
		{"one year", func(e *Evidence) { e.CropYears, e.Years = 1, nil }, CheckYears, Caution, Provisional, num(1), num(3)},
		{"no year known", func(e *Evidence) { e.CropYears, e.Years = 0, nil }, CheckYears, Caution, Provisional, num(0), num(3)},
		{"three years, not tried", func(e *Evidence) { e.Years = nil }, CheckYears, NotAssessed, FitForUse, nil, nil},

		// P(X ≤ k) of Binomial(40, 0.9): 33 → 0.0995, 31 → 0.0155, 30 → 0.0051 (exact sums, Python).
		{"33 of 40 covered", func(e *Evidence) { e.Coverage = &Coverage{Inside: 33, N: 40, Level: 0.9} }, CheckCoverage, Pass, FitForUse, num(33. / 40), num(0.9)},
		{"31 of 40 covered", func(e *Evidence) { e.Coverage = &Coverage{Inside: 31, N: 40, Level: 0.9} }, CheckCoverage, Caution, Provisional, num(31. / 40), num(0.9)},
		{"30 of 40 covered", func(e *Evidence) { e.Coverage = &Coverage{Inside: 30, N: 40, Level: 0.9} }, CheckCoverage, Fail, NotFitForUse, num(30. / 40), num(0.9)},
		{"all covered", func(e *Evidence) { e.Coverage = &Coverage{Inside: 40, N: 40, Level: 0.9} }, CheckCoverage, Pass, FitForUse, num(1), num(0.9)},
		{"one year of four badly covered", func(e *Evidence) {
			e.Coverage = &Coverage{Inside: 70, N: 80, Level: 0.9, Years: []CoveredYear{{"2022", 19, 20}, {"2023", 20, 20}, {"2024", 12, 20}, {"2025", 19, 20}}}
		}, CheckCoverage, Caution, Provisional, num(12. / 20), num(0.9)},
		{"the worst of four years as chance has it", func(e *Evidence) {
			e.Coverage = &Coverage{Inside: 73, N: 80, Level: 0.9, Years: []CoveredYear{{"2022", 19, 20}, {"2023", 20, 20}, {"2024", 15, 20}, {"2025", 19, 20}}}
		}, CheckCoverage, Pass, FitForUse, num(73. / 80), num(0.9)},
		{"no lot left out", func(e *Evidence) { e.Coverage = &Coverage{Inside: 0, N: 0, Level: 0.9} }, CheckCoverage, NotAssessed, FitForUse, nil, nil},
		{"coverage not tried", func(e *Evidence) { e.Coverage = nil }, CheckCoverage, NotAssessed, FitForUse, nil, nil},

		{"reference not known", func(e *Evidence) { e.Reference = nil }, CheckReference, NotAssessed, FitForUse, nil, nil},
		{"reference without error", func(e *Evidence) { e.Reference.SE = 0 }, CheckReference, NotAssessed, FitForUse, nil, nil},
		{"one lot decides", func(e *Evidence) { e.OneLot = &OneLot{"L7", "breakdown is no longer confirmed"} }, CheckOneLot, Caution, Provisional, nil, nil},
		{"no lot decides", func(e *Evidence) {}, CheckOneLot, Pass, FitForUse, nil, nil},
		{"not tried without each lot", func(e *Evidence) { e.OneLot = nil }, CheckOneLot, NotAssessed, FitForUse, nil, nil},
		{"a doubt", func(e *Evidence) { e.Data.Doubts = 1 }, CheckData, Caution, Provisional, num(1), num(0)},
		{"doubts", func(e *Evidence) { e.Data.Doubts = 3 }, CheckData, Caution, Provisional, num(3), num(0)},
		{"replicates split", func(e *Evidence) { e.Data = &Data{Split: true, Doubts: 3} }, CheckData, Fail, NotFitForUse, nil, nil},
		{"leak", func(e *Evidence) { e.Data = &Data{Leak: true, Detail: "chewiness"} }, CheckData, Fail, NotFitForUse, nil, nil},
		{"data not known", func(e *Evidence) { e.Data = nil }, CheckData, NotAssessed, FitForUse, nil, nil},
		{"nothing known", func(e *Evidence) { *e = Evidence{Response: "y", Lots: 60} }, CheckMean, Caution, Provisional, nil, num(0)},
	}
	for _, c := range tests {
		e := sound()
		c.change(&e)
		v := Judge(e)
		got := find(t, v, c.check)
		if got.Outcome != c.outcome || !reflect.DeepEqual(got.Figure, c.figure) || !reflect.DeepEqual(got.Threshold, c.threshold) {
			t.Errorf("%s: %s %s, figure %v, threshold %v (%s); want %s", c.name, c.check, got.Outcome, show(got.Figure), show(got.Threshold), got.Detail, c.outcome)
		}
		if v.Standing != c.standing {
			t.Errorf("%s: %s, want %s", c.name, v.Standing, c.standing)
		}
		if got.Detail == "" || (got.Cure == "" && (got.Outcome == Caution || got.Outcome == Fail)) {
			t.Errorf("%s: detail %q, cure %q", c.name, got.Detail, got.Cure)
		}
		if (v.Grade == "") != (v.Standing == NotFitForUse || e.RPD == nil) {
			t.Errorf("%s: grade %q of a model that is %s", c.name, v.Grade, v.Standing)
		}
		if len(v.Checks) != 10 {
			t.Errorf("%s: %d checks, want all ten", c.name, len(v.Checks))
		}
	}
}

func show(p *float64) any {
	if p == nil {
		return "none"
	}
	return *p
}

// F₀.₉₉(20, 60) = 2.20 in printed tables, so F₀.₀₁(60, 20) = 1/2.20: with 60 lots
// and 20 degrees of freedom a model whose error is 0.66 of the reference's (0.66² =
// 0.436 < 0.455) is too good, one with 0.69 (0.476) is not.
func TestBetterThanItsReference(t *testing.T) {
	for _, c := range []struct {
		rmsecv  float64
		outcome string
	}{{0.66, Fail}, {0.69, Pass}, {1.5, Pass}} {
		e := sound()
		e.Reference = &Reference{RMSECV: c.rmsecv, SE: 1, DF: 20}
		v := Judge(e)
		got := find(t, v, CheckReference)
		if got.Outcome != c.outcome || math.Abs(*got.Threshold-1/2.20) > 1e-3 {
			t.Errorf("RMSECV %v: %s, limit %v; want %s, 0.4545", c.rmsecv, got.Outcome, *got.Threshold, c.outcome)
		}
	}
}

func TestGrades(t *testing.T) {
	tests := []struct {
		name  string
		rpd   *float64
		spec  *float64
		width *float64
		grade string
	}{
		{"r −0.75, RPD 1.5", num(1.5), nil, nil, RanksLots},
		{"RPD 1.99", num(1.99), nil, nil, RanksLots},
		{"RPD 2", num(2), nil, nil, ScreensLots},
		{"RPD 3", num(3), nil, nil, ControlsQuality},
		{"perfect", num(math.Inf(1)), nil, nil, ControlsQuality},
		{"spec as wide as the interval", num(9), num(1), num(1), RanksLots},
		{"spec 1.2 times as wide", num(1), num(1.2), num(1), ScreensLots},
		{"spec twice as wide", num(1), num(2), num(1), ControlsQuality},
		{"one-sided spec: by RPD", num(2.5), nil, num(1), ScreensLots},
		{"nothing to grade by", nil, nil, nil, ""},
	}
	for _, c := range tests {
		e := sound()
		e.RPD, e.SpecWidth, e.IntervalWidth = c.rpd, c.spec, c.width
		v := Judge(e)
		if v.Grade != c.grade || v.GradeReason == "" {
			t.Errorf("%s: %q (%s), want %q", c.name, v.Grade, v.GradeReason, c.grade)
		}
		if _, err := json.Marshal(v); err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

func TestSentence(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*Evidence)
		want   string
	}{
		{"fit", func(e *Evidence) {},
			"Fit for use: over 60 lots this model forecasts hardness better than their average does, and hardness falls as peak viscosity rises, as is established; it ranks lots, which is a modest use."},
		{"provisional", func(e *Evidence) { e.Lots = 20 },
			"Provisional: use this forecast of hardness beside your own tests, because the model rests on 20 lots, fewer than 30; it ranks lots, which is a modest use."},
		{"not fit, two reasons", func(e *Evidence) { e.Q2, e.Years.Q2 = num(-0.03), -0.2 },
			"Not fit for use: do not decide on lots by this forecast of hardness, because on lots that it had not seen it forecasts no better than their average (Q² −0.03) (and one more reason)."},
		{"overridden", func(e *Evidence) {
			e.RPD = nil
			e.Directions[1].Outcome = direction.Contradicted
			e.Overrides = []Override{{Rule: "P02", Reason: "heat-treated flour."}, {Rule: "X", Reason: "not needed"}}
		}, "Fit for use: over 60 lots this model forecasts hardness better than their average does, and hardness falls as peak viscosity rises, as is established. Rule P02 is contradicted and was overridden: heat-treated flour."},
		{"thresholds changed", func(e *Evidence) {
			th := Defaults()
			th.LotsPass = 70
			e.Thresholds = &th
		}, "Provisional: use this forecast of hardness beside your own tests, because the model rests on 60 lots, fewer than 70; it ranks lots, which is a modest use. Thresholds were changed: lots_pass 70 instead of 30."},
	} {
		e := sound()
		c.change(&e)
		if v := Judge(e); v.Sentence != c.want {
			t.Errorf("%s:\ngot  %s\nwant %s", c.name, v.Sentence, c.want)
		}
	}
}

func TestOverridesAreCarried(t *testing.T) {
	e := sound()
	e.Directions[1].Outcome = direction.Contradicted
	// The same rule for two solvents is one override.
	e.Directions = append(e.Directions, said("P02", "breakdown_mPas@noodle-inhibited", "-", direction.Established, direction.Contradicted))
	e.Overrides = []Override{{Rule: "P02", Reason: "heat-treated flour", By: "R&D"}, {Rule: "X", Reason: "not needed"}}
	if v := Judge(e); !reflect.DeepEqual(v.Overrides, e.Overrides[:1]) || !strings.Contains(find(t, v, CheckDirections).Detail, "heat-treated flour") {
		t.Errorf("overrides %v, detail %q", v.Overrides, find(t, v, CheckDirections).Detail)
	}
}

// JSON names that scripts rely on.
func TestJSON(t *testing.T) {
	data, err := json.Marshal(Judge(sound()))
	if err != nil {
		t.Fatal(err)
	}
	var v map[string]any
	if err := json.Unmarshal(data, &v); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"standing", "grade", "grade_reason", "checks", "sentence", "overrides", "changed_thresholds"} {
		if _, ok := v[name]; !ok {
			t.Errorf("no %s in %s", name, data)
		}
	}
	check := v["checks"].([]any)[0].(map[string]any)
	for _, name := range []string{"name", "outcome", "figure", "threshold", "detail", "cure"} {
		if _, ok := check[name]; !ok {
			t.Errorf("no %s in a check", name)
		}
	}
	var back Verdict
	if err := json.Unmarshal(data, &back); err != nil || !reflect.DeepEqual(back, Judge(sound())) {
		t.Errorf("round trip: %v", err)
	}
}

// A worse figure never makes a better standing.
func TestWorseIsNeverBetter(t *testing.T) {
	rank := map[string]int{NotFitForUse: 0, Provisional: 1, FitForUse: 2}
	rapid.Check(t, func(t *rapid.T) {
		e := sound()
		e.Lots = rapid.IntRange(1, 80).Draw(t, "lots")
		e.Q2 = num(rapid.Float64Range(-1, 1).Draw(t, "q2"))
		e.PermutationP = num(rapid.Float64Range(0.001, 0.2).Draw(t, "p"))
		e.Years.Q2 = rapid.Float64Range(-1, 1).Draw(t, "years")
		e.Coverage = &Coverage{Inside: rapid.IntRange(20, 40).Draw(t, "inside"), N: 40, Level: 0.9}
		better := rank[Judge(e).Standing]
		e.Lots -= rapid.IntRange(0, 5).Draw(t, "fewer lots")
		e.Q2 = num(*e.Q2 - rapid.Float64Range(0, 1).Draw(t, "less Q²"))
		e.PermutationP = num(*e.PermutationP + rapid.Float64Range(0, 0.1).Draw(t, "more p"))
		e.Coverage.Inside -= rapid.IntRange(0, 5).Draw(t, "fewer inside")
		e.Data.Doubts = rapid.IntRange(0, 2).Draw(t, "doubts")
		if worse := rank[Judge(e).Standing]; worse > better {
			t.Fatalf("standing rose from %d to %d", better, worse)
		}
	})
}

func TestThresholds(t *testing.T) {
	if err := Defaults().Check(); err != nil || len(Defaults().Changed()) != 0 {
		t.Errorf("defaults: %v, changed %v", err, Defaults().Changed())
	}
	th, err := ReadThresholds("t.json", []byte(`{"lots_pass": 20, "rpd_controls": 3.5}`))
	if err != nil || th.LotsPass != 20 || th.LotsFail != 15 {
		t.Fatalf("%+v, %v", th, err)
	}
	if got := th.Changed(); !reflect.DeepEqual(got, []string{"lots_pass 20 instead of 30", "rpd_controls 3.5 instead of 3"}) {
		t.Errorf("changed %v", got)
	}
	for _, bad := range []string{``, `[]`, `{"lots":20}`, `{"lots_pass":"20"}`, `{"lots_pass":10}`, `{"lots_fail":0}`, `{"permutation_p":0}`, `{"permutation_p":1.5}`,
		`{"q2":2}`, `{"coverage_fail_p":0.2}`, `{"rpd_controls":1}`, `{"spec_screens":-1}`, `{"rpd_controls":1e999}`, `{} {}`} {
		if th, err := ReadThresholds("t.json", []byte(bad)); err == nil || !strings.Contains(err.Error(), "t.json") {
			t.Errorf("%s: read as %+v, error %v", bad, th, err)
		}
	}
	var te *ThresholdError
	if _, err := ReadThresholds("t.json", []byte(`{"lots_pass":10}`)); !errors.As(err, &te) || te.Name != "lots_pass" {
		t.Errorf("error %v, want a *ThresholdError about lots_pass", err)
	}
}

func FuzzReadThresholds(f *testing.F) {
	f.Add([]byte(`{"lots_pass": 20}`))
	f.Add([]byte(`{"crop_years": 2, "q2": -0.5}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		th, err := ReadThresholds("t.json", data)
		if err != nil {
			return
		}
		e := sound()
		e.Thresholds = &th
		if _, err := json.Marshal(Judge(e)); err != nil {
			t.Fatalf("%s: %v", data, err)
		}
	})
}
