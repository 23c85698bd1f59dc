package labbook

import (
	"context"
	"database/sql"
	"fmt"

	"flourcast/dataset/labbook/folder"
	"flourcast/dataset/labbook/server"
)

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
		complaint, err := s.m.Sound(ctx, v.tx)
		if err != nil {
			return err
		}
		if complaint != "" {
			out = append(out, Difference{Kind: "database", What: "integrity of the file", Found: complaint, Want: "ok"})
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
				if _, err := s.Original(ctx, r.Source); err != nil {
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

// Backup writes a whole copy of the book, originals included, to a place that has
// none: a new folder, or a database. Others may write meanwhile: the copy is the book
// at one moment. It is there when it is whole. A book whose hashes do not hold is
// refused with the first row that differs.
func (s *Store) Backup(ctx context.Context, to string) error {
	fill := func(tx *sql.Tx, keep func(sum string, data []byte) error) error {
		return s.copyTo(ctx, tx, keep)
	}
	if server.Is(to) {
		return server.Create(ctx, to, fill)
	}
	return folder.CreateFilled(ctx, to, fill)
}

// copyTo adds every row again: its number and hash come out the same, or it is not as
// it was written.
func (s *Store) copyTo(ctx context.Context, into *sql.Tx, keep func(sum string, data []byte) error) error {
	tx := begin(ctx, into)
	kept := map[string]bool{}
	return s.Read(ctx, func(v *View) error {
		for r, err := range v.Rows(Filter{Superseded: true}) {
			if err != nil {
				return err
			}
			if r.Kind == Original && !kept[r.Source] {
				data, err := s.Original(ctx, r.Source)
				if err != nil {
					return err
				}
				if err := keep(r.Source, data); err != nil {
					return err
				}
				kept[r.Source] = true
			}
			again, err := tx.Add(r)
			if err != nil {
				return err
			}
			if again.ID != r.ID || again.SHA256 != r.SHA256 {
				return fmt.Errorf("%s: found row %d with a hash that does not hold, expected a book as it was written; run 'flourcast verify'", s.Place(), r.ID)
			}
		}
		return nil
	})
}

// Restore makes a book in a place that has none from a backup. The backup is checked
// first: one that is not as it was written is refused.
func Restore(ctx context.Context, backup, place string) error {
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
			s.Place(), len(differences), d.Row, d.What, d.Found, d.Want)
	}
	return s.Backup(ctx, place)
}
