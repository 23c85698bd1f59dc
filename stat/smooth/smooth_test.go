package smooth

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// Weights of Savitzky & Golay 1964, Anal Chem 36:1627, tables for order 2 (and
// 3), from memory; they sum to 1 (value) and 0 (slope) as they must.
var published = []struct {
	value []float64 // times over
	over  float64
}{
	{[]float64{-3, 12, 17, 12, -3}, 35},
	{[]float64{-2, 3, 6, 7, 6, 3, -2}, 21},
	{[]float64{-21, 14, 39, 54, 59, 54, 39, 14, -21}, 231},
}

// TestPublishedWeights reads the weights off the response to a single 1.
func TestPublishedWeights(t *testing.T) {
	for _, p := range published {
		half := len(p.value) / 2
		n, at := 6*half+1, 3*half
		times, y := make([]float64, n), make([]float64, n)
		for i := range times {
			times[i] = 2 * float64(i) // a step of 2 s
		}
		y[at] = 1
		window := 2 * float64(2*half)
		value, slope := Values(times, y, window), Slope(times, y, window)
		var squares float64
		for k := -half; k <= half; k++ {
			squares += float64(k * k)
		}
		for k := -half; k <= half; k++ {
			if got, want := value[at+k], p.value[half+k]/p.over; math.Abs(got-want) > 1e-14 {
				t.Errorf("%d points: weight %d is %g, want %g", len(p.value), k, got, want)
			}
			if got, want := slope[at+k], -float64(k)/squares/2; math.Abs(got-want) > 1e-14 {
				t.Errorf("%d points: slope weight %d is %g, want %g", len(p.value), k, got, want)
			}
		}
		if outside := value[at+half+1]; outside != 0 {
			t.Errorf("%d points: a point outside the window counts (%g)", len(p.value), outside)
		}
	}
}

func grid(t *rapid.T, n int) []float64 {
	times := make([]float64, n)
	for i := 1; i < n; i++ {
		times[i] = times[i-1] + rapid.Float64Range(0.1, 5).Draw(t, "step")
	}
	return times
}

// TestParabolaIsKept: on any grid, with any window, a parabola comes back
// unchanged with its slope, and Fit finds its coefficients.
func TestParabolaIsKept(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		times := grid(t, rapid.IntRange(3, 40).Draw(t, "n"))
		a, b, c := rapid.Float64Range(-100, 100).Draw(t, "a"), rapid.Float64Range(-10, 10).Draw(t, "b"), rapid.Float64Range(-1, 1).Draw(t, "c")
		window := rapid.Float64Range(0, 60).Draw(t, "window")
		y := make([]float64, len(times))
		for i, x := range times {
			y[i] = a + b*x + c*x*x
		}
		value, slope := Values(times, y, window), Slope(times, y, window)
		size := 1 + math.Abs(a) + 200*math.Abs(b) + 40000*math.Abs(c)
		for i, x := range times {
			if math.Abs(value[i]-y[i]) > 1e-10*size || math.Abs(slope[i]-(b+2*c*x)) > 1e-10*size {
				t.Fatalf("point %d: %g with slope %g, want %g with %g", i, value[i], slope[i], y[i], b+2*c*x)
			}
		}
		at := times[len(times)/2]
		p := Fit(times, y, at)
		if math.Abs(p.Value-(a+b*at+c*at*at)) > 1e-10*size || math.Abs(p.Slope-(b+2*c*at)) > 1e-10*size || math.Abs(p.Curvature-c) > 1e-10*size {
			t.Fatalf("%+v", p)
		}
	})
}

// TestWindowByHand compares the moving window with a search over all points.
func TestWindowByHand(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		times := grid(t, rapid.IntRange(1, 30).Draw(t, "n"))
		window := rapid.Float64Range(0, 40).Draw(t, "window")
		y := make([]float64, len(times))
		for i := range y {
			y[i] = rapid.Float64Range(-10, 10).Draw(t, "y")
		}
		value := Values(times, y, window)
		for i := range times {
			inside := 0
			for _, x := range times {
				if math.Abs(x-times[i]) <= window/2 {
					inside++
				}
			}
			low, high := Window(times, i, window)
			if low > i || high <= i || high-low != max(inside, min(MinPoints, len(times))) {
				t.Fatalf("window %d…%d around %d, %d points within", low, high, i, inside)
			}
			if p := Fit(times[low:high], y[low:high], times[i]); p.Value != value[i] {
				t.Fatalf("Values gives %g at %d, its window %g", value[i], i, p.Value)
			}
		}
	})
}

// TestCorner: the slope of a corner never exceeds the steeper of its two sides,
// nor falls below the other.
func TestCorner(t *testing.T) {
	var times, y []float64
	for i := range 101 {
		x := float64(i)
		times, y = append(times, x), append(y, 3*max(0, x-50))
	}
	for i, s := range Slope(times, y, 20) {
		if s < -1e-9 || s > 3+1e-9 {
			t.Errorf("slope %g at %d", s, i)
		}
	}
}

