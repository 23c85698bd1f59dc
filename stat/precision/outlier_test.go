package precision

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"
)

// Published critical values of Cochran's test at 5 % (National Measurement System,
// Chemical and Biological Metrology, "Cochran test", 14 January 2009; three decimals),
// and at 1 % of ISO 5725-2 table 4 (from memory).
func TestCochranCriticalValues(t *testing.T) {
	five := map[int][4]float64{ // groups → n = 2, 3, 4, 5
		2: {0.998, 0.975, 0.939, 0.906}, 3: {0.967, 0.871, 0.798, 0.746}, 4: {0.906, 0.768, 0.684, 0.629},
		5: {0.841, 0.684, 0.598, 0.544}, 6: {0.781, 0.616, 0.532, 0.480}, 8: {0.680, 0.516, 0.438, 0.391},
		10: {0.602, 0.445, 0.373, 0.331}, 15: {0.471, 0.335, 0.276, 0.242}, 20: {0.389, 0.270, 0.221, 0.192},
	}
	for groups, row := range five {
		for k, want := range row {
			near(t, "5 %", CochranCritical(0.05, groups, k+2), want, 0.0011)
		}
	}
	for groups, want := range map[int]float64{3: 0.993, 4: 0.968, 5: 0.928, 10: 0.718, 20: 0.480} {
		near(t, "1 %, n = 2", CochranCritical(0.01, groups, 2), want, 0.0011)
	}
}

// Eight masses of a uranium isotope (Tietjen & Moore 1972, as in the
// NIST/SEMATECH handbook 1.3.5.17.1: G 2.4687, critical 2.032 at the upper end, 5 %).
// G and critical value to six digits as the R function grubbsTest prints them; P from
// the density of Student's t, integrated by us.
func TestGrubbsOnTheHandbooksExample(t *testing.T) {
	x := []float64{199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57}
	s, err := Grubbs(x)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "G", s.Statistic, 2.468765, 5e-7)
	near(t, "P at both ends", s.P, 2*1.501319e-07, 1e-12)
	near(t, "critical at one end", GrubbsCritical(2*0.05, 8), 2.031652, 5e-7)
	if s.Index != 7 || s.Standing != Outlier {
		t.Errorf("%+v, want figure 7 as outlier", s)
	}
}

// Single Grubbs, ISO 5725-2 table 5 (from memory): upper 5 % and 1 %.
func TestGrubbsCriticalValues(t *testing.T) {
	for n, want := range map[int][2]float64{4: {1.481, 1.496}, 5: {1.715, 1.764}, 6: {1.887, 1.973}, 8: {2.126, 2.274}, 10: {2.290, 2.482}, 20: {2.709, 3.001}} {
		near(t, "5 %", GrubbsCritical(0.05, n), want[0], 0.0011)
		near(t, "1 %", GrubbsCritical(0.01, n), want[1], 0.0011)
	}
}

// Per cent by which the SD falls when one, or two on one side, are left out, at
// 2.5 % over both ends: AOAC INTERNATIONAL, Official Methods of Analysis (2005),
// Appendix D, appendix 2, had by simulation of some 7000 sets and smoothed, hence the
// tolerances.
func TestGrubbsAgainstSimulatedTable(t *testing.T) {
	for n, want := range map[int][2]float64{6: {64.0, 81.3}, 8: {51.4, 66.5}, 10: {42.8, 56.4}, 15: {29.9, 41.2}, 20: {23.6, 33.2}, 30: {17.1, 24.1}, 50: {11.1, 16.2}} {
		k := float64(n)
		g := GrubbsCritical(0.025, n)
		one := 100 * (1 - math.Sqrt((1-k*g*g/((k-1)*(k-1)))*(k-1)/(k-2)))
		two := 100 * (1 - math.Sqrt(GrubbsPairCritical(0.025, n)*(k-1)/(k-3)))
		near(t, "one", one, want[0], 1)
		near(t, "two on one side", two, want[1], 2)
	}
}

