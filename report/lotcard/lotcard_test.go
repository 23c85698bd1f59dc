package lotcard

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/dataset"
	"flourcast/report/document"
)

// table is a joined table of one lot for two products and another lot.
func table(t *testing.T) *dataset.Table {
	t.Helper()
	path := filepath.Join(t.TempDir(), "table.csv")
	text := "lot,product,protein_pct,peak_mPas@noodle-water,peak_mPas@noodle-water_n,peak_mPas@noodle-water_sd,hardness_N\n" +
		"A,soft-bite-noodle,9.1,2410,2,31,3.21\nA,layer-cake,9.1,2410,2,31,\nB,soft-bite-noodle,8.8,2200,1,,\n"
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	out, _, err := dataset.ReadTable(path)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func text(t *testing.T, d document.Document) string {
	t.Helper()
	var b strings.Builder
	if err := document.Text(&b, d); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestDocument(t *testing.T) {
	d := Document("A", table(t))
	var headings []string
	for _, s := range d.Sections {
		headings = append(headings, s.Heading)
	}
	if got := strings.Join(headings, ", "); got != "What it is, Results, Flour, Features, What it is, Flour, Features" {
		t.Errorf("sections: found %s, expected a set for each product, results where there are any", got)
	}
	got := text(t, d)
	for _, want := range []string{"peak viscosity (noodle-water)", "2410", "31", "hardness", "3.21", "protein"} {
		if !strings.Contains(got, want) {
			t.Errorf("no %q in\n%s", want, got)
		}
	}
	if got := text(t, Document("B", table(t))); strings.Contains(got, "2410") || !strings.Contains(got, "–") {
		t.Errorf("lot B: expected its own figures, and – where there is no SD:\n%s", got)
	}
	if d := Document("C", table(t)); len(d.Sections) != 0 {
		t.Errorf("a lot that is not there: found %d sections", len(d.Sections))
	}
}
