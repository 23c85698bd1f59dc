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
		r := forecasts.Record{At: finding.Place{File: "lab book " + labbook.Shown(dir), Row: int(f.ID)}, Lot: f.Of.Lot, Response: f.Of.Response, Product: f.Product, Value: f.Of.Value, Low: f.Of.Low, High: f.Of.High,
			Level: f.Of.Level, Made: f.Made, Model: f.Model, Decision: f.Of.Decision, Domain: f.Of.Domain, Outcome: answered[f.ID]}
		if f.Of.IntervalLevel > 0 {
			r.Level = f.Of.IntervalLevel
		}
		out = append(out, r)
	}
	return out, nil
}

// bookOutcomes are the joined table of the lab book, and when each lot's outcome was
// first written down.
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
	measured, err := b.OutcomesIn(ctx, book.Filter{Product: c.Product, Response: c.Response}, joined)
	if err != nil {
		return nil, nil, err
	}
	recorded := map[string]time.Time{}
	for _, o := range measured {
		if at, ok := recorded[o.Lot]; !ok || o.Recorded.Before(at) {
			recorded[o.Lot] = o.Recorded
		}
	}
	return joined.Table, recorded, nil
}
