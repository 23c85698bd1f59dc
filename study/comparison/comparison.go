// Package comparison sets lots of a lab book beside each other.
//
//  1. Open joins the book; lots whose runs wait for a runs file are read from their
//     curves, as forecasts of them are.
//  2. Row and Figure are what the book has of a lot; References are lots that ran well.
//  3. Curves lays the mean curves of lots on one grid, and what several span.
//  4. Features sets the figures of a lot against those of others, each with the
//     direction that is published for it.
//
// It forecasts nothing and codes nothing: names go out as they are.
package comparison

import (
	"context"
	"slices"

	"flourcast/dataset"
	"flourcast/dataset/method"
	"flourcast/dataset/record"
	"flourcast/dataset/sheet"
	"flourcast/dataset/trait"
	"flourcast/forecast"
	"flourcast/study/book"
	"flourcast/study/card"
	"flourcast/study/job"
	"flourcast/study/newlots"
)

// Lots are the lots of a book, joined.
type Lots struct {
	env      job.Env
	book     *book.Book
	methods  []method.Method
	joined   *dataset.Joined
	late     *dataset.Joined // lots whose runs wait for a runs file, by their curves; nil: none
	lateLots []string
	files    dataset.Files
}

// Open joins the book, with methods beside those that it keeps, so that every one of the lots wanted is there as far as it can be.
func Open(ctx context.Context, env job.Env, b *book.Book, methods []method.Method, wanted []string) (*Lots, error) {
	l := &Lots{env: env, book: b}
	files, err := b.Files(ctx)
	if err != nil {
		return nil, err
	}
	l.methods = book.WithMethods(methods, files.Methods)
	files.Methods = l.methods
	l.files = files
	if l.joined, err = dataset.Join(ctx, files, dataset.JoinOptions{Cores: env.Cores, Progress: env.Report()}); err != nil {
		return nil, err
	}
	return l, l.readLate(ctx, wanted)
}

// Over are the lots of a book that has been joined with the usual options.
func Over(ctx context.Context, env job.Env, b *book.Book, joined *dataset.Joined, wanted []string) (*Lots, error) {
	own, err := b.Methods(ctx)
	if err != nil {
		return nil, err
	}
	l := &Lots{env: env, book: b, methods: book.WithMethods(nil, own), joined: joined}
	return l, l.readLate(ctx, wanted)
}

// Row is a lot's row of a joined table.
type Row struct {
	table *dataset.Table
	at    int
}

// Text is a word of the row, "" where it has none.
func (r Row) Text(column string) string { s, _ := r.table.Text(column, r.at); return s }

// Number is a figure of the row.
func (r Row) Number(column string) (float64, bool) { return r.table.Number(column, r.at) }

// Row is the lot's row, that of the product where it has several.
func (l *Lots) Row(lot, product string) (found Row, ok bool) {
	for _, j := range []*dataset.Joined{l.late, l.joined} {
		if j == nil || ok {
			continue
		}
		for i := range j.Table.Len() {
			if p, _ := j.Table.Text("product", i); j.Table.Lot(i) == lot && (!ok || p == product) {
				found, ok = Row{j.Table, i}, true
			}
		}
	}
	return found, ok
}

// readLate joins the lots asked for all of whose runs wait for a runs file: they are read
// from their curves, as forecasts of them are.
func (l *Lots) readLate(ctx context.Context, wanted []string) error {
	runs, waiting := map[string]int{}, map[string]int{}
	for _, r := range l.joined.Runs {
		runs[r.Lot]++
		if r.Findings.Has("run-unknown") {
			waiting[r.Lot]++
		}
	}
	var late []string
	for _, lot := range wanted {
		if waiting[lot] > 0 && waiting[lot] == runs[lot] {
			late = append(late, lot)
		}
	}
	if len(late) == 0 {
		return nil
	}
	files, err := l.book.Files(ctx, late...)
	if err != nil {
		return err
	}
	files.Runs, files.Methods, l.lateLots = nil, l.methods, late
	l.late, err = dataset.Join(ctx, files, dataset.JoinOptions{Cores: l.env.Cores, Progress: l.env.Report()})
	return err
}

