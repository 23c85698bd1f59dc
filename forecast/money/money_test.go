package money

import (
	"encoding/json"
	"errors"
	"testing"

	"pgregory.net/rapid"
)

func amount(t *testing.T, text string) Amount {
	t.Helper()
	a, err := Parse(text, '.')
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// By hand. In binary 0.1 added ten times is 0.9999999999999999.
func TestSumsAreExact(t *testing.T) {
	var sum Amount
	for range 10 {
		sum = sum.Plus(amount(t, "0.10"))
	}
	if sum.Cmp(Whole(1)) != 0 || sum.Text() != "1.00" {
		t.Errorf("ten times 0.10 is %s", sum)
	}
	if got := amount(t, "327.25").Times(amount(t, "1.10")).Minus(amount(t, "0.005")); got.String() != "359.97" {
		t.Errorf("327.25 × 1.10 − 0.005 = %s, want 359.97", got)
	}
	if q, ok := Whole(1).Over(Whole(3)); !ok || q.String() != "0.3333333333" {
		t.Errorf("1/3 = %s", q)
	}
	if _, ok := Whole(1).Over(Amount{}); ok {
		t.Error("1/0 has an answer")
	}
	if got := amount(t, "-0.005").Round(2).Text(); got != "−0.01" {
		t.Errorf("−0.005 at two decimals is %s", got)
	}
	if got := Of(6. / 11).String(); got != "0.545454545455" {
		t.Errorf("6/11 as an estimate is %s", got)
	}
}

func TestParse(t *testing.T) {
	for _, c := range []struct {
		text string
		mark byte
		want string
	}{
		{"312.50", '.', "312.5"}, {" 312,50 ", ',', "312.5"}, {"312.50", ',', "312.5"}, {"-4", '.', "-4"}, {"0", '.', "0"},
		{"1,200.00", '.', ""}, {"1.200,00", ',', ""}, {"3e2", '.', ""}, {"€300", '.', ""}, {"", '.', ""}, {"1.2.3", '.', ""}, {"NaN", '.', ""}, {"9999999999999999999999999999999", '.', ""},
	} {
		a, err := Parse(c.text, c.mark)
		var bad *ParseError
		switch {
		case c.want == "" && !errors.As(err, &bad):
			t.Errorf("%q: %v, %v; want a *ParseError", c.text, a, err)
		case c.want != "" && (err != nil || a.String() != c.want):
			t.Errorf("%q: %v, %v; want %s", c.text, a, err, c.want)
		}
	}
}

func TestJSONKeepsEveryDigit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := Amount{Whole(rapid.Int64().Draw(t, "units")).d.Shift(-6)}
		data, err := json.Marshal(a)
		if err != nil {
			t.Fatal(err)
		}
		var b Amount
		if err := json.Unmarshal(data, &b); err != nil || a.Cmp(b) != 0 {
			t.Fatalf("%s came back as %s (%v)", a, b, err)
		}
	})
}

func TestCurrencyPerTonne(t *testing.T) {
	for text, want := range map[string]string{"EUR": "EUR", "EUR/t": "EUR", "invented crowns a tonne": "invented crowns", " USD per tonne ": "USD", "": ""} {
		if got, ok := Currency(text); !ok || got != want {
			t.Errorf("%q: %q, %v", text, got, ok)
		}
	}
	for _, text := range []string{"USD/cwt", "EUR/kg", "EUR per 100 kg"} {
		if got, ok := Currency(text); ok {
			t.Errorf("%q is taken as a price per tonne in %q", text, got)
		}
	}
}
