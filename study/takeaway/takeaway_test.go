package takeaway

import (
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"flourcast/dataset/trait"
	"flourcast/dataset/treatment"
	"flourcast/forecast"
	"flourcast/study/card"
	"flourcast/study/job"
)

func stored(t *testing.T, kind string) *card.Card {
	t.Helper()
	c, err := card.Read("../card/testdata/schema1/" + kind + ".json")
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func env() job.Env {
	return job.Env{Clock: func() time.Time { return time.Date(2026, 1, 15, 0, 0, 0, 0, time.UTC) }, Version: "test"}
}

// What means nothing is refused before anything is laid out.
func TestMakeRefuses(t *testing.T) {
	bare := stored(t, "pls")
	bare.Features = nil
	low := 1.0
	for says, q := range map[string]Request{
		"level 90":        {Card: stored(t, "pls"), Level: 90},
		"level NaN":       {Card: stored(t, "pls"), Level: math.NaN()},
		"limits for":      {Card: stored(t, "pls"), Spec: &forecast.Spec{Response: "hardness_N", Low: &low}},
		"without feature": {Card: bare},
	} {
		_, err := Make(env(), q)
		var request *job.RequestError
		if !errors.As(err, &request) || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v", says, err)
		}
	}
	if _, err := Make(env(), Request{Model: "none.json"}); err == nil {
		t.Error("a file that is not there was laid out")
	}
}

// The interval of few lots says what it lacks, weights of a lot's rows add up to 1, and
// the lots that a reader is checked by are forecast by the model itself.
func TestScorer(t *testing.T) {
	c := stored(t, "pls") // 16 lots
	for level, finite := range map[float64]bool{0.90: true, 0.95: false} {
		r, err := Make(env(), Request{Card: c, Level: level})
		if err != nil {
			t.Fatal(err)
		}
		f := r.Scorer.Folds
		if f.Finite != finite || (f.Reason == "") != finite {
			t.Errorf("level %v: %+v", level, *f)
		}
		sum := 0.0
		for _, m := range f.Misses {
			sum += m.Weight
		}
		if sum != 16 || level == 0.90 && f.Rank != 16 { // ⌈0.9·17⌉
			t.Errorf("weights of %v, rank %v", sum, f.Rank)
		}
	}
	r, err := Make(env(), Request{Card: c})
	if err != nil {
		t.Fatal(err)
	}
	model, err := c.Fitted()
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Scorer.Checks) != 6 {
		t.Errorf("%d lots to check by", len(r.Scorer.Checks))
	}
	for _, k := range r.Scorer.Checks {
		if k.Forecast != model.Predict(k.X) || c.Domain.Place(k.X).Where == "" {
			t.Errorf("%v", k)
		}
	}
}

// Cautions go along with what they are of; what a format cannot carry is said when it is
// written; JSON lists are never null.
func TestWhatIsSaid(t *testing.T) {
	c := stored(t, "pls")
	c.Treatment, c.Solvent = "chlorinated", trait.Inhibitor
	r, err := Make(env(), Request{Card: c})
	if err != nil {
		t.Fatal(err)
	}
	all := strings.Join(r.Cautions, "\n")
	for _, want := range []string{forecast.Caution, treatment.Caution, "silver nitrate", "food safety", "allergens"} {
		if !strings.Contains(all, want) {
			t.Errorf("no word of %q", want)
		}
	}
	before := len(r.Findings)
	r.Wrote("csv", "m.csv", []byte("abc"))
	if len(r.Findings) != before {
		t.Error("a table is told what PMML cannot carry")
	}
	r.Wrote("pmml", "m.pmml", []byte("abc"))
	if len(r.Findings) != before+1 || r.Files[1].SHA256 != "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad" { // FIPS 180-2, B.1
		t.Errorf("%v %v", r.Findings, r.Files)
	}
	data, err := json.Marshal(r)
	if err != nil || strings.Contains(string(data), `"overrides":null`) || strings.Contains(string(data), "coefficient") {
		t.Errorf("%v: %s", err, data)
	}
}
