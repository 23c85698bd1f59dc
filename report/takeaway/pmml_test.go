package takeaway_test

import (
	"errors"
	"flag"
	"math"
	"os"
	"strings"
	"testing"

	"flourcast/eval/domain"
	"flourcast/eval/verdict"
	"flourcast/report/pmml"
	"flourcast/study/card"
)

var update = flag.Bool("update", false, "rewrite golden files; the run still fails where one changed")

func close9(a, b float64) bool { return math.Abs(a-b) <= 1e-9*max(1e-3, math.Abs(b)) }

func lotOf(c *card.Card, x []float64) map[string]float64 {
	out := map[string]float64{}
	for j, name := range c.Features {
		out[name] = x[j]
	}
	return out
}

// Every kind of model, scored from its PMML by a reader that knows only the standard,
// gives what the program gives: value, place in the domain, standard error.
func TestPMMLScoresAsForecastDoes(t *testing.T) {
	for name, c := range models(t) {
		data, err := pmml.Write(export(t, c, nil))
		if err != nil {
			t.Fatal(name, err)
		}
		reader, err := readPMML(data)
		if err != nil {
			t.Fatal(name, err)
		}
		x := lotsFor(c, 60)
		seen := map[string]int{}
		for i, f := range asked(t, c, x, nil) {
			got, err := reader.evaluate(lotOf(c, x[i]), true)
			if errors.Is(err, errInvalid) {
				if f.Domain != domain.Outside {
					t.Errorf("%s, lot %d: invalid, the program says %s", name, i, f.Domain)
				}
				seen["invalid"]++
				continue
			}
			if err != nil {
				t.Fatal(name, err)
			}
			seen[f.Domain]++
			place := c.Domain.Place(x[i])
			if got[pmml.Domain] != f.Domain || !close9(got[pmml.Forecast].(float64), *f.Value) || !close9(got[pmml.T2].(float64), place.T2) || !close9(got[pmml.Q].(float64), place.Q) {
				t.Errorf("%s, lot %d: %v; the program has %v %s, T² %v, Q %v", name, i, got, *f.Value, f.Domain, place.T2, place.Q)
			}
			se, has := got[pmml.Error].(float64)
			if has != (f.StandardError != nil) || has && !close9(se, *f.StandardError) {
				t.Errorf("%s, lot %d: standard error %v (%v)", name, i, se, has)
			}
			if f.IntervalKind == "parametric" && (!close9(got[pmml.Low].(float64), *f.Low) || !close9(got[pmml.High].(float64), *f.High)) {
				t.Errorf("%s, lot %d: %v to %v, the program has %v to %v", name, i, got[pmml.Low], got[pmml.High], *f.Low, *f.High)
			}
		}
		if seen[domain.Inside] == 0 || seen["invalid"]+seen[domain.Outside] == 0 {
			t.Errorf("%s: lots of one sort only: %v", name, seen)
		}
		if _, err := reader.evaluate(map[string]float64{}, true); !errors.Is(err, errInvalid) {
			t.Errorf("%s: no figures give %v", name, err)
		}
	}
}

// The lots that the document brings along check out, and a wrong coefficient is seen.
func TestPMMLVerifiesItself(t *testing.T) {
	off := func(data []byte) (worst float64) {
		reader, err := readPMML(data)
		if err != nil {
			t.Fatal(err)
		}
		v := reader.model.one("ModelVerification")
		for _, row := range v.one("InlineTable").all("row") {
			lot, want := map[string]float64{}, 0.0
			for _, f := range v.one("VerificationFields").all("VerificationField") {
				if figure := float(row.one(f.attr("column")).Text); f.attr("field") == pmml.Forecast {
					want = figure
				} else {
					lot[f.attr("field")] = figure
				}
			}
			got, err := reader.evaluate(lot, true)
			if err != nil {
				t.Fatal(err)
			}
			worst = max(worst, math.Abs(got[pmml.Forecast].(float64)/want-1))
		}
		return worst
	}
	data, err := pmml.Write(export(t, stored(t, "pls"), nil))
	if err != nil {
		t.Fatal(err)
	}
	if worst := off(data); worst > 1e-9 {
		t.Errorf("off by %v", worst)
	}
	const coefficient = `coefficient="78.814`
	wrong := strings.Replace(string(data), coefficient, `coefficient="79.814`, 1)
	if wrong == string(data) {
		t.Fatal("no such coefficient")
	}
	if worst := off([]byte(wrong)); worst < 1e-6 {
		t.Errorf("a wrong coefficient is off by %v only", worst)
	}
}

// The verdict is the first thing in the file, and a model that is not fit for use is
// marked as not to be scored.
func TestPMMLSaysTheVerdictFirst(t *testing.T) {
	for _, kind := range []string{"mean", "ols"} {
		c := stored(t, kind)
		data, err := pmml.Write(export(t, c, nil))
		if err != nil {
			t.Fatal(err)
		}
		want := "VERDICT: " + strings.ToUpper(c.Verdict.Standing)
		if at := strings.Index(string(data), want); at < 0 || at > strings.Index(string(data), "<PMML") {
			t.Errorf("%s: %q at %d", kind, want, at)
		}
		reader, err := readPMML(data)
		if err != nil {
			t.Fatal(err)
		}
		_, err = reader.evaluate(lotOf(c, c.Average()), false)
		if notFit := c.Verdict.Standing == verdict.NotFitForUse; notFit != errors.Is(err, errNotScorable) {
			t.Errorf("%s, %s: %v", kind, c.Verdict.Standing, err)
		}
	}
}

// Golden documents: least squares with its own leverage, and a logarithm.
func TestPMMLGolden(t *testing.T) {
	for name, c := range map[string]*card.Card{"ols": stored(t, "ols"), "mean": stored(t, "mean")} {
		data, err := pmml.Write(export(t, c, nil))
		if err != nil {
			t.Fatal(err)
		}
		path := "testdata/" + name + ".pmml.golden"
		want, err := os.ReadFile(path)
		if err == nil && string(want) == string(data) {
			continue
		}
		t.Errorf("%s differs (%v); look at the difference", path, err)
		if *update {
			if err := os.WriteFile(path, data, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// A figure that is not finite is refused, never written.
func TestPMMLRefusesWhatIsNotFinite(t *testing.T) {
	r := export(t, stored(t, "pls"), nil)
	r.Scorer.Features[2].Coefficient = math.NaN()
	var bad *pmml.FigureError
	if _, err := pmml.Write(r); !errors.As(err, &bad) {
		t.Errorf("%v", err)
	}
}

// Words that people wrote never break the files.
func TestStrangeWords(t *testing.T) {
	c := stored(t, "pls")
	c.Method, c.Notice = `own "method", 100 %d & <b>`, "=HYPERLINK(\"x\") --> ]]> \x01\xff line\nline"
	data, err := pmml.Write(export(t, c, nil))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := readPMML(data); err != nil {
		t.Error(err)
	}
	s := openSheet(t, workbook(t, c, specFor(c)), len(c.Features))
	s.fill(t, c.Average())
	if got := s.answer(t, "decision"); got != `hold: the method is not own "method", 100 %d & <b>, or not stated` {
		t.Errorf("%s", got)
	}
	if formula, err := s.f.GetCellFormula("Score", "A2"); err != nil || formula != "" {
		t.Errorf("a notice became the formula %q (%v)", formula, err)
	}
}
