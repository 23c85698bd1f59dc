// Package bridging makes a bridge from a file of lots that two instruments, or sites,
// have run.
//
//  1. A sheet of pasting features names in each row the lot and, in a column such as
//     instrument, who ran it. Rows of other instruments are passed over, void ones
//     too; used + passed over + refused are the rows read.
//  2. Lots run on both are paired, feature by feature; a lot that lacks a feature on
//     one side is left out and named.
//  3. Package bridge compares them. With a model it is said by how much the forecast's
//     interval would widen, and the bridge is refused where that is too much.
package bridging

import (
	"flourcast/dataset"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"

	"flourcast/dataset/record"
	"flourcast/dataset/sheet"
	"flourcast/dataset/trait"
	"flourcast/finding"
	"flourcast/forecast/bridge"
	"flourcast/study/card"
	"flourcast/study/job"
)

// Request asks for a bridge. By is the column that names the instrument or site ("instrument" when
// empty); Features nil means a model's, or every pasting feature that pairs; Out is
// the bridge file to write, "" for none.
type Request struct {
	File     string
	From, To string
	By       string
	Method   string
	Features []string
	Model    string
	Card     *card.Card // instead of reading Model, which names it
	Out      string
	Map      *sheet.Map
	Joined   *dataset.Joined // instead of File, which then says what it is
}

// Rows are the rows of the file by what became of them.
type Rows struct {
	Read    int `json:"read"`
	Used    int `json:"used"`
	Other   int `json:"other"` // of other instruments or methods, or void
	Refused int `json:"refused"`
}

// Serves says what the bridge does to a model's forecasts. Widening is the factor on
// the interval in the middle of the paired range; Each the same for one feature's
// error alone.
type Serves struct {
	Model    string   `json:"model"`
	Response string   `json:"response"`
	Widening float64  `json:"widening"`
	Most     float64  `json:"most"`
	Serves   bool     `json:"serves"`
	Each     []Each   `json:"each"`
	Missing  []string `json:"missing"` // pasting features of the model that the bridge lacks
}

// Each is one feature's own share: the widening by its error alone.
type Each struct {
	Feature  string  `json:"feature"`
	Widening float64 `json:"widening"`
}

// LeftOut is a lot that does not count, and why.
type LeftOut struct {
	Lot    string `json:"lot"`
	Reason string `json:"reason"`
}

// Result is what `bridge` prints.
type Result struct {
	Schema   string         `json:"schema"`
	File     string         `json:"file"`
	Out      string         `json:"bridge_file,omitempty"`
	Bridge   *bridge.Bridge `json:"bridge"`
	Serves   *Serves        `json:"serves"`
	Rows     Rows           `json:"rows"`
	LeftOut  []LeftOut      `json:"left_out_lots"`
	Advised  int            `json:"advised_lots"`
	Narrow   float64        `json:"narrow_r"`
	Findings finding.List   `json:"findings"`
	Notice   string         `json:"notice,omitempty"`
}

// Short reports whether the bridge does not serve the model.
func (r *Result) Short() bool { return r.Serves != nil && !r.Serves.Serves }

