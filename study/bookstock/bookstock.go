// Package bookstock takes flours for a blend from a lab book.
//
//  1. Open joins the book and settles by which pasting method its figures are taken.
//  2. Known is what the book knows of flours beside a stock file: figures, kind and
//     treatment, price.
//  3. File lays lots of the book down as a stock file, with prices of the user's where
//     there are any, so that they are read and refused like any other.
//  4. OwnBlends are the lots of the book that were blended from others, and measured.
//
// It refuses lots that the book does not have, and pasting figures where the runs are by
// several methods and none is named. A book keeps no stock, which changes by the day:
// tonnes are the user's.
package bookstock

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"

	"flourcast/dataset/method"
	"flourcast/dataset/sheet"
	"flourcast/finding"
	"flourcast/forecast/mixing"
	"flourcast/forecast/money"
	"flourcast/study/book"
	"flourcast/study/comparison"
	"flourcast/study/job"
	"flourcast/study/ownblends"
	"flourcast/study/stock"
)

// Flour is a lot of the lab book that may go into the blend. Price, a decimal number per
// tonne, and StockT are as somebody wrote them; without a price the book's counts.
type Flour struct{ Name, Price, StockT string }

// Named are flours without a price of the user's.
func Named(lots []string) []Flour {
	var out []Flour
	for _, l := range lots {
		out = append(out, Flour{Name: l})
	}
	return out
}

// Name is what the stock is called where lots of a lab book stand for a file.
const Name = "lots of the lab book"

// Request names the book, the flours that are wanted of it (none where a stock file has
// them) and the pasting method. Paste says that pasting figures of the flours are asked
// for.
type Request struct {
	Dir     string
	Flours  []Flour
	Method  string // "": the one by which their runs are
	Methods []method.Method
	Paste   bool
}

// Stock is an open book, to be closed. Method is that of its pasting figures, "" where
// there are several and none was settled: then it knows no pasting figure.
type Stock struct {
	Method string
	flours []Flour
	book   *book.Book
	lots   *comparison.Lots
}

// Open opens and joins the book. Errors: *job.RequestError, those of the book.
func Open(ctx context.Context, env job.Env, q Request) (*Stock, error) {
	b, err := book.Open(ctx, q.Dir)
	if err != nil {
		return nil, err
	}
	s := &Stock{Method: q.Method, flours: q.Flours, book: b}
	if err := s.join(ctx, env, q); err != nil {
		b.Close()
		return nil, err
	}
	return s, nil
}

// Close closes the book.
func (s *Stock) Close() error { return s.book.Close() }

func (s *Stock) join(ctx context.Context, env job.Env, q Request) (err error) {
	var names []string
	for _, f := range s.flours {
		known, err := s.book.Knows(ctx, f.Name)
		if err != nil {
			return err
		}
		if !known {
			return &job.RequestError{Field: "flours", Found: "lot " + f.Name, Want: "a lot of the book", Do: "look for it among the lots of the book, or add its files first"}
		}
		names = append(names, f.Name)
	}
	if s.lots, err = comparison.Open(ctx, env, s.book, q.Methods, names); err != nil {
		return err
	}
	if s.Method != "" {
		return nil
	}
	switch methods := s.lots.Methods(names); {
	case len(methods) == 1:
		s.Method = methods[0]
	case len(methods) > 1 && q.Paste && len(names) > 0:
		return &job.RequestError{Field: "method", Found: "runs by " + strings.Join(methods, ", "), Want: "one pasting method: curves of two do not mix", Do: "choose one of them"}
	}
	return nil
}

// File is the flours as a stock file: its bytes are had through the map, which hands
// other names on to the one given.
func (s *Stock) File(given *sheet.Map) (name string, m *sheet.Map, err error) {
	rows := [][]string{{"flour", "price", "currency", "water_absorption_pct"}}
	stocked := slices.ContainsFunc(s.flours, func(f Flour) bool { return f.StockT != "" })
	if stocked {
		rows[0] = append(rows[0], "stock_t")
	}
	for _, f := range s.flours {
		price, err := s.price(f)
		if err != nil {
			return "", nil, err
		}
		currency, _ := s.word(f.Name, "currency")
		water, _ := s.word(f.Name, "water_absorption_pct")
		row := []string{f.Name, price, currency, water}
		if stocked {
			row = append(row, f.StockT)
		}
		rows = append(rows, row)
	}
	var text bytes.Buffer
	if err := csv.NewWriter(&text).WriteAll(rows); err != nil {
		return "", nil, err
	}
	m = &sheet.Map{}
	if given != nil {
		*m = *given
	}
	m.Source = func(name string) ([]byte, error) {
		switch {
		case name == Name:
			return text.Bytes(), nil
		case given != nil && given.Source != nil:
			return given.Source(name)
		}
		return os.ReadFile(name)
	}
	return Name, m, nil
}

// price is the one that was written for a flour, in either decimal mark, else the book's.
func (s *Stock) price(f Flour) (string, error) {
	if f.Price == "" {
		text, _ := s.word(f.Name, "price")
		return text, nil
	}
	mark := byte('.')
	if !strings.Contains(f.Price, ".") {
		mark = ','
	}
	a, err := money.Parse(f.Price, mark)
	if err != nil {
		return "", &job.RequestError{Field: "flours", Found: fmt.Sprintf("price %q of %s", f.Price, f.Name), Want: "a decimal number per tonne, without a currency"}
	}
	return a.String(), nil
}

// Figure is a lot's figure by the method, its runs averaged.
func (s *Stock) Figure(lot, column string) (float64, bool) {
	r, ok := s.lots.Row(lot, "")
	if !ok {
		return 0, false
	}
	sum, _, ok := r.Lot().Find(column, s.Method)
	return sum.Mean, ok
}

// word is a lot's word; a price and its like are the decimal number that was written, which
// a figure of up to 15 digits holds.
func (s *Stock) word(lot, column string) (string, bool) {
	r, ok := s.lots.Row(lot, "")
	if !ok {
		return "", false
	}
	if column == "price" || column == "water_absorption_pct" {
		v, ok := r.Number(column)
		if !ok {
			return "", false
		}
		return strconv.FormatFloat(v, 'f', -1, 64), true
	}
	text := r.Text(column)
	return text, text != ""
}

// Known is what the book knows, for the reader of a stock file.
func (s *Stock) Known() *stock.Known {
	return &stock.Known{Columns: s.lots.Columns(s.Method), Figure: s.Figure, Word: s.word}
}

// OwnBlends are the blends of the book by column.
func (s *Stock) OwnBlends(columns []string) (map[string][]mixing.Made, finding.List, error) {
	files, m := s.lots.LotFiles()
	return ownblends.FromLots(files, m, columns, s.Figure)
}
