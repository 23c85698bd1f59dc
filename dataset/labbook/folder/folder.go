// Package folder keeps a lab book in a folder of one machine: an SQLite database, and
// originals/ with every file as it was added.
//
//  1. Create makes a folder; CreateFilled makes one that appears when it is whole.
//  2. Open opens it, and brings an older schema up to date in one transaction after
//     writing a copy of the database beside it.
//  3. Writers begin with the write lock in hand and wait for each other; readers wait
//     for nobody. Every commit reaches the disk before it returns.
//  4. Keep writes an original to a temporary file, syncs it and renames it.
//
// It refuses a folder that has no book, a database of another program, a schema that
// is newer than its own, and writing into a folder that cannot be written to: such a
// book is read as it stands.
package folder

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"

	"flourcast/dataset/labbook/medium"

	"modernc.org/sqlite" // the driver "sqlite"
)

// access is what a connection may do.
type access int

const (
	reading access = iota
	writing
	frozen // the folder cannot be written to: the file is read as it stands
)

// connect opens the database file. Writers begin with the write lock in hand, so
// that two never deadlock half-way; every commit reaches the disk before it returns.
func connect(file string, how access) (*sql.DB, error) {
	v := url.Values{}
	v.Add("_pragma", fmt.Sprintf("busy_timeout(%d)", 1000*medium.Patience))
	switch how {
	case writing:
		v.Add("_pragma", "journal_mode(WAL)")
		v.Add("_pragma", "synchronous(FULL)")
		v.Set("_txlock", "immediate")
	case reading:
		v.Add("_pragma", "query_only(1)")
	case frozen:
		v.Set("mode", "ro")
		v.Set("immutable", "1")
	}
	abs, err := filepath.Abs(file)
	if err != nil {
		return nil, err
	}
	u := url.URL{Scheme: "file", Path: abs, RawQuery: v.Encode()}
	db, err := sql.Open("sqlite", u.String())
	if err != nil {
		return nil, err
	}
	if how == writing {
		db.SetMaxOpenConns(1)
	}
	return db, nil
}

// Folder is an open book. It may be used by several goroutines.
type Folder struct {
	dir   string
	read  *sql.DB
	mu    sync.Mutex
	write *sql.DB // opened by the first Writer
}

var _ medium.Medium = (*Folder)(nil)

// Open opens the book in dir, and brings an older schema up to date after writing a
// copy of the database beside it. In a folder that cannot be written to, the book
// can be read.
func Open(ctx context.Context, dir string) (*Folder, error) {
	file := filepath.Join(dir, fileName)
	info, err := os.Stat(file)
	if errors.Is(err, os.ErrNotExist) {
		return nil, &medium.NoBookError{Place: dir}
	}
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, &medium.NoBookError{Place: dir}
	}
	f := &Folder{dir: dir}
	how := reading
	if !writable(dir) {
		how = frozen
	}
	if f.read, err = connect(file, how); err != nil {
		return nil, err
	}
	v, err := version(ctx, f.read, file)
	if err == nil && v < Schema {
		if how == frozen {
			err = fmt.Errorf("%s: found schema %d in a folder that cannot be written to, expected %d; copy the folder to where it can be brought up to date", file, v, Schema)
		} else {
			err = upgrade(ctx, dir, v)
		}
	}
	if err != nil {
		f.read.Close()
		return nil, err
	}
	return f, nil
}

// Name is the folder of the book.
func (f *Folder) Name() string { return f.dir }

// Close closes the book. What was committed stays, whether or not it is called.
func (f *Folder) Close() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	err := f.read.Close()
	if f.write != nil {
		err = errors.Join(err, f.write.Close())
	}
	return err
}

func (f *Folder) writer() (*sql.DB, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.write == nil {
		db, err := connect(filepath.Join(f.dir, fileName), writing)
		if err != nil {
			return nil, err
		}
		f.write = db
	}
	return f.write, nil
}

// Writer begins a transaction with the write lock in hand.
func (f *Folder) Writer(ctx context.Context) (*sql.Tx, error) {
	if !writable(f.dir) {
		return nil, fmt.Errorf("%s: found a folder that cannot be written to, expected one that can; check the permissions: nothing was written", f.dir)
	}
	db, err := f.writer()
	if err != nil {
		return nil, err
	}
	return db.BeginTx(ctx, nil)
}

// Reader begins a transaction on the book as it stands at one moment.
func (f *Folder) Reader(ctx context.Context) (*sql.Tx, error) { return f.read.BeginTx(ctx, nil) }

// Sound asks SQLite to check its file.
func (f *Folder) Sound(ctx context.Context, tx *sql.Tx) (complaint string, err error) {
	if err := tx.QueryRowContext(ctx, "PRAGMA integrity_check(1)").Scan(&complaint); err != nil {
		return "", err
	}
	if complaint == "ok" {
		complaint = ""
	}
	return complaint, nil
}

// Explain says in the words of the trade what SQLite could not do.
func (f *Folder) Explain(err error) error { return explain(f.dir, err) }

// SQLite's result codes that a person can do something about.
const (
	codeBusy     = 5
	codeReadOnly = 8
	codeIO       = 10
	codeCorrupt  = 11
	codeFull     = 13
	codeOpen     = 14
	codeNotADB   = 26
)

// explain says in the words of the trade what the database could not do.
func explain(where string, err error) error {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		if err != nil && strings.Contains(err.Error(), "no space left") {
			return fmt.Errorf("%s: the disk is full: nothing was written; make room and try again (%w)", where, err)
		}
		return err
	}
	what := "the database could not do it"
	switch e.Code() & 0xff {
	case codeBusy:
		what = fmt.Sprintf("another program has been writing for %d s: nothing was written; try again", medium.Patience)
	case codeReadOnly, codeOpen:
		what = "the book cannot be written to or opened; check the permissions of the folder: nothing was written"
	case codeIO:
		what = "the disk could not be read or written: nothing was written; check it, and run 'flourcast verify'"
	case codeFull:
		what = "the disk is full: nothing was written; make room and try again"
	case codeCorrupt, codeNotADB:
		what = "the database is damaged; restore the last backup"
	}
	return fmt.Errorf("%s: %s (%w)", where, what, err)
}

// writable reports whether files can be made in dir.
func writable(dir string) bool {
	f, err := os.CreateTemp(dir, ".touch-*")
	if err != nil {
		return errors.Is(err, os.ErrExist) || strings.Contains(err.Error(), "no space left")
	}
	f.Close()
	return os.Remove(f.Name()) == nil
}
