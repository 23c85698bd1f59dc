// Package blending answers which flours of a stock to blend for a specification at
// least cost, and sets the run of a blend, once made, against what was expected.
//
//  1. A stock file has a row for each flour: flour, price, stock_t, and any properties.
//     With a lab book the figures that the file does not have are those of the book,
//     and so may be the price; lots of the book can stand for the file.
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
	"maps"
	"slices"

	"flourcast/dataset/method"
	"flourcast/dataset/sheet"
	"flourcast/finding"
	"flourcast/forecast"
	"flourcast/forecast/blend"
	"flourcast/forecast/mixing"
	"flourcast/study/blendrun"
	"flourcast/study/bookstock"
	"flourcast/study/job"
	"flourcast/study/ownblends"
	"flourcast/study/stock"
)

// Advice stands in every result.
const Advice = "Make the blend and run it before you promise it."

// How pasting figures mix.
const (
	Linear   = "linear"
	Log      = "log"
	Measured = "measured"
)

// Request: Stock (or Book with Flours instead of it) and Limits are required, or Shares
// instead of an optimum (then Limits may be none). Book is the folder of a lab book; its
// pasting figures are those by Method, which may be left out where the flours' runs are
// by one. Mixing is Linear when empty. Blends are the laboratory's own, Lineage the
// lots file with their parents where Blends does not have them; without Blends those of
// the Book count. Confidence, above 0.5,
// draws the limits of pasting figures in by what own blends deviate; 0 takes them as they
// are. Ratio names two flours, "A:B", whose blends of every ratio are set out; RatioAuto takes
// the two largest of the blend. Allow names what is flagged and not refused: waxy, sprouted. Run is files of a run
// of the blend that was made, by Method, under the name Lot where they hold several.
type Request struct {
	Stock        string
	Book         string
	Flours       []bookstock.Flour
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
	Ratio        string
	Run          []string
	Lot          string
	Method       string
	Methods      []method.Method
}

