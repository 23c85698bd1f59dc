package intake

import (
	"context"
	"fmt"
	"strings"
	"testing"
)

// seeds are one small file of each kind.
var seeds = []struct {
	kind Kind
	text string
	want string // key parts, rows and figures of its units
}{
	{Lots, "lot,product,protein (14 % mb)\nA,soft-bite-noodle,9.1\n,x,9\nB,,9.4\n", "A+soft-bite-noodle [2] 0; B [4] 0"},
	{Runs, "run,lot,method,flour_g,status\nR1,A,noodle-water,3.5,ok\nR1,A,noodle-water,3.5,ok\nR2,A,noodle-water,3.5,perhaps\n", "R1 [2] 0"},
	{Pasting, "lot,method,replicate,peak (cP),trough (cP),final (cP)\nA,noodle-water,1,2800,2000,3700\n", "A+noodle-water+1 [2] 9"},
	{Texture, "lot;replicate;hardness (gf)\nA;1;400,5\nA;1;410\nA;2;soft\n", "texture+A+1 [2] 0"},
	{Bakes, "lot,replicate,volume (mL)\nA,1,820\n", "bakes+A+1 [2] 0"},
	{Notes, "lot,ran,trouble\nA,well,\nB,maybe,\n", "A [2] 0"},
	{Controls, "lot,method,expires_on,peak_mPas\nK,noodle-water,2026-06-30,2600\n", "K+noodle-water [2] 0"},
	{Events, "date,instrument,kind,remarks\n2026-01-05,V1,service,yearly\n", "2026-01-05+V1+service+yearly [2] 0"},
	{"", "a,b\n1,2\n", ""},
	{"", "lot,replicate,hardness (units)\nA,1,400\n", ""},
}

// shown is the unit's key without the hash of a nameless one, its rows, and the
// number of its figures.
func shown(u Unit) string {
	var parts []string
	for _, p := range strings.Split(u.Key, "\x1f") {
		if p != "" {
			parts = append(parts, p)
		}
	}
	if !u.Named {
		parts = parts[:len(parts)-2]
	}
	return fmt.Sprintf("%s %v %d", strings.Join(parts, "+"), u.Rows, len(u.Figures))
}

