package window

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"flourcast/forecast/conformance"

	"pgregory.net/rapid"
)

func at(v float64) *float64 { return &v }

// flours are n invented lots with peak, breakdown that goes with it, and protein,
// and a model of hardness known to u.
func flours(n int, u float64, seed uint64) Model {
	rng := rand.New(rand.NewPCG(seed, 1))
	m := Model{Intercept: 8, Coefficients: []float64{-0.001, -0.001, 0.1}, Spread: func([]float64) (conformance.Spread, error) { return conformance.Spread{U: u}, nil }}
	for i := range n {
		peak := 2500 + 400*rng.NormFloat64()
		m.X = append(m.X, []float64{peak, 0.5*peak - 500 + 100*rng.NormFloat64(), 9 + 0.8*rng.NormFloat64()})
		m.Lots = append(m.Lots, fmt.Sprint("L", i))
	}
	return m
}

// only is the model with its first k features.
func (m Model) only(k int) Model {
	m.Coefficients = m.Coefficients[:k]
	x := make([][]float64, len(m.X))
	for i := range x {
		x[i] = m.X[i][:k]
	}
	m.X = x
	return m
}

func surface(t testing.TB, m Model, l conformance.Limits, by ...int) *Surface {
	t.Helper()
	s, err := New(m, l, by...)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// Where the chosen features are all that the model has, the window says what the
// forecast says, and its target zone holds exactly what the forecast accepts.
func TestWindowIsTheForecast(t *testing.T) {
	limits := conformance.Limits{Low: at(4.5), High: at(6)}
	th := Thresholds{0.95, 0.5}
	for k := 1; k <= 2; k++ {
		m := flours(40, 0.2, 3).only(k)
		s := surface(t, m, limits, []int{0, 1}[:k]...)
		var line *Line
		var plan *Map
		var err error
		if k == 1 {
			line, err = s.Line(th)
		} else {
			plan, err = s.Map(th)
		}
		if err != nil {
			t.Fatal(err)
		}
		rapid.Check(t, func(t *rapid.T) {
			x := []float64{rapid.Float64Range(1200, 3800).Draw(t, "peak"), rapid.Float64Range(100, 1500).Draw(t, "breakdown")}[:k]
			value := m.Intercept
			for j, v := range x {
				value += m.Coefficients[j] * v
			}
			want, err := limits.Probability(value, conformance.Spread{U: 0.2})
			if err != nil {
				t.Fatal(err)
			}
			got, err := s.At(x...)
			if err != nil || math.Abs(got.P-want) > 1e-12 || math.Abs(got.Value-value) > 1e-9 {
				t.Fatalf("window %v, forecast %v of %v (%v)", got, want, value, err)
			}
			var zone string
			if k == 1 {
				zone, _, err = line.Zone(s, th, x[0])
			} else {
				zone, _, err = plan.Zone(s, th, x[0], x[1])
			}
			accepted := conformance.Rule{Accept: 0.95, Reject: 0.05}.Decide(want) == conformance.Accept
			if err != nil || zone != NotKnown && (zone == Target) != accepted {
				t.Fatalf("zone %q, accepted %v, p %v (%v)", zone, accepted, want, err)
			}
			if k == 1 && zone != NotKnown { // the printed stretches say the same
				for _, part := range line.Stretches {
					if x[0] > part.From+1e-5 && x[0] < part.To-1e-5 && part.Zone != zone {
						t.Fatalf("%v lies in the stretch %+v, its zone is %q", x[0], part, zone)
					}
				}
			}
		})
	}
}

// Against the normal distribution: with many lots and jointly normal features,
// y | peak has mean 8 − 0.001·peak − 0.001·(0.5·peak − 500) + 0.1·9 and
// variance u² + (0.001·100)² + (0.1·0.8)² (closed form of the invented lots).
func TestAgainstTheClosedForm(t *testing.T) {
	m := flours(4000, 0.2, 5)
	limits := conformance.Limits{Low: at(4.5), High: at(6)}
	s := surface(t, m, limits, 0)
	sd := math.Sqrt(0.04 + 0.01 + 0.0064)
	for _, peak := range []float64{1800, 2300, 2600, 3100} {
		want, err := limits.Probability(9.4-0.0015*peak, conformance.Spread{U: sd})
		if err != nil {
			t.Fatal(err)
		}
		got, err := s.At(peak)
		if err != nil || math.Abs(got.P-want) > 0.01 || math.Abs(got.Value-(9.4-0.0015*peak)) > 0.01 || math.Abs(got.SD/sd-1) > 0.03 {
			t.Errorf("peak %v: %+v, %v; closed form %v, %v, %v", peak, got, err, want, 9.4-0.0015*peak, sd)
		}
	}
}

// The fewer lots, the less sure the means of the other features: the spread grows
// by the leverage.
func TestUncertaintyOfTheMeanIsIncluded(t *testing.T) {
	s := surface(t, flours(10, 0.2, 9), conformance.Limits{Low: at(4)}, 0)
	middle, err := s.At(2500)
	if err != nil {
		t.Fatal(err)
	}
	far, err := s.At(6000)
	if err != nil || !(far.SD > 1.2*middle.SD) {
		t.Errorf("SD %v in the middle, %v far out (%v)", middle.SD, far.SD, err)
	}
	if want := math.Sqrt(0.04 + s.left*(1+s.leverage([]float64{6000}))); math.Abs(far.SD-want) > 1e-12 {
		t.Errorf("SD %v, want √(u² + left·(1 + h)) = %v", far.SD, want)
	}
}

func TestProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := flours(rapid.IntRange(6, 40).Draw(t, "lots"), rapid.Float64Range(0.05, 1).Draw(t, "u"), rapid.Uint64Max(50).Draw(t, "seed"))
		low := rapid.Float64Range(3, 6).Draw(t, "low")
		narrow := conformance.Limits{Low: at(low), High: at(low + rapid.Float64Range(0.1, 2).Draw(t, "width"))}
		wide := conformance.Limits{Low: narrow.Low}
		s, err := New(m, narrow, 0)
		if err != nil {
			t.Fatal(err)
		}
		l, err := s.Line(Thresholds{0.9, 0.4})
		if err != nil {
			t.Fatal(err)
		}
		if l.Stretches[0].From != l.From || l.Stretches[len(l.Stretches)-1].To != l.To {
			t.Fatalf("stretches %+v do not cover %v to %v", l.Stretches, l.From, l.To)
		}
		for i, part := range l.Stretches {
			if i > 0 && (part.From != l.Stretches[i-1].To || part.Zone == l.Stretches[i-1].Zone) {
				t.Fatalf("stretches %+v", l.Stretches)
			}
			half, err := s.At((part.From + part.To) / 2)
			if err != nil || (Thresholds{0.9, 0.4}).Zone(half.P) != part.Zone && part.To-part.From > 1e-3 {
				t.Fatalf("in the middle of %+v p is %v", part, half.P)
			}
		}
		w, err := New(m, wide, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range l.Points {
			more, err := w.At(p.X)
			if err != nil || !(p.P >= 0 && p.P <= 1) || more.P < p.P-1e-12 {
				t.Fatalf("p %v, without the upper limit %v (%v)", p.P, more.P, err)
			}
		}
	})
}

