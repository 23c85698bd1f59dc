package fitting

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flourcast/dataset/column"
	"flourcast/dataset/table"
	"flourcast/dataset/tablefile"
	"flourcast/eval/verdict"
	"flourcast/model/catalog"
	"flourcast/study/card"
	"flourcast/study/job"
	"flourcast/work"
)

func fixed() job.Env {
	return job.Env{Clock: func() time.Time { return time.Date(2026, 1, 15, 9, 0, 0, 0, time.UTC) }, Version: "test", Cores: 2}
}

// softer is a table of 24 lots of three crop years whose hardness falls with the peak:
// 6 − 0.002·(peak − 2000) N and an error of noise N (invented).
func softer(t *testing.T, noise float64) *table.Table {
	t.Helper()
	var b strings.Builder
	b.WriteString("lot,crop_year,treatment,peak_mPas,protein_pct,hardness_N,remark,gone_mPas\n")
	r := work.Rand(5, "softer")
	for i := range 24 {
		peak := 2000 + 40*float64(i%12) + 10*r.NormFloat64()
		fmt.Fprintf(&b, "L%02d,%d,%s,%.1f,%.2f,%.3f,fine,%s\n", i, 2023+i%3, []string{"none", "heat"}[i%2], peak, 9+0.3*r.NormFloat64(), 6-0.002*(peak-2000)+noise*r.NormFloat64(), []string{"1", ""}[i%2])
	}
	tab, fl, err := tablefile.Parse("t.csv", []byte(b.String()), "")
	if err != nil {
		t.Fatal(err, fl)
	}
	return tab
}

func ask(t *testing.T, noise float64) Request {
	return Request{Table: softer(t, noise), File: "t.csv", Response: "hardness_N", Features: []string{"peak_mPas"}, Kind: "ols", Treatment: "pooled", Folds: "lot", Repeats: 1}
}

// What cannot be asked is the request's fault, by name, and says what can be; what the
// table lacks is the input's.
func TestRequestsThatAreRefused(t *testing.T) {
	lambda := -1.0
	for name, c := range map[string]struct {
		change func(*Request)
		words  string
	}{
		"no such response":         {func(q *Request) { q.Response = "hardnes_N" }, "hardness_N"},
		"a response of text":       {func(q *Request) { q.Response = "remark" }, "text"},
		"no such feature":          {func(q *Request) { q.Features = []string{"peek_mPas"} }, "peak_mPas"},
		"no such kind":             {func(q *Request) { q.Kind = "forest" }, "pls"},
		"origin without ols":       {func(q *Request) { q.Kind, q.Origin = "pls", true }, "kind ols"},
		"no such transform":        {func(q *Request) { q.Transform = "root" }, "root"},
		"a derivative of no curve": {func(q *Request) { q.Kind, q.Derivative = "pls", "1" }, "v_*"},
		"a penalty below zero":     {func(q *Request) { q.Kind, q.Lambda = "ridge", &lambda }, "-1"},
		"weights for pls":          {func(q *Request) { q.Kind, q.Weights = "pls", "se" }, "weights"},
		"folds of one part":        {func(q *Request) { q.Folds = "k=1" }, "k=1"},
		"treatments nobody chose":  {func(q *Request) { q.Treatment = "" }, "treatment"},
		"no such treatment use":    {func(q *Request) { q.Treatment = "half" }, "half"},
		"no such column of groups": {func(q *Request) { q.Group = "silo" }, "silo"},
	} {
		q := ask(t, 0.1)
		c.change(&q)
		_, err := Fit(context.Background(), fixed(), q)
		var wrong *job.RequestError
		if !errors.As(err, &wrong) || !strings.Contains(err.Error(), c.words) {
			t.Errorf("%s: found %v, want a request's error with %q", name, err, c.words)
		}
	}
	q := ask(t, 0.1)
	q.Where = []column.Condition{{Column: "treatment", Value: "heat"}}
	q.Features = []string{"gone_mPas"} // of the untreated lots alone
	var nothing *job.NothingUsableError
	if _, err := Fit(context.Background(), fixed(), q); !errors.As(err, &nothing) {
		t.Errorf("no row with the feature: %v, want that nothing can be used", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Fit(ctx, fixed(), ask(t, 0.1)); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// A relation without error is found as it was put in, and the model file says it again.
func TestFitFindsWhatIsThere(t *testing.T) {
	q := ask(t, 0)
	q.Out = filepath.Join(t.TempDir(), "m.json")
	res, err := Fit(context.Background(), fixed(), q)
	if err != nil {
		t.Fatal(err)
	}
	// hardness has three decimals in the table: ± 0.0005 N over a span of 440 mPa·s.
	if got := res.Coefficients["peak_mPas"]; math.Abs(got+0.002) > 5e-6 || res.N != 24 || res.Lots != 24 {
		t.Errorf("slope %v N per mPa·s of %d rows, %d lots; want −0.002 of 24", got, res.N, res.Lots)
	}
	data, err := os.ReadFile(q.Out)
	if err != nil {
		t.Fatal(err)
	}
	back, err := card.Decode("m.json", data)
	if err != nil || back.Response != "hardness_N" || back.Verdict.Standing != res.Verdict.Standing {
		t.Errorf("the model file reads %+v (%v)", back, err)
	}
	a, _ := json.Marshal(res)
	env := fixed()
	env.Cores = 1
	q.Out = filepath.Join(t.TempDir(), "m.json")
	again, err := Fit(context.Background(), env, q)
	if err != nil {
		t.Fatal(err)
	}
	again.Model = res.Model
	if b, _ := json.Marshal(again); string(a) != string(b) {
		t.Error("one core gives another result than two")
	}
}

// A response that no feature tells is not fit for use, whatever the kind.
func TestNoiseIsNotFit(t *testing.T) {
	for _, kind := range catalog.Kinds() {
		q := ask(t, 3)
		q.Kind, q.Permutations = kind, 19
		res, err := Fit(context.Background(), fixed(), q)
		if err != nil {
			t.Errorf("%s: %v", kind, err)
			continue
		}
		if res.Verdict.Standing == verdict.FitForUse {
			t.Errorf("%s: a model of noise (Q² %.2f) is fit for use", kind, res.CV.Q2)
		}
	}
}
