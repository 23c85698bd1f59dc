package offers

import (
	"os"
	"path/filepath"
	"testing"

	"flourcast/finding"
)

func read(t testing.TB, text string) (*Result, map[string]offer, error) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "prices.csv")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	res := &Result{Findings: finding.List{}}
	out, err := Request{Prices: path}.read(res)
	if res.Priced+res.Unpriced+res.Refused != res.Rows {
		t.Errorf("%d priced, %d unpriced, %d refused of %d rows", res.Priced, res.Unpriced, res.Refused, res.Rows)
	}
	return res, out, err
}

// Prices come in decimals, by a point or a comma; what cannot be a price is refused by
// name.
func TestPricesAreRead(t *testing.T) {
	res, got, err := read(t, "flour;price;currency;water_absorption_pct\nA;331,10;EUR;56,5\nB;;EUR;\nC;1.000,00;EUR;\nD;-3;EUR;\nE;300,00;USD;\nA;300,00;EUR;\n;300,00;EUR;\nF;300,00;;900\nG;0,10;;\nH;3,00;EUR/kg;\n")
	if err != nil || len(got) != 2 || res.Currency != "EUR" || res.Unpriced != 1 || res.Refused != 7 {
		t.Fatalf("%v: %v, %+v", err, got, res)
	}
	if a := got["A"]; a.price.String() != "331.1" || a.water.String() != "56.5" || got["G"].price.String() != "0.1" || got["G"].water != nil {
		t.Errorf("%+v", got)
	}
	for code, want := range map[string]bool{"price-not-read": true, "currency-differs": true, "price-twice": true, "lot-missing": true, "water-not-possible": true, "not-per-tonne": true, "else": false} {
		if res.Findings.Has(code) != want {
			t.Errorf("%s: %v", code, !want)
		}
	}
	if _, _, err := read(t, "lot,cost per bag\nA,5\n"); err == nil {
		t.Error("a file without prices is read")
	}
}

func FuzzPrices(f *testing.F) {
	f.Add("lot,price,currency\nA,300.10,EUR\nB,,EUR\n")
	f.Add("flour;price\nA;300,10\n\"")
	f.Fuzz(func(t *testing.T, text string) {
		_, out, err := read(t, text)
		if err == nil && len(out) == 0 {
			t.Error("no price, and no error")
		}
	})
}
