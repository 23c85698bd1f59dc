package book

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"flourcast/dataset/labbook"
	"flourcast/dataset/trait"
	"flourcast/forecast"
	"flourcast/study/job"
)

// Spec is what a customer asks of a product: limits of one response, in the unit of
// its name, from a day on.
type Spec struct {
	Customer  string   `json:"customer"`
	Product   string   `json:"product"`
	Response  string   `json:"response"`
	Low       *float64 `json:"low"`
	High      *float64 `json:"high"`
	Unit      string   `json:"unit"`
	Revision  string   `json:"revision"`
	ValidFrom string   `json:"valid_from"` // 2006-01-02
}

// Limits are the specification as a forecast takes it.
func (s Spec) Limits() forecast.Spec {
	return forecast.Spec{Response: s.Response, Low: s.Low, High: s.High}
}

// With is the specification with these limits, in the unit of their response.
func (s Spec) With(limits forecast.Spec) Spec {
	s.Response, s.Low, s.High = limits.Response, limits.Low, limits.High
	_, s.Unit, _ = trait.Words(s.Response)
	return s
}

// Disposition is what people did with a lot, apart from what the program said.
type Disposition struct {
	Lot string `json:"lot"`
	As  string `json:"as"` // one of Dispositions
	Who string `json:"who"`
	Why string `json:"why"`
}

// Dispositions are what can be done with a lot.
var Dispositions = []string{"use", "divert", "blend", "return"}

// Purpose says why noodles (or cakes) were made from a lot.
type Purpose struct {
	Lot     string `json:"lot"`
	Product string `json:"product"`
	Why     string `json:"why"`
}

// Said is a row of a decision: what it says, and who wrote it down when.
type Said[T any] struct {
	ID       int64     `json:"row"`
	Made     time.Time `json:"made"`
	Operator string    `json:"operator"`
	Program  string    `json:"program"`
	Corrects int64     `json:"corrects,omitempty"`
	Reason   string    `json:"reason,omitempty"`
	What     T         `json:"what"`
}

// AddSpec writes a specification down. A revision is entered once; another one is a
// row of its own and counts from its day on.
func (b *Book) AddSpec(ctx context.Context, env job.Env, s Spec, operator string) (labbook.Row, error) {
	switch {
	case s.Customer == "" || s.Product == "" || s.Revision == "":
		return labbook.Row{}, &job.RequestError{Found: "a specification without customer, product or revision", Want: "all three", Do: "name them: figures without them cannot be told apart later"}
	case s.Low == nil && s.High == nil:
		return labbook.Row{}, &job.RequestError{Found: "no limit", Want: "a lower limit, an upper one, or both"}
	}
	if _, err := time.Parse("2006-01-02", s.ValidFrom); err != nil {
		return labbook.Row{}, &job.RequestError{Found: fmt.Sprintf("valid from %q", s.ValidFrom), Want: "a day such as 2026-03-14"}
	}
	r := Row(env, labbook.Spec, operator)
	r.Key, r.Product = Key(s.Customer, s.Product, s.Response, s.Revision), s.Product
	return b.add(ctx, r, s, true)
}

// AddDisposition writes down what was done with a lot.
func (b *Book) AddDisposition(ctx context.Context, env job.Env, d Disposition, operator string) (labbook.Row, error) {
	switch {
	case !slices.Contains(Dispositions, d.As):
		return labbook.Row{}, &job.RequestError{Found: fmt.Sprintf("disposition %q", d.As), Want: "one of " + strings.Join(Dispositions, ", ")}
	case d.Who == "" || d.Why == "":
		return labbook.Row{}, &job.RequestError{Found: "a disposition without who or why", Want: "both: a person decides, and says why"}
	}
	r := Row(env, labbook.Disposition, operator)
	r.Key, r.Lot = d.Lot, d.Lot
	return b.add(ctx, r, d, false)
}

// AddPurpose writes down why something was made from a lot.
func (b *Book) AddPurpose(ctx context.Context, env job.Env, p Purpose, operator string) (labbook.Row, error) {
	if p.Why == "" {
		return labbook.Row{}, &job.RequestError{Found: "no reason", Want: "why noodles or cakes were made from the lot", Do: "say it in a few words"}
	}
	r := Row(env, labbook.Purpose, operator)
	r.Key, r.Lot, r.Product = Key(p.Lot, p.Product), p.Lot, p.Product
	return b.add(ctx, r, p, false)
}

