package main

import (
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

var (
	fileNamed   = regexp.MustCompile("`((?:[a-z0-9_-]+/)*[A-Za-z0-9_-]+\\.(?:go|csv|toml|md|html|py|json|ipynb))`")
	placeholder = regexp.MustCompile(`^[A-Z]+\.`) // FILE.toml
	testNamed   = regexp.MustCompile("`(Test[A-Z]\\w+)`")
)

// made are files that a walk of DEVELOPERS.md, or the demo, makes.
var made = []string{"median.go", "median_test.go", "noodle-light.toml", "Wampler4.csv", "term.go", "term.html", "report.html"}

// missing says which files and tests a text for developers names and the module lacks.
// A file may be named without its folder.
func missing(text string, files []string, tests map[string]bool) []string {
	var out []string
	for _, m := range fileNamed.FindAllStringSubmatch(text, -1) {
		name := m[1]
		there := func(f string) bool { return f == name || strings.HasSuffix(f, "/"+name) }
		if !slices.ContainsFunc(files, there) && !slices.Contains(made, path.Base(name)) && !placeholder.MatchString(name) {
			out = append(out, name)
		}
	}
	for _, m := range testNamed.FindAllStringSubmatch(text, -1) {
		if !tests[m[1]] {
			out = append(out, m[1])
		}
	}
	return out
}

// TestDevelopersNamesAreThere: a walk that names a file or a test that has gone sends a
// newcomer astray.
func TestDevelopersNamesAreThere(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(moduleRoot, "DEVELOPERS.md"))
	if err != nil {
		t.Fatal(err)
	}
	var files []string
	tests := map[string]bool{}
	declared := regexp.MustCompile(`(?m)^func (Test\w+)\(`)
	root := os.DirFS(moduleRoot)
	err = fs.WalkDir(root, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && strings.HasPrefix(d.Name(), ".") && name != "." {
			return fs.SkipDir
		}
		files = append(files, name)
		if strings.HasSuffix(name, "_test.go") {
			source, err := fs.ReadFile(root, name)
			if err != nil {
				return err
			}
			for _, m := range declared.FindAllSubmatch(source, -1) {
				tests[string(m[1])] = true
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range missing(string(text), files, tests) {
		t.Errorf("DEVELOPERS.md names %s, which is not there", name)
	}
}

func TestDevelopersCheckSeesWhatHasGone(t *testing.T) {
	files, tests := []string{"eval/eval.go", "README.md"}, map[string]bool{"TestLevel": true}
	for text, want := range map[string]int{
		"`eval/eval.go`, `eval.go`, `README.md`": 0, "`eval/gone.go`": 1, "`al.go`": 1, "`gone.md` and `TestGone`": 2, "`TestLevel`": 0, "`OWN.csv`": 0, "`term.go`": 0,
	} {
		if got := missing(text, files, tests); len(got) != want {
			t.Errorf("%s: %v, want %d", text, got, want)
		}
	}
}
