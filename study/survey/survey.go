// Package survey holds the jobs that ask a table before a model is trusted with
// it: what goes with the response (relate), which kind of model the lots can tell
// apart and what pasting adds to protein (compare), and how many more lots it
// would take (plan).
//
//  1. A Request names the table, the response and what to look at; package assembly
//     picks rows and columns and says what it left out.
//  2. Relate, Compare and Plan call the packages that compute, on the same lots
//     and folds as fit would.
//  3. A result with a schema name comes back, for --json and for reports.
//
// It computes no statistic itself, fits no model to keep, and gives no verdict.
package survey

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/assembly"
	"flourcast/dataset/column"
	"flourcast/dataset/pasting/whole"
	"flourcast/dataset/table"
	"flourcast/dataset/trait"
	"flourcast/dataset/treatment"
	"flourcast/finding"
	"flourcast/model/design"
	"flourcast/study/fitting"
)

// Request is what the three jobs have in common: table, response, features (nil:
// the default ones), product, method, conditions, group, folds, rules and methods, as for fit.
type Request = fitting.Request

const (
	proteinID = "protein_pct"
	yearID    = "crop_year"
	level     = 0.95 // of every interval here
	resamples = 1999
)

// About is what every result says of its input.
type About struct {
	Schema   string `json:"schema"`
	Table    string `json:"table"`
	Response string `json:"response"`
	Product  string `json:"product"`
	Method   string `json:"method"`
	// Where are the conditions that chose the rows; empty: none.
	Where []column.Condition `json:"where"`
	// Treatment is the one flour treatment of the rows, TreatmentUse how treatments are
	// taken: within one, as a factor, pooled; empty: not stated.
	Treatment    string        `json:"treatment"`
	TreatmentUse treatment.Use `json:"treatment_use"`

	Rows     int          `json:"rows"` // used
	Lots     int          `json:"lots"`
	Findings finding.List `json:"findings"`
}

// selected is an assembled matrix with the table's rows behind it.
type selected struct {
	q        Request
	m        *design.Matrix
	assembly assembly.Made
	about    About
}

// assemble makes the matrix of q; features nil means q's.
func assemble(q Request, schema string, features []string) (*selected, error) {
	sel := assembly.Selection{Response: q.Response, Features: q.Features, Product: q.Product, Method: q.Method, Where: q.Where, Treatment: q.Treatment, Group: q.Group, Methods: q.Methods}
	if features != nil {
		sel.Features = features
	}
	if name, ok := strings.CutPrefix(q.Folds, "column="); ok {
		sel.Groupings = []string{name}
	}
	m, a, found, err := assembly.Make(q.Table, sel)
	if err != nil {
		refused := fitting.Refusal(err, q.TableFindings)
		var c *table.ColumnError
		if errors.As(err, &c) && c.Column == column.Treatment && q.Treatment == treatment.AsFactor {
			return nil, &levelsError{refused}
		}
		return nil, refused
	}
	s := &selected{q: q, m: m, assembly: a}
	s.about = About{Schema: schema, Table: q.File, Response: m.Response(), Product: a.Product, Method: a.Method, Where: append([]column.Condition{}, q.Where...), Treatment: a.Treatment, TreatmentUse: a.TreatmentUse, Rows: m.N(), Lots: distinct(m.Lots())}
	s.about.Findings = append(append(append(s.about.Findings, q.TableFindings...), q.RuleFindings...), found...)
	return s, nil
}

// levelsError is the refusal of rows whose treatments make no factor.
type levelsError struct{ error }

func (e *levelsError) Unwrap() error { return e.error }

// treatments are the kinds of treatment of the rows used.
func (s *selected) treatments() []string {
	out := make([]string, s.m.N())
	for k, row := range s.assembly.Rows {
		written, _ := s.assembly.Table.Text(column.Treatment, row)
		out[k] = treatment.Kinds([]string{written})[0]
	}
	return out
}

// column is a numeric column of the table on the rows used; known is nil when
// the table has no such figure on any of them.
func (s *selected) column(name string) (x []float64, known []bool) {
	x, known = make([]float64, s.m.N()), make([]bool, s.m.N())
	for k, row := range s.assembly.Rows {
		x[k], known[k] = s.assembly.Table.Number(name, row)
	}
	if !slices.Contains(known, true) {
		return nil, nil
	}
	return x, known
}

// years are the crop years of the rows, or nil.
func (s *selected) years() []string {
	years, _ := s.m.Grouping(yearID)
	return years
}

// MostMeasured is the product of most rows with the response, the first of equals; ""
// where none has it. It is what to look at first: figures of several products are not put
// together unless that is asked for.
func MostMeasured(t *table.Table, response string) string {
	if !t.Has("product") {
		return ""
	}
	rows := map[string]int{}
	for i := range t.Len() {
		if _, ok := t.Number(response, i); ok {
			product, _ := t.Text("product", i)
			rows[product]++
		}
	}
	most, n := "", 0
	for _, product := range t.Values("product") {
		if rows[product] > n {
			most, n = product, rows[product]
		}
	}
	return most
}

// numeric are the columns of q's table that may be related to its response: traits
// with the role of a feature (but for details of the curve, which are looked at
// when named) or of composition; where the table has none, every column of numbers
// that is not about another one. With a method chosen, columns of others are not.
func numeric(q Request) []string {
	var traits, others []string
	for _, name := range q.Table.Columns() {
		if _, companion := column.Companion(name); companion || name == q.Response || !q.Table.IsNumber(name) {
			continue
		}
		if _, m := trait.Split(name); m != "" && q.Method != "" && m != q.Method {
			continue
		}
		d, known := trait.Lookup(name)
		switch {
		case known && d.Family == "pasting detail":
		case known && (d.Role == trait.RoleFeature || d.Role == trait.RoleComposition):
			traits = append(traits, name)
		case !known && !whole.IsColumn(name):
			others = append(others, name)
		}
	}
	if len(traits) > 0 {
		return traits
	}
	return others
}

func distinct(names []string) int {
	seen := map[string]bool{}
	for _, n := range names {
		seen[n] = true
	}
	return len(seen)
}

func note(code, format string, args ...any) finding.Finding {
	return finding.Finding{Code: code, Severity: finding.Note, Found: fmt.Sprintf(format, args...)}
}