func take(t testing.TB, name string, data []byte) Taken {
	t.Helper()
	got, err := Read(context.Background(), File{Name: name, Data: data, Cores: 1})
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func TestFilesAreRecognisedAndCutIntoUnits(t *testing.T) {
	for _, c := range seeds {
		got := take(t, "f.csv", []byte(c.text))
		var units []string
		for _, u := range got.Units {
			units = append(units, shown(u))
		}
		if got.Kind != c.kind || strings.Join(units, "; ") != c.want {
			t.Errorf("%q\nis %s: %s\nwant %s: %s", c.text, got.Kind, strings.Join(units, "; "), c.kind, c.want)
		}
		if rows := strings.Count(c.text, "\n") - 1; got.Read != rows {
			t.Errorf("%q: read %d rows, want %d", c.text, got.Read, rows)
		}
		if len(got.Units) == 0 && got.Findings.Count("refused") == 0 {
			t.Errorf("%q: nothing taken, and no reason", c.text)
		}
	}
}

// Figures are kept in the glossary's units, and a cell that cannot be read as it was
// written.
func TestCellsAreCanonical(t *testing.T) {
	// 400,5 gf × 0.00980665 N/gf (standard acceleration of free fall, exact) = 3.927563325 N.
	got := take(t, "f.csv", []byte("lot;replicate;hardness (gf);firmness (N);remarks;day no\nA;1;400,5;soft;0012;0012\n"))
	if len(got.Units) != 1 {
		t.Fatalf("%d units", len(got.Units))
	}
	u := got.Units[0]
	if c, w := strings.Join(u.Columns, "|"), "lot|replicate|hardness_N|firmness_N|remarks|day no"; c != w {
		t.Errorf("columns %s, want %s", c, w)
	}
	if c := u.Cells[0]; !strings.HasPrefix(c[2], "3.9275633") || c[3] != "soft" || c[4] != "0012" || c[5] != "0012" {
		t.Errorf("cells %q", c)
	}
}

// A curve keeps its points at their rows, and those of the file's other run apart.
func TestCurvesAreUnitsOfRuns(t *testing.T) {
	var b strings.Builder
	b.WriteString("lot,method,replicate,time (min),temperature_C,viscosity_mPas\n")
	for i := range 200 { // an up and down within the noodle method's 13 minutes, enough for features
		at := float64(i) * 13 / 199
		temperature := min(95, 50+at*12)
		if at > 8 {
			temperature = max(50, 95-(at-8)*12)
		}
		viscosity := 80 + 2000*max(0, 1-(at-5)*(at-5)/6)
		if at > 8 {
			viscosity += 400 * (at - 8)
		}
		fmt.Fprintf(&b, "A,noodle-water,%d,%g,%g,%g\n", 1+i/198, at, temperature, viscosity)
	}
	got := take(t, "c.csv", []byte(b.String()))
	if got.Kind != Curves || got.Read != 200 {
		t.Fatalf("kind %s, read %d", got.Kind, got.Read)
	}
	n := 0
	for _, u := range got.Units {
		n += len(u.Rows)
	}
	if n+got.Refused != 200 || len(got.Units) == 0 || len(got.Units[0].Figures) < 5 || got.Units[0].Rows[0] != 2 {
		t.Errorf("%d rows in %d units, %d refused, figures %v", n, len(got.Units), got.Refused, got.Units[0].Figures)
	}
}

// again puts units together as files and takes those in.
func again(t testing.TB, name string, units []Unit) (Taken, string) {
	t.Helper()
	var all []Sourced
	for _, u := range units {
		all = append(all, Sourced{u, "source"})
	}
	c := Files(all)
	for _, names := range c.Names {
		data, err := c.Map.Source(names[0])
		if err != nil {
			t.Fatal(err)
		}
		got, err := Read(context.Background(), File{Name: name, Data: data, Map: c.Map, Cores: 1})
		if err != nil {
			t.Fatal(err)
		}
		return got, string(data)
	}
	return Taken{}, ""
}

// FuzzUnits: whatever a file holds, its units put together as a file again give the
// same units at the same rows, and every row is accounted for.
func FuzzUnits(f *testing.F) {
	for _, s := range seeds {
		f.Add([]byte(s.text))
	}
	f.Add([]byte("lot,remarks,protein_pct\n\"A\",\"two\nlines\",9\n\n\nB,\"say \"\"x\"\"\",1e1\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		got := take(t, "f.csv", data)
		kept := 0
		for _, u := range got.Units {
			kept += len(u.Rows)
			if u.Key == "" || len(u.Rows) != len(u.Cells) {
				t.Fatalf("unit %+v", u)
			}
		}
		if kept+got.Refused != got.Read || got.Refused < 0 {
			t.Fatalf("kept %d, refused %d, read %d", kept, got.Refused, got.Read)
		}
		if len(got.Units) == 0 {
			return
		}
		back, text := again(t, "f.csv", got.Units)
		if back.Kind != got.Kind || len(back.Units) != len(got.Units) {
			t.Fatalf("%s of %d units became %s of %d:\n%s\n%v", got.Kind, len(got.Units), back.Kind, len(back.Units), text, back.Findings)
		}
		for i := range got.Units {
			a, b := got.Units[i], back.Units[i]
			if fmt.Sprint(a.Rows) != fmt.Sprint(b.Rows) || a.Lot != b.Lot {
				t.Fatalf("unit %d: rows %v of lot %q became %v of %q:\n%s", i, a.Rows, a.Lot, b.Rows, b.Lot, text)
			}
		}
	})
}
