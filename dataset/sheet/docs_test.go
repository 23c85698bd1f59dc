package sheet

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

func document(t *testing.T) string {
	t.Helper()
	data, err := os.ReadFile("../../docs/files.md")
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// The import map that docs/files.md shows is one.
func TestDocumentedMap(t *testing.T) {
	_, text, _ := strings.Cut(document(t), "```toml\n")
	text, _, ok := strings.Cut(text, "```")
	if !ok {
		t.Fatal("docs/files.md shows no import map")
	}
	m := mustMap(t, text)
	run := m.For("W24-117_run2.txt")
	if len(m.Columns) != 2 || m.SkipRows != 3 || len(run.Columns) != 2 || run.Constant["method"] != "noodle-water" || m.NamesOf("lot")["W 24/117"] != "W24-117" {
		t.Errorf("read as %+v", m)
	}
}

// docs/files.md lists every code of a finding about reading, and no other.
func TestDocumentedCodes(t *testing.T) {
	_, table, _ := strings.Cut(document(t), "## Findings about reading")
	var documented, used []string
	for _, line := range strings.Split(table, "\n") {
		if cells := strings.Split(line, "|"); len(cells) > 3 {
			for i, word := range strings.Split(cells[1], "`") {
				if i%2 == 1 {
					documented = append(documented, word)
				}
			}
		}
	}
	sources, err := filepath.Glob("../*/*.go")
	if err != nil {
		t.Fatal(err)
	}
	code := regexp.MustCompile(`(?:Code: |Code, .*? = |note\(|doubt\(|refuse\()"([a-z]+(?:-[a-z]+)*)"`)
	for _, path := range sources {
		if dir := filepath.Base(filepath.Dir(path)); dir != "sheet" && dir != "grid" || strings.HasSuffix(path, "_test.go") {
			continue
		}
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range code.FindAllStringSubmatch(string(data), -1) {
			used = append(used, m[1])
		}
	}
	used = append(used, "unit-unknown", "unit-arbitrary", "unit-dimension", "unit-conflict") // "unit-" and a reason
	for _, c := range used {
		if !slices.Contains(documented, c) {
			t.Errorf("%s is not in docs/files.md", c)
		}
	}
	for _, c := range documented {
		if !slices.Contains(used, c) {
			t.Errorf("docs/files.md has the code %s, which nothing raises", c)
		}
	}
}
