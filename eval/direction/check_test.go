package direction

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"

	"flourcast/dataset/trait"
	"flourcast/stat/correlation"
	"gonum.org/v1/gonum/stat/distuv"
)

// exactly constructs n lots whose correlation is r to rounding: normal scores,
// shuffled by seed and made uncorrelated with the feature. Constructed, not data.
func exactly(r float64, n int, seed uint64) (x, y []float64) {
	rng := rand.New(rand.NewPCG(seed, 1))
	scores := make([]float64, n)
	for i := range scores {
		scores[i] = distuv.UnitNormal.Quantile((float64(i) + 0.625) / (float64(n) + 0.25))
	}
	noise := make([]float64, n)
	for i, k := range rng.Perm(n) {
		noise[i] = scores[k]
	}
	x, e := unit(scores), unit(noise)
	xe, _ := correlation.Pearson(x, e, nil)
	for i := range e {
		e[i] -= xe * x[i]
	}
	e = unit(e)
	y = make([]float64, n)
	for i := range y {
		y[i] = r*x[i] + math.Sqrt(1-r*r)*e[i]
	}
	return x, y
}

// unit brings figures to mean 0 and SD 1.
func unit(v []float64) []float64 {
	mean, sd, out := 0.0, correlation.SD(v), make([]float64, len(v))
	for _, x := range v {
		mean += x / float64(len(v))
	}
	for i, x := range v {
		out[i] = (x - mean) / sd
	}
	return out
}

func names(n int) []string {
	out := make([]string, n)
	for i := range out {
		out[i] = fmt.Sprint("L", i)
	}
	return out
}

// noodles is an Evidence of white salted noodles in water with peak viscosity.
func noodles(x, y []float64) Evidence {
	return Evidence{Product: "white-salted-noodle", Solvent: trait.Water, Response: "hardness_N", Kind: Instrumental,
		Lots: names(len(y)), Y: y, Features: []FeatureColumn{{ID: "peak_mPas", X: x}}}
}

func check(t testing.TB, rules []Rule, e Evidence) []Answer {
	t.Helper()
	answers, err := Check(context.Background(), rules, e, 11, 0)
	if err != nil {
		t.Fatal(err)
	}
	return answers
}

// the is the only answer to a rule.
func the(t testing.TB, answers []Answer, id string) Answer {
	t.Helper()
	for _, a := range answers {
		if a.Rule.ID == id {
			return a
		}
	}
	t.Fatalf("no answer to rule %s", id)
	return Answer{}
}

func scaled(v []float64, by float64) []float64 {
	out := make([]float64, len(v))
	for i := range v {
		out[i] = v[i] * by
	}
	return out
}

func shifted(v []float64, by float64) []float64 {
	out := make([]float64, len(v))
	for i := range v {
		out[i] = v[i] + by
	}
	return out
}

// Every rule that has r and n, put to a constructed set with exactly that r and n,
// shows the published interval and is confirmed; sign-flipped, contradicted.
func TestPublishedCorrelations(t *testing.T) {
	count := 0
	for _, rule := range Builtin() {
		if rule.R == nil || rule.N == nil {
			continue
		}
		count++
		x, y := exactly(*rule.R, *rule.N, 2)
		e := Evidence{Product: rule.Product, Solvent: rule.Solvent, Response: rule.Response, Kind: rule.Kind,
			Lots: names(*rule.N), Y: shifted(scaled(y, 2), 20), Features: []FeatureColumn{{ID: rule.Feature, X: shifted(scaled(x, 300), 2500)}}}
		a := the(t, check(t, []Rule{rule}, e), rule.ID)
		if a.Outcome != Confirmed || math.Abs(*a.R-*rule.R) > 1e-9 || math.Abs(*a.PPublished-1) > 1e-6 {
			t.Errorf("%s: %s with r %v, want confirmed with %v: %s", rule.ID, a.Outcome, *a.R, *rule.R, a.Reason)
		}
		if math.Abs(a.Fisher.Low-*rule.CILow) > 0.006 || math.Abs(a.Fisher.High-*rule.CIHigh) > 0.006 {
			t.Errorf("%s: Fisher %v to %v, the rule says %v to %v", rule.ID, a.Fisher.Low, a.Fisher.High, *rule.CILow, *rule.CIHigh)
		}
		e.Y = scaled(e.Y, -1)
		if a := the(t, check(t, []Rule{rule}, e), rule.ID); a.Outcome != Contradicted {
			t.Errorf("%s, response sign-flipped: %s, want contradicted: %s", rule.ID, a.Outcome, a.Reason)
		}
	}
	if count < 6 {
		t.Errorf("%d rules with r and n, want the six that were published", count)
	}
}

