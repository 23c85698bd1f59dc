package mixing

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// ownBlends of two or three flours under a rule, with an error of SD sd.
func ownBlends(t *testing.T, r *rand.Rand, rule Rule, n int, sd float64) []Made {
	t.Helper()
	var out []Made
	for range n {
		m := Made{}
		for range 2 + r.IntN(2) {
			m.Values, m.Shares = append(m.Values, 1000+2500*r.Float64()), append(m.Shares, 0.2+r.Float64())
		}
		v, err := rule.Mix(m.Values, m.Shares)
		if err != nil {
			t.Fatal(err)
		}
		m.Measured = v + sd*r.NormFloat64()
		out = append(out, m)
	}
	return out
}

// Blends made by a rule are found to follow it, with the SD they were given.
func TestLearnFindsTheRule(t *testing.T) {
	for _, c := range []struct {
		rule Rule
		want string
	}{{Mass, "mass"}, {Log, "log"}, {Power(-1.2), "power"}} {
		l, err := Learn("peak", ownBlends(t, rand.New(rand.NewPCG(1, 2)), c.rule, 60, 20))
		if err != nil {
			t.Fatal(err)
		}
		name, _, _ := cut(l.Rule)
		if name != c.want || math.Abs(l.SD-20) > 6 || math.Abs(l.Bias) > 10 {
			t.Errorf("made by %s: %+v", c.rule, l)
		}
		if c.want == "power" && math.Abs(l.Rule.power+1.2) > 0.4 {
			t.Errorf("exponent %v, made with −1.2", l.Rule.power)
		}
	}
	// Without any error the exponent comes back to many digits.
	l, err := Learn("peak", ownBlends(t, rand.New(rand.NewPCG(3, 4)), Power(0.4), 12, 0))
	if err != nil || math.Abs(l.Rule.power-0.4) > 1e-3 || l.SD > 0.01 {
		t.Errorf("%+v, %v", l, err)
	}
}

func cut(r Rule) (name string, power float64, ok bool) {
	if r.name == "" {
		return "mass", 0, true
	}
	return r.name, r.power, true
}

// Among blends that follow mass, the exponent is preferred by chance in about 5 %.
func TestTheSimpleRuleIsKept(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	other := 0
	const trials = 400
	for range trials {
		l, err := Learn("peak", ownBlends(t, r, Mass, 15, 60))
		if err != nil {
			t.Fatal(err)
		}
		if l.Rule != Mass {
			other++
		}
	}
	if share := float64(other) / trials; share < 0.02 || share > 0.09 { // 0.05 ± 3.6 SD
		t.Errorf("another rule in %.3f of the trials", share)
	}
}

func TestTooFewBlendsAreRefused(t *testing.T) {
	_, err := Learn("peak", ownBlends(t, rand.New(rand.NewPCG(1, 2)), Mass, Least-1, 5))
	var few *TooFewError
	if !errors.As(err, &few) || few.Have != Least-1 || few.Need != Least {
		t.Errorf("%v", err)
	}
	made := ownBlends(t, rand.New(rand.NewPCG(1, 2)), Mass, Least, 5)
	made[0].Measured = math.Inf(1)
	if _, err := Learn("peak", made); err == nil {
		t.Error("an infinite figure was learned from")
	}
	// Figures without a logarithm: only mass is asked.
	made = ownBlends(t, rand.New(rand.NewPCG(1, 2)), Mass, Least, 5)
	made[0].Values[0] = -10
	if l, err := Learn("setback", made); err != nil || l.Rule != Mass || l.SDLog != nil {
		t.Errorf("%+v, %v", l, err)
	}
}

// Check values of the rules, by hand: 1500 and 3000 in equal shares.
func TestRules(t *testing.T) {
	for _, c := range []struct {
		rule Rule
		want float64
	}{{Mass, 2250}, {Log, 2121.3203435596}, {Power(1. / 3), 2164.1174}, {Power(1), 2250}} {
		got, err := c.rule.Mix([]float64{1500, 3000}, []float64{0.5, 0.5})
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(got-c.want) > 5e-3 {
			t.Errorf("%s: %v, want %v", c.rule, got, c.want)
		}
	}
	for _, bad := range []Rule{Log, Power(0.5)} {
		if _, err := bad.Mix([]float64{0, 5}, []float64{0.5, 0.5}); err == nil {
			t.Errorf("%s of 0", bad)
		}
	}
	// A flour without a share need have no figure that the rule can take.
	if got, err := Log.Mix([]float64{0, 5}, []float64{0, 1}); err != nil || math.Abs(got-5) > 1e-12 {
		t.Error(got, err)
	}
}
