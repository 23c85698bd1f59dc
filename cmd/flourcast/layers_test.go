package main

import (
	"cmp"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"sort"
	"strconv"
	"strings"
	"testing"
)

// moduleRoot is where go.mod stands; tests run in cmd/flourcast.
const moduleRoot = "../.."

// floorRow is one package of the table: | 3 | `eval` | cross-validation |
var floorRow = regexp.MustCompile("^\\| (\\d+) \\| `([a-z/]+)` \\| [^|]+ \\|$")

// ground is below floor 0: leaves that everyone may import, other leaves too.
var ground = map[string]bool{"finding": true, "work": true}

// row is one line of the table of floors.
type row struct {
	floor int
	name  string
}

// floorTable reads the table of floors in DEVELOPERS.md: a line for each package.
func floorTable(t *testing.T) []row {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(moduleRoot, "DEVELOPERS.md"))
	if err != nil {
		t.Fatal(err)
	}
	_, table, ok := strings.Cut(string(text), "\n| floor | package | what it owns |\n| ---: | --- | --- |\n")
	if !ok {
		t.Fatal("DEVELOPERS.md: no table of floors: | floor | package | what it owns |")
	}
	var rows []row
	for line := range strings.Lines(table) {
		line = strings.TrimSpace(line)
		if line == "" {
			break
		}
		m := floorRow.FindStringSubmatch(line)
		if m == nil {
			t.Fatalf("DEVELOPERS.md, table of floors: %q, expected one package a line, like | 3 | `eval` | cross-validation |", line)
		}
		n, err := strconv.Atoi(m[1])
		if err != nil {
			t.Fatal(err)
		}
		rows = append(rows, row{n, m[2]})
	}
	return rows
}

// misplaced says which lines of the table are out of order, twice there, or name a
// package that is not there.
func misplaced(rows []row, packages []listed) []string {
	var wrong []string
	exists := map[string]bool{}
	for _, p := range packages {
		exists[strings.TrimPrefix(p.ImportPath, "flourcast/")] = true
	}
	for i, r := range rows {
		if !exists[r.name] {
			wrong = append(wrong, r.name+" is in the table of floors and not in the module")
		}
		if i == 0 {
			continue
		}
		before := rows[i-1]
		if c := cmp.Or(cmp.Compare(before.floor, r.floor), cmp.Compare(before.name, r.name)); c >= 0 {
			wrong = append(wrong, r.name+" stands behind "+before.name+" in the table of floors, which goes by floor, then by name")
		}
	}
	return wrong
}

// floors is the floor of each package of the table.
func floors(rows []row) map[string]int {
	floor := map[string]int{}
	for _, r := range rows {
		floor[r.name] = r.floor
	}
	return floor
}

type listed struct {
	ImportPath string
	Imports    []string
}

func listPackages(t *testing.T) []listed {
	t.Helper()
	cmd := exec.Command("go", "list", "-json=ImportPath,Imports", "./...")
	cmd.Dir = moduleRoot
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	var all []listed
	for d := json.NewDecoder(strings.NewReader(string(out))); d.More(); {
		var p listed
		if err := d.Decode(&p); err != nil {
			t.Fatal(err)
		}
		all = append(all, p)
	}
	return all
}

// wrongArrows returns every import that does not go to a lower floor, and every
// import between the laboratory side and the number side.
func wrongArrows(floor map[string]int, packages []listed) []string {
	var wrong []string
	for _, p := range packages {
		from := strings.TrimPrefix(p.ImportPath, "flourcast/")
		at, ok := floor[from]
		if !ok {
			wrong = append(wrong, from+" is not in the table of floors of DEVELOPERS.md")
			continue
		}
		for _, imported := range p.Imports {
			to, ours := strings.CutPrefix(imported, "flourcast/")
			if !ours {
				continue
			}
			if below, ok := floor[to]; ok && below >= at && !(ground[to] && !ground[from]) {
				wrong = append(wrong, from+" (floor "+strconv.Itoa(at)+") imports "+to+" (floor "+strconv.Itoa(below)+")")
			}
			lab, number := strings.HasPrefix(from, "dataset"), strings.HasPrefix(from, "model") || strings.HasPrefix(from, "eval")
			leaf := to == "model/design" || to == "dataset/trait"
			mayNameTraits := to == "dataset/trait" && (strings.HasPrefix(from, "eval/direction") || from == "eval/verdict")
			switch {
			case lab && !leaf && (strings.HasPrefix(to, "model") || strings.HasPrefix(to, "eval")):
				wrong = append(wrong, from+" (laboratory) imports "+to+" (numbers)")
			case number && strings.HasPrefix(to, "dataset") && !mayNameTraits:
				wrong = append(wrong, from+" (numbers) imports "+to+" (laboratory)")
			}
		}
	}
	sort.Strings(wrong)
	return wrong
}

func TestImportsGoDownTheFloors(t *testing.T) {
	rows, packages := floorTable(t), listPackages(t)
	for _, w := range append(misplaced(rows, packages), wrongArrows(floors(rows), packages)...) {
		t.Error(w)
	}
}

func TestTableCheckSeesAWrongLine(t *testing.T) {
	packages := []listed{{ImportPath: "flourcast/eval"}, {ImportPath: "flourcast/work"}}
	for _, c := range []struct {
		rows  []row
		wrong int
	}{
		{[]row{{0, "work"}, {3, "eval"}}, 0},
		{[]row{{3, "eval"}, {0, "work"}}, 1}, // floors descend
		{[]row{{3, "work"}, {3, "eval"}}, 1}, // names descend
		{[]row{{3, "eval"}, {3, "eval"}}, 1}, // twice
		{[]row{{0, "gone"}, {3, "eval"}}, 1}, // not in the module
	} {
		if got := misplaced(c.rows, packages); len(got) != c.wrong {
			t.Errorf("%v: %v, want %d complaints", c.rows, got, c.wrong)
		}
	}
}

func TestLayerCheckSeesAWrongArrow(t *testing.T) {
	floor := map[string]int{"model": 1, "eval": 3, "dataset": 3, "dataset/trait": 0, "model/design": 0, "study": 8, "work": 0, "finding": 0, "eval/fold": 0}
	cases := []struct {
		from, to string
		wrong    int
	}{
		{"model", "eval", 1},             // upwards
		{"eval", "eval", 1},              // sideways
		{"eval", "model", 0},             // downwards
		{"dataset", "model", 1},          // across
		{"dataset", "model/design", 0},   // the plank
		{"eval", "dataset/trait", 1},     // numbers do not name traits
		{"study", "dataset", 0},          // above both
		{"eval/fold", "work", 0},         // a leaf on the ground
		{"work", "finding", 1},           // the ground stands on nothing
		{"model/design", "eval/fold", 1}, // a leaf on a leaf
		{"elsewhere", "dataset", 1},      // not in the table
		{"dataset", "elsewhere/pkg", 0},  // not ours to judge here: its own row is missing and is reported there
	}
	for _, c := range cases {
		got := wrongArrows(floor, []listed{{"flourcast/" + c.from, []string{"flourcast/" + c.to}}})
		if len(got) != c.wrong {
			t.Errorf("%s → %s: %v, want %d complaints", c.from, c.to, got, c.wrong)
		}
	}
}
