// Package bookkeeping has the jobs on a lab book as a whole: make one, list what it
// has, tell its trail, verify it, back it up.
//
//  1. Init makes an empty book, Restore one from a backup; Backup writes one.
//  2. Lots and Log list.
//  3. Verify recomputes every hash, takes every original in anew, makes every stored
//     forecast's figure anew, and names what differs.
//
// It changes no row. It refuses to write over a folder that is there, and to restore
// from a backup that is not as it was written.
package bookkeeping

import (
	"context"
	"fmt"
	"time"

	"flourcast/dataset/labbook"
	"flourcast/study/book"
)

// FolderResult is what `init`, `backup` and `restore` print.
type FolderResult struct {
	Schema string `json:"schema"`
	Book   string `json:"book"`
	Folder string `json:"folder,omitempty"` // of the copy
	Rows   int    `json:"rows"`
	Head   string `json:"head"` // hash of the last row; "" for none
}

// Init makes an empty book in a new or empty folder.
func Init(ctx context.Context, dir string) (*FolderResult, error) {
	if err := labbook.Create(ctx, dir); err != nil {
		return nil, err
	}
	return &FolderResult{Schema: "flourcast.init/1", Book: labbook.Shown(dir)}, nil
}

// Backup writes a whole copy of the book into a new folder and checks the copy.
func Backup(ctx context.Context, dir, to string) (*FolderResult, error) {
	b, err := book.Open(ctx, dir)
	if err != nil {
		return nil, err
	}
	defer b.Close()
	if err := b.Store.Backup(ctx, to); err != nil {
		return nil, err
	}
	return checked(ctx, "flourcast.backup/1", dir, to)
}

// Restore makes a book from a backup that is as it was written.
func Restore(ctx context.Context, backup, dir string) (*FolderResult, error) {
	if err := labbook.Restore(ctx, backup, dir); err != nil {
		return nil, err
	}
	return checked(ctx, "flourcast.restore/1", backup, dir)
}

func checked(ctx context.Context, schema, from, to string) (*FolderResult, error) {
	b, err := book.Open(ctx, to)
	if err != nil {
		return nil, err
	}
	defer b.Close()
	rows, head, differences, err := b.Store.Check(ctx)
	if err != nil {
		return nil, err
	}
	if len(differences) > 0 {
		return nil, fmt.Errorf("%s: found %d differences in the copy, first: %s; run 'flourcast verify' on %s", labbook.Shown(to), len(differences), differences[0].What, labbook.Shown(from))
	}
	return &FolderResult{Schema: schema, Book: labbook.Shown(from), Folder: labbook.Shown(to), Rows: rows, Head: head}, nil
}

// LotsResult is what `lots` prints.
type LotsResult struct {
	Schema  string    `json:"schema"`
	Book    string    `json:"book"`
	Lots    []LotLine `json:"lots"`
	Waiting []LotLine `json:"waiting"` // lots that runs or readings name and no lots file has
}

// LotLine is one lot and product with what the book has of it. Runs, readings,
// forecasts and dispositions are those of the lot, whatever the product.
type LotLine struct {
	Lot          string `json:"lot"`
	Product      string `json:"product"`
	Runs         int    `json:"runs"`
	Readings     int    `json:"readings"`
	Forecasts    int    `json:"forecasts"`
	Dispositions int    `json:"dispositions"`
}

// Lots lists the lots of the book by name, a line for each lot and product.
func Lots(ctx context.Context, dir string) (*LotsResult, error) {
	b, err := book.Open(ctx, dir)
	if err != nil {
		return nil, err
	}
	defer b.Close()
	return list(ctx, b)
}

func list(ctx context.Context, b *book.Book) (*LotsResult, error) {
	var res *LotsResult
	err := b.Store.Read(ctx, func(v *labbook.View) error {
		tallies, err := v.Tallies(labbook.Lot, labbook.Run, labbook.Reading, labbook.Forecast, labbook.Disposition)
		if err != nil {
			return err
		}
		res = lines(b.Store.Place(), tallies)
		res.Waiting, err = withoutControls(v, res.Waiting)
		return err
	})
	return res, err
}

// withoutControls leaves out control flours, whose runs belong to no lot.
func withoutControls(v *labbook.View, waiting []LotLine) ([]LotLine, error) {
	out := []LotLine{}
	for _, l := range waiting {
		tests, err := v.All(labbook.Filter{Kinds: []labbook.Kind{labbook.Test}, Lots: []string{l.Lot}, Limit: 1})
		if err != nil {
			return nil, err
		}
		if len(tests) == 1 {
			u, err := book.Unit(tests[0])
			if err != nil {
				return nil, err
			}
			if book.IsControl(u) {
				continue
			}
		}
		out = append(out, l)
	}
	return out, nil
}