// The tests call out a set of pure chance as often as they say, within four
// standard errors above, and are not idle.
func TestOutlierTestsKeepTheirLevel(t *testing.T) {
	const sets, n = 4000, 12
	r := rand.New(rand.NewPCG(5, 5725))
	count := map[string]int{}
	for range sets {
		x, sd, sizes := make([]float64, n), make([]float64, n), make([]int, n)
		for i := range x {
			x[i] = 100 + r.NormFloat64()
			g := make([]float64, 2+i%2)
			for k := range g {
				g[k] = r.NormFloat64()
			}
			sizes[i], sd[i] = len(g), stat.StdDev(g, nil)
		}
		for name, test := range map[string]func() (Suspect, error){
			"Cochran": func() (Suspect, error) { return Cochran(sizes, sd) },
			"Grubbs":  func() (Suspect, error) { return Grubbs(x) },
			"pair":    func() (Suspect, error) { return GrubbsPair(x) },
		} {
			s, err := test()
			if err != nil {
				t.Fatal(err)
			}
			if s.Standing != "" {
				count[name]++
			}
		}
	}
	for _, name := range []string{"Cochran", "Grubbs", "pair"} {
		share := float64(count[name]) / sets
		if share > 0.05+4*math.Sqrt(0.05*0.95/sets) || share < 0.02 {
			t.Errorf("%s calls out %.1f %% of sets of pure chance, said 5 %%", name, 100*share)
		}
	}
}

func TestTwoHideFromOneAndNotFromThePair(t *testing.T) {
	x := []float64{10.1, 9.9, 10, 10.2, 9.8, 10.05, 14, 14.1}
	one, err1 := Grubbs(x)
	pair, err2 := GrubbsPair(x)
	if err1 != nil || err2 != nil {
		t.Fatal(err1, err2)
	}
	if one.Standing != "" || pair.Standing != Outlier || pair.Index+pair.Also != 6+7 {
		t.Errorf("one %+v, pair %+v", one, pair)
	}
	for i := range x {
		x[i] = -x[i]
	}
	if low, _ := GrubbsPair(x); math.Abs(low.Statistic-pair.Statistic) > 1e-12 || low.Index+low.Also != 6+7 {
		t.Errorf("mirrored %+v against %+v", low, pair)
	}
}

// Statistic and critical value say the same as the probability.
func TestProbabilityAgreesWithCriticalValue(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		figure := rapid.Float64Range(-100, 100)
		x := rapid.SliceOfN(figure, 4, 30).Draw(t, "x")
		sd := rapid.SliceOfN(rapid.Float64Range(0.01, 10), 2, 30).Draw(t, "sd")
		n := rapid.IntRange(2, 5).Draw(t, "n")
		sizes := make([]int, len(sd))
		for i := range sizes {
			sizes[i] = n
		}
		c, err := Cochran(sizes, sd)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(c.P-0.05) > 1e-6 && (c.P < 0.05) != (c.Statistic > CochranCritical(0.05, len(sd), n)) {
			t.Fatalf("Cochran %+v against %v", c, CochranCritical(0.05, len(sd), n))
		}
		g, err := Grubbs(x)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(g.P-0.05) > 1e-6 && (g.P < 0.05) != (g.Statistic > GrubbsCritical(0.05, len(x))) {
			t.Fatalf("Grubbs %+v against %v", g, GrubbsCritical(0.05, len(x)))
		}
		p, err := GrubbsPair(x)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(p.P-0.05) > 1e-6 && (p.P < 0.05) != (p.Statistic < GrubbsPairCritical(0.05, len(x))) {
			t.Fatalf("pair %+v against %v", p, GrubbsPairCritical(0.05, len(x)))
		}
	})
}

