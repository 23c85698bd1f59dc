package labbook

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
)

// Keep puts data into originals/ under its SHA-256, whole or not at all, and
// returns the hash. It is called before the rows are committed: a file to which no
// row belongs does no harm.
func (s *Store) Keep(data []byte) (sum string, err error) {
	h := sha256.Sum256(data)
	sum = hex.EncodeToString(h[:])
	dir := filepath.Join(s.dir, originals)
	path := filepath.Join(dir, sum)
	if info, err := os.Stat(path); err == nil && info.Size() == int64(len(data)) {
		return sum, nil
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return "", explain(s.dir, err)
	}
	tmp, err := os.CreateTemp(dir, ".part-*")
	if err != nil {
		return "", explain(s.dir, err)
	}
	defer os.Remove(tmp.Name()) // after the rename there is nothing to remove
	_, err = tmp.Write(data)
	if err == nil {
		err = tmp.Chmod(0o444)
	}
	if err == nil {
		err = tmp.Sync()
	}
	if err = errors.Join(err, tmp.Close()); err != nil {
		return "", explain(s.dir, err)
	}
	if err := os.Rename(tmp.Name(), path); err != nil {
		return "", explain(s.dir, err)
	}
	return sum, explain(s.dir, syncDir(dir))
}

// Original is a file of originals/. One whose content does not give its name is an
// error.
func (s *Store) Original(sum string) ([]byte, error) {
	if len(sum) != hex.EncodedLen(sha256.Size) || filepath.Base(sum) != sum {
		return nil, fmt.Errorf("originals: found %q, expected a SHA-256 in hexadecimal", sum)
	}
	data, err := os.ReadFile(filepath.Join(s.dir, originals, sum))
	if err != nil {
		return nil, err
	}
	if h := sha256.Sum256(data); hex.EncodeToString(h[:]) != sum {
		return nil, fmt.Errorf("originals/%s: found content that gives %s, expected its name; restore the file from a backup", sum, hex.EncodeToString(h[:]))
	}
	return data, nil
}

// Difference is something that is not as it was written. Row is 0 where it is of no
// row.
type Difference struct {
	Row   int64  `json:"row"`
	Kind  string `json:"kind"`
	What  string `json:"what"`
	Found string `json:"found"`
	Want  string `json:"want"`
}

// Check recomputes the chain of hashes, looks whether every original is there and
// as it was, and asks the database to check itself. It returns the number of rows
// and the hash of the last: whoever notes them elsewhere can tell later whether
// rows at the end are missing.
func (s *Store) Check(ctx context.Context) (rows int, head string, out []Difference, err error) {
	err = s.Read(ctx, func(v *View) error {
		var sound string
		if err := v.tx.QueryRowContext(ctx, "PRAGMA integrity_check(1)").Scan(&sound); err != nil {
			return err
		}
		if sound != "ok" {
			out = append(out, Difference{Kind: "database", What: "integrity of the file", Found: sound, Want: "ok"})
		}
		before, last := "", int64(0)
		for r, err := range v.Rows(Filter{Superseded: true}) {
			if err != nil {
				return err
			}
			if r.ID != last+1 {
				out = append(out, Difference{Row: r.ID, Kind: string(r.Kind), What: "rows before it", Found: fmt.Sprintf("row %d behind row %d", r.ID, last), Want: "no gap"})
			}
			if want := r.digest(before); want != r.SHA256 {
				out = append(out, Difference{Row: r.ID, Kind: string(r.Kind), What: "hash of the row and what stands before it", Found: r.SHA256, Want: want})
			}
			if r.Kind == Original {
				if _, err := s.Original(r.Source); err != nil {
					out = append(out, Difference{Row: r.ID, Kind: string(r.Kind), What: "original file", Found: err.Error(), Want: "the file as it was added"})
				}
			}
			rows, before, last = rows+1, r.SHA256, r.ID
		}
		head = before
		return nil
	})
	return rows, head, out, err
}

// Backup writes a whole copy of the book, originals included, into the new folder
// to. Others may write meanwhile: the copy is the book at one moment. It appears
// under its name when it is whole.
func (s *Store) Backup(ctx context.Context, to string) error {
	if _, err := os.Lstat(to); !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%s: found something of that name, expected a new folder; choose another: nothing was written", to)
	}
	part, err := os.MkdirTemp(filepath.Dir(to), "."+filepath.Base(to)+"-*")
	if err != nil {
		return explain(to, err)
	}
	defer os.RemoveAll(part) // after the rename there is nothing to remove
	if err := os.Chmod(part, 0o755); err != nil {
		return explain(to, err)
	}
	if err := s.copyTo(ctx, filepath.Join(part, fileName)); err != nil {
		return explain(to, err)
	}
	copied := &Store{dir: part}
	if err := os.MkdirAll(filepath.Join(part, originals), 0o755); err != nil {
		return explain(to, err)
	}
	// Originals are there before their rows, so that the copy of the database, made
	// first, names none that is not there now.
	kept, err := os.ReadDir(filepath.Join(s.dir, originals))
	if err != nil {
		return explain(to, err)
	}
	for _, e := range kept {
		if e.Name()[0] == '.' {
			continue
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		data, err := s.Original(e.Name())
		if err != nil {
			return err
		}
		if _, err := copied.Keep(data); err != nil {
			return err
		}
	}
	if err := os.Rename(part, to); err != nil {
		return explain(to, err)
	}
	return syncDir(filepath.Dir(to))
}

// copyTo writes a copy of the database over a connection of its own: those of readers
// may not write anything, not even another file.
func (s *Store) copyTo(ctx context.Context, path string) error {
	how := writing
	if !writable(s.dir) {
		how = frozen
	}
	db, err := connect(filepath.Join(s.dir, fileName), how)
	if err != nil {
		return err
	}
	return errors.Join(snapshot(ctx, db, path), db.Close())
}

// Restore makes the book dir, which must not exist yet, from a backup. The backup
// is checked first: one that is not as it was written is refused.
func Restore(ctx context.Context, backup, dir string) error {
	s, err := Open(ctx, backup)
	if err != nil {
		return err
	}
	defer s.Close()
	_, _, differences, err := s.Check(ctx)
	if err != nil {
		return err
	}
	if len(differences) > 0 {
		d := differences[0]
		return fmt.Errorf("%s: found %d differences, first in row %d (%s: found %s, expected %s), expected a backup as it was written; use another backup: nothing was written",
			backup, len(differences), d.Row, d.What, d.Found, d.Want)
	}
	return s.Backup(ctx, dir)
}

func syncFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// syncDir makes the names in a folder last. On Windows a folder cannot be synced, and
// need not be.
func syncDir(dir string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
