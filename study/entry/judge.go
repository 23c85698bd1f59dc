package entry

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"

	"flourcast/dataset/intake"
	"flourcast/dataset/labbook"
	"flourcast/finding"
	"flourcast/study/book"
	"flourcast/study/job"
)

// fate is what becomes of a unit.
type fate int

const (
	fresh fate = iota
	known      // the book says the same already
	refused
)

// verdict is what a judge says of one unit.
type verdict struct {
	fate     fate
	corrects int64
	newLot   bool
	finding  *finding.Finding
}

// judge compares units with the book, and with those before them in the call.
type judge struct {
	v       *labbook.View
	q       AddRequest
	res     *AddResult
	lots    map[string]bool   // of the book or of this call
	tests   map[string]string // run → lot, of this call
	entered map[labbook.Kind]map[string]intake.Unit
	anyTest *bool
}

// units judges the units of one file.
func (j *judge) units(f *taken) ([]verdict, error) {
	out := make([]verdict, len(f.Units))
	const batch = 500
	for start := 0; start < len(f.Units); start += batch {
		part := f.Units[start:min(start+batch, len(f.Units))]
		rows, err := j.rows(part)
		if err != nil {
			return nil, err
		}
		for i, u := range part {
			if out[start+i], err = j.unit(f, u, rows[u.Key]); err != nil {
				return nil, err
			}
		}
	}
	return out, nil
}

// rows are the current rows of the units' keys.
func (j *judge) rows(units []intake.Unit) (map[string]*labbook.Row, error) {
	f := labbook.Filter{Kinds: []labbook.Kind{book.KindOf(units[0].Kind)}}
	for _, u := range units {
		f.Keys = append(f.Keys, u.Key)
	}
	found, err := j.v.All(f)
	if err != nil {
		return nil, err
	}
	out := map[string]*labbook.Row{}
	for i := range found {
		out[found[i].Key] = &found[i]
	}
	return out, nil
}

// unit judges one unit against the row of its name, if there is one.
func (j *judge) unit(f *taken, u intake.Unit, row *labbook.Row) (verdict, error) {
	kind := book.KindOf(u.Kind)
	at := finding.Place{File: u.File, Row: u.Rows[0]}
	if before, twice := j.entered[kind][u.Key]; twice {
		if before.Content() == u.Content() {
			return verdict{fate: known}, nil
		}
		return refuse("row-twice", at, fmt.Sprintf("%s again, first at %s", book.Shown(u.Key), before.Place()), "each once", "take one of the two out"), nil
	}
	if j.q.Replaces != 0 {
		return j.replaces(f, u, at, row)
	}
	o := verdict{}
	if row != nil {
		had, err := book.Unit(*row)
		if err != nil {
			return verdict{}, err
		}
		switch {
		case had.Content() == u.Content():
			j.enter(kind, u)
			return verdict{fate: known}, nil
		case j.q.Reason == "":
			return refuse("row-differs", at, fmt.Sprintf("%s with other figures or words than row %d of the book (%s)", book.Shown(u.Key), row.ID, had.Place()), "what the book has, or a correction",
				"if this is right and the book is not, use 'flourcast correct' with the reason; nothing is overwritten"), nil
		}
		o.corrects = row.ID
	} else if j.q.Reason != "" {
		return refuse("nothing-to-correct", at, book.Shown(u.Key)+", which the book does not have", "a row of the book", "say by its number which row it stands in for, or add the file without a reason"), nil
	}
	newLot, err := j.enter(kind, u)
	o.newLot = newLot
	return o, err
}

// replaces judges the one unit that stands in for the row of a number.
func (j *judge) replaces(f *taken, u intake.Unit, at finding.Place, namesake *labbook.Row) (verdict, error) {
	if len(f.Units) != 1 {
		return verdict{}, &job.RequestError{Found: fmt.Sprintf("%d entries in %s", len(f.Units), f.settings.File), Want: "one, to stand in for one row", Do: "leave the others out of the file"}
	}
	row, err := j.v.First(labbook.Filter{IDs: []int64{j.q.Replaces}, Superseded: true, Bare: true})
	if err != nil {
		return verdict{}, fmt.Errorf("row %d: %w", j.q.Replaces, err)
	}
	if row.Kind != book.KindOf(u.Kind) {
		return refuse("kind-differs", at, fmt.Sprintf("a %s, for row %d, a %s", book.KindOf(u.Kind), row.ID, row.Kind), "a row of the same kind", "name the right row"), nil
	}
	if namesake != nil && namesake.ID != row.ID {
		return refuse("row-twice", at, fmt.Sprintf("%s, which is row %d of the book already", book.Shown(u.Key), namesake.ID), "a name that no other row has", "withdraw one of the two"), nil
	}
	newLot, err := j.enter(row.Kind, u)
	return verdict{corrects: row.ID, newLot: newLot}, err
}

