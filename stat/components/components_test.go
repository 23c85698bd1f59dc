package components

import (
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"flourcast/work"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*max(1, math.Abs(want))) {
		t.Errorf("%s: %.12g, want %.12g", what, got, want)
	}
}

func byName(t *testing.T, a *Analysis, name string) Term {
	t.Helper()
	for _, x := range a.Terms {
		if x.Name == name {
			return x
		}
	}
	t.Fatalf("no term %s in %+v", name, a.Terms)
	return Term{}
}

func analyse(t *testing.T, y []float64, opt Options, factors ...Factor) *Analysis {
	t.Helper()
	a, err := Analyse(y, factors, opt)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// cakes are Cook's chocolate cakes; see testdata/SOURCE.md.
func cakes(t *testing.T) (y []float64, columns map[string][]string) {
	t.Helper()
	f, err := os.Open("testdata/cake.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) != 271 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	columns = map[string][]string{}
	for _, row := range rows[1:] {
		for k, name := range rows[0] {
			columns[name] = append(columns[name], row[k])
		}
		v, err := strconv.ParseFloat(row[3], 64)
		if err != nil {
			t.Fatal(err)
		}
		y = append(y, v)
	}
	return y, columns
}

// TestCakes: recipe, replicate batters within it, temperature across. Sums of
// squares and components by us in exact fractions from the published figures
// with the textbook formulas of a split plot. Components of replicate (41.84) and
// residual (20.47) are also those of a mixed model fitted by R's lme4 (from memory).
func TestCakes(t *testing.T) {
	y, c := cakes(t)
	a := analyse(t, y, Options{}, Factor{"recipe", c["recipe"]}, Factor{"replicate", c["replicate"]}, Factor{"temp", c["temp"]})
	if len(a.Terms) != 5 || len(a.Left) != 0 {
		t.Fatalf("%+v", a)
	}
	for _, w := range []struct {
		name    string
		df      int
		ss, raw float64
	}{
		{"recipe", 2, 135.0888888888889, -2.2675061728395063},
		{"replicate", 42, 11402.711111111112, 41.837037037037035},
		{"temp", 5, 2100.3, 8.876938271604939},
		{"recipe:temp", 10, 205.9777777777778, 0.008458553791887126},
		{Residual, 210, 4298.888888888889, 20.47089947089947},
	} {
		got := byName(t, a, w.name)
		if got.DF != w.df {
			t.Errorf("%s: df %d, want %d", w.name, got.DF, w.df)
		}
		near(t, w.name+" SS", got.SS, w.ss, 1e-10)
		near(t, w.name, got.Raw, w.raw, 1e-9)
		near(t, w.name+" not below zero", got.Variance, max(0, w.raw), 1e-9)
	}
	if f := a.Factors[1]; !f.Counted || fmt.Sprint(f.Within) != "[recipe]" {
		t.Errorf("replicate: %+v", f)
	}
	if f := a.Factors[2]; f.Counted || fmt.Sprint(f.Crossed) != "[recipe replicate]" {
		t.Errorf("temp: %+v", f)
	}
}

// TestCakesRiseWithTemperature: mean angles by temperature, by us in exact fractions.
func TestCakesRiseWithTemperature(t *testing.T) {
	y, c := cakes(t)
	means := Means(y, c["temp"])
	want := []float64{27.97777777777778, 29.955555555555556, 31.42222222222222, 32.17777777777778, 35.84444444444444, 35.355555555555554}
	sxy := 0.0
	for i, m := range means {
		near(t, m.Label, m.Mean, want[i], 1e-12)
		at, _ := strconv.ParseFloat(m.Label, 64)
		sxy += (at - 200) * m.Mean
	}
	near(t, "slope, degrees per °C", sxy/1750, 0.15803174603174602, 1e-10) // least squares of R and scikit-learn on the rows
}

// TestDyestuff: six batches of five (Davies & Goldsmith 1972, Statistical Methods
// in Research and Production, 4th ed., p. 135; figures from memory, held by the
// published batch means 1505 … 1470). Components 1764.05 and 2451.25 are published
// for them (Bates et al. 2015, J Stat Softw 67(1), fitted by REML, which agrees in
// balanced data).
func TestDyestuff(t *testing.T) {
	rows := map[string][]float64{
		"A": {1545, 1440, 1440, 1520, 1580}, "B": {1540, 1555, 1490, 1560, 1495}, "C": {1595, 1550, 1605, 1510, 1560},
		"D": {1445, 1440, 1595, 1465, 1545}, "E": {1595, 1630, 1515, 1635, 1625}, "F": {1520, 1455, 1450, 1480, 1445},
	}
	var y []float64
	var batch []string
	for _, b := range []string{"A", "B", "C", "D", "E", "F"} {
		y = append(y, rows[b]...)
		for range rows[b] {
			batch = append(batch, b)
		}
	}
	for i, m := range Means(y, batch) {
		near(t, m.Label, m.Mean, []float64{1505, 1528, 1564, 1498, 1600, 1470}[i], 1e-12)
	}
	a := analyse(t, y, Options{}, Factor{"batch", batch})
	near(t, "batch", byName(t, a, "batch").Raw, 1764.05, 1e-10)
	near(t, "residual", byName(t, a, Residual).Raw, 2451.25, 1e-10)
	near(t, "share", byName(t, a, "batch").Share, 1764.05/(1764.05+2451.25), 1e-10)
}

// TestUnbalancedOneWay: n0 = (N − Σn²/N)/(k − 1) by hand: groups of 1, 2, 3 with
// means 2, 5, 9: N 6, n0 = (6 − 14/6)/2 = 11/6.
func TestUnbalancedOneWay(t *testing.T) {
	a := analyse(t, []float64{2, 4, 6, 8, 9, 10}, Options{}, Factor{"lot", []string{"x", "y", "y", "z", "z", "z"}})
	lot, rest := byName(t, a, "lot"), byName(t, a, Residual)
	near(t, "n0", lot.Expected[0], 11.0/6, 1e-12)
	near(t, "within", rest.MS, 4.0/3, 1e-12) // (2 + 2)/3
	near(t, "between", lot.SS, 43.5, 1e-12)  // Σ n(mean − 6.5)² = 20.25 + 4.5 + 18.75
	near(t, "lot", lot.Raw, (43.5/2-4.0/3)/(11.0/6), 1e-12)
}

func TestPlacing(t *testing.T) {
	lot := []string{"L1", "L1", "L1", "L1", "L2", "L2", "L2", "L2"}
	y := []float64{1, 2, 4, 3, 8, 7, 9, 12}
	for name, c := range map[string]struct {
		day             []string
		opt             Options
		within, crossed string
		counted         bool
		terms           string
	}{
		"counted anew":     {[]string{"1", "1", "2", "2", "1", "1", "2", "2"}, Options{}, "[lot]", "[]", true, "lot day residual"},
		"named by the lot": {[]string{"a1", "a1", "a2", "a2", "b1", "b1", "b2", "b2"}, Options{}, "[lot]", "[]", false, "lot day residual"},
		"dates":            {[]string{"2026-03-02", "2026-03-02", "2026-03-09", "2026-03-09", "2026-03-02", "2026-03-02", "2026-03-09", "2026-03-09"}, Options{}, "[]", "[lot]", false, "lot day lot:day residual"},
		"said to cross":    {[]string{"1", "1", "2", "2", "1", "1", "2", "2"}, Options{Crossed: []string{"day"}}, "[]", "[lot]", false, "lot day lot:day residual"},
		"said to nest":     {[]string{"Mon", "Mon", "Tue", "Tue", "Mon", "Mon", "Tue", "Tue"}, Options{Nested: []string{"day"}}, "[lot]", "[]", false, "lot day residual"},
		"the residual":     {[]string{"1", "2", "3", "4", "1", "2", "3", "4"}, Options{}, "[lot]", "[]", true, "lot day"},
		"one day":          {[]string{"1", "1", "1", "1", "1", "1", "1", "1"}, Options{}, "[lot]", "[]", true, "lot residual"},
	} {
		t.Run(name, func(t *testing.T) {
			a := analyse(t, y, c.opt, Factor{"lot", lot}, Factor{"day", c.day})
			p := a.Factors[1]
			var terms []string
			for _, x := range a.Terms {
				terms = append(terms, x.Name)
			}
			if fmt.Sprint(p.Within) != c.within || fmt.Sprint(p.Crossed) != c.crossed || p.Counted != c.counted || strings.Join(terms, " ") != c.terms {
				t.Errorf("%+v, terms %v", p, terms)
			}
		})
	}
}

func TestCounts(t *testing.T) {
	for labels, want := range map[string]bool{"1 2 3": true, "01 02": true, "B1 B2": true, "a b c": true, "A B": true, "batch-1 batch-2": true, "1": true,
		"175 185": false, "2 3": false, "1 2 4": false, "b c": false, "A1 B2": false, "Anna Ben": false, "2026-03-01": false, "a c": false} {
		if got := counts(strings.Fields(labels)); got != want {
			t.Errorf("%s: %v", labels, got)
		}
	}
}

func TestErrors(t *testing.T) {
	y, l := []float64{1, 2, 3, 4}, []string{"a", "a", "b", "b"}
	for name, c := range map[string]struct {
		y       []float64
		factors []Factor
		opt     Options
		part    string
	}{
		"few rows":    {[]float64{1, 2}, []Factor{{"lot", l[:2]}}, Options{}, "at least 3"},
		"not finite":  {[]float64{1, math.NaN(), 3, 4}, []Factor{{"lot", l}}, Options{}, "row 2"},
		"no factor":   {y, nil, Options{}, "at least one"},
		"twice":       {y, []Factor{{"lot", l}, {"lot", l}}, Options{}, "of its own"},
		"reserved":    {y, []Factor{{Residual, l}}, Options{}, "of its own"},
		"short":       {y, []Factor{{"lot", l[:3]}}, Options{}, "one a row"},
		"empty label": {y, []Factor{{"lot", []string{"a", "", "b", "b"}}}, Options{}, "row 2"},
		"no repeats":  {y, []Factor{{"lot", []string{"a", "b", "c", "d"}}}, Options{}, ""},
		"unknown":     {y, []Factor{{"lot", l}}, Options{Crossed: []string{"day"}}, "day"},
		"both":        {y, []Factor{{"lot", l}}, Options{Crossed: []string{"lot"}, Nested: []string{"lot"}}, "one of the two"},
	} {
		a, err := Analyse(c.y, c.factors, c.opt)
		var e *Error
		if c.part == "" { // one row a lot: the lot is all there is, and no unit with repeats
			if err != nil || len(a.Terms) != 1 {
				t.Errorf("%s: %+v %v", name, a, err)
			}
			continue
		}
		if !errors.As(err, &e) || !strings.Contains(e.Error(), c.part) {
			t.Errorf("%s: %v", name, err)
		}
	}
	big := make([]float64, 4000)
	var row, column []string
	for i := range big {
		row, column = append(row, fmt.Sprint("r", 7*(i/2))), append(column, fmt.Sprint("c", 3*((i*37)%1900)))
	}
	var e *Error
	if _, err := Analyse(big, []Factor{{"row", row}, {"column", column}}, Options{}); !errors.As(err, &e) {
		t.Errorf("thousands of crossed cells: %v", err)
	}
}

// mill draws rows lot / day / batch / strand, not balanced, with labels counted anew.
func mill(t *rapid.T) (y []float64, lot, day, batch []string) {
	for l := range rapid.IntRange(2, 4).Draw(t, "lots") {
		for d := range rapid.IntRange(1, 3).Draw(t, "days") {
			for b := range rapid.IntRange(1, 3).Draw(t, "batches") {
				for range rapid.IntRange(1, 3).Draw(t, "strands") {
					y = append(y, float64(rapid.IntRange(-100, 100).Draw(t, "y")))
					lot, day, batch = append(lot, fmt.Sprint("L", l+1)), append(day, fmt.Sprint(d+1)), append(batch, fmt.Sprint(b+1))
				}
			}
		}
	}
	return y, lot, day, batch
}

// TestProperties: sums of squares and degrees of freedom add up; group means and
// elimination agree; a shift changes nothing, a stretch the variances by its
// square; shares add up to 1.
func TestProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		y, lot, day, batch := mill(t)
		factors := []Factor{{"lot", lot}, {"day", day}, {"batch", batch}}
		a, err := Analyse(y, factors, Options{Nested: []string{"day", "batch"}})
		if err != nil {
			var e *Error
			if !errors.As(err, &e) {
				t.Fatal(err)
			}
			return
		}
		ss, df, total, share := 0.0, 0, 0.0, 0.0
		for _, x := range a.Terms {
			ss, df, share = ss+x.SS, df+x.DF, share+x.Share
			if x.Variance < 0 || x.Raw > 0 && x.Variance != x.Raw {
				t.Fatalf("%+v", x)
			}
		}
		for _, v := range y {
			total += (v - a.Mean) * (v - a.Mean)
		}
		if math.Abs(ss-total) > 1e-8*(1+total) || df != len(y)-1 || share != 0 && math.Abs(share-1) > 1e-12 {
			t.Fatalf("SS %g of %g, df %d of %d, shares %g", ss, total, df, len(y)-1, share)
		}
		moved := make([]float64, len(y))
		for i, v := range y {
			moved[i] = 3*v + 1000
		}
		b, err := Analyse(moved, factors, Options{Nested: []string{"day", "batch"}})
		if err != nil {
			t.Fatal(err)
		}
		for k := range a.Terms {
			if math.Abs(b.Terms[k].Raw-9*a.Terms[k].Raw) > 1e-6*(1+total) {
				t.Fatalf("stretched: %g and %g", a.Terms[k].Raw, b.Terms[k].Raw)
			}
		}
		p := &Analysis{N: len(y)}
		terms, _ := p.terms(factors, p.place(factors, Options{Nested: []string{"day", "batch"}}))
		centred := make([]float64, len(y))
		for i := range y {
			centred[i] = y[i] - a.Mean
		}
		one, two := nested(centred, terms), eliminate(centred, terms)
		for k := range one.ss {
			if one.df[k] != two.df[k] || math.Abs(one.ss[k]-two.ss[k]) > 1e-7*(1+total) {
				t.Fatalf("means %+v, elimination %+v", one, two)
			}
		}
		for k := range one.expected {
			for j := range one.expected[k] {
				if math.Abs(one.expected[k][j]-two.expected[k][j]) > 1e-8*float64(len(y)) {
					t.Fatalf("means %+v, elimination %+v", one, two)
				}
			}
		}
	})
}

