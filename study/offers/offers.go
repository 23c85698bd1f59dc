// Package offers sets the prices of flours on offer against what a model expects of
// them: what does a tonne that conforms cost?
//
//  1. The lots are forecast against the specification, as `forecast` would.
//  2. A prices file (or the lots file, or the lab book) gives each a price, and perhaps
//     water absorption.
//  3. Package worth gives the expected cost of a conforming tonne, the price at which the
//     order changes, and the frontier of price and probability.
//
// Only lots whose forecast may decide are ranked: one outside of what the model was
// calibrated on, or held for another doubt, is listed with the reason, and so is a lot
// without a price. It refuses prices in two currencies and a forecast without limits.
package offers

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/sheet"
	"flourcast/finding"
	"flourcast/forecast"
	"flourcast/forecast/money"
	"flourcast/forecast/worth"
	"flourcast/study"
	"flourcast/study/bookstock"
	"flourcast/study/job"
)

// What a conforming tonne is of.
const (
	PerFlour = "flour"
	PerDough = "dough"
)

// Request: Forecast is the model, the lots' files and the limits. Prices is the file of
// prices; empty: Forecast.Lots. With Book, the folder of a lab book, the Lots of it are
// forecast instead of files, nothing is written down, prices are the book's where Prices
// is empty, and Customer may stand for the limits. Per is PerFlour when empty.
type Request struct {
	Forecast study.ForecastRequest
	Book     string
	Lots     []string
	Customer string
	Prices   string
	Costs    worth.Costs
	Per      string
}

// Candidate is one lot. Ranked ones have a Rank from 1 and their costs; the others a Why.
type Candidate struct {
	Lot         string        `json:"lot"`
	Rank        int           `json:"rank,omitempty"`
	Why         string        `json:"why,omitempty"`
	Price       *money.Amount `json:"price"`
	WaterPct    *money.Amount `json:"water_absorption_pct,omitempty"`
	Value       *float64      `json:"value"`
	Low         *float64      `json:"low"`
	High        *float64      `json:"high"`
	Probability *float64      `json:"probability"`
	Domain      string        `json:"domain"`
	Decision    string        `json:"decision"`
	// PerConforming and PerDough are the expected cost of a conforming tonne; TiesAt the
	// price at which the lot costs as much as the best of the others.
	PerConforming *money.Amount `json:"cost_per_conforming_tonne"`
	PerDough      *money.Amount `json:"cost_per_tonne_of_dough,omitempty"`
	TiesAt        *money.Amount `json:"ties_at_price,omitempty"`
	Frontier      bool          `json:"frontier"`
	BeatenBy      string        `json:"beaten_by,omitempty"`
}

// Costs are the user's figures, as they stand in the result.
type Costs struct {
	Hold   money.Amount `json:"hold"`
	Reject money.Amount `json:"reject"`
	Refund money.Amount `json:"refund"`
	Water  money.Amount `json:"water"`
}

// Result is what `price` prints. Rows of the prices file: read = priced + unpriced +
// refused.
type Result struct {
	Schema     string         `json:"schema"`
	Model      string         `json:"model"`
	Product    string         `json:"product"`
	Response   string         `json:"response"`
	Standing   string         `json:"standing"`
	Spec       *forecast.Spec `json:"spec"`
	Rule       forecast.Rule  `json:"rule"`
	Currency   string         `json:"currency,omitempty"`
	Per        string         `json:"per"`
	Costs      Costs          `json:"costs"`
	Candidates []Candidate    `json:"candidates"`
	Rows       int            `json:"rows_read"`
	Priced     int            `json:"rows_priced"`
	Unpriced   int            `json:"rows_unpriced"`
	Refused    int            `json:"rows_refused"`
	Findings   finding.List   `json:"findings"`
	Notice     string         `json:"notice,omitempty"`
}

// offer is what the prices file says of one lot.
type offer struct {
	price money.Amount
	water *money.Amount
}