// enter remembers a unit, and says whether its lot is new to the book.
func (j *judge) enter(kind labbook.Kind, u intake.Unit) (newLot bool, err error) {
	if j.entered[kind] == nil {
		j.entered[kind] = map[string]intake.Unit{}
	}
	j.entered[kind][u.Key] = u
	switch kind {
	case labbook.Lot:
		has, err := j.hasLot(u.Lot)
		j.lots[u.Lot] = true
		return !has, err
	case labbook.Test:
		if u.Run != "" {
			j.tests[u.Run] = u.Lot
		}
	}
	return false, nil
}

func (j *judge) hasLot(lot string) (bool, error) {
	if has, asked := j.lots[lot]; asked {
		return has, nil
	}
	has, err := j.v.Has(labbook.Filter{Kinds: []labbook.Kind{labbook.Lot}, Lots: []string{lot}})
	j.lots[lot] = has
	return has, err
}

// waitsFor is the lot of a unit and what it waits for: its lot, or the run that it
// names where the book has a runs file; "" for nothing. Lots, control batches and
// events wait for nothing, nor do tests of a control flour.
func (j *judge) waitsFor(u intake.Unit) (lot, missing string, err error) {
	lot = u.Lot
	switch book.KindOf(u.Kind) {
	case labbook.Lot, labbook.Control, labbook.Event:
		return lot, "", nil
	case labbook.Test:
		if u.Test {
			return lot, "", nil
		}
	case labbook.Run:
		if u.Run == "" {
			break
		}
		test, control, found, err := j.test(u.Run)
		if err != nil {
			return lot, "", err
		}
		if !found {
			any, err := j.hasTests()
			if err != nil || any || lot == "" {
				return lot, "run " + u.Run, err
			}
		}
		if found && lot == "" {
			lot = test
		}
		if control {
			return lot, "", nil
		}
	}
	has, err := j.hasLot(lot)
	if err != nil || has {
		return lot, "", err
	}
	if lot == "" {
		return lot, "a row without a lot", nil
	}
	return lot, "lot " + lot, nil
}

// test finds the test of a run in this call or in the book.
func (j *judge) test(run string) (lot string, control, found bool, err error) {
	if u, ok := j.entered[labbook.Test][run]; ok {
		return u.Lot, u.Test, true, nil
	}
	rows, err := j.v.All(labbook.Filter{Kinds: []labbook.Kind{labbook.Test}, Keys: []string{run}})
	if err != nil || len(rows) == 0 {
		return "", false, false, err
	}
	u, err := book.Unit(rows[0])
	return rows[0].Lot, book.IsControl(u), true, err
}

func (j *judge) hasTests() (bool, error) {
	if len(j.tests) > 0 {
		return true, nil
	}
	if j.anyTest == nil {
		has, err := j.v.Has(labbook.Filter{Kinds: []labbook.Kind{labbook.Test}})
		if err != nil {
			return false, err
		}
		j.anyTest = &has
	}
	return *j.anyTest, nil
}

func refuse(code string, at finding.Place, found, want, do string) verdict {
	return verdict{fate: refused, finding: &finding.Finding{Code: code, Severity: finding.Refused, At: at, Found: found, Want: want, Do: do}}
}

// sum is a SHA-256 in hexadecimal.
func sum(data []byte) string {
	h := sha256.Sum256(data)
	return hex.EncodeToString(h[:])
}

// WithdrawRequest takes a row out of what counts.
type WithdrawRequest struct {
	Dir      string
	Row      int64
	Reason   string
	Operator string
}

// WithdrawResult is what `correct --withdraw` prints.
type WithdrawResult struct {
	Schema   string `json:"schema"`
	Book     string `json:"book"`
	Row      int64  `json:"row"` // that says so
	Corrects int64  `json:"corrects"`
	Reason   string `json:"reason"`
}

// Withdraw writes a row that takes another out of what counts. The other stays
// readable.
func Withdraw(ctx context.Context, env job.Env, q WithdrawRequest) (*WithdrawResult, error) {
	if q.Reason == "" {
		return nil, &job.RequestError{Found: "no reason", Want: "why the row does not count", Do: "say it with --reason"}
	}
	b, err := book.Open(ctx, q.Dir)
	if err != nil {
		return nil, err
	}
	defer b.Close()
	res := &WithdrawResult{Schema: "flourcast.withdraw/1", Book: labbook.Shown(q.Dir), Corrects: q.Row, Reason: q.Reason}
	err = b.Store.Write(ctx, func(tx *labbook.Tx) error {
		before, err := tx.First(labbook.Filter{IDs: []int64{q.Row}, Superseded: true, Bare: true})
		if err != nil {
			return fmt.Errorf("row %d: %w", q.Row, err)
		}
		if before.Kind == labbook.Original {
			return &job.RequestError{Found: fmt.Sprintf("row %d, an original", q.Row), Want: "a row that came from it", Do: "originals stay; withdraw the rows"}
		}
		r := book.Row(env, before.Kind, q.Operator)
		r.Key, r.Lot, r.Product, r.Source, r.Corrects, r.Withdrawn, r.Reason = before.Key, before.Lot, before.Product, before.Source, q.Row, true, q.Reason
		r, err = tx.Add(r)
		res.Row = r.ID
		return err
	})
	return res, err
}
