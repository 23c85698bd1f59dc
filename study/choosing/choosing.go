// Package choosing says which screened lots to make noodles or cakes from next.
//
//  1. A joined table gives the lots: those with the response are measured, those with
//     every feature and without the response may be chosen. Rows of a lot are
//     averaged. Features, product and response are a model's, or stated.
//  2. Some are taken where they lie farthest from what was measured; some at random,
//     of the held ones where saved forecasts say which were held.
//  3. Each comes with the reason: how far, from which lot, in which feature.
//
// It refuses a table of which no lot can be chosen.
package choosing

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"flourcast/dataset"
	"flourcast/dataset/trait"
	"flourcast/eval/domain"
	"flourcast/finding"
	"flourcast/forecast"
	"flourcast/forecast/choose"
	"flourcast/study/card"
	"flourcast/study/forecasts"
	"flourcast/study/job"
	"flourcast/work"
)

// Request asks for N lots by distance, Random of the held ones (or, without Forecasts, of all
// others). Model gives what Response, Features, Product and Method would.
type Request struct {
	Table     string
	Model     string
	Card      *card.Card // instead of reading Model, which names it
	Response  string
	Features  []string
	Product   string
	Method    string
	N, Random int
	Forecasts []string
	Joined    *dataset.Table     // instead of reading Table, which names it
	Records   []forecasts.Record // instead of Forecasts; nil: none
}

// Chosen is one lot and why. Distance is in SDs of the features together, from
// Nearest; Feature is the one that makes most of it. All four are absent for a lot
// taken at random. Domain is where the lot stands in the model's calibration.
type Chosen struct {
	Lot          string   `json:"lot"`
	By           string   `json:"by"` // distance | random
	Distance     *float64 `json:"distance"`
	Nearest      string   `json:"nearest,omitempty"`
	Feature      string   `json:"feature,omitempty"`
	Value        *float64 `json:"value"`
	NearestValue *float64 `json:"nearest_value"`
	Domain       string   `json:"domain,omitempty"`
	Decision     string   `json:"decision,omitempty"`
}

// Result is what `choose` prints.
type Result struct {
	Schema     string       `json:"schema"`
	Table      string       `json:"table"`
	Model      string       `json:"model,omitempty"`
	Product    string       `json:"product"`
	Response   string       `json:"response"`
	Features   []string     `json:"features"`
	Measured   int          `json:"measured"`
	Candidates int          `json:"candidates"`
	Lacking    int          `json:"lacking"` // lots without the response that lack a feature
	Held       int          `json:"held"`    // candidates that a forecast held
	HeldKnown  bool         `json:"held_known"`
	Seed       uint64       `json:"seed"`
	Chosen     []Chosen     `json:"chosen"`
	Findings   finding.List `json:"findings"`
	Notice     string       `json:"notice,omitempty"`
}

// lots are the lots of a table by name, in order of first appearance.
type lots struct {
	names []string
	x     [][]float64
}

// Choose answers. Errors: *job.RequestError, *job.NothingUsableError, those of the files.
func Choose(env job.Env, q Request) (*Result, error) {
	if q.N < 0 || q.Random < 0 || q.N+q.Random == 0 {
		return nil, &job.RequestError{Found: fmt.Sprintf("%d lots and %d at random", q.N, q.Random), Want: "one lot or more"}
	}
	res := &Result{Schema: "flourcast.choose/1", Table: q.Table, Model: q.Model, Seed: env.Seed, Chosen: []Chosen{}, Findings: finding.List{}}
	var dom *domain.Domain
	if q.Model != "" {
		c, err := card.Of(q.Card, q.Model)
		if err != nil {
			return nil, err
		}
		q.Response, q.Features, q.Product, q.Method, dom, res.Notice = c.Response, c.Features, c.Product, c.Method, c.Domain, c.Notice
	}
	if q.Response == "" || len(q.Features) == 0 {
		return nil, &job.RequestError{Found: "neither a model nor response and features", Want: "--model, or --response and --features"}
	}
	res.Product, res.Response, res.Features = q.Product, q.Response, q.Features
	t := q.Joined
	if t == nil {
		var found finding.List
		var err error
		if t, found, err = dataset.ReadTable(q.Table); err != nil {
			return nil, err
		}
		res.Findings = append(res.Findings, found...)
	}
	columns, err := q.columns(t)
	if err != nil {
		return nil, err
	}
	measured, candidates, lacking := q.split(t, columns)
	res.Measured, res.Candidates, res.Lacking = len(measured.names), len(candidates.names), lacking
	if len(candidates.names) == 0 {
		return nil, &job.NothingUsableError{What: fmt.Sprintf("%s: no lot without %s has every feature (%d lack one)", q.Table, q.Response, lacking), Findings: res.Findings}
	}
	decisions, err := q.decisions(res)
	if err != nil {
		return nil, err
	}
	q.take(env, res, measured, candidates, decisions)
	for i := range res.Chosen {
		c := &res.Chosen[i]
		k := slices.Index(candidates.names, c.Lot)
		if dom != nil {
			c.Domain = dom.Place(candidates.x[k]).Where
		}
		c.Decision = decisions[c.Lot]
	}
	return res, nil
}

