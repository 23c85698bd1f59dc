package labbook

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"fmt"
	"path/filepath"

	"flourcast/dataset/labbook/folder"
	"flourcast/dataset/labbook/medium"
	"flourcast/dataset/labbook/server"
)

// Store is an open book. It may be used by several goroutines.
type Store struct{ m medium.Medium }

// Create makes an empty book: in a folder that is new or empty, or in the database of
// a connection string (postgres://…) that has no book yet.
func Create(ctx context.Context, place string) error {
	if server.Is(place) {
		return server.Create(ctx, place, nil)
	}
	return folder.Create(ctx, place)
}

// Open opens the book in a folder, or in the database of a connection string, and
// brings an older schema up to date after a copy.
func Open(ctx context.Context, place string) (*Store, error) {
	if server.Is(place) {
		s, err := server.Open(ctx, place)
		if err != nil {
			return nil, err
		}
		return &Store{s}, nil
	}
	f, err := folder.Open(ctx, place)
	if err != nil {
		return nil, err
	}
	return &Store{f}, nil
}

// Shown is a place as it may be shown and stored: a connection string without its
// password.
func Shown(place string) string {
	if server.Is(place) {
		return server.Shown(place)
	}
	return place
}

// Place is where the book is, as it may be shown.
func (s *Store) Place() string { return s.m.Name() }

// Close closes the book. What was committed stays, whether or not it is called.
func (s *Store) Close() error { return s.m.Close() }

// Write runs f with the right to add rows. What f added is there whole when Write
// returns nil, on disk; on any error, f's own included, nothing of it is.
func (s *Store) Write(ctx context.Context, f func(tx *Tx) error) error {
	sqlTx, err := s.m.Writer(ctx)
	if err != nil {
		return s.m.Explain(err)
	}
	defer sqlTx.Rollback() // after the commit there is nothing to roll back
	if err := f(begin(ctx, sqlTx)); err != nil {
		return s.m.Explain(err)
	}
	return s.m.Explain(sqlTx.Commit())
}

func begin(ctx context.Context, tx *sql.Tx) *Tx { return &Tx{View: View{ctx: ctx, tx: tx}} }

// Read runs f on the book as it stands at one moment: what others write meanwhile
// is not seen, and nobody waits.
func (s *Store) Read(ctx context.Context, f func(v *View) error) error {
	sqlTx, err := s.m.Reader(ctx)
	if err != nil {
		return s.m.Explain(err)
	}
	defer sqlTx.Rollback() // a reading transaction has nothing to commit
	return s.m.Explain(f(&View{ctx: ctx, tx: sqlTx}))
}

// Keep keeps data under its SHA-256, whole or not at all, and returns the hash. It is
// called before the rows are committed: a file to which no row belongs does no harm.
func (s *Store) Keep(ctx context.Context, data []byte) (sum string, err error) {
	sum = medium.Sum(data)
	return sum, s.m.Explain(s.m.Keep(ctx, sum, data))
}

// Original is a file as it was added. One whose content does not give its name is an
// error.
func (s *Store) Original(ctx context.Context, sum string) ([]byte, error) {
	if len(sum) != hex.EncodedLen(sha256.Size) || filepath.Base(sum) != sum {
		return nil, fmt.Errorf("originals: found %q, expected a SHA-256 in hexadecimal", sum)
	}
	data, err := s.m.Original(ctx, sum)
	if err != nil {
		return nil, s.m.Explain(err)
	}
	if got := medium.Sum(data); got != sum {
		return nil, fmt.Errorf("originals/%s: found content that gives %s, expected its name; restore the file from a backup", sum, got)
	}
	return data, nil
}
