// Package diary keeps an invented mill's lab book: the same files as the demo's,
// entered by the front door.
//
//  1. Write writes the mill's raw files and enters those of three harvests.
//  2. It fits the models that the mill would like to have, with few repeats and
//     permutations, and writes them down, fit for use or not.
//  3. It enters a season of new lots, forecasts them against the mill's specification,
//     and then enters the noodles that were made of some of them, and how lots ran in
//     production.
//
// Everything is invented, and every model says so. The same seed gives the same book
// but for the times at which rows are written.
package diary

import (
	"context"
	"fmt"
	"path/filepath"

	"flourcast/dataset/treatment"
	"flourcast/demo"
	"flourcast/forecast"
	"flourcast/study"
	"flourcast/study/book"
	"flourcast/study/bookkeeping"
	"flourcast/study/card"
	"flourcast/study/entry"
	"flourcast/work"
)

// Who is the operator of every row.
const Who = "invented"

// Fewer than a laboratory would ask for: the book is to be there within seconds.
const (
	repeats      = 3
	permutations = 99
)

// Write makes dir/raw and the lab book dir/book, and returns the book's folder. Errors:
// a folder that holds files already, a disk that refuses, a cancelled context.
func Write(ctx context.Context, env study.Env, dir, notice string) (string, error) {
	mill, err := demo.Write(dir, env.Seed)
	if err != nil {
		return "", err
	}
	d := diary{env: env, dir: dir, book: filepath.Join(dir, "book"), notice: notice}
	if _, err := bookkeeping.Init(ctx, d.book); err != nil {
		return "", err
	}
	var files []string
	for _, list := range [][]string{mill.Lots, mill.Runs, mill.Curves, mill.Pasting, mill.Texture, mill.Bakes, mill.Controls, mill.Events} {
		files = append(files, list...)
	}
	if err := d.enter(ctx, files...); err != nil {
		return "", err
	}
	main, err := d.fit(ctx, mill)
	if err != nil {
		return "", err
	}
	before, err := d.lots(ctx)
	if err != nil {
		return "", err
	}
	if err := d.enter(ctx, mill.Season.Lots, mill.Season.Curves, mill.New.Lots, mill.New.Curves); err != nil {
		return "", err
	}
	after, err := d.lots(ctx)
	if err != nil {
		return "", err
	}
	if err := d.forecast(ctx, mill, main, after[len(before):]); err != nil {
		return "", err
	}
	return d.book, d.enter(ctx, append([]string{mill.Season.Texture}, mill.Production...)...)
}

// Stock is the mill's flours in stock and the blends that were made of them, of a folder
// that Write filled.
func Stock(dir string) (flours, blends string) {
	return filepath.Join(dir, "raw", "season", "stock.csv"), filepath.Join(dir, "raw", "season", "own-blends.csv")
}

type diary struct {
	env               study.Env
	dir, book, notice string
}

func (d diary) enter(ctx context.Context, files ...string) error {
	q := entry.AddRequest{Dir: d.book, Operator: Who}
	for _, f := range files {
		q.Paths = append(q.Paths, filepath.Join(d.dir, filepath.FromSlash(f)))
	}
	_, err := entry.Add(ctx, d.env, q)
	return err
}

// lots are the names of the book's lots in the order of entry.
func (d diary) lots(ctx context.Context) (names []string, err error) {
	log, err := bookkeeping.Log(ctx, bookkeeping.LogRequest{Dir: d.book, Kinds: []string{"lot"}})
	if err != nil {
		return nil, err
	}
	seen := map[string]bool{}
	for _, l := range log.Lines {
		if !seen[l.Lot] {
			seen[l.Lot] = true
			names = append(names, l.Lot)
		}
	}
	return names, nil
}

// fit fits the models that the mill wants and returns that of its specification.
func (d diary) fit(ctx context.Context, mill demo.Mill) (*card.Card, error) {
	t, err := study.BookTable(ctx, d.env, d.book)
	if err != nil {
		return nil, err
	}
	spec, err := forecast.ParseSpec(mill.New.Spec)
	if err != nil {
		return nil, err
	}
	env := d.env
	env.Cores = 1 // the models share the cores
	cards := make([]*card.Card, len(mill.Wanted))
	err = work.Each(ctx, len(cards), d.env.Cores, func(i int) error {
		w := mill.Wanted[i]
		q := study.FitRequest{Table: t, File: "lab book of the invented mill", Response: w.Response, Kind: w.Kind, Product: w.Product, Method: w.Method, Features: w.Features, Folds: "lot", Repeats: repeats, Permutations: permutations, Notice: d.notice}
		if w.TreatmentAsFactor {
			q.Treatment = treatment.AsFactor
		}
		res, err := study.Fit(ctx, env, q)
		if err != nil {
			return fmt.Errorf("%s: %w", w.File, err)
		}
		cards[i] = res.Card
		return nil
	})
	if err != nil {
		return nil, err
	}
	var main *card.Card
	for i, c := range cards {
		if _, err := study.KeepModel(ctx, d.env, d.book, c, Who); err != nil {
			return nil, err
		}
		if w := mill.Wanted[i]; w.Product == mill.Truth.MainProduct && w.Response == spec.Response {
			main = c
		}
	}
	if main == nil {
		return nil, fmt.Errorf("diary: the mill wants no model of its specification, %s", spec.Response)
	}
	return main, nil
}

// forecast writes the mill's specification down, then forecasts of lots against it.
func (d diary) forecast(ctx context.Context, mill demo.Mill, c *card.Card, lots []string) error {
	spec, err := forecast.ParseSpec(mill.New.Spec)
	if err != nil {
		return err
	}
	b, err := book.Open(ctx, d.book)
	if err != nil {
		return err
	}
	day := d.env.Now().Format("2006-01-02")
	_, err = b.AddSpec(ctx, d.env, book.Spec{Customer: "Invented Noodles", Product: c.Product, Response: spec.Response, Low: spec.Low, High: spec.High, Unit: "N", Revision: "1", ValidFrom: day}, Who)
	if closed := b.Close(); err == nil {
		err = closed
	}
	if err != nil {
		return err
	}
	_, err = study.ForecastBook(ctx, d.env, study.BookForecastRequest{ForecastRequest: study.ForecastRequest{Card: c, Spec: &spec}, Dir: d.book, Wanted: lots, Operator: Who})
	return err
}
