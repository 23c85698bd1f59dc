package banding

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// series is 100 − (dose − 5)² at doses 0 … 10, two lots each, one above and one below
// by e, of flours whose levels differ by 20.
func series(e float64, flours ...string) (out []Point) {
	for k, f := range flours {
		for d := 0.0; d <= 10; d++ {
			y := 100 - (d-5)*(d-5) + 20*float64(k)
			out = append(out, Point{f, d, y + e}, Point{f, d, y - e})
		}
	}
	return out
}

// TestClosedForm: errors of ±e at each dose are orthogonal to the parabola, so that it
// is met exactly: maximum at 5, edges of 91 at 2 and 8. The standard error of the
// slope at dose d, and with it Fieller's interval, by hand: at the centre of doses
// 0 … 10 (Σ(d−5)² = 220 over two lots each) slope b and bend c are uncorrelated, var b
// = s²/220, var c = s²/(Σ(d−5)⁴ − 220²/22) with Σ(d−5)⁴ = 3916, which is s²/1716.
func TestClosedForm(t *testing.T) {
	const e = 3
	c, err := Fit(series(e, "A"), 0.95)
	if err != nil {
		t.Fatal(err)
	}
	s2 := 22 * e * e / 19.0
	if c.DF != 19 || math.Abs(c.SD*c.SD-s2) > 1e-9 || c.LackOfFit == nil || *c.LackOfFit < 0.999 {
		t.Errorf("df %g, variance %g, want 19 and %g; lack of fit %v", c.DF, c.SD*c.SD, s2, c.LackOfFit)
	}
	if tc := 1 / math.Sqrt(s2/1716); math.Abs(c.BendP) > 1e-6 || tc < 2 {
		t.Errorf("p of the bend %g", c.BendP)
	}
	const t19 = 2.0930240544 // 0.975 quantile, df 19, from memory of any table
	// (2cu)² = t²(var b + 4u² var c), c = −1
	want := math.Sqrt(t19 * t19 * s2 / 220 / (4 - 4*t19*t19*s2/1716))
	best := c.Optimum()
	if math.Abs(best.Value-5) > 1e-9 || math.Abs(*best.High-5-want) > 1e-6 || math.Abs(5-*best.Low-want) > 1e-6 {
		t.Errorf("optimum %g (%g to %g), want 5 ± %g", best.Value, *best.Low, *best.High, want)
	}
	below, above, err := c.Edges(91)
	if err != nil || math.Abs(below.Value-2) > 1e-9 || math.Abs(above.Value-8) > 1e-9 {
		t.Fatalf("edges %v %v %v, want 2 and 8", below, above, err)
	}
	// At an end of an edge's interval the band of the mean just touches the limit.
	for _, d := range []float64{*below.Low, *below.High, *above.Low, *above.High} {
		_, low, high := c.Mean(d)
		if math.Min(math.Abs(low-91), math.Abs(high-91)) > 1e-6 {
			t.Errorf("at %g the mean is %g to %g, not touching 91", d, low, high)
		}
	}
	zones, err := c.Zones(91)
	names := ""
	for i, z := range zones {
		names += string(z.Name) + "; "
		if i > 0 && z.From != zones[i-1].To {
			t.Errorf("a gap before %v", z)
		}
	}
	if err != nil || names != "out of bounds; cannot tell; acceptable; optimum; acceptable; cannot tell; out of bounds; " || zones[0].From != 0 || zones[len(zones)-1].To != 10 {
		t.Errorf("%v %v", zones, err)
	}
}

// TestFloursKeepTheirLevel: a second flour 20 higher moves the level, not the shape.
func TestFloursKeepTheirLevel(t *testing.T) {
	one, err := Fit(series(3, "A"), 0)
	if err != nil {
		t.Fatal(err)
	}
	two, err := Fit(series(3, "A", "B"), 0)
	if err != nil {
		t.Fatal(err)
	}
	a, _, _ := one.Mean(5)
	b, _, _ := two.Mean(5)
	if math.Abs(two.Optimum().Value-5) > 1e-9 || math.Abs(a-100) > 1e-9 || math.Abs(b-110) > 1e-9 || math.Abs(two.SD*two.SD*two.DF-2*one.SD*one.SD*one.DF) > 1e-9 {
		t.Errorf("optimum %g, means %g and %g", two.Optimum().Value, a, b)
	}
}

