package tomlfile

import (
	"errors"
	"math"
	"strings"
	"testing"
)

type recipe struct {
	ID   string   `toml:"id"`
	Salt *float64 `toml:"salt_pct"`
	Cook struct {
		TimeS *float64 `toml:"time_s"`
	} `toml:"cook"`
}

func TestDecode(t *testing.T) {
	for name, c := range map[string]struct {
		text       string
		line       int
		key, found string
	}{
		"unknown key":          {"id = \"a\"\nsalty = 2\n", 2, "salty", "an unknown key"},
		"unknown key in table": {"id = \"a\"\n[cook]\nminutes = 2\n", 3, "cook.minutes", "an unknown key"},
		"no TOML":              {"id = \"a\"\nsalt_pct 2\n", 2, "", ""},
		"text for a figure":    {"id = \"a\"\nsalt_pct = \"2\"\n", 2, "", ""},
		"zeros":                {"\x00\x00", 1, "", ""},
	} {
		var r recipe
		var bad *Error
		err := Decode("r.toml", []byte(c.text), &r, "a TOML recipe", "id, salt_pct, [cook] (time_s)")
		if !errors.As(err, &bad) || bad.File != "r.toml" || bad.Line != c.line || !strings.Contains(bad.Key, c.key) || !strings.Contains(bad.Found, c.found) || bad.Want == "" {
			t.Errorf("%s: %+v", name, err)
		}
	}
	var r recipe
	if err := Decode("r.toml", []byte("id = \"a\"\ncook = { time_s = 90 }\n"), &r, "", ""); err != nil || r.Salt != nil || *r.Cook.TimeS != 90 {
		t.Errorf("%v, %+v: a key left out is no zero", err, r)
	}
}

// TestChecker: the first fault is kept, with the line that sets its key.
func TestChecker(t *testing.T) {
	text := "id = \"a\"\ntime_s = 4 # no cook's\nform = \"wet\"\n[cook]\ntime_s = -1\n"
	v, nan := -1.0, math.NaN()
	for name, check := range map[string]struct {
		fail func(c *Checker)
		want string // "": no fault
	}{
		"figure":          {func(c *Checker) { c.Between("cook.time_s", &v, 0, 10) }, "r.toml, line 5, cook.time_s: found -1; expected a figure between 0 and 10; mend it or leave it out"},
		"NaN":             {func(c *Checker) { c.Between("time_s", &nan, 0, 10) }, "line 2, time_s: found NaN"},
		"figure left out": {func(c *Checker) { c.Between("time_s", nil, 0, 10) }, ""},
		"choice":          {func(c *Checker) { c.OneOf("form", "wet", "", "fresh", "dried") }, "line 3, form: found \"wet\"; expected one of fresh, dried"},
		"choice left out": {func(c *Checker) { c.OneOf("form", "", "", "fresh") }, ""},
		"id":              {func(c *Checker) { c.ID("A b", "name it") }, "line 1, id: found \"A b\""},
		"first of two":    {func(c *Checker) { c.Fail("form", "x", "y", ""); c.Fail("id", "p", "q", "") }, "line 3, form: found x; expected y"},
		"no such line":    {func(c *Checker) { c.Fail("salt_pct", "nothing", "a figure", "") }, "r.toml, salt_pct: found nothing"},
	} {
		c := Checker{File: "r.toml", Data: []byte(text)}
		check.fail(&c)
		err := c.Err()
		if (err == nil) != (check.want == "") || err != nil && !strings.Contains(err.Error(), check.want) {
			t.Errorf("%s: %v, want %q", name, err, check.want)
		}
	}
}

func TestLineOf(t *testing.T) {
	for _, c := range []struct {
		text, key string
		want      int
	}{
		{"", "id", 0},
		{"a = 1\nonset = { rise_mPas = 24 }", "onset.rise_mPas", 2}, // an inline table
		{"[onset]\nrise_mPas = 24", "onset.rise_mPas", 2},
		{"a = 1\n[[programme]]\ntime_s = 0", "programme", 2},
		{"[a]\nx = 1\n[b]\nx = 2", "b.x", 4},
		{"# id = 3\nid = 4", "id", 2},
		{"[rest]\ntime_s = 60", "cook.time_s", 0}, // set, but in another table
		{"pan = { depth_mm = 4 }", "depth_mm", 1},
	} {
		if got := lineOf([]byte(c.text), c.key); got != c.want {
			t.Errorf("%q in %q: line %d, want %d", c.key, c.text, got, c.want)
		}
	}
}

// FuzzDecode: no bytes panic, and every fault names the file.
func FuzzDecode(f *testing.F) {
	f.Add([]byte("id = \"a\"\n[cook]\ntime_s = 90\n"), "cook.time_s")
	f.Add([]byte("id = [1, 2\n"), "id")
	f.Fuzz(func(t *testing.T, data []byte, key string) {
		var r recipe
		if err := Decode("r.toml", data, &r, "a TOML recipe", "id"); err != nil && !strings.HasPrefix(err.Error(), "r.toml") {
			t.Fatal(err)
		}
		if line := lineOf(data, key); line < 0 || line > strings.Count(string(data), "\n")+1 {
			t.Fatalf("line %d", line)
		}
	})
}
