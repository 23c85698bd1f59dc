package suitability

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"flourcast/eval/verdict"
	"flourcast/forecast"
	"flourcast/study"
	"flourcast/study/book"
	"flourcast/study/card"
	"flourcast/study/enduse"
	"flourcast/study/job"
)

// models are those for the products: named ones, or the latest. With All the products
// become all that have a model or a window.
func (m *maker) models(ctx context.Context) ([]book.Model, error) {
	var out []book.Model
	if len(m.Models) > 0 {
		for _, ref := range m.Models {
			c, err := study.OpenModel(ctx, m.Dir, ref)
			if err != nil {
				return nil, err
			}
			if !m.All && !slices.Contains(m.Products, c.Product) {
				return nil, &job.RequestError{Field: "model", Found: "model " + ref + " for " + c.Product, Want: "a model for " + strings.Join(m.Products, " or ")}
			}
			out = append(out, book.Model{Made: c.Made, Card: c})
		}
	} else {
		all, err := m.book.Models(ctx)
		if err != nil {
			return nil, err
		}
		for _, x := range latest(all) {
			if m.All || slices.Contains(m.Products, x.Card.Product) {
				out = append(out, x)
			}
		}
	}
	if m.All {
		m.Products = nil
		for _, x := range out {
			m.Products = appendNew(m.Products, x.Card.Product)
		}
		for _, w := range m.Windows {
			m.Products = appendNew(m.Products, w.Product)
		}
	}
	for _, p := range m.Products {
		covered := slices.ContainsFunc(out, func(x book.Model) bool { return x.Card.Product == p }) || slices.ContainsFunc(m.Windows, func(w enduse.Window) bool { return w.Product == p })
		if !covered {
			return nil, &job.NothingUsableError{What: fmt.Sprintf("no model for %s in the lab book, and no window: fit one from the book, or give a window, limits of the flour's test figures", p)}
		}
	}
	if len(out)+len(m.Windows) == 0 {
		return nil, &job.NothingUsableError{What: "no model in the lab book, and no window: fit a model from the book, or give a window, limits of the flour's test figures"}
	}
	return out, nil
}

func appendNew(list []string, s string) []string {
	if slices.Contains(list, s) {
		return list
	}
	return append(list, s)
}

// limits are what a product asks of a response: those given, else the customer's of
// today, else nil.
func (m *maker) limits(ctx context.Context, c *card.Card) (*forecast.Spec, error) {
	for _, s := range m.Limits[c.Product] {
		if s.Response == c.Response {
			return &s, nil
		}
	}
	if m.Customer == "" {
		return nil, nil
	}
	s, ok, err := m.book.SpecOn(ctx, m.Customer, c.Product, c.Response, m.env.Now().Format("2006-01-02"))
	if err != nil || !ok {
		return nil, err
	}
	limits := s.What.Limits()
	return &limits, nil
}

// latest are the models that were written down last for each product and response, in
// the order of their rows. A model for no stated product counts for none.
func latest(all []book.Model) []book.Model {
	return slices.DeleteFunc(slices.Clone(all), func(x book.Model) bool {
		later := func(y book.Model) bool {
			return y.ID > x.ID && y.Card.Product == x.Card.Product && y.Card.Response == x.Card.Response
		}
		return x.Card.Product == "" || slices.ContainsFunc(all, later)
	})
}

// usable leaves models that are not fit for use out, unless there is no other or they
// were asked for by name. left are the responses of those left out.
func usable(models []book.Model, named bool) (used []book.Model, left []string) {
	for _, x := range models {
		if x.Card.Verdict.Standing != verdict.NotFitForUse || named {
			used = append(used, x)
		} else {
			left = append(left, x.Card.Response)
		}
	}
	if len(used) == 0 {
		return models[:1], left[1:]
	}
	return used, left
}

// facts are what is said of a model.
func facts(x book.Model) Model {
	c := x.Card
	out := Model{Row: x.ID, Product: c.Product, Response: c.Response, Made: c.Made, Standing: c.Verdict.Standing, Grade: c.Verdict.Grade}
	var lots, years []string
	for _, t := range c.Training {
		lots = appendNew(lots, t.Lot)
		if t.CropYear != "" {
			years = appendNew(years, t.CropYear)
		}
	}
	out.Lots, out.Years = len(lots), len(years)
	return out
}
