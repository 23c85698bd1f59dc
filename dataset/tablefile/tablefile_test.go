package tablefile

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"flourcast/dataset/sheet"
	"flourcast/dataset/table"
	"flourcast/finding"
)

func parse(t *testing.T, text, lot string) (*table.Table, finding.List) {
	t.Helper()
	tab, fl, err := Parse("t.csv", []byte(text), lot)
	if err != nil {
		t.Fatal(err)
	}
	return tab, fl
}

func count(fl finding.List, code string) int {
	n := 0
	for _, f := range fl {
		if f.Code == code {
			n++
		}
	}
	return n
}

// TestTypes: a declared column has its type whatever its cells; another is numbers
// only if all its cells are, and a code such as 0012 is a text.
func TestTypes(t *testing.T) {
	tab, fl := parse(t, "lot;peak_mPas;site;code;mixed;own\n0012;2500,5;east;007;1;1,5\n13;n/d;west;12;2;2\n14;abc;west;13;x;\n", "")
	for name, number := range map[string]bool{"lot": false, "peak_mPas": true, "site": false, "code": false, "mixed": false, "own": true} {
		if tab.IsNumber(name) != number {
			t.Errorf("%s: number %v, want %v", name, !number, number)
		}
	}
	if got := tab.Lot(0); got != "0012" {
		t.Errorf("lot %q, want 0012 as written", got)
	}
	if v, ok := tab.Number("peak_mPas", 0); !ok || v != 2500.5 {
		t.Errorf("peak %v, %v", v, ok)
	}
	for i := 1; i < 3; i++ {
		if v, ok := tab.Number("peak_mPas", i); ok {
			t.Errorf("row %d has a peak of %v that nobody wrote", i, v)
		}
	}
	if _, ok := tab.Number("own", 2); ok {
		t.Error("an empty cell became a number")
	}
	if count(fl, "column-mixed") != 1 {
		t.Errorf("%v", fl)
	}
}

func TestRefusals(t *testing.T) {
	var empty *EmptyError
	var column *table.ColumnError
	var unreadable *sheet.Error
	for name, c := range map[string]struct {
		text, lot string
		want      any
	}{
		"header only":        {"lot,peak_mPas\n", "", &empty},
		"no lot in any row":  {"lot,peak_mPas\n,1\n,2\n", "", &empty},
		"no such lot column": {"lot,peak_mPas\nA,1\n", "batch", &column},
		"nothing":            {"", "", &unreadable},
		"zeros":              {strings.Repeat("\x00", 64), "", &unreadable},
	} {
		_, _, err := Parse("t.csv", []byte(c.text), c.lot)
		if err == nil || !errors.As(err, c.want) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, _, err := Read(filepath.Join(t.TempDir(), "none.csv"), ""); err == nil {
		t.Error("a file that is not there was read")
	}
}

// TestReadFor: a header in other words is taken for the trait that is asked for, in its
// unit; 300 gf are 2.941995 N (1 gf = 9.80665 mN by definition). Read leaves it alone,
// and a column of the very name goes first.
func TestReadFor(t *testing.T) {
	path := filepath.Join(t.TempDir(), "raw.csv")
	if err := os.WriteFile(path, []byte("Lot,hardness (gf),day\nA,300,1\n,310,1\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	tab, fl, err := ReadFor(path, "lot", "hardness_N", "lot", "day", "springiness")
	if err != nil {
		t.Fatal(err)
	}
	if v, ok := tab.Number("hardness_N", 0); !ok || math.Abs(v-2.941995) > 1e-12 {
		t.Errorf("%v, %v", v, ok)
	}
	if count(fl, "header-read-as-trait") != 2 || count(fl, "lot-missing") != 1 || tab.Len() != 1 {
		t.Errorf("%d rows, %v", tab.Len(), fl)
	}
	plain, fl, err := Read(path, "Lot")
	if err != nil || plain.Has("hardness_N") || count(fl, "header-reads-as-trait") != 1 {
		t.Errorf("%v, %v, %v", err, plain.Columns(), fl)
	}
	if err := os.WriteFile(path, []byte("lot,hardness_N,hardness (gf)\nA,3,300\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if tab, _, err = ReadFor(path, "", "hardness_N"); err != nil {
		t.Fatal(err)
	}
	if v, _ := tab.Number("hardness_N", 0); tab.Has("hardness_N") && v != 3 {
		t.Errorf("hardness %v, want the 3 N of the column of that name", v)
	}
}

// TestFrame: absent cells are NA, and a lot 0012 is no number.
func TestFrame(t *testing.T) {
	tab, _ := parse(t, "lot,peak_mPas,site\n0012,2500,\n13,,west\n", "")
	f := Frame(tab)
	if r, c := f.Dims(); r != 2 || c != 3 {
		t.Fatalf("%d by %d", r, c)
	}
	if f.Elem(0, 0).String() != "0012" || f.Elem(0, 1).Float() != 2500 || !f.Elem(0, 2).IsNA() || !f.Elem(1, 1).IsNA() {
		t.Error(f)
	}
}

// TestNothingLost: rows kept and rows refused are the rows of the file, and every
// figure kept is one that was written.
func TestNothingLost(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows := rapid.SliceOfN(rapid.SampledFrom([]string{"A,1,x", ",2,y", "B,,", "C,text,z", "0012,-3.5,x", "D,1e3,", " ,4,x", "E,NaN,x", "F,+Inf,y"}), 1, 30).Draw(t, "rows")
		tab, fl, err := Parse("t.csv", []byte("lot,peak_mPas,site\n"+strings.Join(rows, "\n")+"\n"), "")
		var empty *EmptyError
		kept := 0
		switch {
		case err == nil:
			kept = tab.Len()
		case !errors.As(err, &empty):
			t.Fatal(err)
		}
		refused := 0
		for _, f := range fl {
			if f.Severity == finding.Refused {
				refused++
			}
		}
		if kept+refused != len(rows) {
			t.Fatalf("%d kept, %d refused of %d: %v", kept, refused, len(rows), fl)
		}
		for i := range kept {
			if v, ok := tab.Number("peak_mPas", i); ok && (math.IsNaN(v) || math.IsInf(v, 0) || !strings.Contains("1 -3.5 1000", fmt.Sprint(v))) {
				t.Fatalf("row %d: %v", i, v)
			}
		}
	})
}

// FuzzParse: no file makes it panic, and a table that comes has its lots.
func FuzzParse(f *testing.F) {
	f.Add([]byte("lot,peak_mPas\nA,1\n"), "")
	f.Add([]byte("a;b\n1;2,5\n"), "b")
	f.Add([]byte("lot,lot\nA,B\n"), "lot")
	f.Fuzz(func(t *testing.T, data []byte, lot string) {
		tab, _, err := Parse("t.csv", data, lot)
		if err != nil {
			return
		}
		for i := range tab.Len() {
			if tab.Lot(i) == "" {
				t.Fatalf("row %d without a lot", i)
			}
		}
		Frame(tab)
	})
}
