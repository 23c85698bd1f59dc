package labbook

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

	"modernc.org/sqlite" // the driver "sqlite"
)

// patience is how long a writer waits for another, in milliseconds.
const patience = 60_000

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
	v.Add("_pragma", fmt.Sprintf("busy_timeout(%d)", patience))
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

// Store is an open book. It may be used by several goroutines.
type Store struct {
	dir   string
	read  *sql.DB
	mu    sync.Mutex
	write *sql.DB // opened by the first Write
}

// Open opens the book in dir, and brings an older schema up to date after writing a
// copy of the database beside it. In a folder that cannot be written to, the book
// can be read.
func Open(ctx context.Context, dir string) (*Store, error) {
	file := filepath.Join(dir, fileName)
	info, err := os.Stat(file)
	if errors.Is(err, os.ErrNotExist) {
		return nil, &NoBookError{dir}
	}
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, &NoBookError{dir}
	}
	s := &Store{dir: dir}
	how := reading
	if !writable(dir) {
		how = frozen
	}
	if s.read, err = connect(file, how); err != nil {
		return nil, err
	}
	v, err := version(ctx, s.read, file)
	if err == nil && v < Schema {
		if how == frozen {
			err = fmt.Errorf("%s: found schema %d in a folder that cannot be written to, expected %d; copy the folder to where it can be brought up to date", file, v, Schema)
		} else {
			err = upgrade(ctx, dir, v)
		}
	}
	if err != nil {
		s.read.Close()
		return nil, err
	}
	return s, nil
}

// Dir is the folder of the book.
func (s *Store) Dir() string { return s.dir }

// Close closes the book. What was committed stays, whether or not it is called.
func (s *Store) Close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	err := s.read.Close()
	if s.write != nil {
		err = errors.Join(err, s.write.Close())
	}
	return err
}

func (s *Store) writer() (*sql.DB, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.write == nil {
		db, err := connect(filepath.Join(s.dir, fileName), writing)
		if err != nil {
			return nil, err
		}
		s.write = db
	}
	return s.write, nil
}

// Write runs f with the right to add rows. What f added is there whole when Write
// returns nil, on disk; on any error, f's own included, nothing of it is.
func (s *Store) Write(ctx context.Context, f func(tx *Tx) error) error {
	if !writable(s.dir) {
		return fmt.Errorf("%s: found a folder that cannot be written to, expected one that can; check the permissions: nothing was written", s.dir)
	}
	db, err := s.writer()
	if err != nil {
		return explain(s.dir, err)
	}
	sqlTx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return explain(s.dir, err)
	}
	defer sqlTx.Rollback() // after the commit there is nothing to roll back
	tx := &Tx{View: View{ctx: ctx, tx: sqlTx}}
	if err := f(tx); err != nil {
		return explain(s.dir, err)
	}
	return explain(s.dir, sqlTx.Commit())
}

// Read runs f on the book as it stands at one moment: what others write meanwhile
// is not seen, and nobody waits.
func (s *Store) Read(ctx context.Context, f func(v *View) error) error {
	sqlTx, err := s.read.BeginTx(ctx, nil)
	if err != nil {
		return explain(s.dir, err)
	}
	defer sqlTx.Rollback() // a reading transaction has nothing to commit
	return explain(s.dir, f(&View{ctx: ctx, tx: sqlTx}))
}

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
		what = fmt.Sprintf("another program has been writing for %d s: nothing was written; try again", patience/1000)
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