func TestMap(t *testing.T) {
	s := surface(t, flours(48, 0.2, 2), conformance.Limits{Low: at(4.6), High: at(6)}, 0, 1)
	th := Thresholds{0.9, 0.6}
	m, err := s.Map(th)
	if err != nil {
		t.Fatal(err)
	}
	names, z := s.Lots()
	for i := range names {
		if !m.Known(z[0][i], z[1][i]) {
			t.Errorf("lot %s lies outside the hull", names[i])
		}
		low, high := m.KnownAt(z[0][i])
		if z[1][i] < low-1e-6 || z[1][i] > high+1e-6 {
			t.Errorf("lot %s, breakdown %v, known from %v to %v", names[i], z[1][i], low, high)
		}
	}
	if m.Known(m.X[0], m.Y[cells]) || m.Known(m.X[cells], m.Y[0]) {
		t.Error("corners without lots are known")
	}
	if len(m.Contours) < 3 {
		t.Fatalf("%d contours", len(m.Contours))
	}
	for _, c := range m.Contours {
		for _, spot := range c.Line {
			if p, err := s.At(spot.X, spot.Y); err != nil || math.Abs(p.P-c.P) > 0.01 {
				t.Errorf("on the contour of %v p is %v (%v)", c.P, p.P, err)
			}
		}
	}
	for i, column := range m.Zones {
		for k, part := range column {
			if k > 0 && part.From != column[k-1].To {
				t.Errorf("column %d: %+v", i, column)
			}
			if half, _ := s.At(m.X[i], (part.From+part.To)/2); th.Zone(half.P) != part.Zone && part.To-part.From > 40 {
				t.Errorf("column %d: p is %v in the middle of %+v", i, half.P, part)
			}
		}
	}
	if m.BestP < 0.9 {
		t.Errorf("best %v at %+v", m.BestP, m.Best)
	}
}

// Replicated rows of one lot count once.
func TestRowsOfOneLotCountOnce(t *testing.T) {
	m := flours(12, 0.2, 4)
	twice := m
	twice.X, twice.Lots = append(append([][]float64{}, m.X...), m.X[0], m.X[0]), append(append([]string{}, m.Lots...), "L0", "L0")
	limits := conformance.Limits{Low: at(5)}
	a, err := surface(t, m, limits, 0).At(2400)
	b, err2 := surface(t, twice, limits, 0).At(2400)
	if err != nil || err2 != nil || math.Abs(a.P-b.P) > 1e-12 {
		t.Errorf("%v and %v (%v, %v)", a, b, err, err2)
	}
}

func TestRefusals(t *testing.T) {
	limits := conformance.Limits{Low: at(5)}
	dependent := flours(12, 0.2, 4)
	for i := range dependent.X {
		dependent.X[i][1] = 2 * dependent.X[i][0]
	}
	flat := flours(12, 0.2, 4)
	for i := range flat.X {
		flat.X[i][0] = 2500
	}
	for name, c := range map[string]struct {
		m  Model
		by []int
	}{
		"no feature": {flours(12, 1, 1), nil}, "three": {flours(12, 1, 1), []int{0, 1, 2}}, "not there": {flours(12, 1, 1), []int{7}},
		"twice the same": {flours(12, 1, 1), []int{0, 0}}, "dependent": {dependent, []int{0, 1}}, "flat": {flat, []int{0}}, "three lots": {flours(3, 1, 1), []int{0}},
	} {
		var wrong *ValueError
		if _, err := New(c.m, limits, c.by...); !errors.As(err, &wrong) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := New(flours(12, 1, 1), conformance.Limits{Low: at(math.NaN())}, 0); err == nil {
		t.Error("a limit that is no number")
	}
	s := surface(t, flours(12, 1, 1), limits, 0)
	for _, th := range []Thresholds{{0.5, 0.9}, {1, 0.5}, {0.9, 0}, {0.9, 0.9}, {math.NaN(), 0.5}} {
		if _, err := s.Line(th); err == nil {
			t.Errorf("%+v", th)
		}
	}
	if _, err := s.At(math.Inf(1)); err == nil {
		t.Error("an infinite feature")
	}
	if _, err := s.Map(Thresholds{0.9, 0.5}); err == nil {
		t.Error("a map of one feature")
	}
}
