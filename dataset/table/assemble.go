package table

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/method"
	"flourcast/dataset/trait"
	"flourcast/finding"
	"flourcast/model/design"
)

// Selection says what a model is to be made from. Response is required. nil
// Features means the default ones. Product and Method keep only those rows (or,
// in a table with columns name@method, those columns). Group names the column
// whose rows belong together, if it is not the table's lot column. Groupings
// names further columns to carry along as row labels; text columns go along
// anyway. Methods are a laboratory's own, beside the built-in ones.
type Selection struct {
	Response  string
	Features  []string
	Product   string
	Method    string
	Group     string
	Groupings []string
	Methods   []method.Method
}

// LeftOut is a row that the matrix does not have, and why.
type LeftOut struct {
	Lot    string `json:"lot"`
	Reason string `json:"reason"`
}

// Assembly says what went into a matrix. Rows are row numbers of the table, in
// the order of the matrix. Product and Method are empty if there are several or
// none; Solvent is empty if it is not known or if methods differ.
type Assembly struct {
	Response string        `json:"response"`
	Product  string        `json:"product"`
	Method   string        `json:"method"`
	Solvent  trait.Solvent `json:"solvent"`
	Features []string      `json:"features"`
	Rows     []int         `json:"rows"`
	Left     []LeftOut     `json:"left_out"`
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

// Assemble makes the matrix of a selection.
//
//  1. Rows of the product and method; several of either without a choice: a
//     doubt `pooled-differs`.
//  2. Default features: numeric traits (pasting features and composition) that
//     at least 90 % of the rows with the response have; if the table has no such
//     column, all numeric columns that are not keys. Never a response, nor a
//     companion (_n, _sd, _se, _claimed). Columns left out are named in a note.
//  3. Rows that lack the response or a feature are left out, counted and named.
//  4. The response's standard error goes along when every row has one.
//
// Groupings: every text column (absent: ""), Selection.Groupings, and family,
// where a lot without relations is its own family.
//
// Errors: *ColumnError for a name that is not there or does not fit, *RowsError
// when no row is left, design's own for anything else.
func (t *Table) Assemble(s Selection) (*design.Matrix, Assembly, finding.List, error) {
	a := assembler{t: t, s: s, out: Assembly{Response: s.Response, Features: []string{}, Rows: []int{}, Left: []LeftOut{}}}
	m, err := a.run()
	return m, a.out, a.fl, err
}

type assembler struct {
	t       *Table
	s       Selection
	methods []string // the methods of columns name@method
	out     Assembly
	fl      finding.List
}

func (a *assembler) run() (*design.Matrix, error) {
	t := a.t
	a.methods = t.columnMethods()
	if err := a.checkNames(); err != nil {
		return nil, err
	}
	rows, err := a.chooseRows()
	if err != nil {
		return nil, err
	}
	rows = a.keep(rows, []string{a.out.Response}, "rows-without-response")
	if len(rows) == 0 {
		return nil, &RowsError{a.out.Response, a.out.Left}
	}
	if a.s.Features == nil {
		a.out.Features = a.defaultFeatures(rows)
	} else if err := a.namedFeatures(); err != nil {
		return nil, err
	}
	if len(a.out.Features) == 0 {
		return nil, &ColumnError{Column: a.out.Response, Found: "no feature beside it", Want: "at least one column of numbers that most rows with the response have"}
	}
	rows = a.keep(rows, a.out.Features, "rows-incomplete")
	if len(rows) == 0 {
		return nil, &RowsError{a.out.Response, a.out.Left}
	}
	a.out.Rows = rows
	a.describe(rows)
	return design.New(a.spec(rows))
}

// columnMethods are the methods of columns name@method, in order of appearance.
func (t *Table) columnMethods() []string {
	var out []string
	for _, c := range t.columns {
		if _, m := trait.Split(c.name); m != "" && !slices.Contains(out, m) {
			out = append(out, m)
		}
	}
	return out
}

// checkNames resolves the response and checks Group and Groupings.
func (a *assembler) checkNames() error {
	name, err := a.resolve(a.s.Response, "the response")
	if err != nil {
		return err
	}
	a.out.Response = name
	for _, g := range append(slices.Clone(a.s.Groupings), a.s.Group) {
		if g != "" && !a.t.Has(g) {
			return a.missing(g, "a column to group rows by")
		}
	}
	return nil
}

// resolve finds a column of numbers by its name, or by its bare name if one
// method (or the chosen one) has it.
func (a *assembler) resolve(name, want string) (string, error) {
	found := name
	if !a.t.Has(name) {
		var with []string
		for _, m := range a.methods {
			if a.t.Has(trait.Join(name, m)) && (a.s.Method == "" || a.s.Method == m) {
				with = append(with, trait.Join(name, m))
			}
		}
		if len(with) > 1 {
			return "", &ColumnError{name, "the figure by several methods", want + " by one of them", with}
		}
		if len(with) == 0 {
			return "", a.missing(name, want)
		}
		found = with[0]
	}
	if !a.t.IsNumber(found) {
		return "", &ColumnError{Column: found, Found: "text", Want: want + ", in numbers"}
	}
	if of, ok := Companion(found); ok && a.t.Has(of) {
		return "", &ColumnError{found, "a figure about " + of, want + ", not a number of replicates, a spread or a claim", []string{of}}
	}
	return found, nil
}

func (a *assembler) missing(name, want string) error {
	return &ColumnError{name, "no such column", want, trait.Near(name, a.t.Columns())}
}

// chooseRows keeps the rows of the product and, in a table with a method
// column, of the method.
func (a *assembler) chooseRows() ([]int, error) {
	rows := make([]int, a.t.n)
	for i := range rows {
		rows[i] = i
	}
	keep := func(column, value string) error {
		values := a.t.Values(column)
		if !slices.Contains(values, value) {
			return &ColumnError{column, "no row with " + value, "one of " + strings.Join(values, ", "), nil}
		}
		rows = slices.DeleteFunc(rows, func(i int) bool { s, _ := a.t.Text(column, i); return s != value })
		return nil
	}
	if a.s.Product != "" {
		if err := keep("product", a.s.Product); err != nil {
			return nil, err
		}
	}
	if a.s.Method == "" || slices.Contains(a.methods, a.s.Method) {
		return rows, nil
	}
	if len(a.methods) > 0 {
		return nil, &ColumnError{"method", "no figures by " + a.s.Method, "one of " + strings.Join(a.methods, ", "), nil}
	}
	return rows, keep("method", a.s.Method)
}

// keep returns the rows that have a figure in all columns; the others go to
// Left, with one finding for all of them.
func (a *assembler) keep(rows []int, columns []string, code string) []int {
	var kept []int
	var lots []string
	for _, i := range rows {
		var lacks []string
		for _, c := range columns {
			if _, ok := a.t.Number(c, i); !ok {
				lacks = append(lacks, c)
			}
		}
		if len(lacks) == 0 {
			kept = append(kept, i)
			continue
		}
		a.out.Left = append(a.out.Left, LeftOut{a.lot(i), "lacks " + strings.Join(lacks, ", ")})
		lots = append(lots, a.lot(i))
	}
	if len(lots) > 0 {
		what := "a feature"
		if len(columns) == 1 {
			what = columns[0]
		}
		a.fl.Add(finding.Finding{Code: code, Severity: finding.Note, Found: fmt.Sprintf("%d of %d rows lack %s and are left out: lots %s", len(lots), len(rows), what, some(lots))})
	}
	return kept
}

func (a *assembler) lot(row int) string {
	s, _ := a.t.Text(cmp.Or(a.s.Group, a.t.lot), row)
	return cmp.Or(s, a.t.Lot(row))
}

// defaultFeatures are the columns of step 2 of Assemble.
func (a *assembler) defaultFeatures(rows []int) []string {
	var traits, others []string
	for _, c := range a.t.columns {
		if !c.number || c.name == a.out.Response || c.name == a.s.Group || slices.Contains(a.s.Groupings, c.name) || a.otherMethod(c.name) {
			continue
		}
		if _, ok := Companion(c.name); ok {
			continue
		}
		d, known := trait.Lookup(c.name)
		switch {
		case known && (d.Role == trait.RoleFeature || d.Role == trait.RoleComposition):
			traits = append(traits, c.name)
		case !known || d.Role == trait.RoleFact:
			others = append(others, c.name)
		}
	}
	from := traits
	if len(traits) == 0 {
		from = others
	}
	var out, sparse []string
	for _, name := range from {
		n := 0
		for _, i := range rows {
			if _, ok := a.t.Number(name, i); ok {
				n++
			}
		}
		if float64(n) >= presence*float64(len(rows)) {
			out = append(out, name)
		} else {
			sparse = append(sparse, fmt.Sprintf("%s (%d of %d rows)", name, n, len(rows)))
		}
	}
	if len(sparse) > 0 {
		a.fl.Add(finding.Finding{Code: "features-sparse", Severity: finding.Note, Found: "not taken as features, too few rows have them: " + strings.Join(sparse, ", "),
			Want: fmt.Sprintf("%.0f %% of the rows", 100*presence), Do: "name the features to take them all the same; rows without them are then left out"})
	}
	return out
}

func (a *assembler) otherMethod(column string) bool {
	_, m := trait.Split(column)
	return m != "" && a.s.Method != "" && m != a.s.Method
}

func (a *assembler) namedFeatures() error {
	for _, name := range a.s.Features {
		found, err := a.resolve(name, "a feature")
		if err != nil {
			return err
		}
		if found == a.out.Response || slices.Contains(a.out.Features, found) {
			return &ColumnError{Column: found, Found: "the response, or a feature named before", Want: "each feature once, and not the response"}
		}
		a.out.Features = append(a.out.Features, found)
	}
	return nil
}

// describe names the product, method and solvent of the rows, and doubts what
// is pooled without having been chosen.
func (a *assembler) describe(rows []int) {
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
	if !slices.Contains(append([]string{a.out.Response}, a.out.Features...), "protocol") {
		a.only("protocol", sub.Values("protocol"))
	}
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
	for _, c := range t.columns {
		if c.number && !slices.Contains(a.s.Groupings, c.name) || c.name == t.lot {
			continue
		}
		labels := make([]string, len(rows))
		for k, i := range rows {
			labels[k], _ = c.text(i)
			if c.name == "family" && labels[k] == "" {
				labels[k] = a.lot(i)
			}
		}
		spec.Groupings[c.name] = labels
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
