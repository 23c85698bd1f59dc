package labbook

import (
	"context"
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"flourcast/dataset/labbook/folder"
)

// What a folder has.
const (
	fileName  = "book.db"
	originals = "originals"
)

// oldBook is a book of schema 1: testdata/schema-1.sql has its table, which migrations
// begin with, and three rows with the hashes that the program gave them.
func oldBook(t *testing.T) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "book")
	if err := os.MkdirAll(filepath.Join(dir, originals), 0o755); err != nil {
		t.Fatal(err)
	}
	script, err := os.ReadFile("testdata/schema-1.sql")
	if err != nil {
		t.Fatal(err)
	}
	db, err := sql.Open("sqlite", filepath.Join(dir, fileName))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec(string(script)); err != nil {
		t.Fatal(err)
	}
	return dir
}

func schemaOf(t *testing.T, file string) (v int) {
	t.Helper()
	db, err := sql.Open("sqlite", file)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if err := db.QueryRow("PRAGMA user_version").Scan(&v); err != nil {
		t.Fatal(err)
	}
	return v
}

func TestAnOlderBookIsBroughtUpToDate(t *testing.T) {
	dir := oldBook(t)
	s := open(t, dir)
	if got := keys(all(t, s, Filter{})); got != "2:B 3:A" {
		t.Errorf("rows %s, want 2:B 3:A", got)
	}
	if d := differences(t, s); len(d) > 0 {
		t.Errorf("differences: %+v", d)
	}
	if v := schemaOf(t, filepath.Join(dir, fileName)); v != folder.Schema {
		t.Errorf("schema %d, want %d", v, folder.Schema)
	}
	if v := schemaOf(t, filepath.Join(dir, "before-schema-2.db")); v != 1 {
		t.Errorf("the copy has schema %d, want 1", v)
	}
	write(t, s, lotRow("C", "3"))
	if d := differences(t, s); len(d) > 0 {
		t.Errorf("differences after a row: %+v", d)
	}
}

// A step that fails leaves the book as it was, with the copy beside it.
func TestAMigrationThatFailsLeavesTheBook(t *testing.T) {
	dir := oldBook(t)
	tamper(t, dir, "CREATE TABLE entry_lot (x)") // the name of an index of schema 2
	if _, err := Open(context.Background(), dir); err == nil {
		t.Fatal("opened, want an error")
	}
	if v := schemaOf(t, filepath.Join(dir, fileName)); v != 1 {
		t.Errorf("schema %d after a failed migration, want 1", v)
	}
	tamper(t, dir, "DROP TABLE entry_lot")
	s := open(t, dir)
	if got := keys(all(t, s, Filter{})); got != "2:B 3:A" {
		t.Errorf("rows %s, want 2:B 3:A", got)
	}
}

func TestWhatIsNoBookOfThisProgramIsRefused(t *testing.T) {
	ctx := context.Background()
	newer := newStore(t, inFolder(t))
	tamper(t, newer.Place(), "PRAGMA user_version = 99")
	var schema *SchemaError
	if _, err := Open(ctx, newer.Place()); !errors.As(err, &schema) || schema.Found != 99 || schema.Foreign {
		t.Errorf("a newer book: %v", err)
	}
	foreign := newStore(t, inFolder(t))
	tamper(t, foreign.Place(), "PRAGMA application_id = 7")
	if _, err := Open(ctx, foreign.Place()); !errors.As(err, &schema) || !schema.Foreign {
		t.Errorf("a foreign database: %v", err)
	}
	var none *NoBookError
	if _, err := Open(ctx, t.TempDir()); !errors.As(err, &none) {
		t.Errorf("an empty folder: %v", err)
	}
	damaged := newStore(t, inFolder(t))
	damaged.Close()
	if err := os.WriteFile(filepath.Join(damaged.Place(), fileName), []byte("this is no database, though it is long enough to be looked at"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(ctx, damaged.Place()); err == nil {
		t.Error("a damaged file was opened")
	}
	full := t.TempDir()
	if err := os.WriteFile(filepath.Join(full, "x"), nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := Create(ctx, full); err == nil {
		t.Error("a book was made among other files")
	}
}
