package cell

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestJudge(t *testing.T) {
	for text, want := range map[string]Vote{
		"": NoNumber, "text": NoNumber, "12.03.2026": NoNumber, "1.2.3": NoNumber, "0:12": NoNumber, "-": NoNumber, "NaN": NoNumber, "1e": NoMark,
		"12": NoMark, "-3": NoMark, "1e5": NoMark, "12 000": NoMark,
		"12.5": Point, "0.500": Point, "1234.567": Point, ".5": Point, "1,234.5": Point, "1,234,567": Point, "1.234e3": Point, "12.3456": Point, "1 234.567": Point,
		"12,5": Comma, "0,500": Comma, "1234,567": Comma, "1.234,5": Comma, "1.234.567": Comma, "1,234E-3": Comma,
		"1.234": Either, "1,234": Either, "-12,345": Either, "123.000": Either,
	} {
		if got := Judge(text); got != want {
			t.Errorf("Judge(%q) = %d, want %d", text, got, want)
		}
	}
}

func TestNumber(t *testing.T) {
	point, comma := Marks{Decimal: '.'}, Marks{Decimal: ','}
	mixed, stored := Marks{Decimal: '.', Mixed: true}, Marks{Decimal: '.', Stored: true}
	storedComma := Marks{Decimal: ',', Stored: true}
	tests := []struct {
		marks Marks
		text  string
		want  float64
		why   string // part of it; empty: the number is read
	}{
		{point, "12.5", 12.5, ""}, {point, "-0.25", -0.25, ""}, {point, "+3", 3, ""}, {point, "1.5e3", 1500, ""}, {point, ".5", 0.5, ""}, {point, "5.", 5, ""},
		{point, "1,234.5", 1234.5, ""}, {point, "1,234", 1234, ""}, {point, "1,234,567", 1234567, ""}, {point, "12 345.6", 12345.6, ""}, {point, "12'345", 12345, ""},
		{point, "−12\u00a0345", -12345, ""}, {point, "1’234", 1234, ""}, {point, "1,234e2", 123400, ""},
		{comma, "12,5", 12.5, ""}, {comma, "1.234,5", 1234.5, ""}, {comma, "1.234", 1234, ""}, {comma, "0,66", 0.66, ""}, {comma, "1.234.567,25", 1234567.25, ""},
		{point, "12,5", 0, "decimal point"}, {point, "1,23,456", 0, "decimal point"}, {point, "1.234,5", 0, "decimal point"}, {point, "1,2345", 0, "decimal point"},
		{comma, "12.5", 0, "decimal comma"}, {comma, "0.660", 0.66, "decimal comma"}, {point, "1.2.3", 0, "more than one"}, {comma, "1,2,3", 0, "more than one"},
		{point, "1 2", 0, "decimal point"}, {point, "1,234 567", 0, "decimal point"},
		{mixed, "1.234", 0, "mixes"}, {mixed, "1,234", 0, "mixes"}, {mixed, "12.5", 12.5, ""}, {mixed, "12,5", 0, "decimal point"},
		{stored, "1234.5678", 1234.5678, ""}, {stored, "12,5", 12.5, ""}, {stored, "1.234,5", 1234.5, ""}, {stored, "1,234.5", 1234.5, ""},
		{stored, "1,234", 0, "a comma that may part"}, {stored, "1.234", 1.234, ""}, {storedComma, "1,234", 1.234, ""},
		{point, "text", 0, "text"}, {point, "NaN", 0, "text"}, {point, "Inf", 0, "text"}, {point, "-inf", 0, "text"}, {point, "0x1p3", 0, "text"}, {point, "1_000", 0, "text"},
		{point, "1e999", 0, "text"}, {point, "1e", 0, "text"}, {point, "12 %", 0, "text"}, {point, "<0.5", 0, "text"}, {point, "e5", 0, "text"}, {point, "--1", 0, "text"},
		{point, "", 0, "nothing"}, {point, "\xff", 0, "text"}, {point, "+", 0, "text"}, {point, ".", 0, "text"},
	}
	for _, tt := range tests {
		v, why := tt.marks.Number(tt.text)
		switch {
		case tt.why == "" && (why != "" || v != tt.want):
			t.Errorf("%+v: Number(%q) = %v, %q, want %v", tt.marks, tt.text, v, why, tt.want)
		case tt.why != "" && !strings.Contains(why, tt.why):
			t.Errorf("%+v: Number(%q) = %v, %q, want it refused with %q", tt.marks, tt.text, v, why, tt.why)
		}
	}
}

