package desk

import (
	"errors"
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
