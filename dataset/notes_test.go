package dataset

import (
	"context"
	"os"
	"path/filepath"
	"testing"
)

// Production notes become columns of the table: trouble if a lot had any; a note of
// an unknown lot waits, one that cannot be read is refused, and all add up.
func TestNotesInTheTable(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) []string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return []string{path}
	}
	f := Files{Lots: write("lots.csv", "lot,product\nA,soft-bite-noodle\nB,soft-bite-noodle\nC,soft-bite-noodle\n"), Method: "noodle-water",
		Pasting:    write("pasting.csv", "lot,peak_mPas,trough_mPas,final_mPas\nA,2500,1800,3800\nB,2600,1850,3900\nC,2700,1900,4000\n"),
		Production: write("notes.csv", "lot,product,ran,trouble\nA,,yes,\nB,,well,\nB,soft-bite-noodle,trouble,sticky dough\nB,layer-cake,trouble,sank\nX,,well,\nA,,perhaps,\n")}
	j, err := Join(context.Background(), f, JoinOptions{})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []struct{ ran, trouble string }{{"well", ""}, {"trouble", "sticky dough"}, {"", ""}} {
		ran, _ := j.Table.Text("ran", i)
		trouble, _ := j.Table.Text("trouble", i)
		if ran != want.ran || trouble != want.trouble {
			t.Errorf("lot %s: %q, %q; want %+v", j.Table.Lot(i), ran, trouble, want)
		}
	}
	for _, k := range j.Kinds {
		if k.Kind == "production" && (k.Read != 6 || k.Accepted != 4 || k.Waiting != 1 || k.Refused != 1) {
			t.Errorf("%+v", k)
		}
	}
	if last := j.Kinds[len(j.Kinds)-1]; last.Kind != "production" {
		t.Errorf("the last kind is %s", last.Kind)
	}
}
