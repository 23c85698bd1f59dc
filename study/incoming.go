package study

import (
	"context"
	"slices"

	"flourcast/dataset"
	"flourcast/dataset/method"
	"flourcast/finding"
	"flourcast/study/book"
	"flourcast/study/card"
	"flourcast/study/newlots"
	"flourcast/study/validation"
)

// Incoming reads new lots as Forecast does and puts their features in the card's
// order, without forecasting: rows of lots that lack a feature, or may not be put to
// the model, carry the problem. Other products are passed over and counted.
func Incoming(ctx context.Context, env Env, c *card.Card, q ForecastRequest) (rows []validation.Row, other int, fl finding.List, err error) {
	read, err := newlots.Read(ctx, env, c, q.files())
	if err != nil {
		return nil, 0, nil, err
	}
	for _, l := range read.Lots {
		if l.OfAnother(c.Product) {
			other++
			continue
		}
		rows = append(rows, validationRow(c, l, 0))
	}
	return rows, other, append(slices.Clone(q.found), read.Findings...), nil
}

// BookIncoming is Incoming for the lots of the lab book in dir that ForecastBook would
// take: those that were not measured yet and that the model was not made from. files are
// the book's rows (BookFiles).
func BookIncoming(ctx context.Context, env Env, dir string, files dataset.Files, c *card.Card, methods []method.Method) (rows []validation.Row, other int, fl finding.List, err error) {
	b, err := book.Open(ctx, dir)
	if err != nil {
		return nil, 0, nil, err
	}
	defer b.Close()
	lots, found, err := bookLots(ctx, env, b, BookForecastRequest{ForecastRequest: ForecastRequest{Methods: methods}, files: &files}, c)
	if err != nil || len(lots) == 0 {
		return nil, 0, nil, err
	}
	return Incoming(ctx, env, c, ForecastRequest{lots: lots, found: found})
}
