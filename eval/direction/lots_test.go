package direction

import (
	"math"
	"testing"

	"flourcast/stat/correlation"
)

// A lot measured more often than others counts once, with its mean; a lot whose
// rows name two crop years has none.
func TestLotsAreAveraged(t *testing.T) {
	x, y := exactly(-0.6, 12, 21)
	e := noodles(append(append([]float64(nil), x...), x[0]+2, x[0]-2), append(append([]float64(nil), y...), y[0]-1, y[0]+1))
	e.Lots[12], e.Lots[13] = e.Lots[0], e.Lots[0]
	if a := the(t, check(t, Builtin(), e), "A13"); a.N != 12 || math.Abs(*a.R+0.6) > 1e-9 {
		t.Errorf("n %d, r %v; want 12 lots and −0.6", a.N, *a.R)
	}
	x, y = exactly(-0.6, 12, 22)
	e = noodles(append(x, x[0]), append(y, y[0]))
	e.Lots[12] = e.Lots[0]
	for i := range 13 {
		e.Year = append(e.Year, []string{"2023", "2024"}[i%2])
	}
	e.Year[12] = "2024" // lot 0 is of 2023 in its first row
	if a := the(t, check(t, Builtin(), e), "A13"); a.Within == nil || a.Within.N != 11 {
		t.Errorf("within years %+v, want 11 of 12 lots", a.Within)
	}
}

// A relation within years that differences between years cover is not called
// absent, and not confirmed either.
func TestCoveredByYears(t *testing.T) {
	var x, y []float64
	var year []string
	for k, name := range []string{"2022", "2023", "2024"} {
		fx, fy := exactly(-0.9, 20, uint64(30+k))
		for i := range fx {
			x, y, year = append(x, fx[i]+1.1*float64(k)), append(y, fy[i]+1.1*float64(k)), append(year, name)
		}
	}
	e := noodles(x, y)
	e.Year = year
	a := the(t, check(t, Builtin(), e), "A13")
	if *a.Low > 0 || *a.High < 0 || a.Within.High > 0 || a.Outcome != CannotTell || a.Code != "years-disagree" {
		t.Errorf("%s, %s: %s", a.Outcome, a.Code, a.Reason)
	}
}

// Below 30 lots Fisher's interval must agree: here the bootstrap alone would say
// yes to a relation, and to the absence of one.
func TestFewLots(t *testing.T) {
	for seed := range uint64(200) {
		x, y := exactly(-0.55, 12, seed)
		a := the(t, check(t, Builtin(), noodles(x, y)), "A13")
		if *a.High < 0 {
			if a.Fisher.High < 0 || a.Outcome != CannotTell {
				t.Errorf("bootstrap up to %.2f, Fisher up to %.2f: %s", *a.High, a.Fisher.High, a.Outcome)
			}
			break
		}
		if seed == 199 {
			t.Error("no set was found on which the two intervals differ")
		}
	}
	rule := []Rule{{ID: "own", Product: "rice", Feature: "ph", Solvent: Any, Response: "score", Sign: None, Standing: Contextual}}
	for seed := range uint64(200) {
		x, y := exactly(0, 29, seed)
		e := Evidence{Product: "rice", Response: "score", Lots: names(29), Y: y, Features: []FeatureColumn{{ID: "ph", X: x}}}
		a := check(t, rule, e)[0]
		if -slight < *a.Low && *a.High < slight {
			if a.Outcome != CannotTell {
				t.Errorf("no relation confirmed on 29 lots, Fisher %.2f to %.2f", a.Fisher.Low, a.Fisher.High)
			}
			break
		}
		if seed == 199 {
			t.Error("no set was found with a narrow bootstrap interval")
		}
	}
}

// The adjusted values are over columns, each counted once, however many rules
// name it.
func TestAdjustedOverColumns(t *testing.T) {
	x, y := exactly(-0.4, 40, 23)
	z, _ := exactly(0.5, 40, 24)
	e := noodles(x, y)
	e.Features = append(e.Features, FeatureColumn{ID: "breakdown_mPas", X: z})
	rules := append(Builtin(), Rule{ID: "own", Product: "white-salted-noodle", Feature: "peak_mPas", Solvent: Any, Response: "hardness_N", Kind: Instrumental, Sign: Falls, Standing: Contextual})
	answers := check(t, rules, e)
	peak, own, breakdown := the(t, answers, "A13"), the(t, answers, "own"), the(t, answers, "P02")
	want := correlation.FalseDiscovery([]float64{*peak.P, *breakdown.P})
	if *peak.PAdjusted != want[0] || *own.PAdjusted != want[0] || *breakdown.PAdjusted != want[1] {
		t.Errorf("adjusted %v, %v, %v; want %v", *peak.PAdjusted, *own.PAdjusted, *breakdown.PAdjusted, want)
	}
}