func TestAnswers(t *testing.T) {
	xStrong, yStrong := exactly(-0.75, 60, 3)
	peak, hard := shifted(scaled(xStrong, 300), 2500), shifted(yStrong, 8)
	base := func() Evidence { return noodles(peak, hard) }
	sd := func(v float64) *float64 { return &v }
	weakX, weakY := exactly(-0.15, 60, 4)
	fewX, fewY := exactly(-0.45, 12, 5)
	flat := make([]float64, 60)
	oneOff := append([]float64(nil), flat...)
	oneOff[0] = 1
	tests := []struct {
		name    string
		e       Evidence
		outcome string
		code    string
		applies bool
	}{
		{"strong and right", base(), Confirmed, "sign-agrees", true},
		{"sign-flipped response", noodles(peak, scaled(hard, -1)), Contradicted, "sign-differs", true},
		{"spread below three repeatability SDs", with(base(), func(e *Evidence) { e.Features[0].RepeatSD = sd(110) }), CannotTell, "narrow-range", true},
		{"spread above three repeatability SDs", with(base(), func(e *Evidence) { e.Features[0].RepeatSD = sd(90) }), Confirmed, "sign-agrees", true},
		{"solvent not known", with(base(), func(e *Evidence) { e.Solvent = "" }), CannotTell, "solvent-unknown", false},
		{"sucrose", with(base(), func(e *Evidence) { e.Solvent = trait.Sucrose }), CannotTell, "other-solvent", false},
		{"solvent of the column itself", with(base(), func(e *Evidence) {
			e.Solvent = trait.Sucrose
			e.Features[0] = FeatureColumn{ID: "peak_mPas@noodle-water", X: peak, Solvent: trait.Water}
		}), Confirmed, "sign-agrees", true},
		{"soft bite inherits", with(base(), func(e *Evidence) { e.Product = "soft-bite-noodle" }), Confirmed, "sign-agrees", true},
		{"another product", with(base(), func(e *Evidence) { e.Product = "rice" }), CannotTell, "other-product", false},
		{"its class is not itself", with(base(), func(e *Evidence) { e.Product = "noodle" }), CannotTell, "other-product", false},
		{"product not known", with(base(), func(e *Evidence) { e.Product = "" }), CannotTell, "product-unknown", false},
		{"feature not measured", with(base(), func(e *Evidence) { e.Features[0].ID = "final_mPas" }), CannotTell, "feature-absent", true},
		{"feature without variation", noodles(flat, hard), CannotTell, "no-variation", true},
		{"response without variation", noodles(peak, flat), CannotTell, "no-variation", true},
		{"one lot apart from equals", noodles(oneOff, hard), CannotTell, "no-variation", true},
		{"weak, lots enough", noodles(weakX, weakY), CannotTell, "no-clear-relation", true},
		{"weak, few lots", noodles(fewX, fewY), CannotTell, "too-few-lots", true},
		{"four lots", noodles(peak[:4], hard[:4]), CannotTell, "too-few-lots", true},
		{"no lot", noodles(nil, nil), CannotTell, "too-few-lots", true},
	}
	for _, c := range tests {
		a := the(t, check(t, Builtin(), c.e), "A13")
		if a.Outcome != c.outcome || a.Code != c.code || a.Applies != c.applies || a.Reason == "" {
			t.Errorf("%s: %s, %s, applies %v (%s); want %s, %s, %v", c.name, a.Outcome, a.Code, a.Applies, a.Reason, c.outcome, c.code, c.applies)
		}
	}
}

func with(e Evidence, f func(*Evidence)) Evidence {
	f(&e)
	return e
}