// lines puts tallies together by lot. Those of each kind are in the order of lots, so
// that all kinds are walked side by side, a lot at a time.
func lines(dir string, tallies []labbook.Tally) *LotsResult {
	res := &LotsResult{Schema: "flourcast.lots/1", Book: dir, Lots: make([]LotLine, 0, len(tallies)), Waiting: []LotLine{}}
	var kinds [][]labbook.Tally
	for from := 0; from < len(tallies); {
		to := from + 1
		for to < len(tallies) && tallies[to].Kind == tallies[from].Kind {
			to++
		}
		kinds, from = append(kinds, tallies[from:to]), to
	}
	for {
		lot, more := firstLot(kinds)
		if !more {
			return res
		}
		l := LotLine{Lot: lot}
		var products []string // of the lots file; a claim names none
		for k := range kinds {
			for ; len(kinds[k]) > 0 && kinds[k][0].Lot == lot; kinds[k] = kinds[k][1:] {
				t := kinds[k][0]
				switch t.Kind {
				case labbook.Lot:
					products = append(products, t.Product)
				case labbook.Run:
					l.Runs += t.Rows
				case labbook.Reading:
					l.Readings += t.Rows
				case labbook.Forecast:
					l.Forecasts += t.Rows
				case labbook.Disposition:
					l.Dispositions += t.Rows
				}
			}
		}
		for i, p := range products {
			if p != "" || i == len(products)-1 { // no product comes first, and is no line beside others
				l.Product = p
				res.Lots = append(res.Lots, l)
			}
		}
		if products == nil && l.Runs+l.Readings > 0 {
			res.Waiting = append(res.Waiting, l)
		}
	}
}

// firstLot is the first lot that any kind still has.
func firstLot(kinds [][]labbook.Tally) (lot string, ok bool) {
	for _, k := range kinds {
		if len(k) > 0 && (!ok || k[0].Lot < lot) {
			lot, ok = k[0].Lot, true
		}
	}
	return lot, ok
}

// LogRequest chooses lines of the trail: of one lot, of kinds, the last Limit (0 all).
type LogRequest struct {
	Dir   string
	Lot   string
	Kinds []string
	Limit int
}

// LogResult is what `log` prints.
type LogResult struct {
	Schema string    `json:"schema"`
	Book   string    `json:"book"`
	Lines  []LogLine `json:"lines"`
}

// LogLine is one row of the book without its payload.
type LogLine struct {
	Row       int64     `json:"row"`
	Made      time.Time `json:"made"`
	Kind      string    `json:"kind"`
	What      string    `json:"what"` // the row's key in words
	Lot       string    `json:"lot"`
	Product   string    `json:"product"`
	Operator  string    `json:"operator"`
	Program   string    `json:"program"`
	Source    string    `json:"source"` // SHA-256 of what the row came from
	Corrects  int64     `json:"corrects,omitempty"`
	Withdrawn bool      `json:"withdrawn,omitempty"`
	Reason    string    `json:"reason,omitempty"`
	SHA256    string    `json:"sha256"`
}

// Log tells the trail: every row in the order of writing, corrected ones too.
func Log(ctx context.Context, q LogRequest) (*LogResult, error) {
	b, err := book.Open(ctx, q.Dir)
	if err != nil {
		return nil, err
	}
	defer b.Close()
	f := labbook.Filter{Superseded: true, Bare: true, Limit: q.Limit}
	if q.Lot != "" {
		f.Lots = []string{q.Lot}
	}
	for _, k := range q.Kinds {
		f.Kinds = append(f.Kinds, labbook.Kind(k))
	}
	res := &LogResult{Schema: "flourcast.log/1", Book: labbook.Shown(q.Dir), Lines: []LogLine{}}
	err = b.Store.Read(ctx, func(v *labbook.View) error {
		for r, err := range v.Rows(f) {
			if err != nil {
				return err
			}
			res.Lines = append(res.Lines, LogLine{Row: r.ID, Made: r.Made, Kind: string(r.Kind), What: book.Shown(r.Key), Lot: r.Lot, Product: r.Product, Operator: r.Operator,
				Program: r.Program, Source: r.Source, Corrects: r.Corrects, Withdrawn: r.Withdrawn, Reason: r.Reason, SHA256: r.SHA256})
		}
		return nil
	})
	return res, err
}
