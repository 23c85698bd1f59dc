package book

import (
	"context"
	"time"

	"flourcast/dataset/labbook"
	"flourcast/study/card"
)

// Model is a model of the book with who wrote it down when.
type Model struct {
	ID       int64
	Made     time.Time
	Operator string
	Card     *card.Card
}

// Models are the current models of the book, in the order of entry. A payload that is
// no model is an error that names its row.
func (b *Book) Models(ctx context.Context) ([]Model, error) {
	out := []Model{}
	err := b.Store.Read(ctx, func(v *labbook.View) error {
		for r, err := range v.Rows(labbook.Filter{Kinds: []labbook.Kind{labbook.Model}}) {
			if err != nil {
				return err
			}
			c, err := card.Decode(rowName(r.ID), r.Payload)
			if err != nil {
				return err
			}
			out = append(out, Model{r.ID, r.Made, r.Operator, c})
		}
		return nil
	})
	return out, err
}