// A correlation made by crop years alone is not confirmed, and one that holds
// within years is.
func TestWithinYears(t *testing.T) {
	rng := rand.New(rand.NewPCG(12, 1))
	var x, y, both []float64
	var year []string
	for k := range 3 {
		for range 15 {
			shift := 3 * float64(k)
			f, e := rng.NormFloat64(), rng.NormFloat64()
			x, y = append(x, shift+f), append(y, -shift+e) // years only
			both = append(both, -shift-0.9*f+0.5*e)        // years and lots
			year = append(year, fmt.Sprint(2021+k))
		}
	}
	e := noodles(x, y)
	a := the(t, check(t, Builtin(), e), "A13")
	if a.Outcome != Confirmed || a.Within != nil {
		t.Errorf("without years: %s, within %v; want confirmed, by mistake", a.Outcome, a.Within)
	}
	e.Year = year
	if a = the(t, check(t, Builtin(), e), "A13"); a.Outcome != CannotTell || a.Code != "years-disagree" || a.Within.Years != 3 {
		t.Errorf("years only: %s, %s, %+v; want cannot tell, years-disagree", a.Outcome, a.Code, a.Within)
	}
	e.Y = both
	if a = the(t, check(t, Builtin(), e), "A13"); a.Outcome != Confirmed || a.Within.N != 45 {
		t.Errorf("within years too: %s (%s), want confirmed over 45 lots", a.Outcome, a.Reason)
	}
	// A year of four lots and lots without a year are left out of the years, not of the pool.
	for i := range 11 {
		e.Year[34+i] = ""
	}
	if a = the(t, check(t, Builtin(), e), "A13"); a.N != 45 || a.Within.Years != 2 || a.Within.N != 30 {
		t.Errorf("a third year of four lots: n %d, within %+v; want 45, 30 lots of 2 years", a.N, a.Within)
	}
}

// A relation that runs through protein alone is confirmed as it stands and does
// not hold given protein.
func TestGivenProtein(t *testing.T) {
	rng := rand.New(rand.NewPCG(15, 1))
	var x, y, z []float64
	for range 60 {
		p := rng.NormFloat64()
		z = append(z, 10+p)
		x = append(x, -p+0.3*rng.NormFloat64())
		y = append(y, p+0.3*rng.NormFloat64())
	}
	e := noodles(x, y)
	e.Protein = &FeatureColumn{ID: "protein_pct", X: z}
	a := the(t, check(t, Builtin(), e), "A13")
	if a.Outcome != Confirmed || a.GivenProtein == nil || a.GivenProtein.Low > 0 || a.GivenProtein.High < 0 {
		t.Errorf("%s, given protein %+v; want confirmed, and zero inside the interval given protein", a.Outcome, a.GivenProtein)
	}
	e.Protein.Present = make([]bool, 60)
	if a := the(t, check(t, Builtin(), e), "A13"); a.GivenProtein != nil {
		t.Errorf("no lot has protein, yet %+v", a.GivenProtein)
	}
}

// A contested rule says with whom the data agree.
func TestContested(t *testing.T) {
	x, y := exactly(0.6, 60, 6)
	e := Evidence{Product: "sponge-cake", Solvent: trait.Water, Response: "volume_mL", Kind: Instrumental, Lots: names(60), Y: y,
		Features: []FeatureColumn{{ID: "peak_mPas", X: x}}}
	answers := check(t, Builtin(), e)
	if a := the(t, answers, "B14"); a.Outcome != Confirmed || !strings.Contains(a.Reason, "B14 against B01") || a.AgainstMajority {
		t.Errorf("B14: %s, %s", a.Outcome, a.Reason)
	}
	if a := the(t, answers, "B01"); a.Outcome != Contradicted {
		t.Errorf("B01: %s", a.Outcome)
	}
	again := append(Builtin(), Rule{ID: "own", Product: "sponge-cake", Feature: "peak_mPas", Solvent: trait.Water, Response: "volume_mL", Kind: Instrumental, Sign: Falls, Standing: Contested})
	if a := the(t, check(t, again, e), "B14"); !a.AgainstMajority {
		t.Errorf("two rules against one, and not marked: %s", a.Reason)
	}
}

