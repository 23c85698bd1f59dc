package main

import (
	"bufio"
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

var (
	floorRow    = regexp.MustCompile(`^\| (\d+) \| (.+?) \|`)
	packageName = regexp.MustCompile("`([a-z/]+)`")
)

// ground is below floor 0: leaves that everyone may import, other leaves too.
var ground = map[string]bool{"finding": true, "work": true}

// floors reads the table of floors in DEVELOPERS.md: package → floor.
func floors(t *testing.T) map[string]int {
	t.Helper()
	f, err := os.Open(filepath.Join(moduleRoot, "DEVELOPERS.md"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	floor := map[string]int{}
	for s := bufio.NewScanner(f); s.Scan(); {
		row := floorRow.FindStringSubmatch(s.Text())
		if row == nil {
			continue
		}
		n, err := strconv.Atoi(row[1])
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range packageName.FindAllStringSubmatch(row[2], -1) {
			floor[p[1]] = n
		}
	}
	if len(floor) < 20 {
		t.Fatalf("DEVELOPERS.md: found %d packages in the table of floors, expected more than 20", len(floor))
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
			wrong = append(wrong, from+" is not in the table of floors")
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
	for _, w := range wrongArrows(floors(t), listPackages(t)) {
		t.Error(w)
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