// Compare answers. Errors: *job.RequestError, *job.NothingUsableError, those of the files.
func Compare(ctx context.Context, env job.Env, q Request) (*Result, error) {
	switch {
	case q.Book != "" && len(q.Lots) == 0:
		return nil, &job.RequestError{Field: "lot", Found: "a lab book and no lot", Want: "the lots to compare"}
	case q.Forecast.Spec == nil && q.Customer == "":
		return nil, &job.RequestError{Field: "spec", Found: "no specification", Want: "limits of the response, such as hardness_N=..3.9: without limits nothing conforms"}
	case q.Prices == "" && q.Forecast.Lots == "" && q.Book == "":
		return nil, &job.RequestError{Field: "prices", Found: "no prices", Want: "a file of prices, or prices in the lots file"}
	case q.Per == "":
		q.Per = PerFlour
	case q.Per != PerFlour && q.Per != PerDough:
		return nil, &job.RequestError{Field: "per", Found: "a cost per tonne of " + q.Per, Want: "flour or dough"}
	}
	f, err := q.forecast(ctx, env)
	if err != nil {
		return nil, err
	}
	res := &Result{Schema: "flourcast.price/1", Model: f.Model, Product: f.Product, Response: f.Response, Standing: f.Standing, Spec: f.Spec, Rule: f.Rule, Per: q.Per,
		Costs: Costs{q.Costs.Hold, q.Costs.Reject, q.Costs.Refund, q.Costs.Water}, Candidates: []Candidate{}, Findings: f.Findings, Notice: f.Notice}
	if res.Findings == nil {
		res.Findings = finding.List{}
	}
	prices, err := q.prices(ctx, env, res)
	if err != nil {
		return nil, err
	}
	var ranked []worth.Candidate
	byLot := map[string]Candidate{}
	var others []Candidate
	for _, one := range f.Forecasts {
		c := Candidate{Lot: one.Lot, Value: one.Value, Low: one.Low, High: one.High, Probability: one.Probability, Domain: one.Domain, Decision: one.Decision}
		o, priced := prices[one.Lot]
		if priced {
			c.Price, c.WaterPct = &o.price, o.water
		}
		switch footing := one.Footing(f.Standing, f.Rule); {
		case !priced:
			c.Why = "no price"
		case footing != forecast.Decided && len(one.Reasons) > 0:
			c.Why = one.Reasons[0]
		case footing != forecast.Decided:
			c.Why = "nothing was forecast"
		case *one.Probability < 1e-6:
			c.Why = "it is all but sure to fail: no tonne conforms"
		case q.Per == PerDough && o.water == nil:
			c.Why = "no water absorption"
		default:
			if _, twice := byLot[c.Lot]; twice {
				return nil, &job.RequestError{Found: "lot " + c.Lot + " twice in the files", Want: "one row for each lot"}
			}
			byLot[c.Lot] = c
			ranked = append(ranked, worth.Candidate{Name: c.Lot, Price: o.price, Probability: *one.Probability, Held: one.Decision == forecast.Hold, WaterPct: o.water})
			continue
		}
		others = append(others, c)
	}
	w, err := worth.Rank(ranked, q.Costs, q.Per == PerDough)
	if err != nil {
		return nil, &job.RequestError{Found: err.Error(), Want: "prices and costs that can be"}
	}
	for i, x := range w {
		c := byLot[x.Name]
		c.Rank, c.PerConforming, c.PerDough, c.TiesAt, c.Frontier, c.BeatenBy = i+1, &x.PerConforming, x.PerDough, x.TiesAt, x.Frontier, x.Beaten
		res.Candidates = append(res.Candidates, c)
	}
	res.Candidates = append(res.Candidates, others...)
	return res, nil
}

// forecast forecasts the lots of the files or of the book.
func (q Request) forecast(ctx context.Context, env job.Env) (*study.ForecastResult, error) {
	if q.Book == "" {
		return study.Forecast(ctx, env, q.Forecast)
	}
	return study.ForecastBook(ctx, env, study.BookForecastRequest{ForecastRequest: q.Forecast, Dir: q.Book, Wanted: q.Lots, Customer: q.Customer, Unrecorded: true})
}

