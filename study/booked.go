package study

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"strings"

	"flourcast/dataset"
	"flourcast/dataset/labbook"
	"flourcast/dataset/method"
	"flourcast/dataset/record"
	"flourcast/finding"
	"flourcast/forecast"
	"flourcast/study/book"
	"flourcast/study/card"
	"flourcast/study/newlots"
)

// BookFiles are the current rows of the lab book in dir as a laboratory's files; with
// lots, only what belongs to them. Every job that takes files takes these.
func BookFiles(ctx context.Context, dir string, lots ...string) (dataset.Files, error) {
	b, err := book.Open(ctx, dir)
	if err != nil {
		return dataset.Files{}, err
	}
	defer b.Close()
	return b.Files(ctx, lots...)
}

// BookTable is the table of BookJoined.
func BookTable(ctx context.Context, env Env, dir string) (*dataset.Table, error) {
	joined, err := BookJoined(ctx, env, dir)
	if err != nil {
		return nil, err
	}
	return joined.Table, nil
}

// BookJoined joins the current rows of the lab book in dir. The error is a
// *NothingUsableError without a lot that has a measurement.
func BookJoined(ctx context.Context, env Env, dir string) (*dataset.Joined, error) {
	b, err := book.Open(ctx, dir)
	if err != nil {
		return nil, err
	}
	defer b.Close()
	joined, err := b.Table(ctx, dataset.JoinOptions{Cores: env.Cores, Progress: env.Report()})
	if err != nil {
		return nil, err
	}
	if joined.Table.Len() == 0 {
		return nil, &NothingUsableError{What: labbook.Shown(dir) + ": no lot with a measurement in the lab book", Findings: joined.Findings}
	}
	return joined, nil
}

// BookMethods are the laboratory's own methods that the lab book in dir keeps, behind
// those given, which stand for them.
func BookMethods(ctx context.Context, dir string, given []method.Method) ([]method.Method, error) {
	b, err := book.Open(ctx, dir)
	if err != nil {
		return nil, err
	}
	defer b.Close()
	kept, err := b.Methods(ctx)
	return book.WithMethods(given, kept), err
}

// OpenModel reads the model file that ref names or, where there is none and dir is a
// lab book, the model of the book with this row or SHA-256.
func OpenModel(ctx context.Context, dir, ref string) (*card.Card, error) {
	if _, err := os.Stat(ref); dir == "" || !errors.Is(err, fs.ErrNotExist) {
		return card.Read(ref)
	}
	b, err := book.Open(ctx, dir)
	if err != nil {
		return nil, err
	}
	defer b.Close()
	return b.Card(ctx, ref)
}

// KeepModel writes a fitted model down in the lab book in dir and returns its row.
func KeepModel(ctx context.Context, env Env, dir string, c *card.Card, operator string) (row int64, err error) {
	b, err := book.Open(ctx, dir)
	if err != nil {
		return 0, err
	}
	defer b.Close()
	r, err := b.KeepModel(ctx, env, c, operator)
	return r.ID, err
}

// BookForecastRequest asks for forecasts of lots of a lab book. Of ForecastRequest,
// Paths, Lots and Map do not count. Without Lots all lots count that have runs, are
// meant for the model's product, were not measured yet and are not among those it was
// made from. Customer
// takes the specification that holds today from the book. Unrecorded leaves the
// forecasts out of the book.
type BookForecastRequest struct {
	ForecastRequest
	Dir        string
	Wanted     []string
	Customer   string
	Operator   string
	Unrecorded bool

	files *dataset.Files // rows of the wanted lots; nil: to be read
}

// ForecastBook forecasts lots of a lab book and writes the forecasts down, with the
// model, as made at this time.
func ForecastBook(ctx context.Context, env Env, q BookForecastRequest) (*ForecastResult, error) {
	return withForecasts(func(take func(forecast.Forecast) error) (*ForecastResult, error) {
		return EachBookForecast(ctx, env, q, take)
	})
}

