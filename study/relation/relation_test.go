package relation

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"flourcast/stat/correlation"

	"pgregory.net/rapid"
)

// r 0.6 over 30 lots has the 95 % interval 0.306 to 0.790 (Fisher's z: 0.693147 ±
// 1.96 · 0.192450).
func TestInterval(t *testing.T) {
	d := Data{Feature: "x", Response: "y"}
	// Two orthogonal patterns of mean 0 and equal length make r exactly.
	for i := range 30 {
		a, b := math.Sin(2*math.Pi*float64(i)/30), math.Cos(2*math.Pi*float64(i)/30)
		d.X, d.Y, d.Lots = append(d.X, 100+a), append(d.Y, 0.6*a+0.8*b), append(d.Lots, fmt.Sprint(i))
	}
	r, ok, err := Of(d)
	if err != nil || !ok || math.Abs(r.R-0.6) > 1e-9 || math.Abs(*r.Low-0.305842) > 1e-5 || math.Abs(*r.High-0.789590) > 1e-5 {
		t.Errorf("%+v, %v", r, err)
	}
	if len(r.Line) != linePoints || r.Line[0].Low >= r.Line[0].Y || r.GivenProtein != nil || r.WithinYear != nil {
		t.Errorf("line of %d points, given protein %v, within year %v", len(r.Line), r.GivenProtein, r.WithinYear)
	}
}

// Protein and crop years are taken off; rows of a lot count once; what lacks a
// figure is left out.
func TestParts(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 8))
	d := Data{Feature: "x", Response: "y"}
	for i := range 40 {
		year := i % 4
		p := rng.NormFloat64()
		x, y := -p+0.3*rng.NormFloat64()+3*float64(year), p+0.3*rng.NormFloat64()+3*float64(year)
		for range 1 + i%2 {
			d.X, d.Y, d.Lots = append(d.X, x), append(d.Y, y), append(d.Lots, fmt.Sprint(i))
			d.Protein, d.ProteinKnown, d.Present = append(d.Protein, p), append(d.ProteinKnown, i != 7), append(d.Present, i != 9)
			d.Years = append(d.Years, fmt.Sprint(2020+year))
		}
	}
	r, ok, err := Of(d)
	if err != nil || !ok || r.N != 39 || len(r.Points) != 39 {
		t.Fatalf("%d lots, %v, %v", r.N, ok, err)
	}
	if r.R < 0.5 || r.WithinYear.R > -0.5 || r.WithinYear.N != 39 || r.WithinYear.Years != 4 {
		t.Errorf("pooled %.2f, within years %+v: years make it rise, lots of a year fall", r.R, r.WithinYear)
	}
	if r.GivenProtein == nil || r.GivenProtein.N != 38 || r.GivenProtein.R < 0.9 {
		t.Errorf("given protein %+v: what is left are the years", r.GivenProtein)
	}
	low, high, _ := correlation.Fisher(r.WithinYear.R, 39, 3)
	if low != r.WithinYear.Low || high != r.WithinYear.High {
		t.Errorf("within years %+v, four means cost three degrees of freedom: %v to %v", r.WithinYear, low, high)
	}
	d.Years[0], d.Years = "2021", d.Years[:len(d.Years):len(d.Years)]
	if r, _, _ := Of(d); r.WithinYear == nil {
		t.Error("one lot changed its year, and all years went")
	}
}

func TestNoRelation(t *testing.T) {
	flat := Data{Feature: "x", Response: "y", Lots: []string{"a", "b", "c", "d", "e"}, X: make([]float64, 5), Y: []float64{1, 2, 3, 4, 5}}
	if _, ok, err := Of(flat); ok || err != nil {
		t.Errorf("a flat feature: %v, %v", ok, err)
	}
	flat.X = []float64{1, 2, 3, 4, 5}
	flat.Present = []bool{true, true, true, false, false}
	if r, ok, _ := Of(flat); ok || r.N != 3 {
		t.Errorf("three lots: %v, %d", ok, r.N)
	}
}

