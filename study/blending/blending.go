// Package blending answers which flours of a stock to blend for a specification at
// least cost, and sets the run of a blend, once made, against what was expected.
//
//  1. A stock file has a row for each flour: flour, price, stock_t, and any properties.
//  2. Every limited property gets the rule by which it mixes: what is a share of mass by
//     mass, falling number through the liquefaction number, pasting figures by the rule
//     that is asked for, or by what the laboratory's own blends say.
//  3. Flours whose pastes do not mix (waxy with others, sprouted) are refused, or
//     flagged where the user allows them.
//  4. Package blend finds the shares; money is added up in decimals.
//  5. With a run of the blend, predicted and measured are set side by side.
//
// It refuses limits on texture and cakes, which no rule mixes, a row without what the
// limits ask for, and own blends too few to learn from.
package blending

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"flourcast/dataset/method"
	"flourcast/dataset/sheet"
	"flourcast/finding"
	"flourcast/forecast"
	"flourcast/forecast/blend"
	"flourcast/forecast/conformance"
	"flourcast/forecast/mixing"
	"flourcast/forecast/money"
	"flourcast/study/job"
)

// Advice stands in every result.
const Advice = "Make the blend and run it before you promise it."

// How pasting figures mix.
const (
	Linear   = "linear"
	Log      = "log"
	Measured = "measured"
)

// Request: Stock and Limits are required, or Shares instead of an optimum (then Limits
// may be none). Mixing is Linear when empty. Blends are the laboratory's own, Lineage the
// lots file with their parents where Blends does not have them. Confidence, above 0.5,
// draws the limits of pasting figures in by what own blends deviate; 0 takes them as they
// are. Allow names what is flagged and not refused: waxy, sprouted. Run is files of a run
// of the blend that was made, by Method, under the name Lot where they hold several.
type Request struct {
	Stock        string
	Map          *sheet.Map
	Limits       []forecast.Spec
	Mixing       string
	Blends       string
	Lineage      string
	MaxFlours    int
	MinShare     float64
	Tonnes       float64 // wanted; 0: any
	Confidence   float64
	SproutBelowS float64 // falling number, s; 0: evidence.FallingLow
	Allow        []string
	Shares       map[string]float64
	Run          []string
	Lot          string
	Method       string
	Methods      []method.Method
}

// Line is one flour of the recipe.
type Line struct {
	Flour  string        `json:"flour"`
	Share  float64       `json:"share"`
	Price  money.Amount  `json:"price"`
	StockT *float64      `json:"stock_t"`
	Tonnes *float64      `json:"tonnes,omitempty"`
	Cost   *money.Amount `json:"cost,omitempty"` // of those tonnes
}

// Limit is what became of one limit. Limit is what was asked for, Held what the blend was
// solved for (drawn in by Confidence). Saves is what relaxing it by one unit saves per
// tonne of blend. Probability is that of keeping the limits of this column, from the
// deviations of own blends; absent without.
type Limit struct {
	Column      string   `json:"column"` // or stock_t
	Flour       string   `json:"flour,omitempty"`
	Side        string   `json:"side"`
	Limit       float64  `json:"limit"`
	Held        float64  `json:"held"`
	Value       float64  `json:"value"`
	Kept        bool     `json:"kept"`
	Binds       bool     `json:"binds"`
	Saves       float64  `json:"saves"`
	Probability *float64 `json:"probability"`
}

// Expected is one property of the blend. Exact says that the rule is one of mass. ByMass
// and ByLog are what the two stated rules give, for pasting figures; their span is the
// least doubt about the rule. SD is by how much OwnBlends of the laboratory's lay off the
// rule, with DF degrees of freedom; both absent without.
type Expected struct {
	Column    string   `json:"column"`
	Rule      string   `json:"rule"`
	Exact     bool     `json:"exact"`
	Value     float64  `json:"value"`
	ByMass    *float64 `json:"by_mass"`
	ByLog     *float64 `json:"by_log"`
	SD        *float64 `json:"sd"`
	DF        int      `json:"df,omitempty"`
	Bias      *float64 `json:"bias,omitempty"`
	OwnBlends int      `json:"own_blends"`
}

// Relaxed is a limit of a conflict. Needed is what the nearest blend has.
type Relaxed struct {
	Column string  `json:"column"`
	Flour  string  `json:"flour,omitempty"`
	Side   string  `json:"side"`
	Limit  float64 `json:"limit"`
	Needed float64 `json:"needed"`
}

