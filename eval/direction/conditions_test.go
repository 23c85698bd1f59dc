package direction

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"flourcast/dataset/trait"
)

// A straight direction is for normal and partial-waxy flours: waxy lots are left
// out, and lots without a figure stay.
func TestWaxyLotsAreLeftOut(t *testing.T) {
	x, y := exactly(-0.7, 60, 3)
	amylose, known := make([]float64, 70), make([]bool, 70)
	for i := range 70 {
		amylose[i], known[i] = 24, i%2 == 0
		if i >= 60 { // waxy: low peak and soft, which turns the pooled sign
			x, y = append(x, -8+0.1*float64(i)), append(y, -9+0.1*float64(i%4))
			amylose[i], known[i] = 1, true
		}
	}
	e := noodles(x, y)
	if a := the(t, check(t, Builtin(), e), "A13"); a.Outcome == Confirmed || a.LeftOut != 0 {
		t.Fatalf("without amylose the waxy lots should hide the direction: %s, %d left out", a.Outcome, a.LeftOut)
	}
	e.Features = append(e.Features, FeatureColumn{ID: "amylose_pct", X: amylose, Present: known})
	a := the(t, check(t, Builtin(), e), "A13")
	if a.Outcome != Confirmed || a.LeftOut != 10 || a.N != 60 || !strings.Contains(a.Reason, "10 lots left out") {
		t.Errorf("%s over %d lots, %d left out (%s); want confirmed over 60, 10 left out", a.Outcome, a.N, a.LeftOut, a.Reason)
	}
}

// Within a treatment: treated flours have larger cakes and thicker pastes, and the
// flours of one treatment do not go together at all.
func TestWithinTreatment(t *testing.T) {
	rng := rand.New(rand.NewPCG(41, 1))
	var x, y, real []float64
	var treatment []string
	for i := range 60 {
		shift := 6 * float64(i%2)
		f := rng.NormFloat64()
		x, y, real = append(x, shift+f), append(y, shift+rng.NormFloat64()), append(real, -shift+f+0.5*rng.NormFloat64())
		treatment = append(treatment, []string{"none", "heat"}[i%2])
	}
	e := Evidence{Product: "layer-cake", Solvent: trait.Sucrose, Response: "volume_mL", Kind: Instrumental, Lots: names(60), Y: y,
		Features: []FeatureColumn{{ID: "peak_mPas", X: x}}}
	if a := the(t, check(t, Builtin(), e), "P15"); a.Outcome != Confirmed {
		t.Errorf("treatment not known: %s, want confirmed, by mistake", a.Outcome)
	}
	e.Labels = map[string][]string{"treatment": treatment}
	a := the(t, check(t, Builtin(), e), "P15")
	if a.Outcome != CannotTell || math.Abs(*a.R) > 0.3 {
		t.Errorf("within treatment: %s, r %.2f, want cannot tell", a.Outcome, *a.R)
	}
	e.Y = real // pooled it falls, within it rises
	if a := the(t, check(t, Builtin(), e), "P15"); a.Outcome != Confirmed {
		t.Errorf("within treatment: %s (%s), want confirmed", a.Outcome, a.Reason)
	}
	// Two groups cost Fisher's interval a degree of freedom each beyond the first.
	if a.Fisher.N != 60 || math.Abs(math.Atanh(a.Fisher.High)-math.Atanh(a.Fisher.Low)-2*1.959964/math.Sqrt(56)) > 1e-6 {
		t.Errorf("Fisher %+v, want 60 lots at SE 1/√56", *a.Fisher)
	}
	// Within years and treatments together.
	e.Year = nil
	for i := range 60 {
		e.Year = append(e.Year, []string{"2023", "2024"}[i/30])
	}
	if a := the(t, check(t, Builtin(), e), "P15"); a.Outcome != Confirmed || a.Within == nil || a.Within.Years != 2 || a.Within.N != 60 {
		t.Errorf("within years too: %s, %+v", a.Outcome, a.Within)
	}
	e.Labels["treatment"] = treatment[1:]
	if _, err := Check(t.Context(), Builtin(), e, 1, 1); err == nil {
		t.Error("a label column of another length was taken")
	}
}

// Blends with waxy flour do not follow the straight direction; a laboratory's rule
// says that it is not for them.
func TestBlendsAreLeftOut(t *testing.T) {
	x, y := exactly(-0.7, 60, 3)
	blend := make([]string, 70)
	for i := range 10 {
		x, y = append(x, 4+0.1*float64(i)), append(y, 5+0.1*float64(i%4))
		blend[60+i] = "Waxy"
	}
	blend[3] = "silo"
	e := noodles(x, y)
	e.Labels = map[string][]string{"blend": blend}
	own := the(t, check(t, Builtin(), e), "A13").Rule
	own.ID, own.When = "own", "blend!=waxy"
	a := the(t, check(t, []Rule{own}, e), "own")
	if a.Outcome != Confirmed || a.LeftOut != 10 || a.N != 60 {
		t.Errorf("%s over %d lots, %d left out (%s); want confirmed over 60, 10 left out", a.Outcome, a.N, a.LeftOut, a.Reason)
	}
	e.Labels = nil // nobody says which lots are blends: all stay
	if a := the(t, check(t, []Rule{own}, e), "own"); a.N != 70 {
		t.Errorf("no column: %d lots, want 70", a.N)
	}
}