func TestAdjust(t *testing.T) {
	p := func(v float64) *float64 { return &v }
	rs := []Relation{{P: p(0.04)}, {}, {P: p(0.01)}, {P: p(0.5)}}
	Adjust(rs)
	if math.Abs(*rs[0].PAdjusted-0.06) > 1e-12 || rs[1].PAdjusted != nil || math.Abs(*rs[2].PAdjusted-0.03) > 1e-12 || *rs[3].PAdjusted != 0.5 {
		t.Errorf("adjusted %v, %v, %v", *rs[0].PAdjusted, *rs[2].PAdjusted, *rs[3].PAdjusted)
	}
}

// Within treatments: with two of them, r of deviations from their means is the partial
// correlation given an indicator of treatment, which is another formula; its interval and
// p have a degree of freedom less. Both treatments of one lot count.
func TestWithinTreatments(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		d := Data{Feature: "peak_mPas", Response: "volume_mL"}
		var indicator []float64
		for i := range rapid.IntRange(8, 30).Draw(rt, "lots") {
			treated := i % 2
			d.Lots = append(d.Lots, fmt.Sprint("L", i/2)) // each flour untreated and treated
			d.Treatments = append(d.Treatments, []string{"none", "chlorinated"}[treated])
			indicator = append(indicator, float64(treated))
			x := rapid.Float64Range(0, 10).Draw(rt, "x") + 50*float64(treated)
			d.X = append(d.X, x)
			d.Y = append(d.Y, 0.3*x+rapid.Float64Range(0, 10).Draw(rt, "y")-80*float64(treated))
		}
		r, ok, err := Of(d)
		want, defined := correlation.Partial(d.X, d.Y, indicator, nil)
		if !ok || !defined || err != nil {
			rt.Skip("no variation")
		}
		low, high, _ := correlation.Fisher(want, len(d.X), 1)
		if r.N != len(d.X) || r.Treatments != 2 || len(r.Line) != 0 || r.Points[1].Treatment != "chlorinated" {
			rt.Fatalf("%+v", r)
		}
		if math.Abs(r.R-want) > 1e-8 || math.Abs(*r.Low-low) > 1e-8 || math.Abs(*r.High-high) > 1e-8 || math.Abs(*r.P-correlation.P(want, len(d.X)-1)) > 1e-8 {
			rt.Fatalf("r %g (%g to %g), p %g; want %g (%g to %g), p %g", r.R, *r.Low, *r.High, *r.P, want, low, high, correlation.P(want, len(d.X)-1))
		}
	})
}

// A treatment that moves both makes a relation that no treatment has within itself; given
// protein, too, and within crop years.
func TestTreatmentIsTakenOff(t *testing.T) {
	d := Data{Feature: "peak_mPas", Response: "volume_mL"}
	for i := range 40 {
		treated := i % 2
		k := float64(i / 2)
		d.Lots, d.Treatments = append(d.Lots, fmt.Sprint("L", i)), append(d.Treatments, []string{"none", "heat-treated"}[treated])
		d.Years = append(d.Years, []string{"2024", "2025"}[i/20])
		d.X, d.Y = append(d.X, math.Mod(k*7, 10)+100*float64(treated)), append(d.Y, math.Mod(k*3, 10)+100*float64(treated))
		d.Protein = append(d.Protein, math.Mod(k*11, 13))
	}
	told, ok, err := Of(d)
	if !ok || err != nil || told.GivenProtein == nil || told.WithinYear == nil {
		t.Fatalf("%+v, %v, %v", told, ok, err)
	}
	d.Treatments = nil
	mixed, _, err := Of(d)
	if err != nil || mixed.R < 0.99 || mixed.GivenProtein.R < 0.99 || mixed.WithinYear.R < 0.99 || mixed.Treatments != 0 {
		t.Errorf("over treatments: %+v", mixed)
	}
	if math.Abs(told.R) > 0.5 || math.Abs(told.GivenProtein.R) > 0.5 || math.Abs(told.WithinYear.R) > 0.5 || told.WithinYear.Years != 2 || told.WithinYear.N != 40 {
		t.Errorf("within treatments: %+v, %+v, %+v", told.R, told.GivenProtein, told.WithinYear)
	}
}
