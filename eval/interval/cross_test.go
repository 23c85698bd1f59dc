package interval

import (
	"encoding/json"
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// meanModel is the jackknife+ of the mean model of y.
func meanModel(t testing.TB, y []float64) *Cross {
	t.Helper()
	sum := 0.0
	for _, v := range y {
		sum += v
	}
	var models []Equation
	var misses []Miss
	for i, v := range y {
		mean := (sum - v) / float64(len(y)-1)
		models = append(models, Equation{Intercept: mean, Coefficients: []float64{}})
		misses = append(misses, Miss{fmt.Sprint("L", i), i, math.Abs(v - mean)})
	}
	c, err := NewCross(models, misses)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// split is the split-conformal interval of one model: every miss by model 0 or 1,
// which are the same.
func split(t testing.TB, sizes []float64) *Cross {
	t.Helper()
	same := Equation{Coefficients: []float64{}}
	var misses []Miss
	for i, s := range sizes {
		misses = append(misses, Miss{fmt.Sprint("L", i), i % 2, s})
	}
	c, err := NewCross([]Equation{same, same}, misses)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// Worked by hand from the definition of Barber et al. 2021, Ann Stat 49:486:
// mean model of 1…9 at α = 0.2 gives [1, 9] (the plain jackknife [0.5, 9.5]).
func TestJackknifePlusByHand(t *testing.T) {
	c := meanModel(t, []float64{1, 2, 3, 4, 5, 6, 7, 8, 9})
	r, err := c.Around(nil, 0.8)
	if err != nil || r.Low == nil || math.Abs(*r.Low-1) > 1e-12 || math.Abs(*r.High-9) > 1e-12 || r.Level != 0.8 {
		t.Fatalf("%+v (%v), want [1, 9] at 0.8", r, err)
	}
	if c.Kind != KindJackknifePlus || c.Lots != 9 {
		t.Errorf("kind %s of %d lots", c.Kind, c.Lots)
	}
	if g := c.Guarantee(0.8); math.Abs(g-0.6) > 1e-12 {
		t.Errorf("guarantee %v, want 1 − 2α = 0.6", g)
	}
}

// Errors 0.3 … 2.6 of nine lots: the conformal quantile is 2.2 at α 0.2, 2.6 at
// 0.1 and infinite at 0.05 (worked by hand from ⌈(n + 1)(1 − α)⌉).
// TestLogCross: models of ln y give the exponentials of the limits that the same
// models give on the logarithms, with the same probabilities, also after JSON.
func TestLogCross(t *testing.T) {
	models := []Equation{{0.1, []float64{1}}, {0.2, []float64{0.9}}, {-0.1, []float64{1.1}}}
	var misses []Miss
	for i := range 21 {
		misses = append(misses, Miss{Lot: fmt.Sprint("L", i), Model: i % 3, Size: 0.02 * float64(i+1)})
	}
	plain, err := NewCross(models, misses)
	if err != nil {
		t.Fatal(err)
	}
	onLog, err := NewLogCross(models, misses)
	if err != nil {
		t.Fatal(err)
	}
	data, err := json.Marshal(onLog)
	if err != nil {
		t.Fatal(err)
	}
	var back Cross
	if err := json.Unmarshal(data, &back); err != nil || !back.Log {
		t.Fatalf("after JSON: log %v, %v", back.Log, err)
	}
	x := []float64{1.5}
	a, err := plain.Around(x, 0.9)
	if err != nil {
		t.Fatal(err)
	}
	b, err := back.Around(x, 0.9)
	if err != nil {
		t.Fatal(err)
	}
	if *b.Low != math.Exp(*a.Low) || *b.High != math.Exp(*a.High) || a.Level != b.Level {
		t.Errorf("got %v to %v, expected the exponentials of %v and %v", *b.Low, *b.High, *a.Low, *a.High)
	}
	low, high, zero := math.Exp(1.3), math.Exp(1.9), 0.0
	logLow, logHigh := math.Log(low), math.Log(high)
	p, err := plain.Conformance(x, &logLow, &logHigh)
	if err != nil {
		t.Fatal(err)
	}
	q, err := back.Conformance(x, &low, &high)
	if err != nil || q != p || p > 0.95 {
		t.Errorf("probability %v, on logarithms %v, %v", q, p, err)
	}
	above, err := back.Conformance(x, &zero, nil)
	if none, _ := plain.Conformance(x, nil, nil); err != nil || above < none-1.0/44 {
		t.Errorf("above zero with probability %v, %v", above, err)
	}
	if never, err := back.Conformance(x, nil, &zero); err != nil || never > 1.0/44 {
		t.Errorf("at most zero with probability %v, %v", never, err)
	}
}

func TestOrderStatistics(t *testing.T) {
	c := split(t, []float64{1.1, 0.3, 2.6, 0.8, 1.2, 1.4, 0.5, 1.9, 2.2})
	for _, k := range []struct{ level, half float64 }{{0.8, 2.2}, {0.9, 2.6}} {
		r, err := c.Around(nil, k.level)
		if err != nil || *r.High != k.half || *r.Low != -k.half || math.Abs(r.Level-k.level) > 1e-12 {
			t.Errorf("level %v: %+v (%v), want ± %v", k.level, r, err, k.half)
		}
	}
	r, err := c.Around(nil, 0.95)
	if err != nil || r.Low != nil || r.High != nil || r.Reason != "a finite 95 % interval needs 19 lots, this model has 9" || r.Level != 1 {
		t.Errorf("level 0.95: %+v (%v)", r, err)
	}
}

func TestLevels(t *testing.T) {
	if LotsFor(0.90) != 9 || LotsFor(0.95) != 19 || LotsFor(0.5) != 1 {
		t.Errorf("lots for 90 %%: %d, 95 %%: %d, 50 %%: %d; want 9, 19, 1", LotsFor(0.90), LotsFor(0.95), LotsFor(0.5))
	}
	for _, k := range []struct {
		n    int
		want float64
	}{{8, 1}, {9, 0.9}, {10, 10.0 / 11}, {15, 15.0 / 16}, {19, 0.9}, {29, 0.9}} {
		if got := Level(0.9, k.n); math.Abs(got-k.want) > 1e-12 {
			t.Errorf("%d lots give level %v, want %v", k.n, got, k.want)
		}
	}
	// Barber et al. 2021, theorem 4: slack of CV+ (worked from the formula, from memory).
	for _, k := range []struct {
		n, folds int
		want     float64
	}{{60, 10, 0.0758}, {40, 5, 0.1458}} {
		if got := slack(k.n, k.folds); math.Abs(got-k.want) > 5e-5 {
			t.Errorf("slack of %d lots in %d folds %.4f, want %.4f", k.n, k.folds, got, k.want)
		}
	}
}

// A specification that is exactly the interval is met with exactly its level;
// wider levels contain narrower ones; replicates of a lot change nothing.
func TestCrossProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(9, 60).Draw(t, "n")
		folds := rapid.IntRange(2, min(n, 10)).Draw(t, "folds")
		number := rapid.Float64Range(-50, 50)
		var models []Equation
		for range folds {
			models = append(models, Equation{number.Draw(t, "b0"), []float64{number.Draw(t, "b")}})
		}
		var once, twice []Miss
		for i := range n {
			e := Miss{fmt.Sprint(i), i % folds, rapid.Float64Range(0, 9).Draw(t, "miss")}
			once, twice = append(once, e), append(twice, e, e)
		}
		c, err := NewCross(models, once)
		if err != nil {
			t.Fatal(err)
		}
		x := []float64{number.Draw(t, "x")}
		r, err := c.Around(x, 0.9)
		if err != nil || r.Low == nil {
			t.Fatalf("%+v (%v)", r, err)
		}
		narrow, _ := c.Around(x, 0.5)
		if *narrow.Low < *r.Low || *narrow.High > *r.High {
			t.Fatalf("50 %% interval %v to %v is not inside %v to %v", *narrow.Low, *narrow.High, *r.Low, *r.High)
		}
		lows, highs, _ := c.atoms(x)
		overlap := true // every miss's own interval meets the whole one
		for i := range lows {
			overlap = overlap && lows[i].at <= *r.High && highs[i].at >= *r.Low
		}
		if p, err := c.Conformance(x, r.Low, r.High); overlap {
			if err != nil || p < r.Level-1e-9 {
				t.Fatalf("meets its own interval with p %v (%v), level %v", p, err, r.Level)
			}
			one, _ := c.Conformance(x, r.Low, nil)
			if one < p {
				t.Fatalf("dropping a limit lowered p from %v to %v", p, one)
			}
		}
		d, err := NewCross(models, twice)
		if err != nil {
			t.Fatal(err)
		}
		if q, _ := d.Around(x, 0.9); d.Lots != n || *q.Low != *r.Low || *q.High != *r.High {
			t.Fatalf("doubled rows changed the interval from %v…%v to %v…%v", *r.Low, *r.High, *q.Low, *q.High)
		}
	})
}

