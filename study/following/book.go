package following

import (
	"context"
	"time"

	"flourcast/dataset"
	"flourcast/dataset/labbook"
	"flourcast/finding"
	"flourcast/study"
	"flourcast/study/book"
	"flourcast/study/card"
	"flourcast/study/forecasts"
)

// BookForecasts are the forecasts in the lab book of dir, in the order in which they
// were made; model (the SHA-256 of a model file) and response choose, "" does not.
func BookForecasts(ctx context.Context, dir, model, response string) ([]forecasts.Record, error) {
	b, err := book.Open(ctx, dir)
	if err != nil {
		return nil, err
	}
	defer b.Close()
	made, err := b.Forecasts(ctx, book.Filter{Model: model, Response: response})
	if err != nil {
		return nil, err
	}
	answered, err := b.Answered(ctx)
	if err != nil {
		return nil, err
	}
	out := []forecasts.Record{}
	for _, f := range made {
		out = append(out, record(dir, f, answered[f.ID]))
	}
	return out, nil
}

// record is a forecast of the lab book in dir; answer is the row of its outcome, 0 for none.
func record(dir string, f book.Forecast, answer int64) forecasts.Record {
	r := forecasts.Record{At: finding.Place{File: "lab book " + labbook.Shown(dir), Row: int(f.ID)}, Lot: f.Of.Lot, Response: f.Of.Response, Product: f.Product, Value: f.Of.Value, Low: f.Of.Low, High: f.Of.High,
		Level: f.Of.Level, Made: f.Made, Model: f.Model, Decision: f.Of.Decision, Domain: f.Of.Domain, Spec: f.Of.Spec, Outcome: answer}
	if f.Of.IntervalLevel > 0 {
		r.Level = f.Of.IntervalLevel
	}
	return r
}

// bookOutcomes are measured of the lab book, by a model's product and response.
func bookOutcomes(ctx context.Context, env study.Env, q Request, c *card.Card) (*dataset.Table, map[string]time.Time, error) {
	joined := q.Joined
	if joined == nil {
		rows, err := q.rows()
		if err != nil {
			return nil, nil, err
		}
		if joined, err = dataset.Join(ctx, rows, dataset.JoinOptions{Cores: env.Cores, Progress: env.Report()}); err != nil {
			return nil, nil, err
		}
	}
	b, err := book.Open(ctx, q.Book)
	if err != nil {
		return nil, nil, err
	}
	defer b.Close()
	return measured(ctx, b, joined, c.Product, c.Response)
}

// measured is the joined table of the lab book, and when each lot's outcome was first
// written down.
func measured(ctx context.Context, b *book.Book, joined *dataset.Joined, product, response string) (*dataset.Table, map[string]time.Time, error) {
	all, err := b.OutcomesIn(ctx, book.Filter{Product: product, Response: response}, joined)
	if err != nil {
		return nil, nil, err
	}
	recorded := map[string]time.Time{}
	for _, o := range all {
		if at, ok := recorded[o.Lot]; !ok || o.Recorded.Before(at) {
			recorded[o.Lot] = o.Recorded
		}
	}
	return joined.Table, recorded, nil
}