// add writes r, which says what; with once, its key may not be there before. A row about
// a lot wants the lot to be in the book.
func (b *Book) add(ctx context.Context, r labbook.Row, what any, once bool) (labbook.Row, error) {
	payload, err := encode(what)
	if err != nil {
		return labbook.Row{}, err
	}
	r.Payload = payload
	err = b.Store.Write(ctx, func(tx *labbook.Tx) error {
		if r.Lot != "" {
			known, err := tx.Has(labbook.Filter{Kinds: []labbook.Kind{labbook.Lot}, Lots: []string{r.Lot}})
			if err != nil {
				return err
			}
			if !known {
				return &job.RequestError{Found: "lot " + r.Lot, Want: "a lot of the book", Do: "look for it among the lots of the book, or add its lots file first"}
			}
		}
		if once {
			before, err := tx.First(labbook.Filter{Kinds: []labbook.Kind{r.Kind}, Keys: []string{r.Key}, Bare: true})
			if err == nil {
				return &job.RequestError{Found: fmt.Sprintf("%s again, first in row %d", Shown(r.Key), before.ID), Want: "each revision once", Do: "give the new limits a revision of their own"}
			}
			if !errors.Is(err, labbook.ErrNoRow) {
				return err
			}
		}
		r, err = tx.Add(r)
		return err
	})
	return r, err
}

// Specs are the current specifications, in the order of entry.
func (b *Book) Specs(ctx context.Context) ([]Said[Spec], error) {
	return said[Spec](ctx, b, labbook.Filter{Kinds: []labbook.Kind{labbook.Spec}})
}

// SpecsOn are the specifications that hold on a day (2006-01-02), one of each customer,
// product and response, in the order of entry: the one that became valid last, of two
// from one day the one entered last.
func (b *Book) SpecsOn(ctx context.Context, day string) ([]Said[Spec], error) {
	all, err := b.Specs(ctx)
	holds := map[[3]string]int64{}
	from := map[[3]string]string{}
	of := func(s Spec) [3]string { return [3]string{s.Customer, s.Product, s.Response} }
	for _, s := range all {
		if k := of(s.What); s.What.ValidFrom <= day && s.What.ValidFrom >= from[k] {
			holds[k], from[k] = s.ID, s.What.ValidFrom
		}
	}
	return slices.DeleteFunc(all, func(s Said[Spec]) bool { return holds[of(s.What)] != s.ID }), err
}

// SpecOn is the one of SpecsOn of a customer for a product's response. ok is false without
// any.
func (b *Book) SpecOn(ctx context.Context, customer, product, response, day string) (s Said[Spec], ok bool, err error) {
	all, err := b.SpecsOn(ctx, day)
	k := slices.IndexFunc(all, func(s Said[Spec]) bool {
		return s.What.Customer == customer && s.What.Product == product && s.What.Response == response
	})
	if k < 0 {
		return s, false, err
	}
	return all[k], true, err
}

// DispositionsOf are the dispositions of some lots, or of all, in the order of entry.
func (b *Book) DispositionsOf(ctx context.Context, lots ...string) ([]Said[Disposition], error) {
	return said[Disposition](ctx, b, labbook.Filter{Kinds: []labbook.Kind{labbook.Disposition}, Lots: lots})
}

// PurposesOf are why something was made from some lots, or from all, in the order of
// entry.
func (b *Book) PurposesOf(ctx context.Context, lots ...string) ([]Said[Purpose], error) {
	return said[Purpose](ctx, b, labbook.Filter{Kinds: []labbook.Kind{labbook.Purpose}, Lots: lots})
}

func said[T any](ctx context.Context, b *Book, f labbook.Filter) ([]Said[T], error) {
	out := []Said[T]{}
	err := b.Store.Read(ctx, func(v *labbook.View) error {
		for r, err := range v.Rows(f) {
			if err != nil {
				return err
			}
			s := Said[T]{ID: r.ID, Made: r.Made, Operator: r.Operator, Program: r.Program, Corrects: r.Corrects, Reason: r.Reason}
			if err := decode(r, &s.What); err != nil {
				return err
			}
			out = append(out, s)
		}
		return nil
	})
	return out, err
}
