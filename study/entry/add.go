// Package entry enters files into a lab book, and corrects what was entered.
//
//  1. Add takes files in (package intake), compares them with the book, and writes all
//     their accepted and waiting rows in one transaction, the originals first. What
//     the book has already is not written again; what differs from it is refused, for
//     a correction is said to be one.
//  2. With a reason, the rows are corrections: each stands in for an earlier one.
//  3. Withdraw takes a row out of what counts.
//
// It refuses nothing in silence: accepted + waiting + refused = rows read. A row is
// waiting when its lot, or the run that it names, is not in the book yet; it counts by
// itself as soon as that comes.
package entry

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"flourcast/dataset/intake"
	"flourcast/dataset/labbook"
	"flourcast/finding"
	"flourcast/study/book"
	"flourcast/study/job"
)

// AddRequest names the files to add to the book in Dir. DryRun writes nothing. Strict
// writes nothing if any row is refused. Method and Lot are those of curves whose file
// does not tell them. With a Reason the files' rows are corrections: each stands in
// for the current row of its name or, with Replaces, for that row.
type AddRequest struct {
	Dir         string
	Paths       []string
	DryRun      bool
	Strict      bool
	Operator    string
	Map         *book.Text
	Rules       book.Rules
	Method, Lot string
	Reason      string
	Replaces    int64
}

// Added counts what is new: lots that the book did not have, runs (curves or feature
// values) and readings; of the rest, rows.
type Added struct {
	Lots     int `json:"lots"`
	Runs     int `json:"runs"`
	Readings int `json:"readings"`
	Tests    int `json:"tests"` // rows of runs files
	Notes    int `json:"notes"` // of production
	Controls int `json:"controls"`
	Events   int `json:"events"`
}

// AddedFile is what came of one file, in rows. Known rows are those that the book
// has already; they are among the accepted.
type AddedFile struct {
	File     string `json:"file"`
	Kind     string `json:"kind"`
	SHA256   string `json:"sha256"`
	Read     int    `json:"read"`
	Accepted int    `json:"accepted"`
	Waiting  int    `json:"waiting"`
	Refused  int    `json:"refused"`
	Known    int    `json:"known"`
}

// AddResult is what `add` and `correct` print. Read = Accepted + Waiting + Refused, in
// rows of the files; a file that the book has is not read again.
type AddResult struct {
	Schema    string       `json:"schema"`
	Book      string       `json:"book"`
	DryRun    bool         `json:"dry_run"`
	Written   bool         `json:"written"` // whether the book has more rows than before
	Added     Added        `json:"added"`
	Corrected int          `json:"corrected"`
	Files     []AddedFile  `json:"files"`
	Read      int          `json:"read"`
	Accepted  int          `json:"accepted"`
	Waiting   int          `json:"waiting"`
	Refused   int          `json:"refused"`
	Known     int          `json:"known"`
	Findings  finding.List `json:"findings"`
}

// Short reports whether a row, or a whole file, was refused.
func (r *AddResult) Short() bool { return r.Refused > 0 || r.Findings.Count(finding.Refused) > 0 }

// Add takes the files in and writes their accepted and waiting rows in one
// transaction: all of them are in the book when it returns without an error, or none.
// It returns *job.NothingUsableError when no row of any file can be used.
func Add(ctx context.Context, env job.Env, q AddRequest) (*AddResult, error) {
	b, err := book.Open(ctx, q.Dir)
	if err != nil {
		return nil, err
	}
	defer b.Close()
	a := &adder{env: env, q: q, res: &AddResult{Schema: "flourcast.add/1", Book: labbook.Shown(q.Dir), DryRun: q.DryRun, Files: []AddedFile{}}}
	if q.Reason != "" {
		a.res.Schema = "flourcast.correct/1"
	}
	progress := env.Report()
	progress.Start("taking files in", len(q.Paths))
	defer progress.Done()
	for _, path := range q.Paths {
		if err := a.read(ctx, b, path); err != nil {
			return nil, err
		}
		progress.Step(1)
	}
	if q.DryRun {
		err = b.Store.Read(ctx, func(v *labbook.View) error { return a.decide(v) })
	} else {
		err = a.write(ctx, b)
	}
	if err != nil {
		return nil, err
	}
	if a.res.Short() && a.res.Accepted+a.res.Waiting == 0 {
		return nil, &job.NothingUsableError{What: "no row that the book can take", Findings: a.res.Findings}
	}
	return a.res, nil
}

// adder takes the files of one call in.
type adder struct {
	env   job.Env
	q     AddRequest
	res   *AddResult
	files []taken
}

// taken is one file, read; rows are what of it is to be written.
type taken struct {
	intake.Taken
	settings book.Settings
	data     []byte
	sum      string
	rows     []labbook.Row
}

// read reads one file; one that the book has, read in the same way, is left.
func (a *adder) read(ctx context.Context, b *book.Book, path string) error {
	data, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	f := taken{settings: book.Settings{File: filepath.Base(path), Map: a.q.Map, Rules: a.q.Rules, Method: a.q.Method, Lot: a.q.Lot}, data: data, sum: sum(data)}
	if f.Taken, err = f.settings.Take(ctx, a.env.Cores, data); err != nil {
		return err
	}
	f.settings.Kind = f.Kind
	a.files = append(a.files, f)
	return nil
}