// A rule for the product itself replaces its class's.
func TestNearestProduct(t *testing.T) {
	x, y := exactly(0.68, 60, 7)
	e := noodles(x, y)
	e.Product = "firm-bite-noodle"
	answers := check(t, Builtin(), e)
	if a := the(t, answers, "A24"); a.Outcome != Confirmed || !a.Applies {
		t.Errorf("A24: %s", a.Outcome)
	}
	if a := the(t, answers, "P13"); a.Applies || a.Code != "nearer-rule" {
		t.Errorf("P13 of all noodles: applies %v, %s; want nearer-rule", a.Applies, a.Code)
	}
}

// Same seed: same bits on one core and on two; the input is not written; rows of
// one lot count once.
func TestSameBits(t *testing.T) {
	for seed := range uint64(20) {
		rng := rand.New(rand.NewPCG(seed, 17))
		n := 5 + rng.IntN(36)
		x, y, year := make([]float64, n), make([]float64, n), make([]string, n)
		for i := range x {
			x[i], y[i], year[i] = rng.NormFloat64(), rng.NormFloat64(), fmt.Sprint(rng.IntN(3))
		}
		e := noodles(x, y)
		e.Year = year
		keptX, keptY := append([]float64(nil), x...), append([]float64(nil), y...)
		one, err1 := Check(context.Background(), Builtin(), e, 5, 1)
		two, err2 := Check(context.Background(), Builtin(), e, 5, 2)
		if err1 != nil || err2 != nil || !reflect.DeepEqual(one, two) {
			t.Fatalf("one core and two cores differ (%v, %v)", err1, err2)
		}
		if !reflect.DeepEqual(x, keptX) || !reflect.DeepEqual(y, keptY) {
			t.Fatal("the input was changed")
		}
		// Flipping the response mirrors every answer.
		e.Y = scaled(y, -1)
		flipped, err := Check(context.Background(), Builtin(), e, 5, 2)
		if err != nil {
			t.Fatal(err)
		}
		for i, a := range one {
			b := flipped[i]
			if (a.Outcome == Confirmed) != (b.Outcome == Contradicted) || (a.R != nil && math.Abs(*a.R+*b.R) > 1e-12) {
				t.Fatalf("%s: %s, flipped %s", a.Rule.ID, a.Outcome, b.Outcome)
			}
		}
		// Each lot measured twice.
		d := noodles(append(append([]float64(nil), x...), x...), append(append([]float64(nil), y...), y...))
		d.Lots, d.Year = append(names(n), names(n)...), append(append([]string(nil), year...), year...)
		doubled, err := Check(context.Background(), Builtin(), d, 5, 2)
		if err != nil || !reflect.DeepEqual(one, doubled) {
			t.Fatalf("doubled rows changed the answers (%v)", err)
		}
	}
}

func TestBadEvidence(t *testing.T) {
	x, y := exactly(-0.7, 20, 8)
	for name, e := range map[string]Evidence{
		"lots":    with(noodles(x, y), func(e *Evidence) { e.Lots = e.Lots[1:] }),
		"year":    with(noodles(x, y), func(e *Evidence) { e.Year = []string{"2024"} }),
		"feature": with(noodles(x, y), func(e *Evidence) { e.Features[0].X = x[1:] }),
		"present": with(noodles(x, y), func(e *Evidence) { e.Features[0].Present = []bool{true} }),
		"protein": with(noodles(x, y), func(e *Evidence) { e.Protein = &FeatureColumn{ID: "protein_pct"} }),
		"NaN":     noodles(x, append([]float64{math.NaN()}, y[1:]...)),
		"Inf":     noodles(append([]float64{math.Inf(1)}, x[1:]...), y),
	} {
		var shape *ShapeError
		if _, err := Check(context.Background(), Builtin(), e, 1, 1); !errors.As(err, &shape) {
			t.Errorf("%s: error %v, want a *ShapeError", name, err)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Check(ctx, Builtin(), noodles(x, y), 1, 1); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: error %v", err)
	}
	// An absent NaN is no figure at all.
	e := noodles(append([]float64{math.NaN()}, x[1:]...), y)
	e.Features[0].Present = make([]bool, 20)
	for i := 1; i < 20; i++ {
		e.Features[0].Present[i] = true
	}
	if a := the(t, check(t, Builtin(), e), "A13"); a.N != 19 {
		t.Errorf("n %d, want 19", a.N)
	}
}