// A number written with either mark, with or without groups of thousands, reads
// as the same number under the marks of its file.
func TestNumberRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := float64(rapid.Int64Range(-1e9, 1e9).Draw(t, "v")) / 100
		plain := fmt.Sprintf("%.2f", v)
		for _, m := range []Marks{{Decimal: '.'}, {Decimal: ','}, {Decimal: '.', Mixed: true}} {
			written := plain
			if rapid.Bool().Draw(t, "groups") {
				written = withGroups(plain)
			}
			if m.Decimal == ',' {
				written = strings.NewReplacer(".", ",", ",", ".").Replace(written)
			}
			if got, why := m.Number(written); why != "" || got != v {
				t.Fatalf("%+v: Number(%q) = %v, %q, want %v", m, written, got, why, v)
			}
		}
	})
}

// withGroups writes 1234567.89 as 1,234,567.89.
func withGroups(s string) string {
	whole, rest, _ := strings.Cut(s, ".")
	sign := ""
	if strings.HasPrefix(whole, "-") {
		sign, whole = "-", whole[1:]
	}
	for i := len(whole) - 3; i > 0; i -= 3 {
		whole = whole[:i] + "," + whole[i:]
	}
	return sign + whole + "." + rest
}

// The short way for plain numbers gives the bits that strconv gives, and leaves
// everything else to the long way.
func TestPlain(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`[-+]?[0-9]{0,16}[.]?[0-9]{0,16}`).Draw(t, "text")
		if text == "" {
			return
		}
		v, ok := Marks{Decimal: '.'}.Plain(text)
		want, err := strconv.ParseFloat(text, 64)
		if ok && (err != nil || v != want || math.Signbit(v) != math.Signbit(want)) {
			t.Fatalf("%q: %g, by strconv %g (%v)", text, v, want, err)
		}
		if digits := strings.Trim(text, "+-"); err == nil && len(digits) <= 15 && !ok {
			t.Fatalf("%q goes the long way", text)
		}
	})
	for _, text := range []string{"1,5", "1.2.3", "1e5", "-", ".", "1-2", "1 000", "x", "12345678901234567"} {
		if v, ok := (Marks{Decimal: '.'}).Plain(text); ok {
			t.Errorf("%q is plain: %g", text, v)
		}
	}
	for _, m := range []Marks{{Decimal: '.', Mixed: true}, {Decimal: '.', Stored: true}} {
		if _, ok := m.Plain("1.234"); ok {
			t.Errorf("%+v: 1.234 is plain", m)
		}
	}
}

// Any text at all is a finite number or is refused with a reason.
func FuzzNumber(f *testing.F) {
	for _, s := range []string{"12.5", "1,234.5", "1.234,5", "−3", "1e-5", "1'234", "NaN", "12,,5", "e", " ", "1.2.3,4"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		for _, m := range []Marks{{Decimal: '.'}, {Decimal: ','}, {Decimal: '.', Mixed: true}, {Decimal: '.', Stored: true}} {
			if v, why := m.Number(text); math.IsNaN(v) || math.IsInf(v, 0) || why != "" && v != 0 {
				t.Errorf("%+v: Number(%q) = %v, %q", m, text, v, why)
			}
		}
	})
}

func TestTally(t *testing.T) {
	var tally Tally
	for i := range Enough {
		if tally.Settled() {
			t.Fatalf("settled after %d", i)
		}
		tally.Add(Comma, func() string { return fmt.Sprint("cell ", i) })
	}
	if !tally.Settled() || tally.First[Comma] != "cell 0" {
		t.Errorf("settled %v, first %q", tally.Settled(), tally.First[Comma])
	}
}

func TestAbsent(t *testing.T) {
	for text, want := range map[string]bool{"": true, "-": true, "NA": true, "n/a": true, "–": true, "0": false, "NaN": false, "none": false} {
		if Absent(text) != want {
			t.Errorf("Absent(%q) = %v", text, !want)
		}
	}
}