// EachBookForecast does as ForecastBook and hands each forecast to take, as
// EachForecast does. Those that are written down are kept until all are made, for they
// are written in one piece.
func EachBookForecast(ctx context.Context, env Env, q BookForecastRequest, take func(forecast.Forecast) error) (*ForecastResult, error) {
	c := q.Card
	if c == nil {
		var err error
		if c, err = OpenModel(ctx, q.Dir, q.Model); err != nil {
			return nil, err
		}
	}
	b, err := book.Open(ctx, q.Dir)
	if err != nil {
		return nil, err
	}
	defer b.Close()
	if q.Customer != "" {
		if q.Spec != nil {
			return nil, &RequestError{Found: "limits and a customer", Want: "one of the two"}
		}
		limits, err := specToday(ctx, env, b, q.Customer, c)
		if err != nil {
			return nil, err
		}
		q.Spec = &limits
	}
	if q.lots, q.found, err = bookLots(ctx, env, b, q, c); err != nil {
		return nil, err
	}
	q.Card = c
	var forecasts []forecast.Forecast
	var inputs []forecast.Input
	res, err := eachForecast(ctx, env, q.ForecastRequest, func(m made) error {
		if !q.Unrecorded {
			forecasts, inputs = append(forecasts, m.forecast), append(inputs, m.from)
		}
		return take(m.forecast)
	})
	if err != nil || q.Unrecorded {
		return res, err
	}
	n, err := b.KeepForecasts(ctx, env, c, forecasts, inputs, q.Operator)
	if err != nil {
		return nil, err
	}
	res.Recorded = &n
	return res, nil
}

// SpecToday is a customer's specification, in the lab book in dir, for what the model
// forecasts, as it holds today. The error is a *RequestError when there is none.
func SpecToday(ctx context.Context, env Env, dir, customer string, c *card.Card) (forecast.Spec, error) {
	b, err := book.Open(ctx, dir)
	if err != nil {
		return forecast.Spec{}, err
	}
	defer b.Close()
	return specToday(ctx, env, b, customer, c)
}

func specToday(ctx context.Context, env Env, b *book.Book, customer string, c *card.Card) (forecast.Spec, error) {
	day := env.Now().Format("2006-01-02")
	s, ok, err := b.SpecOn(ctx, customer, c.Product, c.Response, day)
	if err != nil {
		return forecast.Spec{}, err
	}
	if !ok {
		return forecast.Spec{}, &RequestError{Field: "customer", Found: fmt.Sprintf("no specification of %s for %s of %s that holds on %s", customer, c.Response, c.Product, day), Want: "one in the lab book", Do: "look at its specifications, or enter one"}
	}
	return s.What.Limits(), nil
}

// BookLots are the named lots of the lab book in dir with their figures and with what was
// wrong with their runs, as they would be put to a model of the card's product, method and
// features.
func BookLots(ctx context.Context, env Env, dir string, c *card.Card, lots []string, methods []method.Method) ([]newlots.Lot, error) {
	b, err := book.Open(ctx, dir)
	if err != nil {
		return nil, err
	}
	defer b.Close()
	out, _, err := bookLots(ctx, env, b, BookForecastRequest{ForecastRequest: ForecastRequest{Methods: methods}, Wanted: lots}, c)
	return out, err
}

