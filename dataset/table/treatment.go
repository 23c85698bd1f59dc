package table

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"flourcast/dataset/column"
	"flourcast/dataset/treatment"
	"flourcast/finding"
)

// TreatmentUse says how a model takes the treatments of its flours.
type TreatmentUse string

// A selection asks for Within or Factor, or for neither. Rows of one treatment are
// Within in any case; Pooled is what an assembly says of several that nobody asked
// to keep apart, and "" of rows that state none.
const (
	Within TreatmentUse = "within" // one treatment; rows of several are refused
	Factor TreatmentUse = "factor" // an indicator column for each treatment but the reference
	Pooled TreatmentUse = "pooled"
)

// leastOfLevel is how many lots a treatment needs to be a level of a factor, so that
// no fold is without it (ours).
const leastOfLevel = 3

// TreatmentFactor is treatment as a factor: Reference is the treatment without a column of
// its own (none, where there is one, else the first by name), Levels are the others.
type TreatmentFactor struct {
	Reference string           `json:"reference"`
	Levels    []TreatmentLevel `json:"levels"`
}

// TreatmentLevel is a treatment and its indicator column: 1 on its rows, else 0.
type TreatmentLevel struct {
	Treatment string `json:"treatment"`
	Column    string `json:"column"`
}

// Indicator is the figure of an indicator column for a flour of a treatment, as
// written; ok is false where the column is none of the factor's, and where the
// treatment is not stated or not one of the factor's.
func (f *TreatmentFactor) Indicator(name, written string) (v float64, ok bool) {
	kind := treatment.Kinds([]string{written})[0]
	at := slices.IndexFunc(f.Levels, func(l TreatmentLevel) bool { return l.Column == name })
	if at < 0 || !f.Knows(written) {
		return 0, false
	}
	if f.Levels[at].Treatment == kind {
		v = 1
	}
	return v, true
}

// Knows reports whether a written treatment is one of the factor's.
func (f *TreatmentFactor) Knows(written string) bool {
	kind := treatment.Kinds([]string{written})[0]
	return kind == f.Reference || slices.ContainsFunc(f.Levels, func(l TreatmentLevel) bool { return l.Treatment == kind })
}

// Names are the treatments, the reference first.
func (f *TreatmentFactor) Names() []string {
	names := []string{f.Reference}
	for _, l := range f.Levels {
		names = append(names, l.Treatment)
	}
	return names
}

const notStated = "not stated" // as package treatment names an empty text

// treatments takes the rows' treatments as the selection asks: refuses several, or
// gives the table their indicator columns and the features these names.
func (a *assembler) treatments(rows []int) ([]int, error) {
	switch a.s.Treatment {
	case "":
		return rows, nil
	case Within:
		if kinds := a.kinds(rows); len(kinds) > 1 {
			return nil, &ColumnError{Column: column.Treatment, Found: "rows of several treatments: " + some(kinds), Want: "rows of one, such as --where treatment=" + kinds[0] + ", or treatment as a factor"}
		}
		return rows, nil
	case Factor:
		return a.factor(rows)
	}
	return nil, &ColumnError{Column: column.Treatment, Found: "taken as " + string(a.s.Treatment), Want: string(Within) + " or " + string(Factor)}
}

func (a *assembler) kinds(rows []int) []string {
	var written []string
	for _, i := range rows {
		text, _ := a.t.Text(column.Treatment, i)
		written = append(written, text)
	}
	return treatment.Kinds(written)
}

