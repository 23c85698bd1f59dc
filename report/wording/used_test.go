package wording

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// use is what a source file says of the catalogue.
type use struct {
	at     token.Position
	key    string   // of a call with a literal key; "" for another
	names  []string // of the values given with it
	counts bool
}

// uses reads the program's source: calls of Say and Count, and every text in the files
// that make them, since keys are chosen in maps and made from parts as well.
func uses(t *testing.T) (calls []use, texts map[string]bool) {
	t.Helper()
	texts = map[string]bool{}
	err := filepath.WalkDir("../..", func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && (d.Name() == ".git" || d.Name() == "wording") {
			return filepath.SkipDir
		}
		if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		set := token.NewFileSet()
		file, err := parser.ParseFile(set, path, nil, 0)
		if err != nil {
			return err
		}
		if !slices.ContainsFunc(file.Imports, func(i *ast.ImportSpec) bool { return i.Path.Value == `"flourcast/report/wording"` }) && !strings.Contains(path, "report/suitability") {
			return nil
		}
		text := func(e ast.Expr) (string, bool) {
			if l, ok := e.(*ast.BasicLit); ok && l.Kind == token.STRING {
				s, err := strconv.Unquote(l.Value)
				return s, err == nil
			}
			return "", false
		}
		ast.Inspect(file, func(n ast.Node) bool {
			if e, ok := n.(ast.Expr); ok {
				if s, ok := text(e); ok {
					texts[s] = true
				}
			}
			c, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			f, ok := c.Fun.(*ast.SelectorExpr)
			if !ok || f.Sel.Name != "Say" && f.Sel.Name != "Count" {
				return true
			}
			u := use{at: set.Position(c.Pos()), counts: f.Sel.Name == "Count"}
			rest := c.Args[1:]
			u.key, _ = text(c.Args[0])
			if u.counts {
				u.names, rest = []string{"n"}, rest[1:]
			}
			for i := 0; i < len(rest); i += 2 {
				name, ok := text(rest[i])
				if !ok {
					t.Errorf("%s: the name of a value is no text", set.Position(rest[i].Pos()))
				}
				u.names = append(u.names, name)
			}
			if len(rest)%2 != 0 {
				t.Errorf("%s: names and values by turns expected", u.at)
			}
			calls = append(calls, u)
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return calls, texts
}

// wrong are the calls whose key is not in the catalogue, or that leave a place unfilled
// or fill one that is not there.
func wrong(c *Catalogue, calls []use) (out []string) {
	for _, u := range calls {
		if u.key == "" {
			continue
		}
		key := u.key
		if u.counts {
			key += ".other"
		}
		text, ok := c.sentences[key]
		if !ok {
			out = append(out, u.at.String()+": no text for "+key)
			continue
		}
		for _, place := range places(text) {
			if !slices.Contains(u.names, place) {
				out = append(out, u.at.String()+": "+key+": nothing for {"+place+"}")
			}
		}
		for _, name := range u.names {
			if name != "n" && !slices.Contains(places(text), name) {
				out = append(out, u.at.String()+": "+key+": no place {"+name+"}")
			}
		}
	}
	return out
}

func TestEveryKeyIsThereAndFilled(t *testing.T) {
	calls, texts := uses(t)
	if len(calls) < 50 {
		t.Fatalf("%d calls of Say and Count found, expected 50 or more: is the source where it was?", len(calls))
	}
	for _, w := range wrong(English(), calls) {
		t.Error(w)
	}
	for _, key := range slices.Sorted(maps.Keys(English().sentences)) {
		used := texts[key] || texts[base(key)]
		for i, r := range key {
			if r == '.' && texts[key[:i+1]] { // "explain." + id
				used = true
			}
		}
		for s := range texts {
			if strings.HasPrefix(s, "_") && strings.HasSuffix(key, s) && texts[strings.TrimSuffix(key, s)] { // key + "_than_yours"
				used = true
			}
		}
		if !used {
			t.Errorf("%s is used by nobody", key)
		}
	}
}

func TestWrongCallsAreFound(t *testing.T) {
	got := wrong(English(), []use{{key: "no.such"}, {key: "limits.from"}, {key: "sheet.date", names: []string{"low"}}, {key: "trust.lots", counts: true, names: []string{"n"}}, {key: "limits.from", names: []string{"low"}}})
	if len(got) != 3 {
		t.Errorf("found %q, want three", got)
	}
}