// bookLots are the lots of a book that are to be forecast, and the findings on their
// runs.
func bookLots(ctx context.Context, env Env, b *book.Book, q BookForecastRequest, c *card.Card) (lots []newlots.Lot, found finding.List, err error) {
	var measured map[string]bool
	if len(q.Wanted) == 0 {
		if measured, err = b.Measured(ctx, c.Product); err != nil {
			return nil, nil, err
		}
	}
	for _, lot := range q.Wanted {
		if known, err := b.Knows(ctx, lot); err != nil {
			return nil, nil, err
		} else if !known {
			return nil, nil, &RequestError{Found: "lot " + lot, Want: "a lot of the book", Do: "look for it among the lots of the book, or add its files first"}
		}
	}
	take := func(f dataset.Files, wanted []string) ([]newlots.Lot, []string, error) {
		f.Methods = book.WithMethods(q.Methods, f.Methods)
		return filedLots(ctx, env, f, c, choice{wanted, measured}, &found)
	}
	if q.files == nil {
		files, err := b.Files(ctx, q.Wanted...)
		if err != nil {
			return nil, nil, err
		}
		q.files = &files
	}
	out, unlinked, err := take(*q.files, q.Wanted)
	if err != nil || len(unlinked) == 0 {
		return out, found, err
	}
	// Lots of whose runs the runs file has none yet are read as their curves tell.
	files, err := b.Files(ctx, unlinked...)
	if err != nil {
		return nil, nil, err
	}
	files.Runs = nil
	more, _, err := take(files, unlinked)
	return append(out, more...), found, err
}

// choice says which lots of files are forecast: those wanted or, without any, all that
// were not measured yet.
type choice struct {
	wanted   []string
	measured map[string]bool
}

// filedLots are the lots of a laboratory's files put to a model: runs linked to the
// runs file, figures of the lots file beside them. Lots all of whose runs wait for the
// runs file are named as unlinked instead.
func filedLots(ctx context.Context, env Env, f dataset.Files, c *card.Card, which choice, found *finding.List) (out []newlots.Lot, unlinked []string, err error) {
	f.Texture, f.Bakes, f.Production, f.Controls, f.Events, f.Method = nil, nil, nil, nil, nil, c.Method
	joined, err := dataset.Join(ctx, f, dataset.JoinOptions{Cores: env.Cores, Progress: env.Report(), Keep: c.OfCurves()})
	if err != nil {
		return nil, nil, err
	}
	all := newlots.Pooled(joined, c, f.Methods)
	product := map[string][]string{} // of lots, as their rows tell
	t := joined.Table                // the lots keep the table, and not the runs that it was made of
	for i := range t.Len() {
		all[i].Word = func(column string) (string, bool) { return t.Text(column, i) }
		p, _ := t.Text("product", i)
		product[all[i].Name] = append(product[all[i].Name], p)
	}
	training := map[string]bool{}
	for _, r := range c.Training {
		training[r.Lot] = true
	}
	runs, waiting := map[string]int{}, map[string]int{}
	for _, r := range joined.Runs {
		if r.Kind == record.Control {
			continue
		}
		runs[r.Lot]++
		if r.Findings.Has("run-unknown") {
			waiting[r.Lot]++
		}
	}
	taken := map[string]bool{}
	for _, l := range all {
		asked := slices.Contains(which.wanted, l.Name)
		other := l.OfAnother(c.Product) && (!asked || slices.Contains(product[l.Name], c.Product))
		done := training[l.Name] || which.measured[l.Name] || runs[l.Name] == 0
		if other || taken[l.Name] || len(which.wanted) > 0 && !asked || !asked && done {
			continue
		}
		taken[l.Name] = true
		if n := waiting[l.Name]; n > 0 && n == runs[l.Name] {
			unlinked = append(unlinked, l.Name)
			continue
		}
		out = append(out, l)
	}
	waits := map[string]bool{}
	for _, lot := range unlinked {
		waits[lot] = true
	}
	for _, r := range joined.Runs {
		if r.Kind != record.Control && taken[r.Lot] && !waits[r.Lot] {
			*found = append(*found, r.Findings...)
		}
	}
	for _, lot := range which.wanted {
		if !taken[lot] {
			taken[lot] = true
			out = append(out, newlots.Lot{Name: lot, Figure: func(string) (float64, bool) { return 0, false }, Problems: []string{"the lab book has no run of lot " + lot + ": run it by " + strings.TrimSpace(c.Method+" and add the curve")}})
		}
	}
	return out, unlinked, nil
}
