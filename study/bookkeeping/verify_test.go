package bookkeeping_test

import (
	"context"
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flourcast/study/bookkeeping"
	"flourcast/study/entry"
	"flourcast/study/job"

	_ "modernc.org/sqlite" // the book's database, to be tampered with
)

var env = job.Env{Clock: func() time.Time { return time.Date(2026, 1, 15, 9, 0, 0, 0, time.UTC) }, Version: "test", Cores: 2}

func newBook(t *testing.T) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "book")
	if _, err := bookkeeping.Init(context.Background(), dir); err != nil {
		t.Fatal(err)
	}
	return dir
}

// add enters a file of lots and one of pasting values: rows 1 to 5.
func add(t *testing.T, dir string) {
	t.Helper()
	var paths []string
	for name, text := range map[string]string{"a-lots.csv": "lot,product\nA,soft-bite-noodle\nB,soft-bite-noodle\n", "b-values.csv": "lot,method,replicate,peak_mPas,trough_mPas,final_mPas\nA,noodle-water,1,2800,2000,3700\n"} {
		path := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		paths = append(paths, path)
	}
	if strings.Contains(paths[0], "b-values") {
		paths[0], paths[1] = paths[1], paths[0]
	}
	if _, err := entry.Add(context.Background(), env, entry.AddRequest{Dir: dir, Paths: paths}); err != nil {
		t.Fatal(err)
	}
}

func verify(t *testing.T, dir, head string) *bookkeeping.VerifyResult {
	t.Helper()
	res, err := bookkeeping.Verify(context.Background(), env, dir, head)
	if err != nil {
		t.Fatal(err)
	}
	return res
}

// tamper changes the database behind the book's back, as no command can.
func tamper(t *testing.T, dir, change string) {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(dir, "book.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for _, q := range []string{"DROP TRIGGER entry_stays", "DROP TRIGGER entry_remains", change} {
		if _, err := db.Exec(q); err != nil {
			t.Fatal(err)
		}
	}
}

func TestVerifyNamesAChangedFigure(t *testing.T) {
	dir := newBook(t)
	add(t, dir)
	before := verify(t, dir, "")
	if !before.OK || before.Figures == 0 || before.Originals != 2 {
		t.Fatalf("untouched: %+v", before)
	}
	tamper(t, dir, `UPDATE entry SET payload = replace(CAST(payload AS TEXT), '"breakdown_mPas":800', '"breakdown_mPas":801') WHERE kind = 'run'`)
	after := verify(t, dir, "")
	var named []string
	for _, d := range after.Differences {
		named = append(named, fmt.Sprint(d.Row, " ", d.What, " ", d.Found, "/", d.Want))
	}
	if after.OK || len(named) != 2 || named[1] != "5 breakdown_mPas 801/800" {
		t.Errorf("differences %q", named)
	}
}

// Rows missing at the end show only by the hash that was noted.
func TestVerifyMissesNoRowsAtTheEndOfABookWhoseHeadWasNoted(t *testing.T) {
	dir := newBook(t)
	add(t, dir)
	head := verify(t, dir, "").Head
	if v := verify(t, dir, head); !v.OK {
		t.Fatalf("untouched: %+v", v.Differences)
	}
	tamper(t, dir, "DELETE FROM entry WHERE id >= 4")
	if v := verify(t, dir, ""); !v.OK {
		t.Fatalf("the chain alone: %+v", v.Differences)
	}
	if v := verify(t, dir, head); v.OK || v.Differences[0].Want != head {
		t.Errorf("with the hash noted: %+v", v.Differences)
	}
}

func TestBackupIsCheckedAndRestored(t *testing.T) {
	ctx := context.Background()
	dir := newBook(t)
	add(t, dir)
	to := filepath.Join(t.TempDir(), "copy")
	saved, err := bookkeeping.Backup(ctx, dir, to)
	if err != nil || saved.Rows != 5 || saved.Head != verify(t, dir, "").Head {
		t.Fatalf("backup %+v, %v", saved, err)
	}
	again := filepath.Join(t.TempDir(), "again")
	if _, err := bookkeeping.Restore(ctx, to, again); err != nil {
		t.Fatal(err)
	}
	if v := verify(t, again, saved.Head); !v.OK || v.Rows != 5 {
		t.Errorf("restored: %+v", v)
	}
	lots, err := bookkeeping.Lots(ctx, again)
	if err != nil || fmt.Sprint(lots.Lots) != "[{A soft-bite-noodle 1 0 0 0} {B soft-bite-noodle 0 0 0 0}]" {
		t.Errorf("restored lots %v, %v", lots, err)
	}
}
