package blending

import (
	"fmt"
	"maps"
	"slices"

	"flourcast/forecast/blend"
	"flourcast/forecast/conformance"
	"flourcast/forecast/money"
	"flourcast/study/job"
	"flourcast/study/stock"
)

// stated takes the shares of the request; the limits are held against them.
func (q Request) stated(res *Result, p blend.Problem, props []property) error {
	res.Stated = true
	sum := 0.0
	for _, name := range slices.Sorted(maps.Keys(q.Shares)) {
		x := q.Shares[name]
		if !(x >= 0 && x <= 1) {
			return &job.RequestError{Field: "shares", Found: fmt.Sprintf("a share of %v of %s", x, name), Want: "0 to 1"}
		}
		if !slices.Contains(p.Flours, name) {
			return &job.RequestError{Field: "shares", Found: "a share of " + name, Want: "a flour of " + q.Stock + " that can be used", Do: "see the findings of the stock file"}
		}
	}
	shares := make([]float64, len(p.Flours))
	for i, f := range p.Flours {
		shares[i] = q.Shares[f]
		sum += shares[i]
	}
	if sum < 0.999 || sum > 1.001 {
		return &job.RequestError{Field: "shares", Found: fmt.Sprintf("shares that add up to %.4g", sum), Want: "1"}
	}
	res.Feasible = true
	for i, f := range p.Flours {
		shares[i] /= sum
		res.Shares[f] = shares[i]
	}
	for _, pr := range props {
		v, err := pr.Of(shares)
		if err != nil {
			return &job.RequestError{Found: pr.Name + ": " + err.Error(), Want: "figures that the rule can take"}
		}
		for _, side := range []string{blend.Low, blend.High} {
			at := pr.Low
			if side == blend.High {
				at = pr.High
			}
			if at == nil {
				continue
			}
			met := side == blend.Low && v >= *at || side == blend.High && v <= *at
			res.Limits = append(res.Limits, Limit{Column: pr.Name, Side: side, Limit: *at, Held: *at, Value: v, Kept: met})
			if !met {
				res.Feasible = false
				res.Binding = append(res.Binding, pr.Name)
			}
		}
	}
	return nil
}

// finish adds the money, the tonnes and what the blend is expected to have.
func (q Request) finish(res *Result, s *stock.File, props []property) error {
	shares := make([]float64, len(s.Flours))
	cost := money.Amount{}
	for i, f := range s.Flours {
		shares[i] = res.Shares[f.Name]
		cost = cost.Plus(money.Of(shares[i]).Times(f.Price))
		if f.StockT != nil && shares[i] > 0 {
			if can := *f.StockT / shares[i]; res.MostT == nil || can < *res.MostT {
				res.MostT = &can
			}
		}
	}
	cost = cost.Round(8)
	res.Cost = &cost
	total := money.Amount{}
	for i, f := range s.Flours {
		l := Line{Flour: f.Name, Share: shares[i], Price: f.Price, StockT: f.StockT}
		if q.Tonnes > 0 {
			weighed := money.Of(shares[i] * q.Tonnes).Round(3) // whole kilograms
			bill := weighed.Times(f.Price).Round(2)
			t := weighed.Float()
			l.Tonnes, l.Cost = &t, &bill
			total = total.Plus(bill)
		}
		res.Recipe = append(res.Recipe, l)
	}
	if q.Tonnes > 0 {
		res.Tonnes, res.Total = &q.Tonnes, &total
	}
	for _, pr := range props {
		e, err := pr.expected(shares)
		if err != nil {
			return &job.RequestError{Found: pr.Name + ": " + err.Error(), Want: "figures that the rule can take"}
		}
		res.Expected = append(res.Expected, e)
		q.probability(res, pr, e)
	}
	return nil
}

// probability is that of keeping the limits of one column as they were asked for.
func (q Request) probability(res *Result, pr property, e Expected) {
	for i := range res.Limits {
		l := &res.Limits[i]
		if l.Column != pr.Name {
			continue
		}
		if asked := pr.asked.Low; l.Side == blend.Low && asked != nil {
			l.Limit = *asked
		} else if asked := pr.asked.High; l.Side == blend.High && asked != nil {
			l.Limit = *asked
		}
		if e.SD == nil {
			continue
		}
		p, err := conformance.Limits{Low: pr.asked.Low, High: pr.asked.High}.Probability(e.Value, conformance.Spread{U: *e.SD, DF: float64(e.DF)})
		if err == nil {
			l.Probability = &p
		}
	}
}