// TestTruthComesBack: 200 invented mills; the mean of the estimates lies within
// four standard errors of the truth, nested and crossed.
func TestTruthComesBack(t *testing.T) {
	truth := map[string]float64{"lot": 9, "day": 4, "batch": 1, Residual: 2.25}
	for _, crossed := range []bool{false, true} {
		rng := work.Rand(7, "components", fmt.Sprint(crossed))
		found := map[string][]float64{}
		for range 200 {
			var y []float64
			var lot, day, batch []string
			common := []float64{2 * rng.NormFloat64(), 2 * rng.NormFloat64(), 2 * rng.NormFloat64()}
			for l := range 8 {
				ofLot := 3 * rng.NormFloat64()
				for d := range 3 {
					ofDay := common[d]
					if !crossed {
						ofDay = 2 * rng.NormFloat64()
					}
					for b := range 2 {
						ofBatch := rng.NormFloat64()
						for range 3 - b {
							y = append(y, 20+ofLot+ofDay+ofBatch+1.5*rng.NormFloat64())
							lot, day, batch = append(lot, fmt.Sprint("L", l)), append(day, []string{"Mon", "Tue", "Wed"}[d]), append(batch, fmt.Sprint(b+1))
						}
					}
				}
			}
			opt := Options{Nested: []string{"day", "batch"}}
			if crossed {
				opt.Nested = opt.Nested[1:]
			}
			a, err := Analyse(y, []Factor{{"lot", lot}, {"day", day}, {"batch", batch}}, opt)
			if err != nil {
				t.Fatal(err)
			}
			for _, x := range a.Terms {
				found[x.Name] = append(found[x.Name], x.Raw)
			}
		}
		if crossed {
			truth["lot:day"] = 0
		}
		for name, want := range truth {
			v := found[name]
			mean, ss := 0.0, 0.0
			for _, x := range v {
				mean += x / float64(len(v))
			}
			for _, x := range v {
				ss += (x - mean) * (x - mean)
			}
			if se := math.Sqrt(ss/float64(len(v)-1)) / math.Sqrt(float64(len(v))); len(v) != 200 || math.Abs(mean-want) > 4*se {
				t.Errorf("crossed %v, %s: %g ± %g of %d, want %g", crossed, name, mean, se, len(v), want)
			}
		}
	}
}