// Figure is what the book has of a lot, by a model's name for it.
func (l *Lots) Figure(lot, feature string, c *card.Card) (float64, bool) {
	r, ok := l.Row(lot, c.Product)
	if !ok {
		return 0, false
	}
	s, _, ok := r.Lot().Find(feature, c.Method)
	return s.Mean, ok
}

// Lot is the row as a lot that is put to a model or a window.
func (r Row) Lot() newlots.Lot {
	return newlots.Lot{Name: r.table.Lot(r.at), Method: r.Text("method"), Figure: r.Number}
}

// MethodOf is the first of the methods by which the lot has a run; ok is false without.
func (l *Lots) MethodOf(lot string, methods []string) (string, bool) {
	for _, j := range []*dataset.Joined{l.joined, l.late} {
		if j == nil {
			continue
		}
		for _, r := range j.Runs {
			if r.Lot == lot && slices.Contains(methods, r.Method) {
				return r.Method, true
			}
		}
	}
	return "", false
}

// Methods are those by which the lots have runs, in order of their names; of no lots
// named, by which any lot has.
func (l *Lots) Methods(lots []string) []string {
	var out []string
	for _, j := range []*dataset.Joined{l.joined, l.late} {
		if j == nil {
			continue
		}
		for _, r := range j.Runs {
			if r.Kind != record.Control && r.Method != "" && !slices.Contains(out, r.Method) && (len(lots) == 0 || slices.Contains(lots, r.Lot)) {
				out = append(out, r.Method)
			}
		}
	}
	slices.Sort(out)
	return out
}

// Columns are the figures that lots may have by a method, without its name: those that
// a model takes by default, and what is known of the flour itself.
func (l *Lots) Columns(method string) []string {
	var out []string
	for _, c := range l.joined.Table.Columns() {
		id, by := trait.Split(c)
		t, known := trait.Lookup(id)
		if known && l.joined.Table.IsNumber(c) && (by == "" || by == method) && (t.Role != trait.RoleFeature || t.Family == "pasting") && !slices.Contains(out, id) {
			out = append(out, id)
		}
	}
	return out
}

// Table is the book, joined.
func (l *Lots) Table() *dataset.Table { return l.joined.Table }

// LotFiles are the book's rows of lots, as files that its import map reads.
func (l *Lots) LotFiles() ([]string, *sheet.Map) { return l.files.Lots, l.files.Map }

// How references were chosen.
const (
	ByProduction = "production"
	ByLimits     = "limits"
)

// mostReferences is how many reference lots are looked at, those that came last.
const mostReferences = 40

// References are lots of the product to compare with, none of those left out: lots that
// ran well in production or, without notes of any, lots that met the limits when they
// were measured. by says which, "" for none.
func (l *Lots) References(product string, limits []*forecast.Spec, leftOut ...string) (lots []string, by string) {
	t := l.joined.Table
	choose := func(good func(row int) bool) (out []string) {
		for i := range t.Len() {
			p, _ := t.Text("product", i)
			if name := t.Lot(i); !slices.Contains(leftOut, name) && !slices.Contains(out, name) && p == product && good(i) {
				out = append(out, name)
			}
		}
		return out[max(0, len(out)-mostReferences):]
	}
	lots = choose(func(row int) bool { ran, _ := t.Text("ran", row); return ran == record.Well })
	if len(lots) > 0 {
		return lots, ByProduction
	}
	lots = choose(func(row int) bool {
		met := 0
		for _, s := range limits {
			if s == nil {
				continue
			}
			v, ok := t.Number(s.Response, row)
			if !ok || !s.Met(v) {
				return false
			}
			met++
		}
		return met > 0
	})
	if len(lots) > 0 {
		return lots, ByLimits
	}
	return nil, ""
}
