package book

import (
	"context"
	"errors"
	"slices"

	"flourcast/dataset/labbook"
	"flourcast/dataset/labbook/medium"
	"flourcast/dataset/method"
	"flourcast/study/job"
)

// KeepMethods writes down the laboratory's own pasting methods that a call came with,
// by their id. One that the book has in the same words is not written again; of two
// wordings of an id the later one counts, and both stay.
func KeepMethods(tx *labbook.Tx, env job.Env, methods []Text, operator string) error {
	for _, t := range methods {
		m, err := method.Parse(t.Name, []byte(t.Text))
		if err != nil {
			return err
		}
		r := Row(env, labbook.Method, operator)
		r.Key, r.Source = m.ID, medium.Sum([]byte(t.Text))
		if r.Payload, err = encode(t); err != nil {
			return err
		}
		last, err := tx.First(labbook.Filter{Kinds: []labbook.Kind{labbook.Method}, Keys: []string{m.ID}, Limit: 1, Bare: true})
		if err == nil && last.Source == r.Source {
			continue
		}
		if err == nil {
			r.Corrects, r.Reason = last.ID, "another wording was given with --method-file"
		} else if !errors.Is(err, labbook.ErrNoRow) {
			return err
		}
		if _, err := tx.Add(r); err != nil {
			return err
		}
	}
	return nil
}

// Methods are the laboratory's own methods in the book.
func (b *Book) Methods(ctx context.Context) (out []method.Method, err error) {
	err = b.Store.Read(ctx, func(v *labbook.View) (err error) {
		out, err = methods(v)
		return err
	})
	return out, err
}

// methods are the laboratory's own methods in the book, in the order of entry.
func methods(v *labbook.View) ([]method.Method, error) {
	var out []method.Method
	for r, err := range v.Rows(labbook.Filter{Kinds: []labbook.Kind{labbook.Method}}) {
		if err != nil {
			return nil, err
		}
		var t Text
		if err := decode(r, &t); err != nil {
			return nil, err
		}
		m, err := method.Parse(t.Name, []byte(t.Text))
		if err != nil {
			return nil, err
		}
		out = append(out, m)
	}
	return out, nil
}

// WithMethods are methods given by hand, and those of the book beside them: what is
// given stands for the book's of the same id.
func WithMethods(given, kept []method.Method) []method.Method {
	out := slices.Clone(given)
	for _, m := range kept {
		if !slices.ContainsFunc(given, func(g method.Method) bool { return g.ID == m.ID }) {
			out = append(out, m)
		}
	}
	return out
}
