// Package server keeps a lab book in a PostgreSQL database, for laboratories that
// share lots and models.
//
//  1. Create makes the book's tables in the first schema of the connection's search
//     path, in one transaction; Open opens it, and brings older tables up to date in
//     one transaction, a copy of the rows first.
//  2. Writers hold one advisory lock until their transaction ends, so that the chain
//     of hashes has one end; the primary key refuses whoever would go past it.
//  3. Readers see one moment (repeatable read, read only) and wait for nobody.
//  4. Originals are kept in the database, as bytea, by their SHA-256: a backup of the
//     database has all of the book.
//  5. Triggers refuse UPDATE, DELETE and TRUNCATE.
//
// It refuses a database without a book, another program's tables, newer tables, and a
// database that is not in UTF-8. Passwords are never shown.
package server

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"strings"
	"time"

	"flourcast/dataset/labbook/medium"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/stdlib"
)

// Is reports whether a place is a connection string.
func Is(place string) bool {
	return strings.HasPrefix(place, "postgres://") || strings.HasPrefix(place, "postgresql://")
}

// Shown is a connection string without passwords.
func Shown(place string) string {
	u, err := url.Parse(place)
	if err != nil {
		return "postgres://…"
	}
	if u.User != nil {
		u.User = url.User(u.User.Username())
	}
	q := u.Query()
	q.Del("password")
	q.Del("sslpassword")
	u.RawQuery = q.Encode()
	return u.String()
}

// Server is an open book. It may be used by several goroutines.
type Server struct {
	name  string
	read  *sql.DB // of readers, and of originals
	write *sql.DB // one connection: writers of one program wait here
}

var _ medium.Medium = (*Server)(nil)

// patience is how long we wait for a server to answer the door.
const patience = 15 * time.Second

func connect(place string) (*Server, error) {
	cfg, err := pgx.ParseConfig(place)
	if err != nil {
		return nil, fmt.Errorf("%s: found a connection string that cannot be read, expected one such as postgres://user@host/database (%w)", Shown(place), err)
	}
	if cfg.ConnectTimeout == 0 {
		cfg.ConnectTimeout = patience
	}
	if cfg.RuntimeParams["application_name"] == "" {
		cfg.RuntimeParams["application_name"] = "flourcast"
	}
	s := &Server{name: Shown(place), read: stdlib.OpenDB(*cfg), write: stdlib.OpenDB(*cfg)}
	s.write.SetMaxOpenConns(1)
	return s, nil
}

// Open opens the book in the database of a connection string.
func Open(ctx context.Context, place string) (*Server, error) {
	s, err := connect(place)
	if err != nil {
		return nil, err
	}
	v, err := s.version(ctx, s.read)
	if err == nil && v < Schema {
		err = s.upgrade(ctx)
	}
	if err != nil {
		return nil, errors.Join(s.Explain(err), s.Close())
	}
	return s, nil
}

// Name is the connection string without passwords.
func (s *Server) Name() string { return s.name }

// Close ends the connections.
func (s *Server) Close() error { return errors.Join(s.read.Close(), s.write.Close()) }

// Reader begins a transaction that sees one moment.
func (s *Server) Reader(ctx context.Context) (*sql.Tx, error) {
	return s.read.BeginTx(ctx, &sql.TxOptions{Isolation: sql.LevelRepeatableRead, ReadOnly: true})
}

// Writer begins a transaction behind the lock of writers. Read committed, so that
// what the one before committed is seen once the lock is ours; and a commit waits for
// the disk, whatever the server's default.
func (s *Server) Writer(ctx context.Context) (*sql.Tx, error) {
	tx, err := s.write.BeginTx(ctx, &sql.TxOptions{Isolation: sql.LevelReadCommitted})
	if err != nil {
		return nil, err
	}
	if err := lock(ctx, tx); err != nil {
		return nil, errors.Join(err, tx.Rollback())
	}
	return tx, nil
}

// lock takes the lock of writers on the book in the first schema of the search path.
func lock(ctx context.Context, tx *sql.Tx) error {
	_, err := tx.ExecContext(ctx, fmt.Sprintf(`SET LOCAL lock_timeout = '%ds';
SELECT set_config('synchronous_commit', 'on', true) WHERE current_setting('synchronous_commit') = 'off';
SELECT pg_advisory_xact_lock(%d, hashtext(current_schema()))`, medium.Patience, medium.Application))
	return err
}

// Keep keeps an original in the database.
func (s *Server) Keep(ctx context.Context, sum string, data []byte) error {
	return keep(ctx, s.read, sum, data)
}

// execer is a database or a transaction.
type execer interface {
	ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error)
}

func keep(ctx context.Context, to execer, sum string, data []byte) error {
	if data == nil {
		data = []byte{}
	}
	_, err := to.ExecContext(ctx, "INSERT INTO original (sha256, data) VALUES ($1, $2) ON CONFLICT DO NOTHING", sum, data)
	return err
}

// Original is what Keep kept.
func (s *Server) Original(ctx context.Context, sum string) (data []byte, err error) {
	err = s.read.QueryRowContext(ctx, "SELECT data FROM original WHERE sha256 = $1", sum).Scan(&data)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, fmt.Errorf("originals: found none with SHA-256 %s, expected the file as it was added; restore a backup", sum)
	}
	return data, err
}

// Sound has nothing to ask: a server checks its pages when it reads them, if its
// cluster was made with checksums.
func (s *Server) Sound(context.Context, *sql.Tx) (string, error) { return "", nil }

// Explain says in the words of the trade what the server could not do.
func (s *Server) Explain(err error) error { return explain(s.name, err) }

func explain(where string, err error) error {
	var refused *pgconn.PgError
	var unreached *pgconn.ConnectError
	what := ""
	switch {
	case errors.As(err, &refused):
		what = reason(refused.Code)
	case errors.As(err, &unreached):
		what = "the server cannot be reached; check the address, and that it runs: nothing was written"
	case err != nil && pgconn.SafeToRetry(err):
		what = "the connection was lost: nothing was written; try again"
	case err != nil && (strings.Contains(err.Error(), "conn closed") || strings.Contains(err.Error(), "unexpected EOF") || strings.Contains(err.Error(), "connection reset") || strings.Contains(err.Error(), "broken pipe")):
		what = "the connection was lost; see with 'flourcast log' whether the last rows are there: to add a file again does no harm"
	default:
		return err
	}
	return fmt.Errorf("%s: %s (%w)", where, what, err)
}

// reason is what an SQLSTATE code means for whoever keeps the book.
func reason(code string) string {
	switch code {
	case "55P03":
		return fmt.Sprintf("another program has been writing for %d s: nothing was written; try again", medium.Patience)
	case "53100":
		return "the server's disk is full: nothing was written; make room and try again"
	case "42501":
		return "the user may not do this; ask whoever keeps the database: nothing was written"
	case "25006":
		return "the server can only be read: nothing was written"
	case "3D000":
		return "the server has no such database; make it first (createdb), or check the name"
	case "28000", "28P01":
		return "the server refuses the user or the password"
	case "57P01", "57P02", "57P03":
		return "the server is stopping or starting: nothing of this was written; try again"
	case "23505":
		return "another program wrote past the lock of the book: nothing was written; run 'flourcast verify'"
	}
	return "the database could not do it: nothing was written"
}
