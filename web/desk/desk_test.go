package desk

import (
	"errors"
	"fmt"
	"net/http"
	"strings"
	"testing"

	"flourcast/study"

	"pgregory.net/rapid"
)

func TestSafeName(t *testing.T) {
	for given, want := range map[string]string{
		"curves.csv": "curves.csv", "May 3.xlsx": "May 3.xlsx", "Probe-Ä_1.tsv": "Probe-Ä_1.tsv",
		"../../etc/passwd": "passwd", `C:\lab\run.csv`: "run.csv", ".hidden": "hidden", "..": "file", "": "file", "a\x00b.csv": "a_b.csv", "x;y|z.csv": "x_y_z.csv",
	} {
		if got := SafeName(given); got != want {
			t.Errorf("%q: found %q, expected %q", given, got, want)
		}
	}
}

// TestSafeNameStays: whatever comes, the name is one of a file in its folder.
func TestSafeNameStays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		name := SafeName(rapid.String().Draw(t, "name"))
		if name == "" || len(name) > longest || strings.ContainsAny(name, "/\\\x00\n") || strings.HasPrefix(name, ".") {
			t.Errorf("found %q", name)
		}
		if again := SafeName(name); again != name {
			t.Errorf("again: found %q, then %q", name, again)
		}
	})
}

func TestCode(t *testing.T) {
	for _, c := range []struct {
		err  error
		want int
	}{
		{&NotFoundError{"Lot 1"}, http.StatusNotFound}, {&study.RequestError{}, http.StatusUnprocessableEntity},
		{&study.NothingUsableError{}, http.StatusUnprocessableEntity}, {errors.New("disk"), http.StatusInternalServerError},
	} {
		if got := Code(c.err); got != c.want {
			t.Errorf("%v: found %d, expected %d", c.err, got, c.want)
		}
	}
}

// A fault is said once in the words of the page that it is shown on, and keeps its code.
func TestNamed(t *testing.T) {
	d := &Desk{}
	d.Mount(http.NewServeMux(), []Page{{Path: "/blend", Fields: Fields{"limits": "Limits of the blend"}}})
	bad := &study.RequestError{Field: "limits", Found: "no limits", Want: "some"}
	said := d.Named("/blend", bad)
	if want := "Limits of the blend: found no limits, expected some"; said.Error() != want || d.Named("/blend", said).Error() != want {
		t.Errorf("found %q, expected %q", said, want)
	}
	if Code(said) != http.StatusUnprocessableEntity || Wrong(said) != "limits" {
		t.Errorf("found code %d, field %q", Code(said), Wrong(said))
	}
	for path, err := range map[string]error{"/suit": bad, "/blend": &study.RequestError{Field: "tonnes", Found: "x", Want: "y"}} {
		if got := d.Named(path, err); got != err {
			t.Errorf("%s has no such field: found %q", path, got)
		}
	}
	if d.Named("/blend", nil) != nil || Wrong(errors.New("else")) != "" {
		t.Error("no fault, and one without a field, are changed")
	}
}

// TestKeep: what was asked for longest ago goes; another head makes anew; a thing that is
// asked for again and again stays.
func TestKeep(t *testing.T) {
	d := &Desk{}
	joined := d.keep("joined", "1")
	for i := range 3 * most {
		d.keep(fmt.Sprint("lot ", i), "1")
		if d.keep("joined", "1") != joined {
			t.Fatalf("after %d lots: made anew, expected it kept", i+1)
		}
	}
	if len(d.kept) != most {
		t.Errorf("found %d things kept, expected %d", len(d.kept), most)
	}
	if d.kept["lot 0"] != nil || d.kept[fmt.Sprint("lot ", 3*most-1)] == nil {
		t.Error("expected the first lot gone and the last one kept")
	}
	if d.keep("joined", "2") == joined {
		t.Error("the book has another row: expected it made anew")
	}
}
