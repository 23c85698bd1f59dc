package folder

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"flourcast/dataset/labbook/medium"
)

// migrations bring a book from schema i to schema i+1. They are never changed once
// released: a new need is a new line.
var migrations = []string{
	`CREATE TABLE entry (
	id        INTEGER PRIMARY KEY,
	kind      TEXT NOT NULL,
	key       TEXT NOT NULL,
	lot       TEXT NOT NULL,
	product   TEXT NOT NULL,
	made      TEXT NOT NULL,
	operator  TEXT NOT NULL,
	program   TEXT NOT NULL,
	source    TEXT NOT NULL,
	corrects  INTEGER NOT NULL,
	withdrawn INTEGER NOT NULL,
	reason    TEXT NOT NULL,
	sha256    TEXT NOT NULL,
	payload   BLOB NOT NULL
);
CREATE INDEX entry_key ON entry (kind, key);
CREATE TRIGGER entry_stays BEFORE UPDATE ON entry BEGIN SELECT RAISE(ABORT, 'rows of a lab book are never changed'); END;
CREATE TRIGGER entry_remains BEFORE DELETE ON entry BEGIN SELECT RAISE(ABORT, 'rows of a lab book are never deleted'); END;`,

	`CREATE INDEX entry_lot ON entry (kind, lot, product);
CREATE INDEX entry_source ON entry (source);
CREATE UNIQUE INDEX entry_corrects ON entry (corrects) WHERE corrects <> 0;`,
}

// Schema is the schema that this program writes.
var Schema = len(migrations)

// fileName is the database within the folder of a book.
const fileName = "book.db"

// originals is the folder of the files as they were added.
const originals = "originals"

// Create makes an empty book in the folder dir, which may exist if it is empty.
func Create(ctx context.Context, dir string) error {
	entries, err := os.ReadDir(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return err
	case len(entries) > 0:
		return fmt.Errorf("%s: found a folder with files in it, expected an empty or a new one; choose another folder: nothing was written", dir)
	}
	if err := os.MkdirAll(filepath.Join(dir, originals), 0o755); err != nil {
		return explain(dir, err)
	}
	db, err := connect(filepath.Join(dir, fileName), writing)
	if err != nil {
		return err
	}
	defer db.Close()
	if err := migrate(ctx, db, 0); err != nil {
		return explain(dir, err)
	}
	return syncDir(dir)
}

// CreateFilled makes a book in the folder dir, which must not exist yet, with what fill
// puts into it. It appears under its name when it is whole.
func CreateFilled(ctx context.Context, dir string, fill medium.Fill) error {
	if _, err := os.Lstat(dir); !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%s: found something of that name, expected a new folder; choose another: nothing was written", dir)
	}
	part, err := os.MkdirTemp(filepath.Dir(dir), "."+filepath.Base(dir)+"-*")
	if err != nil {
		return explain(dir, err)
	}
	defer os.RemoveAll(part) // after the rename there is nothing to remove
	if err := os.Chmod(part, 0o755); err != nil {
		return explain(dir, err)
	}
	if err := Create(ctx, part); err != nil {
		return err
	}
	if err := fillIn(ctx, part, fill); err != nil {
		return explain(dir, err)
	}
	if err := os.Rename(part, dir); err != nil {
		return explain(dir, err)
	}
	return syncDir(filepath.Dir(dir))
}

func fillIn(ctx context.Context, dir string, fill medium.Fill) (err error) {
	f, err := Open(ctx, dir)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	tx, err := f.Writer(ctx)
	if err != nil {
		return err
	}
	defer tx.Rollback() // after the commit there is nothing to roll back
	if err := fill(tx, func(sum string, data []byte) error { return f.Keep(ctx, sum, data) }); err != nil {
		return err
	}
	return tx.Commit()
}

// version reads the schema of a database, and refuses what is no lab book or newer.
func version(ctx context.Context, db *sql.DB, file string) (int, error) {
	var id, v int
	if err := db.QueryRowContext(ctx, "PRAGMA application_id").Scan(&id); err != nil {
		return 0, explain(file, err)
	}
	if err := db.QueryRowContext(ctx, "PRAGMA user_version").Scan(&v); err != nil {
		return 0, explain(file, err)
	}
	return v, medium.Judge(file, id, v, Schema)
}

// migrate brings a database from schema `from` to Schema in one transaction.
func migrate(ctx context.Context, db *sql.DB, from int) error {
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback() // after the commit there is nothing to roll back
	var now int
	if err := tx.QueryRowContext(ctx, "PRAGMA user_version").Scan(&now); err != nil {
		return err
	}
	if now != from { // somebody else was faster
		return nil
	}
	for _, step := range migrations[from:] {
		if _, err := tx.ExecContext(ctx, step); err != nil {
			return err
		}
	}
	if _, err := tx.ExecContext(ctx, fmt.Sprintf("PRAGMA user_version = %d; PRAGMA application_id = %d", Schema, medium.Application)); err != nil {
		return err
	}
	return tx.Commit()
}

// upgrade brings an older book up to date, a copy of the database first.
func upgrade(ctx context.Context, dir string, from int) error {
	db, err := connect(filepath.Join(dir, fileName), writing)
	if err != nil {
		return err
	}
	defer db.Close()
	copied := filepath.Join(dir, fmt.Sprintf("before-schema-%d.db", Schema))
	if _, err := os.Stat(copied); errors.Is(err, fs.ErrNotExist) {
		if err := snapshot(ctx, db, copied); err != nil {
			return explain(dir, err)
		}
	}
	return explain(dir, migrate(ctx, db, from))
}

// snapshot writes a whole copy of the database to path by way of a temporary file.
func snapshot(ctx context.Context, db *sql.DB, path string) error {
	part := path + ".part"
	if err := os.RemoveAll(part); err != nil {
		return err
	}
	if _, err := db.ExecContext(ctx, "VACUUM INTO ?", part); err != nil {
		return err
	}
	if err := syncFile(part); err != nil {
		return err
	}
	if err := os.Rename(part, path); err != nil {
		return err
	}
	return syncDir(filepath.Dir(path))
}
