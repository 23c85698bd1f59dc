package record

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestReadNotes(t *testing.T) {
	path := filepath.Join(t.TempDir(), "notes.csv")
	if err := os.WriteFile(path, []byte("lot,date,product,ran,trouble\nA,2026-01-02,udon,well,\nA,2026-01-03,udon,Trouble,sticky dough\n,2026-01-03,,yes,\nB,2026-01-04,,so so,\nC,2026-01-04,,,\nD,2026-01-05,,No,tears\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	notes, c, fl, err := ReadNotes([]string{path}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if len(notes) != 3 || c.Refused != 3 || c.Read != 3 {
		t.Fatalf("%+v, %+v", notes, c)
	}
	if n := notes[1]; n.Lot != "A" || n.Product != "udon" || n.Ran != Trouble || n.What != "sticky dough" {
		t.Errorf("%+v", n)
	}
	if n := notes[2]; n.Ran != Trouble || n.What != "tears" {
		t.Errorf("%+v", n)
	}
	said := ""
	for _, f := range fl {
		said += f.String() + "\n"
	}
	for _, want := range []string{"row 4", "no lot", "row 5", "so so", "row 6", "nothing under ran"} {
		if !strings.Contains(said, want) {
			t.Errorf("findings do not say %q:\n%s", want, said)
		}
	}
}

func FuzzReadNotes(f *testing.F) {
	f.Add("lot,ran,trouble\nA,well,\nB,no,sticky\n")
	f.Add("lot;ran\n;x\n")
	f.Fuzz(func(t *testing.T, text string) {
		path := filepath.Join(t.TempDir(), "n.csv")
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		notes, c, _, err := ReadNotes([]string{path}, nil)
		if err != nil {
			return
		}
		if c.Read != c.Refused {
			t.Fatalf("%+v", c)
		}
		for _, n := range notes {
			if n.Lot == "" || n.Ran != Well && n.Ran != Trouble {
				t.Fatalf("%+v", n)
			}
		}
	})
}