// factor leaves rows out that state no treatment, and puts an indicator column for
// each level beside the table's own.
func (a *assembler) factor(rows []int) ([]int, error) {
	if !a.t.Has(column.Treatment) {
		return nil, a.missing(column.Treatment, "a column that tells how the flour was treated, to be a factor")
	}
	lots := map[string]map[string]bool{}
	var kept []int
	for _, i := range rows {
		kind := a.kinds([]int{i})[0]
		if kind == notStated {
			a.out.Left = append(a.out.Left, LeftOut{a.lot(i), "states no treatment"})
			continue
		}
		if lots[kind] == nil {
			lots[kind] = map[string]bool{}
		}
		lots[kind][a.lot(i)] = true
		kept = append(kept, i)
	}
	if left := len(rows) - len(kept); left > 0 {
		a.fl.Add(finding.Finding{Code: "rows-without-treatment", Severity: finding.Note, At: finding.Place{Column: column.Treatment}, Found: fmt.Sprintf("%d of %d rows state no treatment and are left out", left, len(rows))})
	}
	var kinds []string
	for kind := range lots {
		kinds = append(kinds, kind)
	}
	slices.SortFunc(kinds, func(x, y string) int {
		if none := string(treatment.None); x == none || y == none {
			return map[bool]int{true: -1, false: 1}[x == none]
		}
		return strings.Compare(x, y)
	})
	if len(kinds) < 2 {
		return nil, &ColumnError{Column: column.Treatment, Found: "rows of " + cond(len(kinds) == 0, "no treatment", some(kinds)+" only"), Want: "rows of at least two treatments for a factor; within one there is nothing to choose"}
	}
	for _, kind := range kinds {
		if n := len(lots[kind]); n < leastOfLevel {
			return nil, &ColumnError{Column: column.Treatment, Found: fmt.Sprintf("%d lots of %s", n, kind), Want: fmt.Sprintf("at least %d lots of each treatment for a factor; leave the others out with --where", leastOfLevel)}
		}
	}
	f := &TreatmentFactor{Reference: kinds[0]}
	var columns []column.Column
	for _, kind := range kinds[1:] {
		name := "treatment_" + strings.Map(func(r rune) rune {
			if unicode.IsLetter(r) || unicode.IsDigit(r) {
				return unicode.ToLower(r)
			}
			return '_'
		}, kind)
		f.Levels = append(f.Levels, TreatmentLevel{kind, name})
		values, present := make([]float64, a.t.n), make([]bool, a.t.n)
		for i := range a.t.n {
			text, _ := a.t.Text(column.Treatment, i)
			values[i], present[i] = indicator(kind, text)
		}
		columns = append(columns, column.Numbers(name, values, present))
	}
	t, err := a.t.With(columns...)
	if err != nil {
		return nil, err
	}
	a.t, a.out.Factor = t, f
	return kept, nil
}

func indicator(kind, written string) (v float64, stated bool) {
	of := treatment.Kinds([]string{written})[0]
	if of == kind {
		v = 1
	}
	return v, of != notStated
}

func cond(is bool, yes, no string) string {
	if is {
		return yes
	}
	return no
}

// treatmentOf says how the rows' treatments are taken, and the one kind there is, or
// "" and, unless they are a factor, a doubt if there are several. A chlorinated flour
// gets its caution.
func (a *assembler) treatmentOf(rows []int) (string, TreatmentUse) {
	if !a.t.Has(column.Treatment) {
		return "", ""
	}
	kinds := a.kinds(rows)
	at := finding.Place{Column: column.Treatment}
	if slices.Contains(kinds, string(treatment.Chlorinated)) {
		a.fl.Add(finding.Finding{Code: "chlorinated-flour", Severity: finding.Note, At: at, Found: "rows of chlorinated flour", Do: treatment.Caution})
	}
	switch {
	case a.out.Factor != nil:
		return "", Factor
	case len(kinds) > 1:
		a.fl.Add(finding.Finding{Code: "pooled-differs", Severity: finding.Doubt, At: at, Found: "rows of several: " + some(kinds),
			Want: "one treatment in a model: it drives the curve and the cake both, and so can pass for a relation between the two",
			Do:   "fit within one, such as --where treatment=none, or with treatment as a factor (--treatment factor), or be sure that pooling is meant"})
		return "", Pooled
	case kinds[0] == notStated:
		return "", ""
	}
	return kinds[0], Within
}
