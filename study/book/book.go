// Package book says what the rows of a lab book hold, and hands them to the jobs.
//
//  1. Open opens a book, Close closes it.
//  2. Files gives the current rows of lots, tests, runs and readings as files that
//     every job of the program reads, with the places of the originals; Table joins
//     them.
//  3. KeepModel and KeepForecasts write down what was fitted and what was forecast
//     at the time; Models, Card and Forecasts read it. A forecast is never made anew.
//  4. Outcomes are the results measured on lots, for whoever sets them against the
//     forecasts.
//  5. Specs, Dispositions and Purposes are what people decided, apart from what the
//     program said.
//
// It refuses a payload that it cannot read, by the number of its row. It knows no
// commands.
package book

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"

	"flourcast/dataset"
	"flourcast/dataset/intake"
	"flourcast/dataset/labbook"
	"flourcast/study/job"
)

// Book is an open lab book.
type Book struct{ Store *labbook.Store }

// Open opens the book in dir. The error is that of labbook.Open.
func Open(ctx context.Context, dir string) (*Book, error) {
	s, err := labbook.Open(ctx, dir)
	if err != nil {
		return nil, err
	}
	return &Book{s}, nil
}

// Close closes the book.
func (b *Book) Close() error { return b.Store.Close() }

// Row is a row that says who wrote it: time, program and operator.
func Row(env job.Env, kind labbook.Kind, operator string) labbook.Row {
	return labbook.Row{Kind: kind, Made: env.Now(), Program: env.Version, Operator: operator}
}

// Key joins the parts of a key; Parts takes them apart.
func Key(parts ...string) string { return strings.Join(parts, "\x1f") }

// Shown is a key as a person reads it: its parts that are not empty, hashes cut short.
func Shown(key string) string {
	var out []string
	for _, p := range strings.Split(key, "\x1f") {
		if p != "" {
			if len(p) == 64 && strings.Trim(p, "0123456789abcdef") == "" {
				p = p[:12] // a hash
			}
			out = append(out, p)
		}
	}
	return strings.Join(out, ", ")
}

// decode reads a payload, or says in which row it cannot be read.
func decode(r labbook.Row, into any) error {
	if err := json.Unmarshal(r.Payload, into); err != nil {
		return fmt.Errorf("row %d of the lab book (%s): found a payload that cannot be read (%w), expected one of this program; run 'flourcast verify'", r.ID, r.Kind, err)
	}
	return nil
}

// encode writes a payload; what comes in are plain structs of finite figures.
func encode(v any) ([]byte, error) {
	data, err := json.Marshal(v)
	if err != nil {
		return nil, fmt.Errorf("lab book: %w", err)
	}
	return data, nil
}

// Unit reads a row of a lot, test, run, reading, control or event.
func Unit(r labbook.Row) (intake.Unit, error) {
	var u intake.Unit
	if err := decode(r, &u); err != nil {
		return u, err
	}
	if len(u.Rows) == 0 || len(u.Rows) != len(u.Cells) {
		return u, fmt.Errorf("row %d of the lab book (%s): found %d rows of cells for %d rows; run 'flourcast verify'", r.ID, r.Kind, len(u.Cells), len(u.Rows))
	}
	for _, cells := range u.Cells {
		if len(cells) != len(u.Columns) {
			return u, fmt.Errorf("row %d of the lab book (%s): found %d cells for %d columns; run 'flourcast verify'", r.ID, r.Kind, len(cells), len(u.Columns))
		}
	}
	u.Key, u.Lot, u.Product = r.Key, r.Lot, r.Product
	return u, nil
}

// Files are the current rows of the book as the files of a laboratory; with lots,
// only what belongs to them, with all controls and events, and the laboratory's own
// rules.
func (b *Book) Files(ctx context.Context, lots ...string) (dataset.Files, error) {
	var units []intake.Sourced
	var own parsed
	err := b.Store.Read(ctx, func(v *labbook.View) (err error) {
		if own, err = rules(v); err != nil {
			return err
		}
		take := func(f labbook.Filter) error {
			for r, err := range v.Rows(f) {
				if err != nil {
					return err
				}
				u, err := Unit(r)
				if err != nil {
					return err
				}
				units = append(units, intake.Sourced{Unit: u, Source: r.Source})
			}
			return nil
		}
		f := labbook.Filter{Kinds: []labbook.Kind{labbook.Lot, labbook.Test, labbook.Run, labbook.Reading, labbook.Note, labbook.Control, labbook.Event}}
		if len(lots) == 0 {
			return take(f)
		}
		f.Kinds, f.Lots = []labbook.Kind{labbook.Lot, labbook.Test, labbook.Run, labbook.Reading, labbook.Note}, lots
		if err := take(f); err != nil {
			return err
		}
		// Runs that leave their lot to a runs file which came after them.
		f.Kinds, f.Lots = []labbook.Kind{labbook.Run}, []string{""}
		if err := take(f); err != nil {
			return err
		}
		return take(labbook.Filter{Kinds: []labbook.Kind{labbook.Control, labbook.Event}})
	})
	if err != nil {
		return dataset.Files{}, err
	}
	c := intake.Files(units)
	return dataset.Files{Lots: c.Names[intake.Lots], Runs: c.Names[intake.Runs], Curves: c.Names[intake.Curves], Pasting: c.Names[intake.Pasting],
		Texture: c.Names[intake.Texture], Bakes: c.Names[intake.Bakes], Production: c.Names[intake.Notes], Controls: c.Names[intake.Controls], Events: c.Names[intake.Events], Map: c.Map,
		Methods: own.methods, Protocols: own.protocols, BakeMethods: own.bakeMethods}, nil
}

// Table joins the current rows of the book, or those of some lots. opt and the rest
// are those of dataset.Join.
func (b *Book) Table(ctx context.Context, opt dataset.JoinOptions, lots ...string) (*dataset.Joined, error) {
	files, err := b.Files(ctx, lots...)
	if err != nil {
		return nil, err
	}
	return dataset.Join(ctx, files, opt)
}

// rowName is how errors name a row.
func rowName(id int64) string { return fmt.Sprintf("row %d of the lab book", id) }
