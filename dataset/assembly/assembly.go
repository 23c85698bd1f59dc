// Package assembly makes of a table of lots what a model is fitted to: a complete, finite
// matrix.
//
//  1. A Selection says response, features, rows, and how treatments of flour and unequal
//     errors are taken.
//  2. Make picks rows and columns by it, and hands them on as a design.Matrix, with what
//     was left out and why.
//
// It refuses names that are not there, treatments of flour that nobody chose how to take,
// and a selection that leaves no row. It changes no figure and fits nothing.
package assembly

import (
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/column"
	"flourcast/dataset/method"
	"flourcast/dataset/table"
	"flourcast/dataset/trait"
	"flourcast/dataset/treatment"
	"flourcast/finding"
	"flourcast/model/design"
)

// Selection says what a model is to be made from. Response is required. nil
// Features means the default ones. Product and Method keep only those rows (or,
// in a table with columns name@method, those columns); Where keeps only rows that
// meet every condition. Treatment keeps treatments of flour apart. Group names the column
// whose rows belong together, if it is not the table's lot column. Groupings
// names further columns to carry along as row labels; text columns go along
// anyway. Methods are a laboratory's own, beside the built-in ones.
type Selection struct {
	Response  string
	Features  []string
	Product   string
	Method    string
	Where     []column.Condition
	Treatment treatment.Use // "": several are refused; Within, AsFactor, Pooled
	Weights   string        // "": each row counts alike; BySE
	Group     string
	Groupings []string
	Methods   []method.Method
}

// LeftOut is a row that the matrix does not have, and why.
type LeftOut struct {
	Lot    string `json:"lot"`
	Reason string `json:"reason"`
}

// Made says what went into a matrix. Rows are row numbers of the table, in
// the order of the matrix. Product and Method are empty if there are several or
// none; Solvent is empty if it is not known or if methods differ; Treatment is the one
// kind of flour treatment, empty if it is not stated or if there are several, and
// TreatmentUse how treatments are taken. Table is the table of the rows: with the
// indicator columns of Factor, where there is one.
type Made struct {
	Response  string        `json:"response"`
	Product   string        `json:"product"`
	Method    string        `json:"method"`
	Solvent   trait.Solvent `json:"solvent"`
	Treatment string        `json:"treatment"`

	TreatmentUse treatment.Use     `json:"treatment_use"`
	Factor       *treatment.Factor `json:"treatment_factor"`
	Weighting    *Weighting        `json:"weighting"`

	Features []string     `json:"features"`
	Rows     []int        `json:"rows"`
	Left     []LeftOut    `json:"left_out"`
	Table    *table.Table `json:"-"`
}

// RowsError says that no row is left for a model.
type RowsError struct {
	Response string
	Left     []LeftOut
}

func (e *RowsError) Error() string {
	s := fmt.Sprintf("%s: found no row with the response and all features, expected at least one", e.Response)
	if len(e.Left) > 0 {
		s += fmt.Sprintf("; %d rows were left out, the first (lot %s) because: %s", len(e.Left), e.Left[0].Lot, e.Left[0].Reason)
	}
	return s
}

// presence is the share of the rows with a response that must have a figure
// for it to be a default feature (common practice, no source).
const presence = 0.9

// Make makes the matrix of a selection.
//
//  1. Rows of the product and method that meet the conditions; several products or
//     methods without a choice: a doubt `pooled-differs`.
//  2. Default features: numeric traits (pasting features and composition) that
//     at least 90 % of the rows with the response have; if the table has no such
//     column, all numeric columns that are not keys. Never a response, nor a
//     companion (_n, _sd, _se, _claimed). Columns that too few rows have are named
//     in a note.
//  3. Treatments of flour: refused if there are several (Within, and where nothing is
//     chosen), indicator columns beside the features (AsFactor), or a doubt (Pooled, and
//     where some rows state none and the others one).
//  4. Rows that lack the response or a feature are left out, counted and named.
//  5. The response's standard error goes along when every row has one; on request
//     (BySE) rows are weighted by it, and rows without any are left out.
//
// Groupings: every text column (absent: ""), Selection.Groupings, and family,
// where a lot without relations is its own family.
//
// Errors: *table.ColumnError for a name that is not there or does not fit, *RowsError
// when no row is left, *TreatmentsError for treatments that nobody chose how to take,
// design's own for anything else.
func Make(t *table.Table, s Selection) (*design.Matrix, Made, finding.List, error) {
	a := assembler{t: t, s: s, out: Made{Response: s.Response, Features: []string{}, Rows: []int{}, Left: []LeftOut{}}}
	m, err := a.run()
	return m, a.out, a.fl, err
}

type assembler struct {
	t       *table.Table
	s       Selection
	methods []string // the methods of columns name@method
	out     Made
	fl      finding.List
}

