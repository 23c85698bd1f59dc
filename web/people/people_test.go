package people

import (
	"context"
	"testing"
)

func TestRoles(t *testing.T) {
	for _, c := range []struct {
		own, least Role
		want       bool
	}{
		{Reader, Reader, true}, {Reader, Technician, false}, {Reader, Scientist, false},
		{Technician, Reader, true}, {Technician, Technician, true}, {Technician, Scientist, false},
		{Scientist, Reader, true}, {Scientist, Technician, true}, {Scientist, Scientist, true},
		{"", Reader, false}, {"owner", Reader, false}, {Scientist, "", false}, {Scientist, "owner", false}, {"", "", false},
	} {
		if got := c.own.May(c.least); got != c.want {
			t.Errorf("%q where %q is needed: found %v, expected %v", c.own, c.least, got, c.want)
		}
	}
	if _, err := ParseRole("Reader"); err == nil {
		t.Error("a role in another spelling was taken")
	}
}

func TestNames(t *testing.T) {
	for given, want := range map[string]string{
		"anna": "anna", "  Anna   Müller ": "Anna Müller", "O'Brien-Smith Jr.": "O'Brien-Smith Jr.", "李雷": "李雷", "u\u0308": "ü",
		"": "", " ": "", "-v": "", "a\nb": "", "a\x00": "", "<b>": "", "a/b": "", "a\"b": "", "a\u202eb": "", string(make([]byte, 400)): "",
		"aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa": "",
	} {
		got, err := cleanName(given)
		if got != want || (err == nil) != (want != "") {
			t.Errorf("%q: found %q, %v; expected %q", given, got, err, want)
		}
	}
}

func TestContext(t *testing.T) {
	if _, ok := From(context.Background()); ok {
		t.Error("somebody where nobody signed in")
	}
	if u, ok := From(With(context.Background(), User{Name: "anna", Role: Reader})); !ok || u.Name != "anna" {
		t.Errorf("found %v, %v", u, ok)
	}
}
