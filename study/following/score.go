package following

import (
	"context"
	"math"
	"time"

	"flourcast/dataset"
	"flourcast/forecast"
	"flourcast/forecast/follow"
	"flourcast/study"
	"flourcast/study/book"
	"flourcast/study/forecasts"
	"flourcast/study/validation"
)

// Score sets what was measured on a lot against what was forecast of it, in the unit of
// the response: the error is measured − forecast, Inside whether the interval holds
// what was measured, Met whether that met the specification that the forecast was set
// against, Right whether an accepted lot met it or a rejected one did not. What the
// forecast does not have stays absent; Right does too where nothing was decided, as for
// a held lot. The forecast must have a value.
func Score(f forecasts.Record, measured float64) Lot {
	l := Lot{Lot: validation.Lot{Lot: f.Lot, Measured: measured, Forecast: *f.Value, Error: measured - *f.Value, Low: f.Low, High: f.High, Domain: f.Domain},
		Level: f.Level, Decision: f.Decision, Product: f.Product, Spec: f.Spec, OutcomeRow: f.Outcome}
	if !f.Made.IsZero() {
		l.Made = f.Made.Format(time.RFC3339)
	}
	if l.Low != nil && l.High != nil {
		inside := *l.Low <= l.Measured && l.Measured <= *l.High
		l.Inside = &inside
	}
	spec, err := forecast.ParseSpec(f.Spec)
	if err != nil || f.Response != "" && spec.Response != f.Response {
		return l
	}
	met := spec.Met(measured)
	l.Met = &met
	if f.Decision == forecast.Accept || f.Decision == forecast.Reject {
		right := met == (f.Decision == forecast.Accept)
		l.Right = &right
	}
	return l
}

// Scored is a forecast of a lab book and what became of it: Outcome is nil for the
// reason in Why.
type Scored struct {
	Of      book.Forecast
	Outcome *Lot
	Why     string
}

// OfLot are the forecasts of a lot of the lab book in dir, in the order in which they
// were made, scored as Follow scores them. joined is the book joined, nil where it has
// to be.
func OfLot(ctx context.Context, env study.Env, dir, lot string, joined *dataset.Joined) ([]Scored, error) {
	b, err := book.Open(ctx, dir)
	if err != nil {
		return nil, err
	}
	defer b.Close()
	made, err := b.Forecasts(ctx, book.Filter{Lots: []string{lot}})
	if err != nil || len(made) == 0 {
		return nil, err
	}
	answered, err := b.Answered(ctx)
	if err != nil {
		return nil, err
	}
	if joined == nil {
		if joined, err = b.Table(ctx, dataset.JoinOptions{Cores: env.Cores, Progress: env.Report()}); err != nil {
			return nil, err
		}
	}
	known := map[[2]string]measurements{}
	out := make([]Scored, len(made))
	for i, f := range made {
		r := record(dir, f, answered[f.ID])
		key := [2]string{f.Product, r.Response}
		m, ok := known[key]
		if !ok {
			t, recorded, err := measured(ctx, b, joined, f.Product, r.Response)
			if err != nil {
				return nil, err
			}
			m = measurements{by: map[string]outcome{}}
			m.take(t, f.Product, r.Response, recorded)
			known[key] = m
		}
		out[i] = Scored{Of: f}
		if o, ok := m.of(lot); !ok {
			out[i].Why = NotMeasured
		} else if out[i].Why = o.unfit(r); out[i].Why == "" {
			l := followed(r, o)
			out[i].Outcome = &l
		}
	}
	return out, nil
}

// standardised is the error in standard errors of the lot's forecast. Of a model of
// the response's logarithm it is that of the logarithm, from the middle of the interval,
// which a forecast of the mean is not.
func (l Lot) standardised(df float64, log bool) (z float64, ok bool) {
	if l.Low == nil || l.High == nil {
		return 0, false
	}
	low, high, off := *l.Low, *l.High, l.Error
	if log {
		if !(low > 0 && l.Measured > 0) {
			return 0, false
		}
		low, high = math.Log(low), math.Log(high)
		off = math.Log(l.Measured) - (low+high)/2
	}
	se, ok := follow.SE(low, high, l.Level, df)
	if !ok {
		return 0, false
	}
	return off / se, true
}
