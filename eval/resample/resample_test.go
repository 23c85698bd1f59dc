package resample

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"flourcast/eval"
	"flourcast/model"
	"flourcast/model/baseline"
	"flourcast/model/design"
	"flourcast/model/pls"
)

// mill is n lots measured twice, with one feature; y follows it with slope b.
func mill(t testing.TB, n int, b float64, seed uint64) *design.Matrix {
	t.Helper()
	rng := rand.New(rand.NewPCG(seed, 5))
	s := design.Spec{Features: []string{"x", "z"}, Response: "y"}
	for i := range n {
		x, z, e := rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()
		for range 2 {
			s.X, s.Y, s.Lots = append(s.X, []float64{x, z}), append(s.Y, b*x+e), append(s.Lots, fmt.Sprint("L", i))
		}
	}
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// memory knows the lots that it was trained on, and says 0 of all others.
type memory struct{}

type known struct {
	model.Fitted // of the mean, for what nobody asks
	y            map[float64]float64
}

func (memory) Kind() string { return "memory" }

func (memory) Fit(m *design.Matrix) (model.Path, error) {
	path, err := baseline.Mean{}.Fit(m)
	if err != nil {
		return nil, err
	}
	k := known{path.At(0), map[float64]float64{}}
	for i, y := range m.Y() {
		k.y[m.Row(i)[0]] = y
	}
	return k, nil
}

func (k known) Predict(x []float64) float64 { return k.y[x[0]] }
func (k known) Len() int                    { return 1 }
func (k known) At(int) model.Fitted         { return k }
func (k known) Label(int) string            { return "memory" }

// A lot's copies stay in one fold: what merely remembers lots never sees one again.
func TestCopiesStayTogether(t *testing.T) {
	m := mill(t, 30, 5, 1)
	got, err := Slopes(context.Background(), memory{}, m, 0, [][]float64{m.Column(0)}, 59, 1, 0)
	if err != nil {
		t.Fatal(err)
	}
	if s := got[0]; s == nil || math.Abs(s.Value) > 1e-12 || math.Abs(s.Low) > 1e-12 || math.Abs(s.High) > 1e-12 {
		t.Errorf("slope %+v of a model that knows no lot: copies were split", s)
	}
}

func TestSlopes(t *testing.T) {
	m := mill(t, 60, 2, 2)
	flat := make([]float64, m.N())
	columns := [][]float64{m.Column(0), m.Column(1), flat}
	got, err := Slopes(context.Background(), pls.PLS{}, m, 1, columns, 199, 3, 1)
	if err != nil {
		t.Fatal(err)
	}
	if s := got[0]; s == nil || math.Abs(s.Value-2) > 0.5 || !(s.Low < s.Value && s.Value < s.High) || s.Low < 1 || s.Resamples < 190 {
		t.Errorf("on the feature that matters: %+v, want about 2", s)
	}
	if got[2] != nil {
		t.Errorf("on a column that does not vary: %+v", got[2])
	}
	again, err := Slopes(context.Background(), pls.PLS{}, m, 1, columns, 199, 3, 2)
	if err != nil || !reflect.DeepEqual(got, again) {
		t.Errorf("one core and two differ (%v)", err)
	}
	var shape *ShapeError
	if _, err := Slopes(context.Background(), pls.PLS{}, m, 1, [][]float64{{1}}, 199, 3, 1); !errors.As(err, &shape) {
		t.Errorf("a short column: %v", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Slopes(ctx, pls.PLS{}, m, 1, columns, 199, 3, 1); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// The mean of k lots forecasts another of the set with MSE s²(1 + 1/k), s² the
// sample variance: exactly, over all subsets.
func TestGrowthOfTheMean(t *testing.T) {
	m := mill(t, 80, 0, 4)
	c, err := Grow(context.Background(), baseline.Mean{}, m, GrowOptions{Sizes: []int{5, 8, 12, 20, 40, 70}, Draws: 300, Resamples: 199, Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	s2, mean := 0.0, 0.0
	for i := 0; i < m.N(); i += 2 {
		mean += m.Y()[i] / 80
	}
	for i := 0; i < m.N(); i += 2 {
		s2 += (m.Y()[i] - mean) * (m.Y()[i] - mean) / 79
	}
	for _, p := range c.Points {
		if want := math.Sqrt(s2 * (1 + 1/float64(p.Units))); math.Abs(p.RMSE/want-1) > 0.03 || p.Low >= p.RMSE || p.High <= p.RMSE {
			t.Errorf("%d lots: RMSE %.3f (%.3f to %.3f), want %.3f", p.Units, p.RMSE, p.Low, p.High, want)
		}
	}
	if math.Abs(c.Floor/s2-1) > 0.05 || math.Abs(c.Rate/s2-1) > 0.35 || c.Units != 80 {
		t.Errorf("floor %.3f and rate %.3f, want both %.3f", c.Floor, c.Rate, s2)
	}
	rmse, low, high := c.At(1000)
	if !(low < rmse && rmse < high) || math.Abs(rmse/math.Sqrt(s2)-1) > 0.05 {
		t.Errorf("at 1,000 lots %.3f (%.3f to %.3f)", rmse, low, high)
	}
}

func TestHyperbola(t *testing.T) {
	sizes := []int{10, 20, 30, 50}
	line := func(a, b float64) []float64 {
		var v []float64
		for _, n := range sizes {
			v = append(v, a+b/float64(n))
		}
		return v
	}
	for _, c := range [][2]float64{{2, 3}, {0, 4}, {1, 0}} {
		if a, b := hyperbola(sizes, line(c[0], c[1])); math.Abs(a-c[0]) > 1e-12 || math.Abs(b-c[1]) > 1e-10 {
			t.Errorf("%v came back as %v, %v", c, a, b)
		}
	}
	if a, b := hyperbola(sizes, line(1, -5)); b != 0 || a <= 0 {
		t.Errorf("an error that grows with lots: floor %v, rate %v, want a level", a, b)
	}
	if a, b := hyperbola(sizes, line(-0.05, 4)); a != 0 || b <= 0 {
		t.Errorf("an error below nothing: floor %v, rate %v, want no floor", a, b)
	}
}

// Needed is the first number of lots that does.
func TestNeeded(t *testing.T) {
	c := &Curve{Floor: 1, Rate: 30, drawn: [][2]float64{{1, 30}, {4, 30}}}
	for _, want := range []float64{3.5, 4, 5, 9} {
		n, low, high := c.Needed(want, 2, 0.9)
		if n < 4 || c.Width(n, 2, 0.9) > want || c.Width(n-1, 2, 0.9) <= want {
			t.Errorf("width %v: %d lots give %v, one fewer %v", want, n, c.Width(n, 2, 0.9), c.Width(n-1, 2, 0.9))
		}
		if low != n || (want < 6) != (high == 0) {
			t.Errorf("width %v: %d to %d; at an error floor of 2 no number of lots gives less than 6.6", want, low, high)
		}
	}
	if n, _, _ := c.Needed(3.2, 2, 0.9); n != 0 { // 2·1.645·1 = 3.29
		t.Errorf("below the floor: %d lots", n)
	}
	if !math.IsInf(c.Width(3, 2, 0.9), 1) {
		t.Error("three lots for two degrees of freedom have an interval")
	}
}

func TestTooFewForACurve(t *testing.T) {
	var few *TooFewError
	if _, err := Grow(context.Background(), baseline.Mean{}, mill(t, 19, 0, 1), GrowOptions{Draws: 5, Resamples: 39}); !errors.As(err, &few) || few.Have != 19 {
		t.Errorf("19 lots: %v", err)
	}
	var split *eval.SplitError
	if _, err := Grow(context.Background(), baseline.Mean{}, mill(t, 20, 0, 1), GrowOptions{Sizes: []int{20}, Draws: 5, Resamples: 39}); !errors.As(err, &split) {
		t.Errorf("nothing left out: %v", err)
	}
	a, err := Grow(context.Background(), pls.PLS{}, mill(t, 40, 2, 1), GrowOptions{Draws: 10, Resamples: 59, Cores: 1})
	b, err2 := Grow(context.Background(), pls.PLS{}, mill(t, 40, 2, 1), GrowOptions{Draws: 10, Resamples: 59, Cores: 2})
	if err != nil || err2 != nil || !reflect.DeepEqual(a, b) || len(a.Points) != 6 || a.Points[0].RMSE < a.Points[5].RMSE {
		t.Errorf("one core and two: %v, %v, %+v", err, err2, a)
	}
}

// BenchmarkSlopes: 80 lots × 5 features and 70 × 700, 199 resamples.
func BenchmarkSlopes(b *testing.B) {
	for _, c := range []struct{ n, p int }{{80, 5}, {70, 700}} {
		rng := rand.New(rand.NewPCG(1, 1))
		s := design.Spec{Response: "y"}
		for j := range c.p {
			s.Features = append(s.Features, fmt.Sprint("x", j))
		}
		for i := range c.n {
			row := make([]float64, c.p)
			for j := range row {
				row[j] = rng.NormFloat64()
			}
			s.X, s.Y, s.Lots = append(s.X, row), append(s.Y, row[0]+rng.NormFloat64()), append(s.Lots, fmt.Sprint(i))
		}
		m, err := design.New(s)
		if err != nil {
			b.Fatal(err)
		}
		b.Run(fmt.Sprintf("%dx%d", c.n, c.p), func(b *testing.B) {
			for b.Loop() {
				if _, err := Slopes(context.Background(), pls.PLS{}, m, 1, [][]float64{m.Column(0)}, 199, 1, 0); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
