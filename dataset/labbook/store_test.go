package labbook

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"flourcast/dataset/labbook/server"
	"flourcast/dataset/labbook/server/servertest"

	"pgregory.net/rapid"
)

var day = time.Date(2026, 1, 15, 9, 0, 0, 0, time.UTC)

// inFolder is a folder for a book.
func inFolder(t *testing.T) string { return filepath.Join(t.TempDir(), "book") }

// onBoth runs a test on a book in a folder, and on one in a real PostgreSQL.
func onBoth(t *testing.T, test func(t *testing.T, place string)) {
	t.Run("folder", func(t *testing.T) { test(t, inFolder(t)) })
	t.Run("server", func(t *testing.T) { test(t, servertest.URL(t)) })
}

func newStore(t *testing.T, place string) *Store {
	t.Helper()
	if err := Create(context.Background(), place); err != nil {
		t.Fatal(err)
	}
	return open(t, place)
}

func open(t *testing.T, dir string) *Store {
	t.Helper()
	s, err := Open(context.Background(), dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func lotRow(key, payload string) Row {
	return Row{Kind: Lot, Key: key, Lot: key, Made: day, Operator: "op", Program: "test", Source: "s", Payload: []byte(payload)}
}

func write(t *testing.T, s *Store, rows ...Row) (out []Row) {
	t.Helper()
	err := s.Write(context.Background(), func(tx *Tx) error {
		for _, r := range rows {
			kept, err := tx.Add(r)
			if err != nil {
				return err
			}
			out = append(out, kept)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func all(t *testing.T, s *Store, f Filter) (rows []Row) {
	t.Helper()
	err := s.Read(context.Background(), func(v *View) (err error) { rows, err = v.All(f); return err })
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

func differences(t *testing.T, s *Store) []Difference {
	t.Helper()
	_, _, d, err := s.Check(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func keys(rows []Row) string {
	var out []string
	for _, r := range rows {
		out = append(out, fmt.Sprintf("%d:%s", r.ID, r.Key))
	}
	return strings.Join(out, " ")
}

func TestCorrectionsStandInAndNothingIsLost(t *testing.T) {
	onBoth(t, correctionsStandInAndNothingIsLost)
}

func correctionsStandInAndNothingIsLost(t *testing.T, place string) {
	s := newStore(t, place)
	write(t, s, lotRow("A", "1"), lotRow("B", "2"), lotRow("C", "3"))
	fix := lotRow("A", "1b")
	fix.Corrects, fix.Reason = 1, "misread"
	gone := lotRow("B", "")
	gone.Corrects, gone.Withdrawn, gone.Reason = 2, true, "another mill's"
	write(t, s, fix, gone)
	for _, c := range []struct {
		f    Filter
		want string
	}{
		{Filter{}, "3:C 4:A"},
		{Filter{Superseded: true}, "1:A 2:B 3:C 4:A 5:B"},
		{Filter{Keys: []string{"A"}}, "4:A"},
		{Filter{Lots: []string{"B", "C"}}, "3:C"},
		{Filter{IDs: []int64{1}, Superseded: true}, "1:A"},
		{Filter{Kinds: []Kind{Run}}, ""},
		{Filter{Limit: 1}, "4:A"},
		{Filter{Limit: 2, Superseded: true}, "4:A 5:B"},
	} {
		if got := keys(all(t, s, c.f)); got != c.want {
			t.Errorf("%+v: %s, want %s", c.f, got, c.want)
		}
	}
	again := fix
	var corrected *CorrectedError
	err := s.Write(context.Background(), func(tx *Tx) error { _, err := tx.Add(again); return err })
	if !errors.As(err, &corrected) || corrected.By != 4 {
		t.Errorf("a second correction of row 1: %v, want a *CorrectedError by row 4", err)
	}
	again.Corrects = 99
	err = s.Write(context.Background(), func(tx *Tx) error { _, err := tx.Add(again); return err })
	if !errors.Is(err, ErrNoRow) {
		t.Errorf("a correction of no row: %v, want ErrNoRow", err)
	}
	if d := differences(t, s); len(d) > 0 {
		t.Errorf("differences in an untouched book: %+v", d)
	}
	var tallies []Tally
	if err := s.Read(context.Background(), func(v *View) (err error) { tallies, err = v.Tallies(Lot); return err }); err != nil {
		t.Fatal(err)
	}
	if got := fmt.Sprint(tallies); got != "[{lot A  1} {lot C  1}]" {
		t.Errorf("tallies %s", got)
	}
}

// A transaction that fails leaves nothing, whatever it had added.
func TestAllOrNothing(t *testing.T) { onBoth(t, allOrNothing) }

func allOrNothing(t *testing.T, place string) {
	s := newStore(t, place)
	write(t, s, lotRow("A", "1"))
	stop := errors.New("stop")
	err := s.Write(context.Background(), func(tx *Tx) error {
		if _, err := tx.Add(lotRow("B", "2")); err != nil {
			return err
		}
		return stop
	})
	if !errors.Is(err, stop) {
		t.Fatalf("error %v, want the function's own", err)
	}
	if got := keys(all(t, s, Filter{})); got != "1:A" {
		t.Errorf("rows %s after a failed transaction, want 1:A", got)
	}
	write(t, s, lotRow("C", "3"))
	if d := differences(t, s); len(d) > 0 {
		t.Errorf("differences: %+v", d)
	}
}

// database opens what a place keeps its rows in, behind the book's back.
func database(t *testing.T, place string) *sql.DB {
	t.Helper()
	driver, name := "sqlite", filepath.Join(place, fileName)
	if server.Is(place) {
		driver, name = "pgx", place
	}
	db, err := sql.Open(driver, name)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

// tamper changes the database behind the book's back.
func tamper(t *testing.T, place string, statements ...string) {
	t.Helper()
	db := database(t, place)
	for _, q := range statements {
		if q == unlock && server.Is(place) {
			q = "DROP TRIGGER entry_stays ON entry; DROP TRIGGER original_stays ON original"
		}
		if _, err := db.Exec(q); err != nil {
			t.Fatalf("%s: %v", q, err)
		}
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

// unlock takes away the triggers that refuse changes.
const unlock = "DROP TRIGGER entry_stays; DROP TRIGGER entry_remains"

// spoil changes the content of an original.
func spoil(t *testing.T, place, sum, content string) {
	t.Helper()
	if server.Is(place) {
		tamper(t, place, unlock, fmt.Sprintf("UPDATE original SET data = convert_to('%s', 'UTF8') WHERE sha256 = '%s'", content, sum))
		return
	}
	path := filepath.Join(place, originals, sum)
	if err := os.Chmod(path, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(content), 0o644); err != nil {
		t.Fatal(err)
	}
}

func TestCheckNamesWhatWasChanged(t *testing.T) {
	t.Run("folder", func(t *testing.T) { checkNamesWhatWasChanged(t, inFolder) })
	t.Run("server", func(t *testing.T) {
		checkNamesWhatWasChanged(t, func(t *testing.T) string { return servertest.URL(t) })
	})
}

func checkNamesWhatWasChanged(t *testing.T, place func(t *testing.T) string) {
	for _, c := range []struct {
		name, change string
		row          int64
		what         string
	}{
		{"payload", "UPDATE entry SET payload = (SELECT payload FROM entry WHERE id = 3) WHERE id = 2", 2, "hash"},
		{"operator", "UPDATE entry SET operator = 'somebody' WHERE id = 2", 2, "hash"},
		{"time", "UPDATE entry SET made = '2025-01-15T09:00:00Z' WHERE id = 3", 3, "hash"},
		{"reason moved into the source", "UPDATE entry SET source = 'ss', reason = '' WHERE id = 1", 1, "hash"},
		{"row deleted", "DELETE FROM entry WHERE id = 2", 3, "rows before it"},
		{"row renumbered", "UPDATE entry SET id = 9 WHERE id = 3", 9, "rows before it"},
		{"hash replaced", "UPDATE entry SET sha256 = 'f' WHERE id = 1", 1, "hash"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newStore(t, place(t))
			r := lotRow("A", "1")
			r.Reason = "s"
			write(t, s, r, lotRow("B", "2"), lotRow("C", "3"))
			tamper(t, s.Place(), unlock, c.change)
			d := differences(t, s)
			if len(d) == 0 || d[0].Row != c.row || !strings.Contains(d[0].What, c.what) {
				t.Errorf("differences %+v, want the first in row %d of %s", d, c.row, c.what)
			}
		})
	}
	t.Run("original", func(t *testing.T) {
		s := newStore(t, place(t))
		sum, err := s.Keep(context.Background(), []byte("lot,product\n"))
		if err != nil {
			t.Fatal(err)
		}
		write(t, s, Row{Kind: Original, Key: "lots.csv", Source: sum, Made: day})
		spoil(t, s.Place(), sum, "lot,product\nX,y\n")
		if d := differences(t, s); len(d) != 1 || d[0].What != "original file" {
			t.Errorf("differences %+v, want the original's", d)
		}
	})
}

func TestRowsCannotBeChangedByTheWay(t *testing.T) { onBoth(t, rowsCannotBeChangedByTheWay) }

func rowsCannotBeChangedByTheWay(t *testing.T, place string) {
	s := newStore(t, place)
	write(t, s, lotRow("A", "1"))
	db := database(t, place)
	for _, q := range []string{"UPDATE entry SET reason = 'x'", "DELETE FROM entry"} {
		if _, err := db.Exec(q); err == nil || !strings.Contains(err.Error(), "never") {
			t.Errorf("%s: %v, want a refusal", q, err)
		}
	}
}

// Two rows that say different things never have one hash, wherever the parts of
// their texts are cut.
func TestDigestTellsRowsApart(t *testing.T) {
	text := rapid.StringMatching(`[ab]{0,2}`)
	row := rapid.Custom(func(t *rapid.T) Row {
		return Row{ID: rapid.Int64Range(1, 2).Draw(t, "id"), Kind: Kind(text.Draw(t, "kind")), Key: text.Draw(t, "key"), Lot: text.Draw(t, "lot"), Product: text.Draw(t, "product"), Made: day,
			Operator: text.Draw(t, "operator"), Program: text.Draw(t, "program"), Source: text.Draw(t, "source"), Corrects: rapid.Int64Range(0, 1).Draw(t, "corrects"), Reason: text.Draw(t, "reason"), Payload: []byte(text.Draw(t, "payload"))}
	})
	rapid.Check(t, func(t *rapid.T) {
		a, b := row.Draw(t, "a"), row.Draw(t, "b")
		same := fmt.Sprintf("%+v", a) == fmt.Sprintf("%+v", b)
		if (a.digest("") == b.digest("")) != same {
			t.Errorf("%+v and %+v: hashes equal %v, rows equal %v", a, b, !same, same)
		}
	})
}

// Writers of several stores wait for each other, and a reader sees the book as it
// was while a writer is half-way.
func TestWritersWaitReadersDoNot(t *testing.T) { onBoth(t, writersWaitReadersDoNot) }

func writersWaitReadersDoNot(t *testing.T, place string) {
	s := newStore(t, place)
	write(t, s, lotRow("A", "1"))
	const writers, each = 4, 10
	var wg sync.WaitGroup
	failed := make(chan error, writers*each)
	for w := range writers {
		own := open(t, place)
		wg.Add(1)
		go func() {
			defer wg.Done()
			for i := range each {
				failed <- own.Write(context.Background(), func(tx *Tx) error {
					_, err := tx.Add(lotRow(fmt.Sprintf("W%d-%d", w, i), "x"))
					return err
				})
			}
		}()
	}
	err := s.Write(context.Background(), func(tx *Tx) error {
		if _, err := tx.Add(lotRow("half", "1")); err != nil {
			return err
		}
		reader := open(t, place)
		for _, r := range all(t, reader, Filter{}) { // does not wait for this very transaction
			if r.Key == "half" {
				t.Error("a reader sees a row that is not committed")
			}
		}
		return nil
	})
	if err != nil {
		t.Error(err)
	}
	wg.Wait()
	close(failed)
	for err := range failed {
		if err != nil {
			t.Error(err)
		}
	}
	if n := len(all(t, s, Filter{})); n != writers*each+2 {
		t.Errorf("%d rows, want %d", n, writers*each+2)
	}
	if d := differences(t, s); len(d) > 0 {
		t.Errorf("differences: %+v", d)
	}
}

func TestBackupAndRestore(t *testing.T) { onBoth(t, backupAndRestore) }

func backupAndRestore(t *testing.T, place string) {
	ctx := context.Background()
	s := newStore(t, place)
	sum, err := s.Keep(context.Background(), []byte("lot\nA\n"))
	if err != nil {
		t.Fatal(err)
	}
	write(t, s, Row{Kind: Original, Key: "lots.csv", Source: sum, Made: day}, lotRow("A", "1"))
	parent := t.TempDir()
	backup, restored := filepath.Join(parent, "backup"), filepath.Join(parent, "restored")
	if err := s.Backup(ctx, backup); err != nil {
		t.Fatal(err)
	}
	if err := s.Backup(ctx, backup); err == nil || !strings.Contains(err.Error(), "new folder") {
		t.Errorf("a backup over a backup: %v", err)
	}
	write(t, s, lotRow("later", "2"))
	if err := Restore(ctx, backup, restored); err != nil {
		t.Fatal(err)
	}
	r := open(t, restored)
	if got := keys(all(t, r, Filter{})); got != "1:lots.csv 2:A" {
		t.Errorf("restored rows %s", got)
	}
	if data, err := r.Original(ctx, sum); err != nil || string(data) != "lot\nA\n" {
		t.Errorf("restored original %q, %v", data, err)
	}
	if d := differences(t, r); len(d) > 0 {
		t.Errorf("differences: %+v", d)
	}
	entries, err := os.ReadDir(parent)
	if err != nil || len(entries) != 2 {
		t.Errorf("beside the two folders: %v, %v", entries, err)
	}
	tamper(t, backup, unlock, "UPDATE entry SET operator = 'x' WHERE id = 2")
	if err := Restore(ctx, backup, filepath.Join(parent, "third")); err == nil || !strings.Contains(err.Error(), "row 2") {
		t.Errorf("a changed backup: %v, want a refusal that names row 2", err)
	}
	if _, err := os.Stat(filepath.Join(parent, "third")); !errors.Is(err, os.ErrNotExist) {
		t.Error("a refused restore left a folder")
	}
}

// Words that a database may not keep are refused in both places; payloads are bytes.
func TestWordsThatAreNoTextAreRefused(t *testing.T) { onBoth(t, wordsThatAreNoTextAreRefused) }

func wordsThatAreNoTextAreRefused(t *testing.T, place string) {
	s := newStore(t, place)
	for _, word := range []string{"a\x00b", "a\xffb"} {
		r := lotRow("A", word)
		r.Reason = word
		err := s.Write(context.Background(), func(tx *Tx) error { _, err := tx.Add(r); return err })
		if err == nil || !strings.Contains(err.Error(), "found bytes that are no text") {
			t.Errorf("%q: %v, want a refusal", word, err)
		}
	}
	write(t, s, lotRow("Ä\x1f", "a\x00\xff"))
	if d := differences(t, s); len(d) > 0 {
		t.Errorf("differences: %+v", d)
	}
}

// A question within a loop over rows is a fault of the program, in both places.
func TestAQuestionWithinALoopPanics(t *testing.T) {
	s := newStore(t, inFolder(t))
	write(t, s, lotRow("A", "1"))
	defer func() {
		if recover() == nil {
			t.Error("no panic")
		}
	}()
	err := s.Read(context.Background(), func(v *View) error {
		for range v.Rows(Filter{}) {
			if _, err := v.Has(Filter{}); err != nil {
				return err
			}
		}
		return nil
	})
	t.Errorf("went through: %v", err)
}
