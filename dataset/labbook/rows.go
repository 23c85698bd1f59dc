package labbook

import (
	"cmp"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"iter"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// View is the book at one moment.
type View struct {
	ctx  context.Context
	tx   *sql.Tx
	rows bool // a loop over Rows runs
}

// free panics within a loop over rows: a connection answers one question after the
// other.
func (v *View) free() {
	if v.rows {
		panic("labbook: a question to the book within a loop over its rows; collect the rows first (All)")
	}
}

// Tx is a View that rows can be added to.
type Tx struct {
	View
	insert *sql.Stmt
	last   int64  // ID of the last row, once known
	hash   string // its hash
	known  bool
}

const columns = "id, kind, key, lot, product, made, operator, program, source, corrects, withdrawn, reason, sha256"

// Rows yields the rows that the filter chooses, in the order of writing. After an
// error it ends. The view takes no other question until the loop has ended; it panics.
func (v *View) Rows(f Filter) iter.Seq2[Row, error] {
	return func(yield func(Row, error) bool) {
		v.free()
		query, args := f.query()
		found, err := v.tx.QueryContext(v.ctx, query, args...)
		if err != nil {
			yield(Row{}, err)
			return
		}
		v.rows = true
		defer func() { v.rows = false; found.Close() }()
		for found.Next() {
			var r Row
			var made string
			into := []any{&r.ID, &r.Kind, &r.Key, &r.Lot, &r.Product, &made, &r.Operator, &r.Program, &r.Source, &r.Corrects, &r.Withdrawn, &r.Reason, &r.SHA256}
			if !f.Bare {
				into = append(into, &r.Payload)
			}
			err := found.Scan(into...)
			if err == nil {
				r.Made, err = time.Parse(time.RFC3339, made)
			}
			if !yield(r, err) || err != nil {
				return
			}
		}
		if err := found.Err(); err != nil {
			yield(Row{}, err)
		}
	}
}

// All is Rows as a slice.
func (v *View) All(f Filter) ([]Row, error) {
	var out []Row
	for r, err := range v.Rows(f) {
		if err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	return out, nil
}

// First is the first row that the filter chooses; without one the error is ErrNoRow.
func (v *View) First(f Filter) (Row, error) {
	for r, err := range v.Rows(f) {
		return r, err
	}
	return Row{}, ErrNoRow
}

// Has reports whether the filter chooses any row.
func (v *View) Has(f Filter) (bool, error) {
	f.Bare = true
	_, err := v.First(f)
	if errors.Is(err, ErrNoRow) {
		return false, nil
	}
	return err == nil, err
}

// query is the SQL of a filter. The rows that others correct are few, so they are
// listed once.
func (f Filter) query() (string, []any) {
	var where []string
	var args []any
	in := func(column string, n int, value func(i int) any) {
		if n == 0 {
			return
		}
		var list []string
		for i := range n {
			args = append(args, value(i))
			list = append(list, fmt.Sprintf("$%d", len(args)))
		}
		where = append(where, column+" IN ("+strings.Join(list, ",")+")")
	}
	in("kind", len(f.Kinds), func(i int) any { return string(f.Kinds[i]) })
	in("key", len(f.Keys), func(i int) any { return f.Keys[i] })
	in("lot", len(f.Lots), func(i int) any { return f.Lots[i] })
	in("id", len(f.IDs), func(i int) any { return f.IDs[i] })
	if f.Product != "" {
		in("product", 1, func(int) any { return f.Product })
	}
	if f.Source != "" {
		in("source", 1, func(int) any { return f.Source })
	}
	if !f.Superseded {
		where = append(where, "NOT withdrawn", "id NOT IN (SELECT corrects FROM entry WHERE corrects <> 0)")
	}
	query := "SELECT " + columns
	if !f.Bare {
		query += ", payload"
	}
	query += " FROM entry"
	if len(where) > 0 {
		query += " WHERE " + strings.Join(where, " AND ")
	}
	if f.Limit > 0 {
		return fmt.Sprintf("SELECT * FROM (%s ORDER BY id DESC LIMIT %d) AS latest ORDER BY id", query, f.Limit), args
	}
	return query + " ORDER BY id", args
}

// Tally is how many current rows of one kind a lot and product have.
type Tally struct {
	Kind         Kind
	Lot, Product string
	Rows         int
}

// Tallies counts the current rows of the kinds by lot and product, in the order of
// kind (as named), lot and product. It reads an index only, and a kind comes in one
// text, which takes half as long as handing over 100,000 rows one by one.
func (v *View) Tallies(kinds ...Kind) ([]Tally, error) {
	v.free()
	const query = `SELECT string_agg(line, $1) FROM (
	SELECT replace(lot || $2 || product, $1, ' ') || $2 || CAST(count(*) AS TEXT) AS line FROM entry
	WHERE kind = $3 AND id NOT IN (SELECT corrects FROM entry WHERE corrects <> 0 UNION ALL SELECT id FROM entry WHERE corrects <> 0 AND withdrawn)
	GROUP BY lot, product ORDER BY lot, product) AS lines`
	var out []Tally
	for _, kind := range kinds {
		var text sql.NullString
		if err := v.tx.QueryRowContext(v.ctx, query, "\x1e", "\x1f", string(kind)).Scan(&text); err != nil {
			return nil, err
		}
		if !text.Valid {
			continue
		}
		first := len(out)
		out = slices.Grow(out, 1+strings.Count(text.String, "\x1e"))
		for line := range strings.SplitSeq(text.String, "\x1e") {
			at := strings.LastIndexByte(line, '\x1f')
			rows, err := strconv.Atoi(line[at+1:])
			if err != nil {
				return nil, err
			}
			lot, product, _ := strings.Cut(line[:at], "\x1f")
			out = append(out, Tally{kind, lot, product, rows})
		}
		less := func(a, b Tally) int {
			return cmp.Or(strings.Compare(a.Lot, b.Lot), strings.Compare(a.Product, b.Product))
		}
		if part := out[first:]; !slices.IsSortedFunc(part, less) {
			slices.SortFunc(part, less)
		}
	}
	return out, nil
}

// Add writes a row behind the last one and returns it with its ID and hash. ID and
// SHA256 of r do not count; Made is kept in UTC and whole seconds. A row that
// corrects one that is not there is refused with ErrNoRow, one that corrects a
// corrected row with a *CorrectedError.
func (t *Tx) Add(r Row) (Row, error) {
	t.free()
	if err := r.plain(); err != nil {
		return Row{}, err
	}
	if !t.known {
		err := t.tx.QueryRowContext(t.ctx, "SELECT id, sha256 FROM entry ORDER BY id DESC LIMIT 1").Scan(&t.last, &t.hash)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return Row{}, err
		}
		t.known = true
	}
	if r.Corrects != 0 {
		if err := t.correctable(r.Corrects); err != nil {
			return Row{}, err
		}
	}
	if t.insert == nil {
		var err error
		if t.insert, err = t.tx.PrepareContext(t.ctx, "INSERT INTO entry ("+columns+", payload) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14)"); err != nil {
			return Row{}, err
		}
	}
	r.ID, r.Made = t.last+1, r.Made.UTC().Truncate(time.Second)
	if r.Payload == nil {
		r.Payload = []byte{}
	}
	r.SHA256 = r.digest(t.hash)
	_, err := t.insert.ExecContext(t.ctx, r.ID, string(r.Kind), r.Key, r.Lot, r.Product, r.Made.Format(time.RFC3339), r.Operator, r.Program, r.Source, r.Corrects, r.Withdrawn, r.Reason, r.SHA256, r.Payload)
	if err != nil {
		return Row{}, err
	}
	t.last, t.hash = r.ID, r.SHA256
	return r, nil
}

// plain refuses words that a database may not keep as they are.
func (r Row) plain() error {
	for _, s := range []string{string(r.Kind), r.Key, r.Lot, r.Product, r.Operator, r.Program, r.Source, r.Reason} {
		if !utf8.ValidString(s) || strings.IndexByte(s, 0) >= 0 {
			return fmt.Errorf("%s %q: found bytes that are no text (UTF-8 without zero bytes), expected text; correct the word: nothing was written", r.Kind, s)
		}
	}
	return nil
}

func (t *Tx) correctable(id int64) error {
	var by int64
	err := t.tx.QueryRowContext(t.ctx, "SELECT id FROM entry WHERE corrects = $1 AND corrects <> 0", id).Scan(&by)
	if err == nil {
		return &CorrectedError{id, by}
	}
	if !errors.Is(err, sql.ErrNoRows) {
		return err
	}
	var n int
	if err := t.tx.QueryRowContext(t.ctx, "SELECT count(*) FROM entry WHERE id = $1", id).Scan(&n); err != nil {
		return err
	}
	if n == 0 {
		return fmt.Errorf("row %d: %w", id, ErrNoRow)
	}
	return nil
}

// digest is the SHA-256 over the hash of the row before and all fields of this one,
// each behind its length, so that no two rows can be read the same.
func (r Row) digest(before string) string {
	h := sha256.New()
	var n [8]byte
	put := func(b []byte) {
		binary.BigEndian.PutUint64(n[:], uint64(len(b)))
		h.Write(n[:])
		h.Write(b)
	}
	for _, s := range []string{before, fmt.Sprint(r.ID), string(r.Kind), r.Key, r.Lot, r.Product, r.Made.Format(time.RFC3339), r.Operator, r.Program, r.Source,
		fmt.Sprint(r.Corrects), fmt.Sprint(r.Withdrawn), r.Reason} {
		put([]byte(s))
	}
	put(r.Payload)
	return hex.EncodeToString(h.Sum(nil))
}