func TestRefusals(t *testing.T) {
	line := func(of func(d float64) float64, doses ...float64) (out []Point) {
		for i, d := range doses {
			out = append(out, Point{"A", d, of(d) + 0.1*float64(i%2)})
		}
		return out
	}
	for name, p := range map[string][]Point{
		"three doses":     line(func(d float64) float64 { return -d * d }, -1, 0, 1, -1, 0, 1, 0),
		"few lots":        line(func(d float64) float64 { return -d * d }, -1, 0, 1, 2),
		"a straight line": line(func(d float64) float64 { return d }, 0, 1, 2, 3, 4, 5, 6, 7),
		"a minimum":       line(func(d float64) float64 { return d * d }, -3, -2, -1, 0, 1, 2, 3),
		"still rising":    line(func(d float64) float64 { return -(d - 20) * (d - 20) }, 0, 1, 2, 3, 4, 5, 6, 7),
		"not a number":    append(line(func(d float64) float64 { return -d * d }, -3, -2, -1, 0, 1, 2, 3), Point{"A", 0, math.NaN()}),
		"nothing":         nil,
		"one flour a lot": {{"A", 1, 1}, {"B", 2, 2}, {"C", 3, 2}, {"D", 4, 1}},
	} {
		var e *Error
		if c, err := Fit(p, 0); !errors.As(err, &e) {
			t.Errorf("%s: %+v %v", name, c, err)
		}
	}
	c, err := Fit(series(1, "A"), 0)
	if err != nil {
		t.Fatal(err)
	}
	var e *Error
	for _, limit := range []float64{100.001, 101, math.NaN(), math.Inf(1)} {
		if _, _, err := c.Edges(limit); !errors.As(err, &e) {
			t.Errorf("limit %g: %v", limit, err)
		}
	}
	if below, above, err := c.Edges(50); err != nil || below != nil || above != nil {
		t.Errorf("a limit that all tested doses meet: %v %v %v", below, above, err)
	}
}

// TestScale: another unit of dose or figure moves the answers with it; zones cover the
// tested doses without gap or overlap.
func TestScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := rapid.Float64Range(0.01, 100).Draw(t, "a"), rapid.Float64Range(-50, 50).Draw(t, "b")
		f := rapid.Float64Range(0.01, 100).Draw(t, "f")
		p := series(rapid.Float64Range(0.5, 4).Draw(t, "e"), "A", "B")
		c, err := Fit(p, 0)
		if err != nil {
			t.Fatal(err)
		}
		q := make([]Point, len(p))
		for i := range p {
			q[i] = Point{p[i].Flour, a*p[i].Dose + b, f * p[i].Value}
		}
		d, err := Fit(q, 0)
		if err != nil {
			t.Fatal(err)
		}
		x, y := c.Optimum(), d.Optimum()
		near := func(u, v float64) bool { return math.Abs(a*u+b-v) < 1e-6*(1+math.Abs(v)) }
		if !near(x.Value, y.Value) || !near(*x.Low, *y.Low) || !near(*x.High, *y.High) {
			t.Fatalf("%v %v", x, y)
		}
		most, _, _ := c.Mean(x.Value)
		limit := most * rapid.Float64Range(0.8, 0.99).Draw(t, "share")
		zones, err := c.Zones(limit)
		if err != nil || zones[0].From != c.Low || zones[len(zones)-1].To != c.High {
			t.Fatalf("%v %v", zones, err)
		}
		for i := 1; i < len(zones); i++ {
			if zones[i].From != zones[i-1].To || zones[i].Name == zones[i-1].Name {
				t.Fatalf("%v", zones)
			}
		}
	})
}