func TestOutlierTestsOnHostileInput(t *testing.T) {
	for name, x := range map[string][]float64{"few": {1, 2}, "NaN": {1, 2, 3, math.NaN(), 4}, "Inf": {1, 2, 3, math.Inf(-1), 4}} {
		_, one := Grubbs(x)
		_, two := GrubbsPair(x)
		var few *TooFewError
		if !errors.As(one, &few) || !errors.As(two, &few) {
			t.Errorf("%s: %v, %v", name, one, two)
		}
	}
	for name, c := range map[string]struct {
		n  []int
		sd []float64
	}{"one group": {[]int{2, 1}, []float64{1, 0}}, "no replicate": {[]int{1, 1}, []float64{0, 0}}, "NaN": {[]int{2, 2}, []float64{1, math.NaN()}}} {
		if _, err := Cochran(c.n, c.sd); err == nil {
			t.Errorf("Cochran of %s: no error", name)
		}
	}
	same := []float64{5, 5, 5, 5, 5}
	one, _ := Grubbs(same)
	two, _ := GrubbsPair(same)
	still, _ := Cochran([]int{2, 2, 2}, []float64{0, 0, 0})
	if one.Standing != "" || two.Standing != "" || still.Standing != "" {
		t.Errorf("equal figures suspected: %+v %+v %+v", one, two, still)
	}
	apart, err := Grubbs([]float64{5, 5, 5, 5, 6})
	if err != nil || apart.Standing != Outlier || apart.Index != 4 {
		t.Errorf("one unlike four equal ones: %+v, %v", apart, err)
	}
	loose, err := Cochran([]int{2, 2, 3, 1}, []float64{0, 0, 2, math.NaN()})
	if err != nil || loose.Standing != Outlier || loose.Index != 2 || loose.Statistic != 1 {
		t.Errorf("one spread among none: %+v, %v", loose, err)
	}
}

// χ² with 10 degrees of freedom: 3.247 and 20.483 at 2.5 and 97.5 % (tables; from memory).
func TestIntervalOfSD(t *testing.T) {
	low, high := Repeatable{SD: 1, DF: 10}.Interval(0.95)
	near(t, "low", low, math.Sqrt(10/20.483), 1e-4)
	near(t, "high", high, math.Sqrt(10/3.247), 1e-4)
}

func TestBetweenIsThatOfTheAnalysisOfVariance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k, n := rapid.IntRange(2, 8).Draw(t, "k"), rapid.IntRange(2, 4).Draw(t, "n")
		groups, means, sizes := make([][]float64, k), make([]float64, k), make([]int, k)
		for i := range groups {
			groups[i] = rapid.SliceOfN(rapid.Float64Range(-100, 100), n, n).Draw(t, "g")
			means[i], sizes[i] = stat.Mean(groups[i], nil), n
		}
		c, err := OneWay(groups)
		if err != nil {
			t.Fatal(err)
		}
		s, err := Between(means, sizes, c.RepeatSD)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(s*s-max(0, c.BetweenVar)) > 1e-8*(1+c.BetweenMS) {
			t.Fatalf("%v against %v", s*s, c.BetweenVar)
		}
	})
	if _, err := Between([]float64{1, 2}, []int{1, 0}, 1); err == nil {
		t.Error("a group without figures has no mean")
	}
}

// Repeated tests name every suspect by its own place, once.
func TestRepeatedTestsNameByPlace(t *testing.T) {
	x := []float64{10, 10.2, 40, 9.9, 10.1, 9.8, 10.3, -90, 10.05, 9.95, 10.15, 9.85}
	got := Apart(x)
	if len(got) != 2 || got[0].Index != 7 || got[1].Index != 2 {
		t.Errorf("apart: %+v, want figures 7 and 2", got)
	}
	n, sd := make([]int, 12), make([]float64, 12)
	for i := range n {
		n[i], sd[i] = 2, 1+0.01*float64(i)
	}
	sd[4], sd[9], n[0], sd[0] = 40, 30, 1, math.NaN()
	spread := Spreads(n, sd)
	if len(spread) != 2 || spread[0].Index != 4 || spread[1].Index != 9 {
		t.Errorf("spreads: %+v, want groups 4 and 9", spread)
	}
	if pair := Apart([]float64{10.1, 9.9, 10, 10.2, 9.8, 10.05, 14, 14.1}); len(pair) != 1 || pair[0].Also < 0 {
		t.Errorf("pair: %+v", pair)
	}
	if Apart(nil) != nil || Spreads(nil, nil) != nil || Apart([]float64{1}) != nil {
		t.Error("nothing has suspects")
	}
}