func (a *assembler) run() (*design.Matrix, error) {
	t := a.t
	a.methods = columnMethods(t)
	if err := a.checkNames(); err != nil {
		return nil, err
	}
	rows, err := a.chooseRows()
	if err != nil {
		return nil, err
	}
	if rows, err = a.where(rows); err != nil {
		return nil, err
	}
	rows = a.keep(rows, []string{a.out.Response}, "rows-without-response")
	if len(rows) == 0 {
		return nil, &RowsError{a.out.Response, a.out.Left}
	}
	if rows, err = a.treatments(rows); err != nil {
		return nil, err
	}
	if a.s.Features == nil {
		a.out.Features = a.defaultFeatures(rows)
	} else if err := a.namedFeatures(); err != nil {
		return nil, err
	}
	if len(a.out.Features) == 0 {
		return nil, &table.ColumnError{Column: a.out.Response, Found: "no feature beside it", Want: "at least one column of numbers that most rows with the response have"}
	}
	if a.out.Factor != nil {
		for _, l := range a.out.Factor.Levels {
			if !slices.Contains(a.out.Features, l.Column) { // where all columns of numbers are features it is one already
				a.out.Features = append(a.out.Features, l.Column)
			}
		}
	}
	rows = a.keep(rows, a.out.Features, "rows-incomplete")
	if len(rows) == 0 {
		return nil, &RowsError{a.out.Response, a.out.Left}
	}
	var se []float64
	switch a.s.Weights {
	case "":
	case BySE:
		if rows, se = a.errors(rows); len(rows) == 0 {
			return nil, &RowsError{a.out.Response, a.out.Left}
		}
	default:
		return nil, &table.ColumnError{Column: a.out.Response, Found: "weights by " + a.s.Weights, Want: BySE}
	}
	a.out.Rows, a.out.Table = rows, a.t
	if err := a.describe(rows); err != nil {
		return nil, err
	}
	spec := a.spec(rows)
	if se != nil {
		spec.SE, spec.Weights = se, a.weigh(se)
	}
	return design.New(spec)
}

// describe names the product, method and solvent of the rows, and doubts what
// is pooled without having been chosen; treatments of flour that nobody chose how to
// take are refused.
func (a *assembler) describe(rows []int) (err error) {
	sub := a.t.Rows(rows)
	products := sub.Values("product")
	a.out.Product = a.only("product", products)
	methods := sub.Values("method")
	if len(a.methods) > 0 {
		methods = nil
		for _, f := range a.out.Features {
			if _, m := trait.Split(f); m != "" && !slices.Contains(methods, m) {
				methods = append(methods, m)
			}
		}
		if len(methods) > 1 {
			a.fl.Add(finding.Finding{Code: "several-methods", Severity: finding.Note, Found: "features by " + strings.Join(methods, ", ") + ", each in its own column",
				Do: "choose one method if one is to do"})
		}
		if len(methods) == 1 {
			a.out.Method = methods[0]
		}
	} else {
		a.out.Method = a.only("method", methods)
	}
	a.out.Solvent = a.solvent(methods)
	for _, f := range append(slices.Clone(a.out.Features), a.out.Response) {
		a.only(f+"_basis", sub.Values(f+"_basis"))
		if base, ok := strings.CutSuffix(f, "_pct"); ok {
			a.only(base+"_basis", sub.Values(base+"_basis"))
		}
	}
	a.only("protocol", sub.Values("protocol"))
	a.out.Treatment, a.out.TreatmentUse, err = a.treatmentOf(rows)
	return err
}

// only returns the single value of a field, or "" and a doubt if there are several.
func (a *assembler) only(field string, values []string) string {
	if len(values) == 1 {
		return values[0]
	}
	if len(values) > 1 {
		a.fl.Add(finding.Finding{Code: "pooled-differs", Severity: finding.Doubt, At: finding.Place{Column: field}, Found: "rows of several: " + some(values),
			Want: "one " + field + " in a model", Do: "choose one, or be sure that pooling is meant"})
	}
	return ""
}

// solvent is the one solvent of all methods, or unknown.
func (a *assembler) solvent(methods []string) trait.Solvent {
	var all []trait.Solvent
	for _, id := range methods {
		s := method.SolventOf(id)
		if k := slices.IndexFunc(a.s.Methods, func(m method.Method) bool { return m.ID == id }); k >= 0 {
			s = a.s.Methods[k].Solvent
		}
		if !slices.Contains(all, s) {
			all = append(all, s)
		}
	}
	if len(all) != 1 {
		return trait.UnknownSolvent
	}
	return all[0]
}

func (a *assembler) spec(rows []int) design.Spec {
	t := a.t
	spec := design.Spec{Features: a.out.Features, Response: a.out.Response, Groupings: map[string][]string{}}
	errors := true
	for _, i := range rows {
		x := make([]float64, len(a.out.Features))
		for j, f := range a.out.Features {
			x[j], _ = t.Number(f, i)
		}
		y, _ := t.Number(a.out.Response, i)
		se, ok := t.Number(a.out.Response+"_se", i)
		errors = errors && ok && se >= 0
		spec.X, spec.Y, spec.SE, spec.Lots = append(spec.X, x), append(spec.Y, y), append(spec.SE, se), append(spec.Lots, a.lot(i))
	}
	if !errors {
		spec.SE = nil
	}
	for _, c := range t.All() {
		if c.IsNumber() && !slices.Contains(a.s.Groupings, c.Name()) || c.Name() == t.LotColumn() {
			continue
		}
		labels := make([]string, len(rows))
		for k, i := range rows {
			labels[k], _ = c.Cell(i)
			if c.Name() == "family" && labels[k] == "" {
				labels[k] = a.lot(i)
			}
		}
		spec.Groupings[c.Name()] = labels
	}
	return spec
}

// some joins the first names of a long list.
func some(names []string) string {
	const most = 8
	if len(names) <= most {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(names[:most], ", "), len(names)-most)
}