func TestConformanceOfOwnCrossInterval(t *testing.T) {
	c := meanModel(t, []float64{1.03, 2.2, 3.11, 4.4, 5.7, 6.1, 7.9, 8.3, 9.6, 11.3, 12.9})
	for _, level := range []float64{0.5, 0.8, 0.9} {
		r, _ := c.Around(nil, level)
		if p, err := c.Conformance(nil, r.Low, r.High); err != nil || math.Abs(p-r.Level) > 1e-12 {
			t.Errorf("level %v: p %v (%v), want %v", level, p, err, r.Level)
		}
	}
	// With 11 lots no limit is met surely: half of 1/12 stands beyond all errors.
	if p, _ := c.Conformance(nil, nil, ptr(1e9)); math.Abs(p-(1-1.0/24)) > 1e-12 {
		t.Errorf("a far limit is met with p %v, want 23/24", p)
	}
	if p, _ := c.Conformance(nil, ptr(1e8), ptr(1e9)); math.Abs(p-1.0/24) > 1e-12 {
		t.Errorf("a specification far away is met with p %v, want 1/24", p)
	}
	if p, _ := c.Conformance(nil, nil, nil); p != 1 {
		t.Errorf("no limit: p %v", p)
	}
}

func TestCrossRefusals(t *testing.T) {
	good := []Equation{{1, []float64{1}}, {2, []float64{1}}}
	for name, k := range map[string]struct {
		models []Equation
		misses []Miss
	}{
		"one fold":         {good[:1], []Miss{{"a", 0, 1}, {"b", 0, 1}}},
		"unequal models":   {[]Equation{{1, []float64{1}}, {2, []float64{1, 2}}}, []Miss{{"a", 0, 1}, {"b", 1, 1}}},
		"NaN":              {[]Equation{{math.NaN(), []float64{1}}, good[1]}, []Miss{{"a", 0, 1}, {"b", 1, 1}}},
		"negative miss":    {good, []Miss{{"a", 0, -1}, {"b", 1, 1}}},
		"no such model":    {good, []Miss{{"a", 0, 1}, {"b", 2, 1}}},
		"a lot in two":     {good, []Miss{{"a", 0, 1}, {"a", 1, 1}}},
		"more folds":       {append(good, good[0]), []Miss{{"a", 0, 1}, {"b", 1, 1}}},
		"nothing measured": {good, nil},
	} {
		if _, err := NewCross(k.models, k.misses); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	c, err := NewCross(good, []Miss{{"a", 0, 1}, {"b", 1, 1}})
	if err != nil {
		t.Fatal(err)
	}
	for _, level := range []float64{0, 1, math.NaN(), 90} {
		if _, err := c.Around([]float64{1}, level); err == nil {
			t.Errorf("level %v: no error", level)
		}
	}
	if _, err := c.Around([]float64{math.Inf(1)}, 0.9); err == nil {
		t.Error("an infinite feature: no error")
	}
}

func TestCrossJSON(t *testing.T) {
	c := meanModel(t, []float64{1, 2, 4, 8, 16, 32, 64, 100, 120})
	data, err := json.Marshal(c)
	if err != nil {
		t.Fatal(err)
	}
	var back Cross
	if err := json.Unmarshal(data, &back); err != nil {
		t.Fatal(err)
	}
	a, _ := c.Around(nil, 0.9)
	b, _ := back.Around(nil, 0.9)
	if *a.Low != *b.Low || *a.High != *b.High {
		t.Error("the interval read back is another")
	}
	for _, bad := range []string{`{}`, `{"kind":"cv+","lots":9,"models":[],"misses":[]}`, `{"more":1}`,
		`{"kind":"cv+","lots":2,"models":[{"intercept":1,"coefficients":[]},{"intercept":1,"coefficients":[]}],"misses":[{"lot":"a","model":0,"size":1},{"lot":"b","model":1,"size":1}]}`} {
		if err := json.Unmarshal([]byte(bad), new(Cross)); err == nil {
			t.Errorf("%s: read without an error", bad)
		}
	}
}

func FuzzCrossJSON(f *testing.F) {
	data, _ := json.Marshal(meanModel(f, []float64{1, 2, 4, 8, 16, 32, 64, 100, 120}))
	f.Add(data)
	f.Add([]byte(`{"kind":"jackknife+","lots":2,"models":[{"intercept":1,"coefficients":[1e308]},{"intercept":1,"coefficients":[2]}],"misses":[{"lot":"a","model":0,"size":1},{"lot":"b","model":1,"size":1}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		var c Cross
		if json.Unmarshal(data, &c) != nil {
			return
		}
		x := make([]float64, len(c.Models[0].Coefficients))
		for j := range x {
			x[j] = 3
		}
		if _, err := c.Around(x, 0.9); err == nil {
			if p, err := c.Conformance(x, ptr(0), ptr(2)); err != nil || !(p >= 0 && p <= 1) {
				t.Fatalf("%s: p = %v (%v)", data, p, err)
			}
		}
	})
}
