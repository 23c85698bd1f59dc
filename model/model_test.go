package model_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"flourcast/model"
	"flourcast/model/design"
)

func matrix(t testing.TB, x [][]float64, y []float64) *design.Matrix {
	t.Helper()
	s := design.Spec{Response: "y", X: x, Y: y}
	for j := range x[0] {
		s.Features = append(s.Features, fmt.Sprint("x", j))
	}
	for i := range y {
		s.Lots = append(s.Lots, fmt.Sprint("lot ", i))
	}
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func TestRanges(t *testing.T) {
	good := []float64{1, 2, 3, 5}
	for _, c := range []struct {
		name   string
		x, y   []float64
		column string
	}{
		{"huge feature", []float64{1e300, 2e300, -1e300, 0}, good, "x0"},
		{"largest feature", []float64{math.MaxFloat64, -math.MaxFloat64, 0, 1}, good, "x0"},
		{"tiny feature", []float64{1e-300, 2e-300, 3e-300, 0}, good, "x0"},
		{"subnormal feature", []float64{5e-324, 0, 5e-324, 0}, good, "x0"},
		{"huge response", good, []float64{1e300, 2, 3, 4}, "y"},
		{"tiny response", good, []float64{1e-300, 0, 3e-300, 0}, "y"},
	} {
		x := make([][]float64, len(c.x))
		for i, v := range c.x {
			x[i] = []float64{v}
		}
		m := matrix(t, x, c.y)
		var bad *model.RangeError
		if _, err := model.Standardise("test", m, model.ScaleUnit); !errors.As(err, &bad) || bad.Column != c.column {
			t.Errorf("%s, rows: %v", c.name, err)
		}
		if _, err := model.NewMoments("test", m); !errors.As(err, &bad) || bad.Column != c.column {
			t.Errorf("%s, moments: %v", c.name, err)
		}
	}
}

func TestNoVariance(t *testing.T) {
	// 0.1 summed and divided is not 0.1: equal figures are still equal.
	m := matrix(t, [][]float64{{0.1, 1, 7}, {0.1, 2, 7}, {0.1, 4, 7}}, []float64{1, 2, 3})
	var flat *model.NoVarianceError
	if _, err := model.Standardise("test", m, model.ScaleNone); !errors.As(err, &flat) || strings.Join(flat.Features, ",") != "x0,x2" {
		t.Errorf("rows: %v", err)
	}
	if _, err := model.NewMoments("test", m); !errors.As(err, &flat) || strings.Join(flat.Features, ",") != "x0,x2" {
		t.Errorf("moments: %v", err)
	}
	m = matrix(t, [][]float64{{1}, {2}, {4}}, []float64{0.3, 0.3, 0.3})
	if _, err := model.Standardise("test", m, ""); !errors.As(err, &flat) || flat.Response != "y" {
		t.Errorf("response, rows: %v", err)
	}
	if _, err := model.NewMoments("test", m); !errors.As(err, &flat) || flat.Response != "y" {
		t.Errorf("response, moments: %v", err)
	}
}

func TestDotAdd(t *testing.T) {
	// Plain sums give 0 here; the exact answer is 2.
	got := model.DotAdd(1e16, []float64{1, 1, -1e8}, []float64{1, 1, 1e8})
	if got != 2 {
		t.Errorf("got %v, expected 2", got)
	}
	// (1 + 2⁻³⁰)² − 1 − 2⁻²⁹ = 2⁻⁶⁰ needs the lost half of a product.
	a := 1 + math.Ldexp(1, -30)
	if got, want := model.DotAdd(-1, []float64{a, -math.Ldexp(1, -29)}, []float64{a, 1}), math.Ldexp(1, -60); got != want {
		t.Errorf("got %v, expected %v", got, want)
	}
}

func TestEquation(t *testing.T) {
	e := model.Equation{XMean: []float64{1e6, -2}, Coefficients: []float64{3, 0.5}, YMean: 7}
	l := e.Linear()
	x := []float64{1e6 + 1, 4}
	if got, want := e.Predict(x), 7+3+0.5*6; got != want {
		t.Errorf("predicted %v, expected %v", got, want)
	}
	if got := l.Intercept + l.Coefficients[0]*x[0] + l.Coefficients[1]*x[1]; math.Abs(got-13) > 1e-9 {
		t.Errorf("from original units %v, expected 13", got)
	}
	defer func() {
		if recover() == nil {
			t.Error("a row of the wrong length did not panic")
		}
	}()
	e.Predict([]float64{1})
}

func TestDependenceReads(t *testing.T) {
	for _, c := range []struct {
		d    model.Dependence
		want string
	}{
		{model.Dependence{Feature: "breakdown", Terms: []model.Term{{Coefficient: 1, Feature: "peak"}, {Coefficient: -1, Feature: "trough"}}}, "breakdown = peak − trough"},
		{model.Dependence{Feature: "f", Terms: []model.Term{{Coefficient: -1.8, Feature: "c"}}, Constant: 32}, "f = −1.8·c + 32"},
	} {
		if got := c.d.String(); got != c.want {
			t.Errorf("got %q, expected %q", got, c.want)
		}
	}
}

func TestPayloadIsStrict(t *testing.T) {
	type payload struct {
		A float64 `json:"a"`
	}
	for _, c := range []struct {
		data string
		ok   bool
	}{{`{"a":1.5}`, true}, {`{"a":1.5,"b":2}`, false}, {`{"a":1e999}`, false}, {`{"a":1} {"a":2}`, false}, {`{"a":"1"}`, false}, {``, false}, {`{"a":1}x`, false}} {
		var v payload
		err := model.DecodePayload("test", []byte(c.data), &v)
		var bad *model.PayloadError
		if (err == nil) != c.ok || (err != nil && !errors.As(err, &bad)) {
			t.Errorf("%s: %v", c.data, err)
		}
	}
}

func TestScaling(t *testing.T) {
	if s, err := model.Scaling("").Check("x"); s != model.ScaleUnit || err != nil {
		t.Errorf("the empty scaling is %q, %v", s, err)
	}
	var bad *model.SettingError
	if _, err := model.Scaling("pareto").Check("x"); !errors.As(err, &bad) {
		t.Errorf("unknown scaling: %v", err)
	}
}
