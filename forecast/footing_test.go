package forecast

import (
	"testing"

	"flourcast/eval/domain"
	"flourcast/eval/verdict"
)

// A hold for want of certainty may be compared; a hold for a doubt may not, whatever its
// probability.
func TestFooting(t *testing.T) {
	p := func(v float64) *float64 { return &v }
	for _, c := range []struct {
		f        Forecast
		standing string
		want     string
	}{
		{Forecast{Probability: p(0.99), Decision: Accept}, verdict.FitForUse, Decided},
		{Forecast{Probability: p(0.6), Decision: Hold}, verdict.Provisional, Decided},
		{Forecast{Probability: p(0.01), Decision: Reject}, verdict.FitForUse, Decided},
		{Forecast{Probability: p(0.99), Decision: Hold}, verdict.FitForUse, Doubted}, // a failing run
		{Forecast{Probability: p(0.6), Decision: Hold, Domain: domain.Outside}, verdict.FitForUse, Doubted},
		{Forecast{Probability: p(0.6), Decision: Hold, Domain: domain.Edge}, verdict.FitForUse, Decided},
		{Forecast{Probability: p(0.6), Decision: Hold}, verdict.NotFitForUse, Doubted},
		{Forecast{Decision: Hold}, verdict.FitForUse, Unknown},
	} {
		if got := c.f.Footing(c.standing, DefaultRule()); got != c.want {
			t.Errorf("%+v by a model %s: %s, want %s", c.f, c.standing, got, c.want)
		}
	}
}
