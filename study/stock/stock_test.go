package stock

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"flourcast/study/job"
)

func TestWaxyInWords(t *testing.T) {
	for text, want := range map[string]bool{"waxy wheat": true, "Waxy": true, "partially waxy": false, "non-waxy": false, "hard red": false} {
		if isWaxy(text) != want {
			t.Errorf("%q: %v", text, !want)
		}
	}
}

func read(t *testing.T, text string, q Request) (*File, error) {
	t.Helper()
	q.Path = filepath.Join(t.TempDir(), "stock.csv")
	if err := os.WriteFile(q.Path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return Read(q)
}

// Written as it is on the continent, in other units and words; every row is accounted for.
func TestRead(t *testing.T) {
	f, err := read(t, "flour;price;currency;stock_t;Peak viscosity (cP);treatment\nA;312,50;EUR/t;40;1800;none\nB;300;EUR;0;2000;none\nC;310;EUR;5;2100;chlorinated\n", Request{Columns: []string{"peak_mPas"}, Paste: true})
	if err != nil {
		t.Fatal(err)
	}
	if f.Rows != 3 || f.Accepted != 2 || f.Refused != 1 || f.Currency != "EUR" || f.Flours[0].Price.String() != "312.5" || *f.Flours[0].StockT != 40 || f.Flours[0].Figures["peak_mPas"] != 1800 {
		t.Errorf("%+v", f)
	}
	for _, code := range []string{"no-stock", "treatments-differ", "chlorinated-flour", "kinds-not-known"} {
		if !f.Findings.Has(code) {
			t.Errorf("no finding %s in %v", code, f.Findings)
		}
	}
	// All takes what can be mixed; a text and a price are not among it.
	f, err = read(t, "lot,price,peak_mPas@noodle-water,protein_pct,supplier,ph\nA,300,1800,9,North,6\n", Request{All: true})
	if err != nil || !slices.Equal(f.Columns, []string{"peak_mPas@noodle-water", "protein_pct"}) || f.Flours[0].StockT != nil {
		t.Errorf("%v: %+v", err, f)
	}
	var nothing *job.NothingUsableError
	if _, err := read(t, "flour,price\nA,\n", Request{}); !errors.As(err, &nothing) {
		t.Errorf("no flour with a price: %v", err)
	}
	var bad *job.RequestError
	if _, err := read(t, "flour,prise\nA,5\n", Request{}); !errors.As(err, &bad) || !strings.Contains(bad.Do, "prise") {
		t.Errorf("no price: %v", err)
	}
}
