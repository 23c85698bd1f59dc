package agreement

import (
	"encoding/csv"
	"errors"
	"math"
	"os"
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > tol {
		t.Errorf("%s: %v, want %v ± %v", what, got, want, tol)
	}
}

func columns(t *testing.T, file string) map[string][]float64 {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]float64{}
	for _, row := range rows[1:] {
		for k, cell := range row {
			v, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				t.Fatal(err)
			}
			out[rows[0][k]] = append(out[rows[0][k]], v)
		}
	}
	return out
}

// Ripley & Thompson 1987, Analyst 112:377: intercept 0.1064, slope 0.9730 with a
// standard error for every point. Further digits, standard errors, the unweighted
// lines and the jackknife: computed by us outside this program from their figures.
func TestDemingOnRiverWaters(t *testing.T) {
	c := columns(t, "testdata/arsenate.csv")
	x, y := c["aas"], c["aes"]
	l, chi, err := DemingEach(x, y, c["se_aas"], c["se_aes"], 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "intercept", l.Intercept.Value, 0.1064, 5e-5)
	near(t, "slope", l.Slope.Value, 0.9730, 5e-5)
	near(t, "intercept, more digits", l.Intercept.Value, 0.1064483, 2e-6)
	near(t, "slope, more digits", l.Slope.Value, 0.9729878, 2e-6)
	near(t, "SE of intercept", l.Intercept.SE, 0.049417, 1e-6)
	near(t, "SE of slope", l.Slope.SE, 0.074811, 1e-6)
	// the paper prints the sum over n
	near(t, "misfit", chi*28/30, 1.26782, 1e-5)

	plain, err := Deming(x, y, 1, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "δ 1, intercept", plain.Intercept.Value, 0.4293994, 1e-6)
	near(t, "δ 1, slope", plain.Slope.Value, 0.8759481, 1e-6)
	near(t, "jackknife SE of intercept", plain.Intercept.SE, 0.302101, 1e-5)
	near(t, "jackknife SE of slope", plain.Slope.SE, 0.115784, 1e-5)
	two, err := Deming(x, y, 2, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "δ 2, intercept", two.Intercept.Value, 0.4719903, 1e-6)
	near(t, "δ 2, slope", two.Slope.Value, 0.8643293, 1e-6)
	m, err := PassingBablok(x, y, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "median slope", m.Slope.Value, 0.843858, 1e-6)
	near(t, "its lower end", m.Slope.Low, 0.757951, 1e-6)
	near(t, "its upper end", m.Slope.High, 1.059914, 1e-6)
	near(t, "median intercept", m.Intercept.Value, 0.429581, 1e-6)
	if m.Slopes != 435 || m.Shift != 21 {
		t.Errorf("%d slopes, shift %d; want 435, 21", m.Slopes, m.Shift)
	}
}

// A small set: lines computed by us outside this program.
func TestDemingOnTen(t *testing.T) {
	x := []float64{1, 2, 3, 4, 5, 6, 7, 8, 9, 10}
	y := []float64{2.3, 4.1, 7.9, 7.7, 13.5, 11.3, 19.1, 14.9, 24.7, 20.5}
	for delta, want := range map[float64][2]float64{1: {-1.3285917, 2.5324712}, 4: {-0.8758353, 2.4501519}} {
		l, err := Deming(x, y, delta, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "intercept", l.Intercept.Value, want[0], 1e-6)
		near(t, "slope", l.Slope.Value, want[1], 1e-6)
	}
	l, err := Deming(x, y, 1e9, 0.95) // x without error: least squares, 0.1 and 2.2727273
	if err != nil {
		t.Fatal(err)
	}
	near(t, "least squares, slope", l.Slope.Value, 2.2727273, 1e-6)
	near(t, "least squares, intercept", l.Intercept.Value, 0.1, 1e-5)
}

// Sen 1968 (J Am Stat Assoc 63:1379): slope 4, 93 % interval 26/7 to 35/8; and a set
// of six with one slope below −1, worked by hand.
func TestPassingBablokOnSmallSets(t *testing.T) {
	m, err := PassingBablok([]float64{1, 2, 3, 4, 10, 12, 18}, []float64{9, 15, 19, 20, 45, 55, 78}, 0.93)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "slope", m.Slope.Value, 4, 1e-12)
	near(t, "intercept", m.Intercept.Value, 6, 1e-12)
	near(t, "lower", m.Slope.Low, 26.0/7, 1e-12)
	near(t, "upper", m.Slope.High, 35.0/8, 1e-12)
	m, err = PassingBablok([]float64{1, 2, 3, 4, 5, 6}, []float64{2, 1.2, 4.1, 3.5, 6.3, 3}, 0.80)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "slope", m.Slope.Value, 1.05, 1e-12)
	near(t, "intercept", m.Intercept.Value, 0.125, 1e-12)
	if m.Shift != 1 {
		t.Errorf("shift %d, want 1", m.Shift)
	}
}

