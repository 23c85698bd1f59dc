// Package labbook is the store of a laboratory's own record: what was measured,
// modelled, forecast and decided, in the order in which it was written down.
//
//  1. Create makes a book; Open opens it. A place is a folder of this machine (package
//     folder), or the connection string of a database that several machines share
//     (package server).
//  2. Write runs one function in one transaction that no other writer enters: all
//     of its rows are there afterwards, or none. Writers wait for each other;
//     readers never do.
//  3. Rows are only ever added. A correction is a row that names the one it stands
//     in for, with the reason; what is corrected stays readable.
//  4. Every row has the time, the operator's name as typed, the program's version,
//     the SHA-256 of what it came from, and a hash over all of that, its payload
//     and the hash of the row before: Check recomputes the chain.
//  5. Keep keeps a file under its SHA-256, before the rows that come from it are
//     committed.
//  6. Backup and Restore copy a book row by row, from either kind of place to either,
//     and compare every hash.
//
// It refuses what its places refuse (no book, a database of another program, a newer
// schema), a row whose words no database could keep, and a second correction of one
// row. It does not know what is inside a payload.
package labbook

import (
	"errors"
	"fmt"
	"time"

	"flourcast/dataset/labbook/medium"
)

// Kind says what a row is.
type Kind string

// The kinds of row. An Original is a file as it was added, a Test is a line of the
// runs file, a Run is a curve or the feature values of one, a Reading is a texture
// or bake result, a Note says how a lot ran in production, a Method, a Protocol
// and a BakeMethod are the laboratory's own for pasting, texture and cakes, an Outcome names the readings that answer a forecast,
// and a Purpose says why noodles (or cakes) were made from a lot.
const (
	Original    Kind = "original"
	Lot         Kind = "lot"
	Test        Kind = "test"
	Run         Kind = "run"
	Reading     Kind = "reading"
	Note        Kind = "note"
	Control     Kind = "control"
	Event       Kind = "event"
	Method      Kind = "method"
	Protocol    Kind = "protocol"
	BakeMethod  Kind = "bake-method"
	Model       Kind = "model"
	Forecast    Kind = "forecast"
	Outcome     Kind = "outcome"
	Spec        Kind = "spec"
	Disposition Kind = "disposition"
	Purpose     Kind = "purpose"
)

// Row is one row of the book. ID counts from 1 in the order of writing. Key names
// what the row is about within its kind; Lot and Product are empty where a row is of
// none. Source is the SHA-256, in hexadecimal, of what the row came from: a file,
// a model. Corrects is the row that this one stands in for, 0 for none; a Withdrawn
// row stands in for it without saying anything else.
type Row struct {
	ID        int64
	Kind      Kind
	Key       string
	Lot       string
	Product   string
	Made      time.Time
	Operator  string
	Program   string
	Source    string
	Corrects  int64
	Withdrawn bool
	Reason    string
	Payload   []byte
	SHA256    string // of all of the above and the SHA256 of the row before
}

// Filter chooses rows: all fields that are not empty hold. Without Superseded only
// current rows are chosen: those that no other row corrects, withdrawals left out.
// Bare leaves payloads out. Limit takes the last so many rows, 0 all.
type Filter struct {
	Kinds      []Kind
	Keys       []string
	Lots       []string
	Product    string
	Source     string
	IDs        []int64
	Superseded bool
	Bare       bool
	Limit      int
}

// NoBookError says that there is no lab book in a place, SchemaError that a book was
// written by a newer program, or is no lab book.
type (
	NoBookError = medium.NoBookError
	SchemaError = medium.SchemaError
)

// CorrectedError says that a row was corrected before.
type CorrectedError struct{ ID, By int64 }

func (e *CorrectedError) Error() string {
	return fmt.Sprintf("row %d was corrected by row %d before; correct row %d", e.ID, e.By, e.By)
}

// ErrNoRow says that a row is not there.
var ErrNoRow = errors.New("no such row in the lab book")
