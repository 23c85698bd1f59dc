package forecast

import (
	"errors"
	"math"
	"reflect"
	"strings"
	"testing"
)

func ptr(v float64) *float64 { return &v }

func TestParseSpec(t *testing.T) {
	good := []struct {
		text string
		want Spec
	}{
		{"hardness_N=3.2..4.0", Spec{"hardness_N", ptr(3.2), ptr(4)}},
		{"hardness_N=3.2..", Spec{"hardness_N", ptr(3.2), nil}},
		{"hardness_N=..4.0", Spec{"hardness_N", nil, ptr(4)}},
		{" symmetry_index_mm = -3 .. 2.5e1 ", Spec{"symmetry_index_mm", ptr(-3), ptr(25)}},
		{"own score=+1..2", Spec{"own score", ptr(1), ptr(2)}},
	}
	for _, c := range good {
		got, err := ParseSpec(c.text)
		if err != nil || !reflect.DeepEqual(got, c.want) {
			t.Errorf("%q: %v, %v; want %v", c.text, got, err, c.want)
		}
		if back, err := ParseSpec(got.String()); err != nil || !reflect.DeepEqual(back, got) {
			t.Errorf("%q written as %q reads as %v, %v", c.text, got, back, err)
		}
	}
	bad := []struct{ text, hint string }{
		{"", "RESPONSE=LOW..HIGH"}, {"3.2..4.0", "RESPONSE"}, {"=3.2..4.0", "name the response"}, {"hardness_N", "RESPONSE"},
		{"hardness_N=", "two points"}, {"hardness_N=3.2", "two points"}, {"hardness_N=3.2-4.0", "two points"}, {"hardness_N=3,2-4,0", "decimals with a point"},
		{"hardness_N=..", "at least one limit"}, {"hardness_N=4.0..3.2", "smaller figure first"}, {"hardness_N=3.2..3.2", "smaller figure first"},
		{"hardness_N=3,2..4,0", "decimals with a point"}, {"hardness_N=3.2..4.0 N", "without a unit"}, {"hardness_N=NaN..4", "finite"},
		{"hardness_N=-Inf..4", "finite"}, {"hardness_N=1e999..", "finite"}, {"hardness_N=0x1p2..9", "finite"}, {"hardness_N=1_0..90", "finite"},
		{"hardness_N=3.2...4.0", "finite"}, {"hardness_N=1..2..3", "without a unit"},
	}
	for _, c := range bad {
		var wrong *SpecError
		got, err := ParseSpec(c.text)
		if !errors.As(err, &wrong) || !strings.Contains(err.Error(), c.hint) {
			t.Errorf("%q: %v, error %v; want a *SpecError that says %q", c.text, got, err, c.hint)
		}
	}
	for _, s := range []Spec{{"", ptr(1), nil}, {"y", ptr(math.NaN()), nil}, {"y", nil, ptr(math.Inf(1))}, {"y", nil, nil}} {
		if s.Check() == nil {
			t.Errorf("%+v passed", s)
		}
	}
	if w, ok := (Spec{"y", ptr(1), ptr(3)}).Width(); w != 2 || !ok {
		t.Errorf("width %v, %v", w, ok)
	}
	if _, ok := (Spec{"y", ptr(1), nil}).Width(); ok {
		t.Error("a one-sided specification has a width")
	}
}

func FuzzParseSpec(f *testing.F) {
	for _, s := range []string{"hardness_N=3.2..4.0", "y=..1e-3", "y=-1.5..", "a=b=1..2", "y=3...4"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		s, err := ParseSpec(text)
		if err != nil {
			return
		}
		if err := s.Check(); err != nil {
			t.Fatalf("%q was read as %v, yet %v", text, s, err)
		}
		if back, err := ParseSpec(s.String()); err != nil || !reflect.DeepEqual(back, s) {
			t.Fatalf("%q → %q → %v, %v", text, s, back, err)
		}
	})
}
