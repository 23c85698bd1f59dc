package main

import (
	"database/sql"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/study/bookkeeping"

	_ "modernc.org/sqlite" // the book's database, to be tampered with
)

// bookFiles are three small files of a laboratory.
func bookFiles(t *testing.T) (book, lots, texture, values string) {
	t.Helper()
	dir := t.TempDir()
	put := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return path
	}
	return filepath.Join(dir, "book"), put("lots.csv", "lot,product,protein_pct,protein_basis\nA,soft-bite-noodle,9.1,14 %\nB,soft-bite-noodle,9.4,14 %\n"),
		put("texture.csv", "lot,protocol,replicate,hardness_N\nA,p,1,4.0\nA,p,2,4.2\nC,p,1,3.9\n,p,1,3.8\n"),
		put("values.csv", "lot,method,replicate,peak_mPas,trough_mPas,final_mPas\nA,noodle-water,1,2800,2000,3700\n")
}

// The scripted contract of the lab book: commands, flags, fields, exit codes.
func TestLabBookKeepsItsPromises(t *testing.T) {
	book, lots, texture, values := bookFiles(t)
	if _, stderr, code := call(t, "init", book); code != 0 {
		t.Fatalf("init: %d, %s", code, stderr)
	}
	if _, _, code := call(t, "init", book); code != 1 {
		t.Errorf("init of a book that is there: exit code %d, want 1", code)
	}
	var got map[string]any
	callJSON(t, &got, "add", lots, texture, values, "--book", book, "--dry-run", "--json")
	if got["written"] != false || got["dry_run"] != true {
		t.Errorf("dry run: %v", got)
	}
	callJSON(t, &got, "add", lots, texture, values, "--book", book, "--operator", "Ann", "--json")
	added := got["added"].(map[string]any)
	if added["lots"] != 2.0 || added["runs"] != 1.0 || added["readings"] != 3.0 || got["refused"] != 1.0 || got["waiting"] != 1.0 || len(got["findings"].([]any)) == 0 {
		t.Errorf("add: %v", got)
	}
	callJSON(t, &got, "add", lots, "--book", book, "--json")
	if added := got["added"].(map[string]any); added["lots"] != 0.0 || got["written"] != false {
		t.Errorf("the same file again: %v", got)
	}
	var list bookkeeping.LotsResult
	callJSON(t, &list, "lots", "--book", book, "--json")
	if len(list.Lots) != 2 || list.Lots[0] != (bookkeeping.LotLine{Lot: "A", Product: "soft-bite-noodle", Runs: 1, Readings: 2}) || len(list.Waiting) != 1 {
		t.Errorf("lots: %+v", list)
	}
	var verified bookkeeping.VerifyResult
	callJSON(t, &verified, "verify", "--book", book, "--json")
	if !verified.OK || len(verified.Differences) != 0 || verified.Rows != 9 {
		t.Errorf("verify: %+v", verified)
	}
	var trail bookkeeping.LogResult
	callJSON(t, &trail, "log", "--book", book, "--lot", "A", "--json")
	if len(trail.Lines) != 4 || trail.Lines[0].Operator != "Ann" || len(trail.Lines[0].Source) != 64 {
		t.Errorf("log: %+v", trail)
	}
	for _, c := range []struct {
		args string
		code int
		says string
	}{
		{"add " + texture + " --strict --book " + book, 4, "nothing was written"},
		{"add " + book + "/book.db --book " + book, 3, "no row that the book can take"},
		{"add " + lots, 2, "--book is missing"},
		{"add " + lots + " --book " + filepath.Dir(lots), 1, "found no lab book"},
		{"correct " + lots + " --book " + book, 2, "--reason is missing"},
		{"correct --withdraw 99 --reason x --book " + book, 1, "no such row"},
		{"lots", 2, "--book is missing"},
		{"join --book " + book + " --lots " + lots + " -o t.csv", 2, "instead of files"},
		{"join --book " + book + " --map m.toml -o t.csv", 2, "--map does not go with --book"},
		{"fit --book " + book + " --response hardness_N --kind mean --group lot", 2, "--group does not go with --book"},
		{"forecast 1 x.csv --book " + book, 2, "accepts 1 arg"},
		{"forecast 99 --book " + book, 2, "model 99"},
		{"spec add --book " + book + " --customer K --product soft-bite-noodle --limits hardness_N=4..3 --revision 1 --valid-from 2026-01-01", 2, "--limits"},
		{"spec add --book " + book + " --customer K --product soft-bite-noodle --limits hardness_N=3..4 --revision 1 --valid-from soon", 2, "a day such as"},
		{"disposition add A --book " + book + " --as burn --who W --why x", 2, "use, divert, blend, return"},
		{"disposition add Z --book " + book + " --as use --who W --why x", 2, "a lot of the book"},
		{"spec add --book " + book + " --customer K --product soft-bite-noodle --limits hardness_N=3..4 --revision 1 --valid-from 2026-01-01", 0, ""},
		{"spec add --book " + book + " --customer K --product soft-bite-noodle --limits hardness_N=3..5 --revision 1 --valid-from 2026-01-01", 2, "each revision once"},
		{"disposition add A --book " + book + " --as divert --who W --why soft", 0, ""},
		{"purpose add A --book " + book + " --why held", 0, ""},
		{"backup " + book + "-copy --book " + book, 0, ""},
		{"restore " + book + "-copy " + book + "-again", 0, ""},
		{"verify --book " + book + "-again", 0, ""},
	} {
		_, stderr, code := call(t, strings.Fields(c.args)...)
		if code != c.code || !strings.Contains(stderr, c.says) {
			t.Errorf("%s: exit code %d, want %d; says %q, want %q", c.args, code, c.code, stderr, c.says)
		}
	}
	var specs struct {
		Rows []struct {
			What struct {
				Customer string   `json:"customer"`
				Unit     string   `json:"unit"`
				High     *float64 `json:"high"`
			} `json:"what"`
		} `json:"rows"`
	}
	callJSON(t, &specs, "spec", "list", "--book", book, "--json")
	if len(specs.Rows) != 1 || specs.Rows[0].What.Unit != "N" || *specs.Rows[0].What.High != 4 {
		t.Errorf("specs %+v", specs)
	}
	spoil(t, book)
	stdout, _, code := call(t, "verify", "--book", book, "--json")
	if code != 1 || !strings.Contains(stdout, `"ok": false`) || !strings.Contains(stdout, `"row": 4`) {
		t.Errorf("verify of a changed book: exit code %d, %s", code, stdout)
	}
}

// spoil changes a row behind the book's back.
func spoil(t *testing.T, book string) {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(book, "book.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for _, q := range []string{"DROP TRIGGER entry_stays", "UPDATE entry SET operator = 'Bob' WHERE id = 4"} {
		if _, err := db.Exec(q); err != nil {
			t.Fatal(err)
		}
	}
}