// Result is what `blend` prints. Shares names every flour that could be used. Cost is per
// tonne of blend, Total of Tonnes; MostT is what the stock allows of this blend. When
// Feasible is false Shares is empty, Cost absent, and Binding the limits that conflict.
type Result struct {
	Schema       string             `json:"schema"`
	Stock        string             `json:"stock"`
	Feasible     bool               `json:"feasible"`
	Stated       bool               `json:"stated"` // the shares were given, not found
	Mixing       string             `json:"mixing"`
	Currency     string             `json:"currency,omitempty"`
	Shares       map[string]float64 `json:"shares"`
	Cost         *money.Amount      `json:"cost"`
	Binding      []string           `json:"binding"`
	ShadowPrices map[string]float64 `json:"shadow_prices"`
	Recipe       []Line             `json:"recipe"`
	Limits       []Limit            `json:"limits"`
	Expected     []Expected         `json:"expected"`
	Tonnes       *float64           `json:"tonnes,omitempty"`
	Total        *money.Amount      `json:"total,omitempty"`
	MostT        *float64           `json:"most_t"`
	Conflict     []Relaxed          `json:"conflict,omitempty"`
	Nearest      []Relaxed          `json:"nearest,omitempty"`
	Compared     []Compared         `json:"compared,omitempty"`
	Confidence   float64            `json:"confidence,omitempty"`
	RowsRead     int                `json:"rows_read"`
	RowsAccepted int                `json:"rows_accepted"`
	RowsRefused  int                `json:"rows_refused"`
	Findings     finding.List       `json:"findings"`
	Advice       string             `json:"advice"`
}

// Blend answers. Where no blend is feasible it returns the result, with the limits that
// conflict, and a *job.NothingUsableError. Other errors: *job.RequestError, those of the
// files and of the solver.
func Blend(ctx context.Context, env job.Env, q Request) (*Result, error) {
	if err := q.check(); err != nil {
		return nil, err
	}
	res := &Result{Schema: "flourcast.blend/1", Stock: q.Stock, Mixing: q.Mixing, Shares: map[string]float64{}, Binding: []string{}, ShadowPrices: map[string]float64{}, Recipe: []Line{},
		Limits: []Limit{}, Expected: []Expected{}, Confidence: q.Confidence, Findings: finding.List{}, Advice: Advice}
	s, err := q.read(res)
	if err != nil {
		return nil, err
	}
	own, err := q.ownBlends(res, s)
	if err != nil {
		return nil, err
	}
	props, err := q.properties(res, s, own)
	if err != nil {
		return nil, err
	}
	p := blend.Problem{MinShare: q.MinShare, MaxFlours: q.MaxFlours}
	for _, f := range s.flours {
		p.Flours, p.Prices = append(p.Flours, f.name), append(p.Prices, f.price.Float())
		most := 1.0
		if q.Tonnes > 0 && f.stockT != nil {
			most = *f.stockT / q.Tonnes
		}
		p.Most = append(p.Most, most)
	}
	for _, pr := range props {
		p.Properties = append(p.Properties, pr.Property)
	}
	if q.Shares != nil {
		if err := q.stated(res, p, props); err != nil {
			return nil, err
		}
	} else if err := q.solve(res, p); err != nil {
		return res, err
	}
	if err := q.finish(res, s, props); err != nil {
		return nil, err
	}
	if len(q.Run) > 0 {
		if err := q.compare(ctx, env, res); err != nil {
			return nil, err
		}
	}
	return res, nil
}

func (q *Request) check() error {
	if q.Mixing == "" {
		q.Mixing = Linear
	}
	bad := func(found, want string) error { return &job.RequestError{Found: found, Want: want} }
	switch {
	case !slices.Contains([]string{Linear, Log, Measured}, q.Mixing):
		return bad("mixing "+q.Mixing, "linear, log or measured")
	case len(q.Limits) == 0 && q.Shares == nil:
		return bad("no limits", "--limits 'peak_mPas=2300..2500,protein_pct=9.8..', or --shares of a blend")
	case q.Mixing == Measured && q.Blends == "":
		return bad("mixing as measured, without own blends", "--blends FILE with the laboratory's own blends")
	case q.Tonnes < 0:
		return bad(fmt.Sprintf("%v tonnes", q.Tonnes), "more than 0")
	case q.Confidence != 0 && !(q.Confidence > 0.5 && q.Confidence < 1):
		return bad(fmt.Sprintf("confidence %v", q.Confidence), "above 0.5 and below 1, such as 0.95")
	case q.Confidence != 0 && q.Blends == "":
		return bad("a confidence without own blends", "--blends FILE: how far a rule is off is known from blends only")
	case !(q.MinShare >= 0 && q.MinShare <= 1):
		return bad(fmt.Sprintf("least share %v", q.MinShare), "0 to 1, such as 0.1")
	case q.MaxFlours < 0:
		return bad(fmt.Sprintf("at most %d flours", q.MaxFlours), "1 or more")
	}
	for _, a := range q.Allow {
		if a != Waxy && a != Sprouted {
			return bad("allow "+a, "waxy or sprouted")
		}
	}
	seen := map[string]bool{}
	for _, l := range q.Limits {
		if err := l.Check(); err != nil {
			return bad(err.Error(), "limits COLUMN=LOW..HIGH")
		}
		if seen[l.Response] {
			return bad("two limits for "+l.Response, "both in one: "+l.Response+"=LOW..HIGH")
		}
		seen[l.Response] = true
	}
	return nil
}