// Blend answers. Where no blend is feasible it returns the result, with the limits that
// conflict, and a *job.NothingUsableError. Other errors: *job.RequestError, those of the
// files and of the solver.
func Blend(ctx context.Context, env job.Env, q Request) (*Result, error) {
	if err := q.check(); err != nil {
		return nil, err
	}
	known, own, err := q.open(ctx, env)
	if err != nil {
		return nil, err
	}
	res := &Result{Schema: "flourcast.blend/1", Stock: q.Stock, Mixing: q.Mixing, Shares: map[string]float64{}, Binding: []string{}, ShadowPrices: map[string]float64{}, Recipe: []Line{},
		Limits: []Limit{}, Expected: []Expected{}, Confidence: q.Confidence, Findings: finding.List{}, Advice: Advice}
	s, err := stock.Read(stock.Request{Path: q.Stock, Map: q.Map, Columns: q.limited(), All: q.Shares != nil || len(q.Run) > 0, Paste: q.paste(), SproutBelowS: q.SproutBelowS, Allow: q.Allow, Known: known})
	if err != nil {
		return nil, err
	}
	res.Currency, res.RowsRead, res.RowsAccepted, res.RowsRefused, res.Findings = s.Currency, s.Rows, s.Accepted, s.Refused, append(res.Findings, s.Findings...)
	made, found, err := own(s)
	if err != nil {
		return nil, err
	}
	res.Findings = append(res.Findings, found...)
	props, err := q.properties(res, s, made)
	var nothing *job.NothingUsableError
	if errors.As(err, &nothing) {
		return res, err
	}
	if err != nil {
		return nil, err
	}
	p := blend.Problem{MinShare: q.MinShare, MaxFlours: q.MaxFlours}
	for _, f := range s.Flours {
		p.Flours, p.Prices = append(p.Flours, f.Name), append(p.Prices, f.Price.Float())
		most := 1.0
		if q.Tonnes > 0 && f.StockT != nil {
			most = *f.StockT / q.Tonnes
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
		if wrong := q.ratio(res, s, props); wrong != nil { // what two flours come to is worth showing
			return nil, wrong
		}
		return res, err
	}
	if err := q.ratio(res, s, props); err != nil {
		return nil, err
	}
	if err := q.finish(res, s, props); err != nil {
		return nil, err
	}
	if len(q.Run) > 0 {
		var found finding.List
		if res.Compared, found, err = blendrun.Compare(ctx, env, q.run(res)); err != nil {
			return nil, err
		}
		res.Findings = append(res.Findings, found...)
	}
	return res, nil
}

// run is the request for the run of the blend.
func (q Request) run(res *Result) blendrun.Request {
	out := blendrun.Request{Run: q.Run, Lot: q.Lot, Method: q.Method, Map: q.Map, Methods: q.Methods, Limits: q.Limits}
	for _, e := range res.Expected {
		out.Plan = append(out.Plan, blendrun.Planned{Column: e.Column, Value: e.Value, ByMass: e.ByMass, ByLog: e.ByLog, SD: e.SD, DF: e.DF})
	}
	return out
}

// paste reports whether pastes are to be mixed: a limit is on one, or without limits all is
// shown.
func (q Request) paste() bool {
	return len(q.Limits) == 0 || slices.ContainsFunc(q.limited(), stock.IsPasting)
}

func (q *Request) check() error {
	if q.Mixing == "" {
		q.Mixing = Linear
	}
	bad := func(field, found, want string) error {
		return &job.RequestError{Field: field, Found: found, Want: want}
	}
	switch {
	case !slices.Contains([]string{Linear, Log, Measured}, q.Mixing):
		return bad("mixing", "mixing "+q.Mixing, "linear, log or measured")
	case len(q.Limits) == 0 && q.Shares == nil:
		return bad("limits", "no limits", "limits of the blend, such as peak viscosity from 2300 to 2500 mPa·s, or the shares of one")
	case q.Stock == "" && len(q.Flours) == 0:
		return bad("flours", "no flours", "a stock file, or lots of a lab book")
	case q.Stock != "" && len(q.Flours) > 0:
		return bad("flours", "a stock file and lots of a lab book", "one of the two")
	case len(q.Flours) > 0 && q.Book == "":
		return bad("book", "lots without a lab book", "the lab book that has them")
	case q.Mixing == Measured && q.Blends == "" && q.Book == "":
		return bad("blends", "mixing as measured, without own blends", "the laboratory's own blends, made and run")
	case q.Tonnes < 0:
		return bad("tonnes", fmt.Sprintf("%v tonnes", q.Tonnes), "more than 0")
	case q.Confidence != 0 && !(q.Confidence > 0.5 && q.Confidence < 1):
		return bad("confidence", fmt.Sprintf("confidence %v", q.Confidence), "above 0.5 and below 1, such as 0.95")
	case q.Confidence != 0 && q.Blends == "" && q.Book == "":
		return bad("blends", "a confidence without own blends", "the laboratory's own blends, made and run: how far a rule is off is known from them only")
	case !(q.MinShare >= 0 && q.MinShare <= 1):
		return bad("min-share", fmt.Sprintf("least share %v", q.MinShare), "0 to 1, such as 0.1")
	case q.MaxFlours < 0:
		return bad("max-flours", fmt.Sprintf("at most %d flours", q.MaxFlours), "1 or more")
	}
	for _, a := range q.Allow {
		if a != stock.Waxy && a != stock.Sprouted {
			return bad("allow", "allow "+a, "waxy or sprouted")
		}
	}
	seen := map[string]bool{}
	for _, l := range q.Limits {
		if err := l.Check(); err != nil {
			return bad("limits", err.Error(), "a property with a lower limit, an upper one, or both")
		}
		if seen[l.Response] {
			return bad("limits", "two limits for "+l.Response, "both in one: "+l.Response+"=LOW..HIGH")
		}
		seen[l.Response] = true
	}
	return nil
}

// learned gives the laboratory's own blends of the figures of a stock.
type learned func(*stock.File) (map[string][]mixing.Made, finding.List, error)

// open opens the lab book, if there is one: what it knows of flours, and own blends of a
// file, else of the book, else none. Lots that are named stand for the stock file. The
// book is joined, and closed again.
func (q *Request) open(ctx context.Context, env job.Env) (*stock.Known, learned, error) {
	own := func(*stock.File) (map[string][]mixing.Made, finding.List, error) { return nil, nil, nil }
	var known *stock.Known
	if q.Book != "" {
		paste := slices.ContainsFunc(q.limited(), stock.IsPasting)
		s, err := bookstock.Open(ctx, env, bookstock.Request{Dir: q.Book, Flours: q.Flours, Method: q.Method, Methods: q.Methods, Paste: paste})
		if err != nil {
			return nil, nil, err
		}
		defer s.Close()
		if len(q.Flours) > 0 {
			if q.Stock, q.Map, err = s.File(q.Map); err != nil {
				return nil, nil, err
			}
		}
		q.Method, known = s.Method, s.Known()
		own = func(st *stock.File) (map[string][]mixing.Made, finding.List, error) {
			return s.OwnBlends(q.pasting(st))
		}
	}
	if q.Blends == "" {
		return known, own, nil
	}
	return known, func(st *stock.File) (map[string][]mixing.Made, finding.List, error) {
		return ownblends.FromFiles(q.Blends, q.Lineage, q.Map, q.pasting(st), st.Figure)
	}, nil
}

// pasting are the pasting figures that are asked for, in order.
func (q Request) pasting(st *stock.File) []string {
	names := map[string]bool{}
	for _, name := range append(q.limited(), st.Columns...) {
		if stock.IsPasting(name) {
			names[name] = true
		}
	}
	return slices.Sorted(maps.Keys(names))
}

// limited are the limited columns.
func (q Request) limited() []string {
	var out []string
	for _, l := range q.Limits {
		out = append(out, l.Response)
	}
	return out
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
	if q.Confidence == 0 && slices.ContainsFunc(res.Limits, func(l Limit) bool { return l.Binds && stock.IsPasting(l.Column) }) {
		res.Findings.Add(finding.Finding{Code: "on-the-limit", Severity: finding.Note, Found: "the blend is planned to lie on a limit of its paste: such a blend misses it as often as it keeps it", Want: "some room", Do: "narrow the limits by what the run may deviate; own blends and a confidence do it"})
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
