// Package modelpages has the pages of whoever makes and uses models: relate, models,
// forecast, window, follow, specifications.
//
//  1. Pages is the list that the server mounts; a page is a file, with its template.
//  2. Each parses a request, calls package study, and shows package report's document.
//  3. Fits, comparisons and forecasts of dropped files run as work beside the pages.
//
// Nothing that is only read changes anything.
package modelpages

import (
	"cmp"
	"context"
	"embed"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"flourcast/dataset"
	"flourcast/dataset/trait"
	"flourcast/eval/verdict"
	"flourcast/forecast"
	"flourcast/report/phrase"
	"flourcast/study"
	"flourcast/study/book"
	"flourcast/study/survey"
	"flourcast/web/desk"
)

var (
	//go:embed *.html
	sources embed.FS

	forms = template.Must(template.ParseFS(sources, "*.html"))
)

// Pages are the pages in the order of the bar.
func Pages() []desk.Page {
	return []desk.Page{relatePage, modelsPage, forecastPage, windowPage, followPage, specsPage}
}

// named is an entry of a list to choose from.
type named struct {
	ID, Label string
	Chosen    bool
}

// Axis is the label of a column with its unit.
func (n named) Axis() string { return trait.Label(n.ID) }

// question is what relate, compare and fit ask of the joined table.
type question struct {
	Response, Product, Method    string
	Responses, Products, Methods []named
}

// ask reads the question, or takes the first that the table can answer.
func ask(t *dataset.Table, r *http.Request) question {
	q := question{Response: r.FormValue("response"), Product: r.FormValue("product"), Method: r.FormValue("method")}
	for _, c := range t.Columns() {
		id, method := trait.Split(c)
		known, ok := trait.Lookup(id)
		if ok && known.Role == trait.RoleResponse && method == "" && t.IsNumber(c) {
			q.Responses = append(q.Responses, named{ID: c, Label: known.Label})
		}
		if ok && known.Role == trait.RoleFeature && method != "" && !slices.ContainsFunc(q.Methods, func(n named) bool { return n.ID == method }) && !strings.Contains(method, "_") {
			q.Methods = append(q.Methods, named{ID: method, Label: method})
		}
	}
	if t.Has("product") {
		for _, id := range t.Values("product") {
			q.Products = append(q.Products, named{ID: id, Label: phrase.Product(id)})
		}
	}
	if q.Response == "" && len(q.Responses) > 0 {
		q.Response = cmp.Or(has(q.Responses, "hardness_N"), q.Responses[0].ID)
	}
	if _, said := r.Form["product"]; !said {
		q.Product = survey.MostMeasured(t, q.Response)
	}
	choose(q.Responses, q.Response)
	choose(q.Products, q.Product)
	choose(q.Methods, q.Method)
	return q
}

func has(list []named, id string) string {
	if slices.ContainsFunc(list, func(n named) bool { return n.ID == id }) {
		return id
	}
	return ""
}

func choose(list []named, id string) {
	for i := range list {
		list[i].Chosen = list[i].ID == id
	}
}

// model is the model that a row number names.
func model(d *desk.Desk, ctx context.Context, row string) (book.Model, error) {
	all, err := d.Models(ctx)
	if err != nil {
		return book.Model{}, err
	}
	for _, m := range all {
		if strconv.FormatInt(m.ID, 10) == row {
			return m, nil
		}
	}
	return book.Model{}, &desk.NotFoundError{What: "Model " + row}
}

// choices are the models as a list to choose from: those that may be used first, the
// latest first.
func choices(all []book.Model, row string) []named {
	var out []named
	all = slices.Clone(all)
	slices.Reverse(all)
	rank := []string{verdict.FitForUse, verdict.Provisional}
	slices.SortStableFunc(all, func(a, b book.Model) int {
		return cmp.Compare(uint(slices.Index(rank, a.Card.Verdict.Standing)), uint(slices.Index(rank, b.Card.Verdict.Standing)))
	})
	for _, m := range all {
		id := strconv.FormatInt(m.ID, 10)
		out = append(out, named{id, fmt.Sprintf("%s, %s (%s)", phrase.Label(m.Card.Response), phrase.Product(m.Card.Product), m.Card.Verdict.Standing), id == row})
	}
	return out
}

// inBook is a specification of the lab book, and the address of a page with its limits
// filled in.
type inBook struct {
	Words, Address string
	spec           book.Spec
	row            string
}

// specs are the specifications that hold today and that one of the models forecasts, by
// the model that is to be chosen first, at a page's path.
func specs(d *desk.Desk, ctx context.Context, all []book.Model, path string) ([]inBook, error) {
	today := d.Env.Clock().Format("2006-01-02")
	holding, err := desk.Of(ctx, d, []string{"spec"}, "specs "+today, func(ctx context.Context) (out []book.Said[book.Spec], err error) {
		err = d.Book(ctx, func(b *book.Book) error {
			out, err = b.SpecsOn(ctx, today)
			return err
		})
		return out, err
	})
	if err != nil {
		return nil, err
	}
	var out []inBook
	for _, s := range holding {
		for _, c := range choices(all, "") {
			m, err := model(d, ctx, c.ID)
			if err != nil {
				return nil, err
			}
			if m.Card.Product != s.What.Product || m.Card.Response != s.What.Response {
				continue
			}
			q := url.Values{"model": {c.ID}, "low": {figure(s.What.Low)}, "high": {figure(s.What.High)}}
			out = append(out, inBook{Words: fmt.Sprintf("%s, %s: %s (revision %s)", s.What.Customer, phrase.Product(s.What.Product), phrase.Limits(s.What.Response, s.What.Low, s.What.High), s.What.Revision),
				Address: path + "?" + q.Encode(), spec: s.What, row: c.ID})
			break
		}
	}
	return out, nil
}

// figure is a limit as a form has it; empty for none.
func figure(v *float64) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(*v, 'f', -1, 64)
}

// limits reads the two fields of a specification, with a decimal point or comma; nil when
// both are empty.
func limits(low, high, response string) (*forecast.Spec, error) {
	number := func(s string) string { return strings.Replace(strings.TrimSpace(s), ",", ".", 1) }
	low, high = number(low), number(high)
	if low == "" && high == "" {
		return nil, nil
	}
	s, err := forecast.ParseSpec(response + "=" + low + ".." + high)
	if err != nil {
		return nil, &study.RequestError{Field: "spec", Found: fmt.Sprintf("%q to %q", low, high), Want: "a lower limit, an upper one, or both, the lower one first, as plain numbers"}
	}
	return &s, nil
}