// solve finds the shares and what binds.
func (q Request) solve(res *Result, p blend.Problem) error {
	a, err := blend.Solve(p)
	var no *blend.InfeasibleError
	switch {
	case errors.As(err, &no):
		res.Conflict, res.Nearest = q.relaxed(no.Conflict), q.relaxed(no.Nearest)
		for _, r := range no.Conflict {
			if name := bindingName(r.Property, r.Flour); !slices.Contains(res.Binding, name) {
				res.Binding = append(res.Binding, name)
			}
		}
		if no.Counted {
			res.Binding = append(res.Binding, "number of flours or least share")
		}
		return &job.NothingUsableError{What: q.Stock + ": " + err.Error(), Findings: res.Findings}
	case err != nil:
		var value *mixing.ValueError
		if errors.As(err, &value) {
			return &job.RequestError{Found: err.Error(), Want: "figures that the rule can take", Do: "mend the stock file or the limits, or choose another rule"}
		}
		return err
	}
	res.Feasible = true
	for i, f := range p.Flours {
		res.Shares[f] = a.Shares[i]
	}
	for _, l := range a.Limits {
		out := Limit{Column: l.Property, Flour: l.Flour, Side: l.Side, Limit: l.At, Held: l.At, Value: l.Value, Kept: true, Binds: l.Binds, Saves: l.Saves}
		name := bindingName(l.Property, l.Flour)
		if l.Flour != "" { // a share of the wanted tonnes: told in tonnes
			if !l.Binds {
				continue
			}
			out.Column, out.Limit, out.Held, out.Value = "stock_t", l.At*q.Tonnes, l.At*q.Tonnes, l.Value*q.Tonnes
		}
		if l.Binds {
			res.Binding = append(res.Binding, name)
		}
		res.ShadowPrices[name] += l.Saves
		res.Limits = append(res.Limits, out)
	}
	if q.Confidence == 0 && slices.ContainsFunc(res.Limits, func(l Limit) bool { return l.Binds && isPasting(l.Column) }) {
		res.Findings.Add(finding.Finding{Code: "on-the-limit", Severity: finding.Note, Found: "the blend is planned to lie on a limit of its paste: such a blend misses it as often as it keeps it", Want: "some room", Do: "narrow the limits by what the run may deviate; with own blends --confidence does it"})
	}
	if a.Several {
		res.Findings.Add(finding.Finding{Code: "several-limits-meet", Severity: finding.Note, Found: "more limits meet at this blend than it needs", Want: "one shadow price each", Do: "relax one limit and solve again to see what it saves: it may be less than said"})
	}
	return nil
}

func bindingName(property, flour string) string {
	if flour != "" {
		return "stock_t: " + flour
	}
	return property
}

func (q Request) relaxed(in []blend.Relaxed) []Relaxed {
	var out []Relaxed
	for _, r := range in {
		x := Relaxed{Column: r.Property, Flour: r.Flour, Side: r.Side, Limit: r.At, Needed: r.Needed}
		if r.Flour != "" {
			x.Column, x.Limit, x.Needed = "stock_t", r.At*q.Tonnes, r.Needed*q.Tonnes
		}
		out = append(out, x)
	}
	return out
}

// stated takes the shares of the request; the limits are held against them.
func (q Request) stated(res *Result, p blend.Problem, props []property) error {
	res.Stated = true
	sum := 0.0
	for name, x := range q.Shares {
		if !(x >= 0 && x <= 1) {
			return &job.RequestError{Found: fmt.Sprintf("a share of %v of %s", x, name), Want: "0 to 1"}
		}
		if !slices.Contains(p.Flours, name) {
			return &job.RequestError{Found: "a share of " + name, Want: "a flour of " + q.Stock + " that can be used", Do: "see the findings of the stock file"}
		}
	}
	shares := make([]float64, len(p.Flours))
	for i, f := range p.Flours {
		shares[i] = q.Shares[f]
		sum += shares[i]
	}
	if sum < 0.999 || sum > 1.001 {
		return &job.RequestError{Found: fmt.Sprintf("shares that add up to %.4g", sum), Want: "1"}
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
func (q Request) finish(res *Result, s *stock, props []property) error {
	shares := make([]float64, len(s.flours))
	cost := money.Amount{}
	for i, f := range s.flours {
		shares[i] = res.Shares[f.name]
		cost = cost.Plus(money.Of(shares[i]).Times(f.price))
		if f.stockT != nil && shares[i] > 0 {
			if can := *f.stockT / shares[i]; res.MostT == nil || can < *res.MostT {
				res.MostT = &can
			}
		}
	}
	cost = cost.Round(8)
	res.Cost = &cost
	total := money.Amount{}
	for i, f := range s.flours {
		l := Line{Flour: f.name, Share: shares[i], Price: f.price, StockT: f.stockT}
		if q.Tonnes > 0 {
			weighed := money.Of(shares[i] * q.Tonnes).Round(3) // whole kilograms
			bill := weighed.Times(f.price).Round(2)
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