// TestWindowEdge: points that stand on the edge of the window but for rounding
// count on both sides. Times are sums of 0.1, a window of 0.8 spans nine.
func TestWindowEdge(t *testing.T) {
	var times []float64
	for x := 0.0; len(times) < 200; x += 0.1 {
		times = append(times, x)
	}
	for i := 4; i < 196; i++ {
		if low, high := Window(times, i, 0.8); low != i-4 || high != i+5 {
			t.Fatalf("around %d: %d…%d", i, low, high)
		}
	}
}

// TestNoise: pseudo-residuals find the SD of normal noise on a curve, and are
// not moved by spikes. Tolerance 8 %: 2000 points give a median-based SD to
// about 3 % at one standard error.
func TestNoise(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	var times, y []float64
	x := 0.0
	for range 2000 {
		x += 0.5 + rng.Float64()
		times, y = append(times, x), append(y, 500*math.Sin(x/200)+4*rng.NormFloat64())
	}
	if got := Noise(times, y); math.Abs(got-4) > 0.08*4 {
		t.Errorf("noise %g, want 4", got)
	}
	for i := 10; i < 2000; i += 100 {
		y[i] += 1e4
	}
	if got := Noise(times, y); math.Abs(got-4) > 0.12*4 {
		t.Errorf("noise %g with spikes, want 4", got)
	}
	if got := Noise([]float64{1, 2}, []float64{5, 9}); got != 0 {
		t.Errorf("two points have noise %g", got)
	}
}

func TestLineMedianInterpolate(t *testing.T) {
	// By hand: means 2 and 4, Sxx 10, Sxy 16; slope 1.6, at the end 4 + 2·1.6.
	value, slope := Line([]float64{0, 1, 2, 3, 4}, []float64{1, 2, 5, 4, 8}, 4)
	if math.Abs(slope-1.6) > 1e-12 || math.Abs(value-7.2) > 1e-12 {
		t.Errorf("line %g with slope %g", value, slope)
	}
	x := []float64{5, 1, 4, 2}
	if got := Median(x); got != 3 || !slices.Equal(x, []float64{5, 1, 4, 2}) {
		t.Errorf("median %g of %v", got, x)
	}
	if got := Median([]float64{7, 1, 3}); got != 3 {
		t.Errorf("median %g", got)
	}
	times, y := []float64{0, 2, 2, 6}, []float64{1, 3, 5, 9}
	for at, want := range map[float64]float64{-1: 1, 0: 1, 1: 2, 2: 3, 4: 7, 6: 9, 8: 9} {
		if got := Interpolate(times, y, at); got != want {
			t.Errorf("at %g: %g, want %g", at, got, want)
		}
	}
}

// TestMedianBySorting: the selection agrees with sorting, whatever is repeated,
// infinite or NaN, and in whatever order.
func TestMedianBySorting(t *testing.T) {
	figure := rapid.OneOf(rapid.SampledFrom([]float64{0, 1, 1, 2, math.Inf(1), math.Inf(-1), math.NaN()}), rapid.Float64())
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(figure, 1, 200).Draw(t, "x")
		s := slices.Clone(x)
		slices.Sort(s)
		k := len(s) / 2
		want := s[k]
		if len(s)%2 == 0 {
			want = s[k-1] + (s[k]-s[k-1])/2
		}
		if got := Median(x); got != want && !(math.IsNaN(got) && math.IsNaN(want)) {
			t.Fatalf("median %g, by sorting %g", got, want)
		}
	})
	sawtooth := make([]float64, 200001)
	for i := range sawtooth {
		sawtooth[i] = float64(i * 7919 % len(sawtooth))
	}
	if got := Median(sawtooth); got != 100000 {
		t.Errorf("median of 0…200000 is %g", got)
	}
}

// TestDegenerate: one time, two times, no points.
func TestDegenerate(t *testing.T) {
	if p := Fit([]float64{3, 3, 3}, []float64{1, 2, 6}, 3); p != (Parabola{Value: 3}) {
		t.Errorf("one time: %+v", p)
	}
	p := Fit([]float64{0, 0, 2, 2}, []float64{1, 3, 5, 7}, 1)
	if p.Curvature != 0 || math.Abs(p.Value-4) > 1e-12 || math.Abs(p.Slope-2) > 1e-12 {
		t.Errorf("two times: %+v", p)
	}
	if v := Values(nil, nil, 5); len(v) != 0 {
		t.Errorf("no points: %v", v)
	}
	if v, s := Line([]float64{3, 3}, []float64{1, 5}, 9); v != 3 || s != 0 {
		t.Errorf("line through one time: %g, %g", v, s)
	}
	for name, f := range map[string]func(){
		"lengths":    func() { Values([]float64{1}, nil, 5) },
		"window":     func() { Slope([]float64{1}, []float64{1}, math.NaN()) },
		"no fit":     func() { Fit(nil, nil, 0) },
		"no line":    func() { Line(nil, nil, 0) },
		"no median":  func() { Median(nil) },
		"no between": func() { Interpolate(nil, nil, 0) },
		"no noise":   func() { Noise([]float64{1}, nil) },
		"no point":   func() { Window([]float64{1}, 1, 5) },
	} {
		func() {
			defer func() {
				if s, ok := recover().(string); !ok || s[:7] != "smooth:" {
					t.Errorf("%s: no panic of this package", name)
				}
			}()
			f()
		}()
	}
}