// Bland & Altman 1986, Lancet i:307, first readings, large − mini: bias −2.1, SD
// 38.8 as printed, limits by 2 SD −79.7 and 75.5, interval of the lower limit
// −114.3 to −45.1; the further digits computed from their figures.
func TestBlandAltmanOnPeakFlow(t *testing.T) {
	c := columns(t, "testdata/pefr.csv")
	d, err := BlandAltman(c["mini_1"], c["large_1"], 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "bias", d.Bias.Value, -2.117647, 1e-6)
	near(t, "SD", d.SD, 38.765130, 1e-6)
	near(t, "lower, 2 SD", d.Bias.Value-2*d.SD, -79.65, 0.005)
	near(t, "lower", d.Lower.Value, -78.10, 0.006)
	near(t, "upper", d.Upper.Value, 73.86, 0.006)
	near(t, "bias from", d.Bias.Low, -22.05, 0.006)
	near(t, "bias to", d.Bias.High, 17.81, 0.006)
	// the paper's intervals stand around ± 2 SD
	near(t, "lower from", d.Lower.Low-(d.Lower.Value-(d.Bias.Value-2*d.SD)), -114.2, 0.06)
	near(t, "lower to", d.Lower.High-(d.Lower.Value-(d.Bias.Value-2*d.SD)), -45.1, 0.06)
}

// y against x with 1/δ is the inverse line; units go through; DemingEach with equal
// errors is Deming.
func TestDemingIsSymmetric(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(6, 20).Draw(t, "n")
		slope := rapid.Float64Range(0.3, 3).Draw(t, "slope")
		delta := rapid.Float64Range(0.2, 5).Draw(t, "δ")
		x, y, xs := make([]float64, n), make([]float64, n), make([]float64, n)
		sx, sy := make([]float64, n), make([]float64, n)
		for i := range x {
			x[i] = float64(i) + rapid.Float64Range(-0.3, 0.3).Draw(t, "x")
			y[i] = 5 + slope*float64(i) + rapid.Float64Range(-0.3, 0.3).Draw(t, "y")
			xs[i] = 10 + 7*x[i]
			sx[i], sy[i] = 1, math.Sqrt(delta)
		}
		l, err := Deming(x, y, delta, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		back, err := Deming(y, x, 1/delta, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		scaled, err := Deming(xs, y, delta/49, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		each, _, err := DemingEach(x, y, sx, sy, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		for what, v := range map[string]float64{"inverse slope": back.Slope.Value * l.Slope.Value, "scaled slope": scaled.Slope.Value * 7 / l.Slope.Value, "scaled SE": scaled.Slope.SE * 7 / l.Slope.SE, "each": each.Slope.Value / l.Slope.Value} {
			if math.Abs(v-1) > 1e-6 {
				t.Fatalf("%s: %v, want 1", what, v)
			}
		}
	})
}

func TestHostilePairs(t *testing.T) {
	var want *Error
	x, y := []float64{1, 2, 3, 4, 5}, []float64{1, 2, 3, 4, 6}
	for name, c := range map[string]struct{ x, y []float64 }{
		"none": {}, "three": {x[:3], y[:3]}, "NaN": {[]float64{1, 2, math.NaN(), 4, 5}, y}, "Inf": {x, []float64{1, 2, math.Inf(1), 4, 5}},
		"constant": {x, []float64{2, 2, 2, 2, 2}}, "huge": {[]float64{1e200, -1e200, 3, 4, 5}, y},
	} {
		if _, err := Deming(c.x, c.y, 1, 0.95); !errors.As(err, &want) {
			t.Errorf("Deming, %s: %v", name, err)
		}
		if _, err := PassingBablok(c.x, c.y, 0.95); !errors.As(err, &want) {
			t.Errorf("Passing–Bablok, %s: %v", name, err)
		}
		if _, err := BlandAltman(c.x, c.y, 0.95); !errors.As(err, &want) && name != "three" {
			t.Errorf("Bland–Altman, %s: %v", name, err)
		}
	}
	if _, err := Deming(x, y, 0, 0.95); !errors.As(err, &want) {
		t.Errorf("δ 0: %v", err)
	}
	if _, err := Deming([]float64{-1, 1, -1, 1}, []float64{-1, -1, 1, 1}, 1, 0.95); !errors.As(err, &want) {
		t.Errorf("no relation: %v", err)
	}
	if _, err := PassingBablok(x, []float64{5, 4, 2, 1, 0}, 0.95); !errors.As(err, &want) {
		t.Errorf("falling: %v", err)
	}
	if _, _, err := DemingEach(x, y, []float64{1, 1, 1, 1, 0}, x, 0.95); !errors.As(err, &want) {
		t.Errorf("standard error 0: %v", err)
	}
}
