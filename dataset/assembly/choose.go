package assembly

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/column"
	"flourcast/dataset/table"
	"flourcast/dataset/trait"
	"flourcast/finding"
)

// columnMethods are the methods of columns name@method, in order of appearance.
func columnMethods(t *table.Table) []string {
	var out []string
	for _, c := range t.All() {
		if _, ok := companion(t, c.Name()); ok {
			continue
		}
		if _, m := trait.Split(c.Name()); m != "" && !slices.Contains(out, m) {
			out = append(out, m)
		}
	}
	return out
}

// companion is column.Companion, except that a method may be named like a suffix:
// peak_mPas@ours_n is no companion where there is no peak_mPas@ours.
func companion(t *table.Table, name string) (of string, ok bool) {
	of, ok = column.Companion(name)
	return of, ok && (!strings.Contains(name, "@") || t.Has(of))
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
			return "", &table.ColumnError{Column: name, Found: "the figure by several methods", Want: want + " by one of them", Near: with}
		}
		if len(with) == 0 {
			return "", a.missing(name, want)
		}
		found = with[0]
	}
	if !a.t.IsNumber(found) {
		return "", &table.ColumnError{Column: found, Found: "text", Want: want + ", in numbers"}
	}
	if of, ok := companion(a.t, found); ok && a.t.Has(of) {
		return "", &table.ColumnError{Column: found, Found: "a figure about " + of, Want: want + ", not a number of replicates, a spread or a claim", Near: []string{of}}
	}
	return found, nil
}

func (a *assembler) missing(name, want string) error {
	return &table.ColumnError{Column: name, Found: "no such column", Want: want, Near: trait.Near(name, a.t.Columns())}
}

// chooseRows keeps the rows of the product and, in a table with a method
// column, of the method.
func (a *assembler) chooseRows() ([]int, error) {
	want := map[string]string{"product": a.s.Product, "method": a.s.Method}
	if len(a.methods) > 0 {
		if m := a.s.Method; m != "" && !slices.Contains(a.methods, m) {
			return nil, &table.ColumnError{Column: "method", Found: "no figures by " + m, Want: "one of " + strings.Join(a.methods, ", ")}
		}
		want["method"] = ""
	}
	for _, column := range []string{"product", "method"} {
		if values := a.t.Values(column); want[column] != "" && !slices.Contains(values, want[column]) {
			return nil, &table.ColumnError{Column: column, Found: "no row with " + want[column], Want: "one of " + strings.Join(values, ", ")}
		}
	}
	var rows []int
	for i := range a.t.Len() {
		product, _ := a.t.Text("product", i)
		by, _ := a.t.Text("method", i)
		if (want["product"] == "" || product == want["product"]) && (want["method"] == "" || by == want["method"]) {
			rows = append(rows, i)
		}
	}
	return rows, nil
}

// mostNamed is how many columns that a row lacks are named.
const mostNamed = 8

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
		if n := len(lacks); n > mostNamed+1 {
			lacks = append(lacks[:mostNamed:mostNamed], fmt.Sprintf("and %d more columns", n-mostNamed))
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
	s, _ := a.t.Text(cmp.Or(a.s.Group, a.t.LotColumn()), row)
	return cmp.Or(s, a.t.Lot(row))
}

// defaultFeatures are the columns of step 2 of Make.
func (a *assembler) defaultFeatures(rows []int) []string {
	var traits, others []string
	for _, c := range a.t.All() {
		if !c.IsNumber() || c.Name() == a.out.Response || c.Name() == a.s.Group || slices.Contains(a.s.Groupings, c.Name()) || a.otherMethod(c.Name()) {
			continue
		}
		if _, ok := companion(a.t, c.Name()); ok {
			continue
		}
		d, known := trait.Lookup(c.Name())
		switch {
		case known && d.Family == "pasting detail": // used when named
		case known && (d.Role == trait.RoleFeature || d.Role == trait.RoleComposition):
			traits = append(traits, c.Name())
		case !known || d.Role == trait.RoleFact:
			others = append(others, c.Name())
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
		switch {
		case float64(n) >= presence*float64(len(rows)):
			out = append(out, name)
		case n > 0: // a column without any belongs to other products
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
	for _, name := range column.Expand(a.s.Features, a.t.Columns()) {
		found, err := a.resolve(name, "a feature")
		if err != nil {
			return err
		}
		if found == a.out.Response || slices.Contains(a.out.Features, found) {
			return &table.ColumnError{Column: found, Found: "the response, or a feature named before", Want: "each feature once, and not the response"}
		}
		a.out.Features = append(a.out.Features, found)
	}
	return nil
}
