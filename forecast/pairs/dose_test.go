package pairs

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

func points(from, step float64, values ...float64) (out []Point) {
	for i, v := range values {
		out = append(out, Point{from + step*float64(i), v})
	}
	return out
}

// Graybill & Iyer 1994, Regression Analysis: Concepts and Applications, pp. 431
// (thermometer, of one new reading) and 433 (reaction chamber, of the mean), data
// and answers as quoted in the tests of the R package investr. Rounded as printed.
func TestPublishedInversions(t *testing.T) {
	thermometer := points(96, 2, 95.71, 98.16, 99.52, 102.09, 103.79, 106.18, 108.14, 110.21)
	chamber := points(0, 10, 206.36, 225.52, 252.18, 289.33, 318.11, 349.49, 383.03, 410.70, 444.40, 469.14, 501.16)
	for _, c := range []struct {
		name                    string
		points                  []Point
		target, level           float64
		reading                 bool
		value, low, high        float64
		valueWithin, endsWithin float64
	}{
		{"thermometer 104", thermometer, 104, 0.95, true, 103.995, 103.4, 104.6, 0.0005, 0.05},
		{"thermometer 100", thermometer, 100, 0.90, true, 100.1, 99.63, 100.59, 0.05, 0.005},
		{"chamber 400", chamber, 400, 0.99, false, 66.5, 65.07, 68.03, 0.05, 0.005},
	} {
		s, err := NewSeries(c.points, false)
		if err != nil || s.Degree != 1 {
			t.Fatalf("%s: %v, degree %d", c.name, err, s.Degree)
		}
		d, err := s.DoseFor(c.target, c.level)
		if c.reading {
			d, err = s.Equivalent(c.target, 1, c.level)
		}
		if err != nil || d.Low == nil || d.High == nil || math.Abs(d.Value-c.value) > c.valueWithin || math.Abs(*d.Low-c.low) > c.endsWithin || math.Abs(*d.High-c.high) > c.endsWithin {
			t.Errorf("%s: %+v (%v to %v), %v", c.name, d, *d.Low, *d.High, err)
		}
	}
}

// A known parabola is found, and is inverted exactly where nothing scatters.
func TestBend(t *testing.T) {
	var ps []Point
	rng := rand.New(rand.NewPCG(3, 1))
	for i := range 12 {
		dose := float64(i / 2)
		ps = append(ps, Point{dose, 3000 - 600*dose + 50*dose*dose + 4*rng.NormFloat64()})
	}
	s, err := NewSeries(ps, false)
	if err != nil || s.Degree != 2 {
		t.Fatalf("degree %v, %v", s, err)
	}
	d, err := s.DoseFor(2000, 0) // 50x² − 600x + 1000 = 0 at x = 6 − 4 = 2
	if err != nil || math.Abs(d.Value-2) > 0.03 || *d.Low > 2 || *d.High < 2 {
		t.Errorf("%+v, %v", d, err)
	}
	if s.LackOfFit == nil || *s.LackOfFit < 0.01 {
		t.Errorf("lack of fit %v of the true curve", s.LackOfFit)
	}
	exact, err := NewSeries(points(0, 1, 10, 8, 6, 4, 2), false)
	if err != nil {
		t.Fatal(err)
	}
	if d, err := exact.DoseFor(5, 0); err != nil || math.Abs(d.Value-2.5) > 1e-9 || math.Abs(*d.High-*d.Low) > 1e-2 {
		t.Errorf("a line without scatter: %+v, %v", d, err)
	}
}

// The logarithm makes an exponential fall a line.
func TestLogarithm(t *testing.T) {
	var ps []Point
	rng := rand.New(rand.NewPCG(5, 1))
	for i := range 14 {
		dose := float64(i / 2)
		ps = append(ps, Point{dose, 3000 * math.Exp(-0.3*dose+0.01*rng.NormFloat64())})
	}
	s, err := NewSeries(ps, true)
	if err != nil || s.Degree != 1 {
		t.Fatalf("%+v, %v", s, err)
	}
	want := math.Log(3000./1500) / 0.3
	if d, err := s.DoseFor(1500, 0); err != nil || math.Abs(d.Value-want) > 0.05 || *d.Low > want || *d.High < want {
		t.Errorf("dose %+v, want %g; %v", d, want, err)
	}
	if v, low, high := s.Band(3, 0.95); !(low < v && v < high && low > 0) {
		t.Errorf("band %g %g %g", low, v, high)
	}
}

func TestSeriesRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		points []Point
		log    bool
	}{
		"two doses":        {[]Point{{0, 1}, {0, 1.1}, {1, 2}, {1, 2.1}}, false},
		"three results":    {points(0, 1, 3, 2, 1), false},
		"no effect":        {points(0, 1, 10, 10.2, 9.9, 10.1, 10, 9.95), false},
		"constant":         {points(0, 1, 5, 5, 5, 5), false},
		"turns round":      {points(0, 1, 10, 6, 3, 2, 3, 6.1, 9.9), false},
		"a negative dose":  {points(-1, 1, 4, 3, 2, 1), false},
		"NaN":              {points(0, 1, 4, math.NaN(), 2, 1), false},
		"infinite dose":    {[]Point{{0, 4}, {1, 3}, {2, 2}, {math.Inf(1), 1}}, false},
		"logarithm of 0":   {points(0, 1, 4, 2, 1, 0), true},
		"nothing whatever": {nil, false},
	} {
		var refused *Error
		if s, err := NewSeries(c.points, c.log); !errors.As(err, &refused) || s != nil || refused.Do == "" {
			t.Errorf("%s: %v, %v", name, s, err)
		}
	}
	s, err := NewSeries(points(0, 1, 10, 8.1, 5.9, 4, 2.1), false)
	if err != nil {
		t.Fatal(err)
	}
	for _, target := range []float64{10.5, 1.9, math.NaN(), math.Inf(1)} {
		if d, err := s.DoseFor(target, 0); err == nil {
			t.Errorf("target %g outside the series: %+v", target, d)
		}
	}
	// So near the end that the interval leaves the series: that end is absent.
	if d, err := s.DoseFor(9.95, 0); err != nil || d.Low != nil || d.High == nil {
		t.Errorf("at the end of the series: %+v, %v", d, err)
	}
}

// The interval covers the true dose as often as it says. 2000 series give 95 % to
// ± 1.5 % (three standard errors).
func TestDoseIsCovered(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 1))
	const runs = 2000
	covered := 0
	for range runs {
		var ps []Point
		for i := range 10 {
			dose := float64(i / 2)
			ps = append(ps, Point{dose, 100 - 10*dose + 2*rng.NormFloat64()})
		}
		s := &Series{Points: ps, Degree: 1, low: 0, high: 4}
		f := s.fit(1) // the degree is given: choosing it by a test makes intervals a little short
		s.beta, s.cov, s.DF, s.SD = f.beta, f.cov, f.df, math.Sqrt(f.ss/f.df)
		d, err := s.DoseFor(80, 0)
		if err != nil {
			t.Fatal(err)
		}
		if *d.Low <= 2 && 2 <= *d.High {
			covered++
		}
	}
	if share := float64(covered) / runs; math.Abs(share-0.95) > 0.015 {
		t.Errorf("%.3f of the intervals cover the true dose", share)
	}
}

// Whatever the order of the rows and the unit of the dose, the answer is the same,
// and the estimate lies in its interval.
func TestUnitsAndOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		slope := rapid.Float64Range(5, 50).Draw(t, "slope")
		noise := rapid.SliceOfN(rapid.Float64Range(-1, 1), 10, 10).Draw(t, "noise")
		var ps, other []Point
		for i, e := range noise {
			ps = append(ps, Point{float64(i / 2), 500 - slope*float64(i/2) + e})
		}
		for i := len(ps) - 1; i >= 0; i-- {
			other = append(other, Point{1000 * ps[i].Dose, ps[i].Value})
		}
		a, err1 := NewSeries(ps, false)
		b, err2 := NewSeries(other, false)
		if err1 != nil || err2 != nil {
			t.Fatalf("%v, %v", err1, err2)
		}
		da, err1 := a.DoseFor(500-2*slope, 0)
		db, err2 := b.DoseFor(500-2*slope, 0)
		if err1 != nil || err2 != nil || a.Degree != b.Degree || math.Abs(1000*da.Value-db.Value) > 1e-4 {
			t.Fatalf("%+v and %+v (%v, %v)", da, db, err1, err2)
		}
		if da.Low != nil && *da.Low > da.Value || da.High != nil && *da.High < da.Value {
			t.Fatalf("%g outside %g to %g", da.Value, *da.Low, *da.High)
		}
	})
}