// Make answers, and writes the bridge file unless the bridge does not serve the
// model. Errors: *job.RequestError; *job.NothingUsableError, also for too few pairs.
func Make(env job.Env, q Request) (*Result, error) {
	if q.By == "" {
		q.By = "instrument"
	}
	if q.From == "" || q.To == "" || q.From == q.To {
		return nil, &job.RequestError{Found: fmt.Sprintf("from %q to %q", q.From, q.To), Want: "two " + q.By + "s", Do: "--from names the one whose figures are to be converted, --to the one on whose scale the model stands"}
	}
	res := &Result{Schema: "flourcast.bridge/1", File: q.File, LeftOut: []LeftOut{}, Findings: finding.List{}, Advised: bridge.Advised, Narrow: bridge.Narrow}
	var c *card.Card
	if q.Model != "" {
		var err error
		if c, err = card.Of(q.Card, q.Model); err != nil {
			return nil, err
		}
		if c.Transform != "" {
			return nil, &job.RequestError{Found: "a model of the response's " + c.Transform, Want: "a model of the response itself", Do: "a bridge's error cannot be carried through it yet: fit without --transform"}
		}
		res.Notice = c.Notice
		q.Method = orElse(q.Method, c.Method)
	}
	p, err := read(q, res)
	if err != nil {
		return nil, err
	}
	names, err := p.choose(q, c)
	if err != nil {
		return nil, err
	}
	lots := p.pair(names, q, res)
	b, err := bridge.Make(names, lots)
	if err != nil {
		return nil, &job.NothingUsableError{What: fmt.Sprintf("%s: %v", q.File, err), Findings: res.Findings}
	}
	b.Program, b.Made, b.By, b.From, b.To, b.Method, b.Source, b.Notice = env.Version, env.Now().Format("2006-01-02T15:04:05Z07:00"), q.By, q.From, q.To, p.method, p.sum, res.Notice
	res.Bridge = b
	if c != nil {
		if res.Serves, err = Against(b, c, q.Model); err != nil {
			return nil, err
		}
	}
	if q.Out != "" && !res.Short() {
		data, err := bridge.Encode(b)
		if err != nil {
			return nil, err
		}
		if err := job.WriteWhole(q.Out, data); err != nil {
			return nil, err
		}
		res.Out = q.Out
	}
	return res, nil
}

// Against says what a bridge does to a model's forecasts.
func Against(b *bridge.Bridge, c *card.Card, name string) (*Serves, error) {
	fitted, err := c.Fitted()
	if err != nil {
		return nil, err
	}
	s := &Serves{Model: name, Response: c.Response, Most: bridge.MostWidening, Each: []Each{}, Missing: []string{}}
	beta := map[string]float64{}
	for j, f := range c.Features {
		id, _ := trait.Split(f)
		if t, ok := trait.Lookup(id); !ok || t.Role != trait.RoleFeature {
			continue // flour analysis is nobody's instrument here
		}
		if !b.Has(f) {
			s.Missing = append(s.Missing, f)
			continue
		}
		beta[f] = fitted.Linear().Coefficients[j]
		s.Each = append(s.Each, Each{f, b.Widening(map[string]float64{f: beta[f]}, c.Interval.MSECV)})
	}
	s.Widening = b.Widening(beta, c.Interval.MSECV)
	s.Serves = len(s.Missing) == 0 && s.Widening <= bridge.MostWidening
	if math.IsInf(s.Widening, 0) {
		return nil, &job.RequestError{Found: "a model without any error", Want: "a model that was validated"}
	}
	return s, nil
}

// Read opens a bridge file.
func Read(path string) (*bridge.Bridge, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	return bridge.Decode(path, data)
}

