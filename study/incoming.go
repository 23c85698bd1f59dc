package study

import (
	"context"

	"flourcast/finding"
	"flourcast/study/card"
	"flourcast/study/validation"
)

// Incoming reads new lots as Forecast does and puts their features in the card's
// order, without forecasting: rows of lots that lack a feature, or may not be put to
// the model, carry the problem. Other products are passed over and counted.
func Incoming(ctx context.Context, env Env, c *card.Card, q ForecastRequest) (rows []validation.Row, other int, fl finding.List, err error) {
	var read ForecastResult
	lots, err := readNewLots(ctx, env, q, c, &read)
	if err != nil {
		return nil, 0, nil, err
	}
	for _, l := range lots {
		if l.ofAnother(c.Product) {
			other++
			continue
		}
		rows = append(rows, validationRow(c, l, 0))
	}
	return rows, other, read.Findings, nil
}