// TestPlan: variances 4 (day), 1 (batch), 2.25 (strand) by hand:
// SE² = 4/D + 1/(D·B) + 2.25/(D·B·S).
func TestPlan(t *testing.T) {
	a := &Analysis{Factors: []Placed{{Name: "lot"}, {Name: "day"}, {Name: "batch"}}, Terms: []Term{
		{Name: "lot", Factors: []string{"lot"}, Variance: 9},
		{Name: "day", Factors: []string{"lot", "day"}, Variance: 4},
		{Name: "batch", Factors: []string{"lot", "day", "batch"}, Variance: 1},
		{Name: "strand", Factors: []string{"lot", "day", "batch"}, Variance: 2.25},
	}}
	near(t, "1, 1, 1", a.SE([]int{1, 1}, 1), math.Sqrt(7.25), 1e-12)
	near(t, "2, 3, 5", a.SE([]int{2, 3}, 5), math.Sqrt(2+1.0/6+2.25/30), 1e-12)
	p, err := a.Plan(1.2)
	if err != nil || len(p.Ways) == 0 || p.Repeat != "strand" || p.Unit != "lot" {
		t.Fatalf("%+v %v", p, err)
	}
	for i, w := range p.Ways {
		if w.SE > 1.2 || w.Repeats > 1 && a.SE(w.N, w.Repeats-1) <= 1.2 || i > 0 && w.Tests < p.Ways[i-1].Tests {
			t.Errorf("%+v", w)
		}
	}
	// Two days never do: 4/2 alone is above 1.44. Four days, one batch, one strand: 1.8125; five: 1.45; six: 1.208.
	if w := p.Ways[0]; w.N[0] < 3 {
		t.Errorf("cheapest %+v", w)
	}
	if p, _ := a.Plan(0.1); len(p.Ways) != 0 || p.Floor < 0.8 {
		t.Errorf("beyond reach: %+v", p.Ways)
	}
	for _, bad := range []float64{-1, math.NaN(), math.Inf(1)} {
		if _, err := a.Plan(bad); err == nil {
			t.Errorf("%g wanted", bad)
		}
	}
	defer func() {
		if recover() == nil {
			t.Error("no levels: no panic")
		}
	}()
	a.SE([]int{1}, 1)
}

func BenchmarkNested(b *testing.B) {
	rng := work.Rand(1, "bench")
	y := make([]float64, 20000)
	var lot, day, batch []string
	for i := range y {
		y[i] = rng.NormFloat64()
		lot, day, batch = append(lot, fmt.Sprint(i/80)), append(day, fmt.Sprint(i/20)), append(batch, fmt.Sprint(i/5))
	}
	for b.Loop() {
		if _, err := Analyse(y, []Factor{{"lot", lot}, {"day", day}, {"batch", batch}}, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
