package server

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"flourcast/dataset/labbook/medium"
)

// migrations bring a book from schema i to schema i+1, under the numbers of the
// folder's schemas. They are never changed once released: a new need is a new line.
var migrations = []string{
	`CREATE TABLE labbook (application INTEGER NOT NULL, schema INTEGER NOT NULL);
CREATE TABLE original (sha256 TEXT COLLATE "C" PRIMARY KEY, data BYTEA NOT NULL);
CREATE TABLE entry (
	id        BIGINT PRIMARY KEY,
	kind      TEXT COLLATE "C" NOT NULL,
	key       TEXT COLLATE "C" NOT NULL,
	lot       TEXT COLLATE "C" NOT NULL,
	product   TEXT COLLATE "C" NOT NULL,
	made      TEXT NOT NULL,
	operator  TEXT NOT NULL,
	program   TEXT NOT NULL,
	source    TEXT COLLATE "C" NOT NULL,
	corrects  BIGINT NOT NULL,
	withdrawn BOOLEAN NOT NULL,
	reason    TEXT NOT NULL,
	sha256    TEXT NOT NULL,
	payload   BYTEA NOT NULL
);
CREATE INDEX entry_key ON entry (kind, key);
CREATE FUNCTION labbook_refuses() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'rows of a lab book are never changed or deleted'; END $$;
CREATE TRIGGER entry_stays BEFORE UPDATE OR DELETE OR TRUNCATE ON entry FOR EACH STATEMENT EXECUTE FUNCTION labbook_refuses();
CREATE TRIGGER original_stays BEFORE UPDATE OR DELETE OR TRUNCATE ON original FOR EACH STATEMENT EXECUTE FUNCTION labbook_refuses();`,

	`CREATE INDEX entry_lot ON entry (kind, lot, product);
CREATE INDEX entry_source ON entry (source);
CREATE UNIQUE INDEX entry_corrects ON entry (corrects) WHERE corrects <> 0;`,
}

// Schema is the schema that this program writes.
var Schema = len(migrations)

// Create makes a book in the database of a connection string, and fills it unless
// fill is nil, in one transaction. The database has no book yet.
func Create(ctx context.Context, place string, fill medium.Fill) (err error) {
	s, err := connect(place)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(s.Explain(err), s.Close()) }()
	tx, err := s.Writer(ctx)
	if err != nil {
		return err
	}
	defer tx.Rollback() // after the commit there is nothing to roll back
	var encoding string
	var taken bool
	if err := tx.QueryRowContext(ctx, "SELECT current_setting('server_encoding'), to_regclass('labbook') IS NOT NULL OR to_regclass('entry') IS NOT NULL OR to_regclass('original') IS NOT NULL").Scan(&encoding, &taken); err != nil {
		return err
	}
	switch {
	case taken:
		return fmt.Errorf("%s: found a lab book, or tables of its names, expected a database without; choose another database, or another schema by search_path: nothing was written", s.name)
	case encoding != "UTF8":
		return fmt.Errorf("%s: found a database in %s, expected one in UTF8; make it with: createdb --encoding UTF8", s.name, encoding)
	}
	if err := migrate(ctx, tx, 0); err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, "INSERT INTO labbook (application, schema) VALUES ($1, $2)", medium.Application, Schema); err != nil {
		return err
	}
	if fill != nil {
		if err := fill(tx, func(sum string, data []byte) error { return keep(ctx, tx, sum, data) }); err != nil {
			return err
		}
	}
	return tx.Commit()
}

func migrate(ctx context.Context, tx *sql.Tx, from int) error {
	for _, step := range migrations[from:] {
		if _, err := tx.ExecContext(ctx, step); err != nil {
			return err
		}
	}
	return nil
}

// queryer is a database or a transaction.
type queryer interface {
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// version reads the schema of the book, and refuses what is no lab book or newer.
func (s *Server) version(ctx context.Context, q queryer) (v int, err error) {
	var there bool
	if err := q.QueryRowContext(ctx, "SELECT to_regclass('labbook') IS NOT NULL").Scan(&there); err != nil {
		return 0, err
	}
	if !there {
		return 0, &medium.NoBookError{Place: s.name}
	}
	var application int
	if err := q.QueryRowContext(ctx, "SELECT application, schema FROM labbook").Scan(&application, &v); err != nil {
		return 0, err
	}
	return v, medium.Judge(s.name, application, v, Schema)
}

// upgrade brings older tables up to date in one transaction, which copies the rows
// beside them first.
func (s *Server) upgrade(ctx context.Context) error {
	tx, err := s.Writer(ctx)
	if err != nil {
		return err
	}
	defer tx.Rollback() // after the commit there is nothing to roll back
	from, err := s.version(ctx, tx)
	if err != nil || from == Schema { // somebody else was faster
		return err
	}
	if _, err := tx.ExecContext(ctx, fmt.Sprintf("CREATE TABLE entry_before_schema_%d AS TABLE entry", Schema)); err != nil {
		return err
	}
	if err := migrate(ctx, tx, from); err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, "UPDATE labbook SET schema = $1", Schema); err != nil {
		return err
	}
	return tx.Commit()
}
