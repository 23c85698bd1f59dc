package design

import (
	"errors"
	"math"
	"slices"
	"testing"
)

func spec() Spec {
	return Spec{
		Features: []string{"peak", "protein"}, Response: "hardness",
		X: [][]float64{{1, 10}, {2, 20}, {3, 30}}, Y: []float64{4, 5, 6},
		Lots: []string{"A", "B", "B"}, Groupings: map[string][]string{"crop_year": {"2023", "2023", "2024"}},
		SE: []float64{0, 0.1, 0.2},
	}
}

func TestNewRefusesWhatIsNotFinite(t *testing.T) {
	cases := []struct {
		name   string
		change func(*Spec)
		row    int
		column string
	}{
		{"NaN in X", func(s *Spec) { s.X[1][1] = math.NaN() }, 1, "protein"},
		{"infinity in X", func(s *Spec) { s.X[2][0] = math.Inf(-1) }, 2, "peak"},
		{"NaN in y", func(s *Spec) { s.Y[0] = math.NaN() }, 0, "hardness"},
		{"weight zero", func(s *Spec) { s.Weights = []float64{1, 0, 1} }, 1, "weight"},
		{"negative standard error", func(s *Spec) { s.SE[2] = -1 }, 2, "standard error"},
	}
	for _, c := range cases {
		s := spec()
		c.change(&s)
		_, err := New(s)
		var v *ValueError
		if !errors.As(err, &v) || v.Row != c.row || v.Column != c.column {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

func TestNewRefusesWrongShapes(t *testing.T) {
	changes := map[string]func(*Spec){
		"no rows":             func(s *Spec) { s.Y = nil },
		"X short":             func(s *Spec) { s.X = s.X[:2] },
		"row short":           func(s *Spec) { s.X[1] = s.X[1][:1] },
		"lots short":          func(s *Spec) { s.Lots = s.Lots[:2] },
		"grouping short":      func(s *Spec) { s.Groupings["crop_year"] = []string{"x"} },
		"weights short":       func(s *Spec) { s.Weights = []float64{1} },
		"feature twice":       func(s *Spec) { s.Features[1] = "peak" },
		"response as feature": func(s *Spec) { s.Features[0] = "hardness" },
	}
	for name, change := range changes {
		s := spec()
		change(&s)
		var shape *ShapeError
		if _, err := New(s); !errors.As(err, &shape) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestMatrixDoesNotShareMemoryWithItsSpec(t *testing.T) {
	s := spec()
	m, err := New(s)
	if err != nil {
		t.Fatal(err)
	}
	s.X[0][0], s.Y[0], s.Lots[0], s.Features[0] = 99, 99, "Z", "z"
	s.Groupings["crop_year"][0] = "1900"
	year, _ := m.Grouping("crop_year")
	if m.Row(0)[0] != 1 || m.Y()[0] != 4 || m.Lots()[0] != "A" || m.Features()[0] != "peak" || year[0] != "2023" {
		t.Error("a later change of the Spec reached the Matrix")
	}
}

func TestFlatIsTakenOver(t *testing.T) {
	s := spec()
	s.Flat, s.X = []float64{1, 10, 2, 20, 3, 30}, nil
	m, err := New(s)
	if err != nil || &m.X()[0] != &s.Flat[0] || !slices.Equal(m.Row(2), []float64{3, 30}) {
		t.Fatalf("Flat was copied, or refused: %v", err)
	}
	var shape *ShapeError
	s.Flat = s.Flat[:5]
	if _, err := New(s); !errors.As(err, &shape) {
		t.Errorf("five figures for three rows of two: %v", err)
	}
	s.Flat, s.X = []float64{1, 10, 2, 20, 3, 30}, spec().X
	if _, err := New(s); !errors.As(err, &shape) {
		t.Errorf("X and Flat: %v", err)
	}
	var value *ValueError
	s.Flat[3], s.X = math.NaN(), nil
	if _, err := New(s); !errors.As(err, &value) || value.Row != 1 || value.Column != s.Features[1] {
		t.Errorf("NaN in Flat: %v", err)
	}
}

func TestSubsetAndChoices(t *testing.T) {
	m, err := New(spec())
	if err != nil {
		t.Fatal(err)
	}
	s := m.Subset([]int{2, 0})
	year, _ := s.Grouping("crop_year")
	if s.N() != 2 || !slices.Equal(s.X(), []float64{3, 30, 1, 10}) || !slices.Equal(s.Y(), []float64{6, 4}) ||
		!slices.Equal(s.Lots(), []string{"B", "A"}) || !slices.Equal(year, []string{"2024", "2023"}) || !slices.Equal(s.SE(), []float64{0.2, 0}) {
		t.Errorf("Subset: %v %v %v %v %v", s.X(), s.Y(), s.Lots(), year, s.SE())
	}
	w, err := m.WithFeatures([]string{"protein"})
	if err != nil || w.P() != 1 || !slices.Equal(w.X(), []float64{10, 20, 30}) {
		t.Errorf("WithFeatures: %v, %v", w, err)
	}
	if _, err := m.WithFeatures([]string{"ash"}); err == nil {
		t.Error("WithFeatures took a feature that is not there")
	}
	y, err := m.WithResponse("springiness", []float64{7, 8, 9})
	if err != nil || y.Response() != "springiness" || m.Y()[0] != 4 || y.Y()[0] != 7 {
		t.Errorf("WithResponse: %v", err)
	}
	if _, err := m.WithResponse("springiness", []float64{7, math.NaN(), 9}); err == nil {
		t.Error("WithResponse took a NaN")
	}
	a, err := m.WithColumn("ash", []float64{0.4, 0.5, 0.6})
	if err != nil || a.P() != 3 || m.P() != 2 || !slices.Equal(a.Row(1), []float64{2, 20, 0.5}) {
		t.Errorf("WithColumn: %v, %v", a, err)
	}
	if same, err := m.WithColumn("peak", []float64{7, 7, 7}); err != nil || same != m {
		t.Errorf("WithColumn of a feature that is there: %v", err)
	}
	for name, x := range map[string][]float64{"hardness": {1, 2, 3}, "short": {1}, "infinite": {1, math.Inf(1), 2}} {
		if _, err := m.WithColumn(name, x); err == nil {
			t.Errorf("WithColumn took %s", name)
		}
	}
	if !slices.Equal(m.Column(1), []float64{10, 20, 30}) {
		t.Errorf("Column: %v", m.Column(1))
	}
}
