package assembly

import (
	"errors"
	"fmt"
	"slices"

	"flourcast/dataset/column"
	"flourcast/dataset/table"
	"flourcast/dataset/treatment"
	"flourcast/finding"
)

// TreatmentsError says that the rows are of several flour treatments and nobody chose
// how these are taken. Kinds are in the order of the table, Rows how many each has.
type TreatmentsError struct {
	Kinds []string
	Rows  []int
}

func (e *TreatmentsError) Error() string {
	var each []string
	for k, kind := range e.Kinds {
		each = append(each, fmt.Sprintf("%s (%d)", kind, e.Rows[k]))
	}
	return "rows of several flour treatments: " + some(each)
}

// treatments takes the rows' treatments as the selection asks: refuses several, or
// gives the table their indicator columns and the features these names.
func (a *assembler) treatments(rows []int) ([]int, error) {
	switch a.s.Treatment {
	case "", treatment.Pooled: // as describe finds them
		return rows, nil
	case treatment.Within:
		if several := a.several(rows); several != nil {
			return nil, several
		}
		return rows, nil
	case treatment.AsFactor:
		return a.factor(rows)
	}
	return nil, &table.ColumnError{Column: column.Treatment, Found: "taken as " + string(a.s.Treatment), Want: fmt.Sprintf("%s, %s or %s", treatment.Within, treatment.AsFactor, treatment.Pooled)}
}

func (a *assembler) kinds(rows []int) []string {
	var written []string
	for _, i := range rows {
		text, _ := a.t.Text(column.Treatment, i)
		written = append(written, text)
	}
	return treatment.Kinds(written)
}

// several counts the rows of each treatment, "not stated" among them; nil where
// there is one.
func (a *assembler) several(rows []int) *TreatmentsError {
	e := &TreatmentsError{Kinds: a.kinds(rows)}
	if len(e.Kinds) < 2 {
		return nil
	}
	e.Rows = make([]int, len(e.Kinds))
	for _, i := range rows {
		e.Rows[slices.Index(e.Kinds, a.kinds([]int{i})[0])]++
	}
	return e
}

// factor leaves rows out that state no treatment, and puts an indicator column for
// each level beside the table's own.
func (a *assembler) factor(rows []int) ([]int, error) {
	if !a.t.Has(column.Treatment) {
		return nil, a.missing(column.Treatment, "a column that tells how the flour was treated, to be a factor")
	}
	var kept []int
	var written, lots []string
	for _, i := range rows {
		text, stated := a.t.Text(column.Treatment, i)
		if !stated {
			a.out.Left = append(a.out.Left, LeftOut{a.lot(i), "states no treatment"})
			continue
		}
		kept, written, lots = append(kept, i), append(written, text), append(lots, a.lot(i))
	}
	if left := len(rows) - len(kept); left > 0 {
		a.fl.Add(finding.Finding{Code: "rows-without-treatment", Severity: finding.Note, At: finding.Place{Column: column.Treatment}, Found: fmt.Sprintf("%d of %d rows state no treatment and are left out", left, len(rows))})
	}
	f, err := treatment.NewFactor(written, lots)
	var levels *treatment.LevelsError
	if errors.As(err, &levels) {
		return nil, &table.ColumnError{Column: column.Treatment, Found: levels.Found, Want: levels.Want}
	}
	var columns []column.Column
	for _, level := range f.Levels {
		values, present := make([]float64, a.t.Len()), make([]bool, a.t.Len())
		for i := range a.t.Len() {
			text, _ := a.t.Text(column.Treatment, i)
			values[i], present[i] = f.Indicator(level.Column, text)
		}
		columns = append(columns, column.Numbers(level.Column, values, present))
	}
	t, err := a.t.With(columns...)
	if err != nil {
		return nil, err
	}
	a.t, a.out.Factor = t, f
	return kept, nil
}

// treatmentOf says how the rows' treatments are taken, and the one kind there is, or
// "" if there are several: refused where nobody chose and more than one is stated, else
// a doubt, unless they are a factor. A chlorinated flour gets its caution.
func (a *assembler) treatmentOf(rows []int) (string, treatment.Use, error) {
	if !a.t.Has(column.Treatment) {
		return "", "", nil
	}
	kinds := a.kinds(rows)
	at := finding.Place{Column: column.Treatment}
	if slices.Contains(kinds, string(treatment.Chlorinated)) {
		a.fl.Add(finding.Finding{Code: "chlorinated-flour", Severity: finding.Note, At: at, Found: "rows of chlorinated flour", Do: treatment.Caution})
	}
	switch {
	case a.out.Factor != nil:
		return "", treatment.AsFactor, nil
	case len(kinds) > 2 && a.s.Treatment == "", len(kinds) == 2 && a.s.Treatment == "" && !slices.Contains(kinds, treatment.Unstated):
		return "", "", a.several(rows)
	case len(kinds) > 1:
		a.fl.Add(finding.Finding{Code: "pooled-differs", Severity: finding.Doubt, At: at, Found: "rows of several: " + some(kinds),
			Want: "one treatment in a model: it drives the curve and the cake both, and so can pass for a relation between the two",
			Do:   "fit within one, such as --where treatment=none, or with treatment as a factor (--treatment factor), or be sure that pooling is meant"})
		return "", treatment.Pooled, nil
	case kinds[0] == treatment.Unstated:
		return "", "", nil
	}
	return kinds[0], treatment.Within, nil
}
