// Package medium says what a lab book's store asks of the place that keeps its rows
// and originals: a folder, or a database server.
//
//  1. A Medium hands out transactions on one table, entry, in SQL that both databases
//     understand: parameters are $1, $2 …; withdrawn is true or false.
//  2. A writer's transaction is entered by no other writer until it ends; a reader's
//     sees one moment and waits for nobody.
//  3. It keeps originals by their SHA-256, and never loses what it said it has.
//
// It refuses nothing itself: it has the words in which media refuse a place without a
// book, with another program's database, or with a newer schema.
package medium

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"fmt"
)

// Application marks a database as a lab book ("flou" in ASCII).
const Application = 0x666c6f75

// Patience is how long a writer waits for another, in seconds.
const Patience = 60

// Medium is where a book is kept. It may be used by several goroutines.
type Medium interface {
	// Name is the place as it may be shown: without a password.
	Name() string
	// Reader begins a transaction that sees one moment, and waits for nobody.
	Reader(ctx context.Context) (*sql.Tx, error)
	// Writer begins a transaction that no other writer enters until it ends. What it
	// commits is on disk when Commit returns.
	Writer(ctx context.Context) (*sql.Tx, error)
	// Keep keeps an original under its SHA-256, whole or not at all.
	Keep(ctx context.Context, sum string, data []byte) error
	// Original is what Keep kept. Its content is not compared with sum.
	Original(ctx context.Context, sum string) ([]byte, error)
	// Sound asks the database to check itself, and returns what it complains of: ""
	// for nothing, or when it has no such check.
	Sound(ctx context.Context, tx *sql.Tx) (complaint string, err error)
	// Explain says in the words of the trade what the database could not do.
	Explain(err error) error
	Close() error
}

// Fill puts rows and originals into a book that is being made: through tx and keep
// only. With an error, no book is made.
type Fill func(tx *sql.Tx, keep func(sum string, data []byte) error) error

// Sum is the name of an original: the SHA-256 of data in hexadecimal.
func Sum(data []byte) string {
	h := sha256.Sum256(data)
	return hex.EncodeToString(h[:])
}

// NoBookError says that there is no lab book in a place.
type NoBookError struct{ Place string }

func (e *NoBookError) Error() string {
	return fmt.Sprintf("%s: found no lab book, expected a folder or database that 'flourcast init' made; check the path, or make one", e.Place)
}

// SchemaError says that a book was written by a newer program, or is no lab book.
type SchemaError struct {
	Place        string
	Found, Known int
	Foreign      bool
}

func (e *SchemaError) Error() string {
	if e.Foreign {
		return e.Place + ": found the database of another program, expected a lab book; name the folder or database that 'flourcast init' made"
	}
	return fmt.Sprintf("%s: found schema %d, expected at most %d; use the version of flourcast that wrote it, or a newer one", e.Place, e.Found, e.Known)
}

// Judge refuses a database that is no lab book, or one of a newer schema than known.
func Judge(place string, application, found, known int) error {
	switch {
	case application != Application || found < 1:
		return &SchemaError{Place: place, Foreign: true}
	case found > known:
		return &SchemaError{Place: place, Found: found, Known: known}
	}
	return nil
}