func orElse(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

// paired is what was read: runs by lot, side and feature.
type paired struct {
	method string
	sum    string
	names  []string // features in the order of the columns
	lots   []string
	from   map[string]map[string][]float64 // lot → feature → runs
	to     map[string]map[string][]float64
}

// read reads the rows of the two instruments.
func read(q Request, res *Result) (*paired, error) {
	if q.Joined != nil {
		return joined(q, res)
	}
	s, ok, err := record.Open(q.File, q.Map, &res.Findings)
	if err != nil {
		return nil, err
	}
	if !ok {
		return nil, &job.NothingUsableError{What: q.File + " cannot be read", Findings: res.Findings}
	}
	return readSheet(s, q, res)
}

func readSheet(s *sheet.Sheet, q Request, res *Result) (*paired, error) {
	p := &paired{sum: s.SHA256, from: map[string]map[string][]float64{}, to: map[string]map[string][]float64{}}
	named := func(name string) int {
		if k := s.Column(name); k >= 0 {
			return k
		}
		return slices.IndexFunc(s.Columns, func(c sheet.Column) bool { return strings.EqualFold(c.Name, name) })
	}
	lot, by, method, status := s.Column("lot"), named(q.By), s.Column("method"), s.Column("status")
	if lot < 0 || by < 0 {
		return nil, &job.RequestError{Found: fmt.Sprintf("%s without a column lot or %s", s.File, q.By), Want: "who ran which lot in every row", Do: "name the column with --by, or map it"}
	}
	columns := map[string]int{}
	for k := range s.Columns {
		h, ok := s.Header(k)
		if !ok || h.Trait.Role != trait.RoleFeature || s.Column(trait.Join(h.Trait.ID, h.Method)) != k || h.Method != "" {
			continue
		}
		p.names = append(p.names, h.Trait.ID)
		columns[h.Trait.ID] = k
	}
	methods := map[string]bool{}
	for row, bad := range s.Rows() {
		res.Rows.Read++
		if bad != nil {
			res.Findings.Add(*bad)
			res.Rows.Refused++
			continue
		}
		who, _ := s.Text(row, by)
		m, hasMethod := s.Text(row, method)
		state, _ := s.Text(row, status)
		if who != q.From && who != q.To || hasMethod && q.Method != "" && m != q.Method || strings.EqualFold(state, "void") {
			res.Rows.Other++
			continue
		}
		name, ok := s.Text(row, lot)
		if !ok {
			res.Findings.Add(finding.Finding{Code: "lot-missing", Severity: finding.Refused, At: s.Place(row, lot), Found: "no lot", Want: "a lot in every row", Do: "fill the lot in"})
			res.Rows.Refused++
			continue
		}
		methods[m] = true
		side := p.from
		if who == q.To {
			side = p.to
		}
		if side[name] == nil {
			side[name] = map[string][]float64{}
		}
		if !slices.Contains(p.lots, name) {
			p.lots = append(p.lots, name)
		}
		for _, f := range p.names {
			v, ok, bad := s.Value(row, columns[f])
			if bad != nil {
				bad.Severity, bad.Do = finding.Doubt, "the figure is left out; "+bad.Do
				res.Findings.Add(*bad)
			}
			if ok {
				side[name][f] = append(side[name][f], v)
			}
		}
		res.Rows.Used++
	}
	return p, p.oneMethod(methods)
}

// oneMethod notes the one method of all runs, and refuses several.
func (p *paired) oneMethod(methods map[string]bool) error {
	if len(methods) > 1 {
		var found []string
		for m := range methods {
			found = append(found, orElse(m, "none stated"))
		}
		slices.Sort(found)
		return &job.RequestError{Found: "runs by several methods (" + strings.Join(found, ", ") + ")", Want: "one", Do: "choose with --method"}
	}
	for m := range methods {
		p.method = m
	}
	return nil
}

// choose settles the features: those asked for, the model's, or all that pair.
func (p *paired) choose(q Request, c *card.Card) ([]string, error) {
	wanted := q.Features
	if wanted == nil && c != nil {
		for _, f := range c.Features {
			if id, _ := trait.Split(f); slices.Contains(p.names, id) {
				wanted = append(wanted, id)
			}
		}
	}
	if wanted == nil {
		for _, f := range p.names {
			both := 0
			for _, l := range p.lots {
				if len(p.from[l][f]) > 0 && len(p.to[l][f]) > 0 {
					both++
				}
			}
			if both >= bridge.Least {
				wanted = append(wanted, f)
			}
		}
	}
	for _, f := range wanted {
		if !slices.Contains(p.names, f) {
			return nil, &job.RequestError{Found: "no pasting feature " + f + " in " + q.File, Want: "one of " + strings.Join(p.names, ", ")}
		}
	}
	if len(wanted) == 0 {
		return nil, &job.NothingUsableError{What: fmt.Sprintf("%s: no pasting feature of %d lots or more on both %s and %s", q.File, bridge.Least, q.From, q.To)}
	}
	return wanted, nil
}

// pair keeps the lots with every feature on both sides.
func (p *paired) pair(names []string, q Request, res *Result) [][]bridge.Lot {
	out := make([][]bridge.Lot, len(names))
	for _, l := range p.lots {
		why := ""
		switch {
		case p.from[l] == nil:
			why = "not run on " + q.From
		case p.to[l] == nil:
			why = "not run on " + q.To
		default:
			for _, f := range names {
				if len(p.from[l][f]) == 0 || len(p.to[l][f]) == 0 {
					why = "no figure for " + trait.Label(f) + " on both"
				}
			}
		}
		if why != "" {
			res.LeftOut = append(res.LeftOut, LeftOut{Lot: l, Reason: why})
			continue
		}
		for j, f := range names {
			out[j] = append(out[j], bridge.Lot{Name: l, From: p.from[l][f], To: p.to[l][f]})
		}
	}
	return out
}