// prices are those of a file or, without one, of the book.
func (q Request) prices(ctx context.Context, env job.Env, res *Result) (map[string]offer, error) {
	if q.Prices != "" || q.Book == "" {
		return q.read(res)
	}
	s, err := bookstock.Open(ctx, env, bookstock.Request{Dir: q.Book, Flours: bookstock.Named(q.Lots), Methods: q.Forecast.Methods})
	if err != nil {
		return nil, err
	}
	defer s.Close()
	if q.Prices, q.Forecast.Map, err = s.File(nil); err != nil {
		return nil, err
	}
	return q.read(res)
}

// read reads the prices by lot.
func (q Request) read(res *Result) (map[string]offer, error) {
	path := q.Prices
	if path == "" {
		path = q.Forecast.Lots
	}
	s, err := sheet.Open(path, q.Forecast.Map)
	if err != nil {
		return nil, err
	}
	lot, price, currency, water := s.Column("lot"), s.Column("price"), s.Column("currency"), s.Column("water_absorption_pct")
	if lot < 0 { // the glossary takes "flour" for a mass weighed in
		lot = slices.IndexFunc(s.Columns, func(c sheet.Column) bool { return strings.EqualFold(strings.TrimSpace(c.Name), "flour") })
	}
	if lot < 0 || price < 0 {
		return nil, &job.RequestError{Found: "no column lot or no column price in " + path, Want: "lot, price and, where they count, currency and water_absorption_pct"}
	}
	out := map[string]offer{}
	refuse := func(row sheet.Row, col int, code, found, want, do string) {
		res.Refused++
		res.Findings.Add(finding.Finding{Code: code, Severity: finding.Refused, At: s.Place(row, col), Found: found, Want: want, Do: do})
	}
	for row, bad := range s.Rows() {
		res.Rows++
		if bad != nil {
			res.Refused++
			res.Findings.Add(*bad)
			continue
		}
		name, named := s.Text(row, lot)
		text, priced := s.Text(row, price)
		if !priced {
			res.Unpriced++
			continue
		}
		if !named {
			refuse(row, lot, "lot-missing", "no lot", "the lot that the price is of", "enter it")
			continue
		}
		if _, twice := out[name]; twice {
			refuse(row, lot, "price-twice", "a second price of "+name, "one price for each lot", "keep one")
			continue
		}
		v, err := money.Parse(text, s.Decimal)
		if err != nil || v.Sign() < 0 {
			refuse(row, price, "price-not-read", fmt.Sprintf("%q", text), "a decimal number of 0 or more, without a currency", "mend it; a currency has a column of its own")
			continue
		}
		if text, ok := s.Text(row, currency); ok {
			c, perTonne := money.Currency(text)
			if !perTonne {
				refuse(row, currency, "not-per-tonne", text, "a price per tonne", "convert the price: nothing is converted here")
				continue
			}
			if res.Currency == "" {
				res.Currency = strings.Clone(c)
			}
			if c != res.Currency {
				refuse(row, currency, "currency-differs", c, res.Currency+", as above", "state all prices in one currency: nothing is converted")
				continue
			}
		}
		o := offer{price: v}
		w, ok, bad := s.Value(row, water)
		switch {
		case bad != nil:
			res.Refused++
			res.Findings.Add(*bad)
			continue
		case ok && !(w >= 0 && w <= 200):
			refuse(row, water, "water-not-possible", fmt.Sprint(w), "0 to 200 %", "mend it")
			continue
		case ok:
			pct := money.Of(w)
			o.water = &pct
		}
		out[strings.Clone(name)] = o
		res.Priced++
	}
	if len(out) == 0 {
		return nil, &job.NothingUsableError{What: path + ": no price", Findings: res.Findings}
	}
	return out, nil
}