// decide says what of the files is to be written into the book as it stands.
func (a *adder) decide(v *labbook.View) error {
	a.res.Files, a.res.Added, a.res.Corrected, a.res.Findings = []AddedFile{}, Added{}, 0, nil
	a.res.Read, a.res.Accepted, a.res.Waiting, a.res.Refused, a.res.Known = 0, 0, 0, 0, 0
	j := &judge{v: v, q: a.q, res: a.res, lots: map[string]bool{}, tests: map[string]string{}, entered: map[labbook.Kind]map[string]intake.Unit{}}
	outcomes := make([][]verdict, len(a.files))
	for i := range a.files {
		var err error
		if outcomes[i], err = j.units(&a.files[i]); err != nil {
			return err
		}
	}
	for i := range a.files { // when all lots and tests of the call are known
		if err := a.settle(j, &a.files[i], outcomes[i]); err != nil {
			return err
		}
	}
	return nil
}

// settle counts what became of a file's rows, and makes the book's rows of them.
func (a *adder) settle(j *judge, f *taken, outcomes []verdict) error {
	line := AddedFile{File: f.settings.File, Kind: string(f.Kind), SHA256: f.sum, Read: f.Read, Refused: f.Refused}
	a.res.Findings = append(a.res.Findings, f.Findings...)
	f.rows = nil
	waits := map[string]int{}
	var order []string
	for i, u := range f.Units {
		n := len(u.Rows)
		o := outcomes[i]
		if o.finding != nil {
			a.res.Findings.Add(*o.finding)
		}
		switch {
		case o.fate == refused:
			line.Refused += n
			continue
		case o.fate == known:
			line.Known += n
			line.Accepted += n
			continue
		}
		lot, missing, err := j.waitsFor(u)
		if err != nil {
			return err
		}
		if missing == "" {
			line.Accepted += n
		} else {
			line.Waiting += n
			if waits[missing] == 0 {
				order = append(order, missing)
			}
			waits[missing] += n
		}
		if err := a.row(f, u, lot, o); err != nil {
			return err
		}
	}
	if line.Known > 0 && line.Known+line.Refused == line.Read {
		a.res.Findings.Add(finding.Finding{Code: "file-known", Severity: finding.Note, At: finding.Place{File: line.File}, Found: "every row that can be used is in the book already: nothing was added"})
	}
	for _, missing := range order {
		a.res.Findings.Add(finding.Finding{Code: "row-waits", Severity: finding.Doubt, At: finding.Place{File: line.File}, Found: fmt.Sprintf("%s, which the book does not have; %d rows wait", missing, waits[missing]),
			Want: "a lot or run of the book", Do: "add the file that has it; if the name is misspelt, correct it"})
	}
	a.res.Files = append(a.res.Files, line)
	a.res.Read += line.Read
	a.res.Accepted += line.Accepted
	a.res.Waiting += line.Waiting
	a.res.Refused += line.Refused
	a.res.Known += line.Known
	return nil
}

// row makes the book's row of a unit, and counts it.
func (a *adder) row(f *taken, u intake.Unit, lot string, o verdict) error {
	payload, err := json.Marshal(u)
	if err != nil {
		return err
	}
	r := book.Row(a.env, book.KindOf(u.Kind), a.q.Operator)
	r.Key, r.Lot, r.Product, r.Source, r.Payload, r.Corrects = u.Key, lot, u.Product, f.sum, payload, o.corrects
	if r.Corrects != 0 {
		r.Reason = a.q.Reason
		a.res.Corrected++
		f.rows = append(f.rows, r)
		return nil
	}
	switch r.Kind {
	case labbook.Lot:
		if o.newLot {
			a.res.Added.Lots++
		}
	case labbook.Run:
		a.res.Added.Runs++
	case labbook.Reading:
		a.res.Added.Readings++
	case labbook.Test:
		a.res.Added.Tests++
	case labbook.Note:
		a.res.Added.Notes++
	case labbook.Control:
		a.res.Added.Controls++
	case labbook.Event:
		a.res.Added.Events++
	}
	f.rows = append(f.rows, r)
	return nil
}

// write decides and writes in one transaction.
func (a *adder) write(ctx context.Context, b *book.Book) error {
	written := false
	err := b.Store.Write(ctx, func(tx *labbook.Tx) error {
		written = false
		var readings []labbook.Row
		if err := a.decide(&tx.View); err != nil {
			return err
		}
		if a.q.Strict && a.res.Short() {
			return errStop
		}
		for _, f := range a.files {
			if len(f.rows) == 0 {
				continue
			}
			kept, err := a.writeFile(ctx, b, tx, f)
			if err != nil {
				return err
			}
			readings = append(readings, kept...)
			written = true
		}
		if !written {
			return nil
		}
		if err := book.KeepAnswers(tx, a.env, readings, a.q.Operator); err != nil {
			return err
		}
		return book.KeepRules(tx, a.env, a.q.Rules, a.q.Operator)
	})
	if errors.Is(err, errStop) {
		a.res.Added, a.res.Corrected = Added{}, 0
		return nil
	}
	a.res.Written = written && err == nil
	return err
}

// writeFile writes the rows of a file behind its original, and returns the readings.
func (a *adder) writeFile(ctx context.Context, b *book.Book, tx *labbook.Tx, f taken) (readings []labbook.Row, err error) {
	if _, err := b.Store.Keep(ctx, f.data); err != nil {
		return nil, err
	}
	payload, err := json.Marshal(f.settings)
	if err != nil {
		return nil, err
	}
	original := book.Row(a.env, labbook.Original, a.q.Operator)
	original.Key, original.Source, original.Payload = f.settings.File, f.sum, payload
	if _, err := tx.Add(original); err != nil {
		return nil, err
	}
	for _, r := range f.rows {
		kept, err := tx.Add(r)
		if err != nil {
			return nil, err
		}
		if kept.Kind == labbook.Reading {
			readings = append(readings, kept)
		}
	}
	return readings, nil
}

// errStop rolls a transaction back without being an error of the job.
var errStop = errors.New("not to be written")