// A rule for treated flours says so when none is known to be one.
func TestOnlyTreated(t *testing.T) {
	x, y := exactly(0.7, 40, 9)
	e := Evidence{Product: "layer-cake", Solvent: trait.Water, Response: "volume_mL", Kind: Instrumental, Lots: names(40), Y: y,
		Features: []FeatureColumn{{ID: "peak_mPas", X: x}}}
	if a := the(t, check(t, Builtin(), e), "B10"); a.Applies || a.Code != "other-lots" {
		t.Errorf("treatment not known: applies %v, %s; want other-lots", a.Applies, a.Code)
	}
	e.Labels = map[string][]string{"treatment": make([]string, 40)}
	for i := range 30 {
		e.Labels["treatment"][i] = " Heat"
	}
	if a := the(t, check(t, Builtin(), e), "B10"); a.N != 30 || a.LeftOut != 10 || a.Outcome != Confirmed {
		t.Errorf("%s over %d lots, %d left out; want confirmed over 30", a.Outcome, a.N, a.LeftOut)
	}
}

// Sprouted lots in water: a low paste and a soft noodle. What they alone make is
// named, and with the inhibitor nothing is.
func TestSproutedLots(t *testing.T) {
	x, y := exactly(0.05, 60, 5)
	fn := make([]float64, 72)
	for i := range 72 {
		fn[i] = 330
		if i >= 60 {
			x, y = append(x, -5+0.1*float64(i-60)), append(y, -5+0.1*float64(i%5))
			fn[i] = 120
		}
	}
	e := noodles(x, y)
	e.Features = append(e.Features, FeatureColumn{ID: "falling_number_s", X: fn})
	a := the(t, check(t, Builtin(), e), "A13")
	if a.Outcome != Contradicted || a.Sprouted != 12 || a.Sound == nil || a.Sound.N != 60 || !a.OnlySprouted() || !strings.Contains(a.Reason, "sprouting") {
		t.Errorf("%s, %d sprouted, without them %+v: %s", a.Outcome, a.Sprouted, a.Sound, a.Reason)
	}
	e.Solvent = trait.Inhibitor
	if a := the(t, check(t, Builtin(), e), "P01"); a.Sprouted != 0 || a.Sound != nil || a.OnlySprouted() {
		t.Errorf("with the inhibitor: %d sprouted", a.Sprouted)
	}
	// A relation that the sound lots bear out themselves is not blamed on the others.
	x, y = exactly(-0.7, 60, 6)
	e = noodles(append(x, 1.5, 1.6), append(y, -1.5, -1.6))
	e.Features = append(e.Features, FeatureColumn{ID: "falling_number_s", X: append(make([]float64, 0), fn[10:72]...)})
	for i := range e.Features[1].X {
		e.Features[1].X[i] = 300
	}
	e.Features[1].X[61] = 100
	if a := the(t, check(t, Builtin(), e), "A13"); a.Outcome != Confirmed || a.Sprouted != 1 || a.OnlySprouted() {
		t.Errorf("%s, %d sprouted, only by them %v", a.Outcome, a.Sprouted, a.OnlySprouted())
	}
}

// What is contradicted names the party that the data agree with, and whether it
// is the lesser one.
func TestPartyOfAContradictedRule(t *testing.T) {
	x, y := exactly(0.6, 60, 6)
	e := Evidence{Product: "sponge-cake", Solvent: trait.Water, Response: "volume_mL", Kind: Instrumental, Lots: names(60), Y: y,
		Features: []FeatureColumn{{ID: "peak_mPas", X: x}}}
	a := the(t, check(t, Builtin(), e), "B01")
	if a.Outcome != Contradicted || strings.Join(a.AgreeWith, " ") != "B14" || strings.Join(a.AgreeAgainst, " ") != "B01" || a.AgainstMajority {
		t.Errorf("%s, with %v against %v, minority %v", a.Outcome, a.AgreeWith, a.AgreeAgainst, a.AgainstMajority)
	}
	own := []Rule{{ID: "own", Product: "rice", Feature: "ph", Solvent: Any, Response: "score", Kind: Preference, Sign: Falls, Standing: Contested}}
	alone := Evidence{Product: "rice", Response: "score", Lots: names(60), Y: y, Features: []FeatureColumn{{ID: "ph", X: x}}}
	if a := check(t, own, alone)[0]; a.Outcome != Contradicted || !a.AgainstMajority || !strings.Contains(a.Reason, "no published party") {
		t.Errorf("%s, minority %v: %s", a.Outcome, a.AgainstMajority, a.Reason)
	}
}