// columns finds the features' columns: by their names, or with the method.
func (q Request) columns(t *dataset.Table) ([]string, error) {
	find := func(name string) (string, error) {
		id, by := trait.Split(name)
		for _, c := range []string{name, trait.Join(id, cmp.Or(by, q.Method)), id} {
			if t.IsNumber(c) {
				return c, nil
			}
		}
		return "", &job.RequestError{Found: "no column of numbers " + name + " in " + q.Table, Want: "the features of the model, or --features and --method", Do: "join the table with the runs of that method"}
	}
	out := make([]string, len(q.Features))
	for j, name := range q.Features {
		var err error
		if out[j], err = find(name); err != nil {
			return nil, err
		}
	}
	if !t.IsNumber(q.Response) {
		return nil, &job.RequestError{Found: "no column of numbers " + q.Response + " in " + q.Table, Want: "the response, measured for some lots", Do: "join the table with the results"}
	}
	return out, nil
}

// split averages the rows of each lot and parts measured lots from candidates.
func (q Request) split(t *dataset.Table, columns []string) (measured, candidates lots, lacking int) {
	type sums struct {
		x, n     []float64
		measured bool
	}
	by := map[string]*sums{}
	var order []string
	for i := range t.Len() {
		if p, ok := t.Text("product", i); ok && q.Product != "" && p != q.Product {
			continue
		}
		name := t.Lot(i)
		if by[name] == nil {
			by[name] = &sums{x: make([]float64, len(columns)), n: make([]float64, len(columns))}
			order = append(order, name)
		}
		s := by[name]
		for j, c := range columns {
			if v, ok := t.Number(c, i); ok {
				s.n[j]++
				s.x[j] += (v - s.x[j]) / s.n[j]
			}
		}
		if _, ok := t.Number(q.Response, i); ok {
			s.measured = true
		}
	}
	for _, name := range order {
		s := by[name]
		whole := !slices.Contains(s.n, 0)
		switch {
		case s.measured && whole:
			measured.names, measured.x = append(measured.names, name), append(measured.x, s.x)
		case !s.measured && whole:
			candidates.names, candidates.x = append(candidates.names, name), append(candidates.x, s.x)
		case !s.measured:
			lacking++
		}
	}
	return measured, candidates, lacking
}

// decisions reads what saved forecasts said of the lots.
func (q Request) decisions(res *Result) (map[string]string, error) {
	out := map[string]string{}
	records, _, found, err := forecasts.Read(q.Forecasts, nil)
	if err != nil {
		return nil, err
	}
	res.Findings = append(res.Findings, found...)
	for _, r := range append(records, q.Records...) {
		if r.Response == "" || r.Response == q.Response {
			out[r.Lot] = r.Decision
		}
	}
	res.HeldKnown = len(q.Forecasts)+len(q.Records) > 0
	return out, nil
}

// take fills Chosen.
func (q Request) take(env job.Env, res *Result, measured, candidates lots, decisions map[string]string) {
	sd := choose.Scale(measured.x, candidates.x)
	taken := map[int]bool{}
	for _, p := range choose.Farthest(measured.x, candidates.x, sd, q.N) {
		taken[p.At] = true
		c := Chosen{Lot: candidates.names[p.At], By: "distance"}
		if p.Nearest >= 0 {
			others := candidates
			if p.Measured {
				others = measured
			}
			near, name := others.x[p.Nearest], others.names[p.Nearest]
			v, at, d := candidates.x[p.At][p.Feature], near[p.Feature], p.Distance/math.Sqrt(float64(len(sd)))
			c.Nearest, c.Feature, c.Value, c.NearestValue, c.Distance = name, q.Features[p.Feature], &v, &at, &d
		}
		res.Chosen = append(res.Chosen, c)
	}
	if short := q.N - len(res.Chosen); short > 0 {
		res.Findings.Add(finding.Finding{Code: "fewer-lots", Severity: finding.Note, Found: fmt.Sprintf("%d lots fewer than asked for: no other lot differs from those measured or chosen", short)})
	}
	var from []int
	for i, name := range candidates.names {
		held := decisions[name] == forecast.Hold
		if held {
			res.Held++
		}
		if !taken[i] && (held || !res.HeldKnown) {
			from = append(from, i)
		}
	}
	drawn := choose.Random(work.Rand(env.Seed, "choose"), from, q.Random)
	for _, i := range drawn {
		res.Chosen = append(res.Chosen, Chosen{Lot: candidates.names[i], By: "random"})
	}
	if len(drawn) < q.Random {
		res.Findings.Add(finding.Finding{Code: "fewer-held", Severity: finding.Note, Found: fmt.Sprintf("%d to draw from at random, %d asked for", len(from), q.Random)})
	}
}
