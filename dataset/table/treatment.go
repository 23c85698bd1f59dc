package table

import (
	"errors"
	"fmt"
	"slices"

	"flourcast/dataset/column"
	"flourcast/dataset/treatment"
	"flourcast/finding"
)

// treatments takes the rows' treatments as the selection asks: refuses several, or
// gives the table their indicator columns and the features these names.
func (a *assembler) treatments(rows []int) ([]int, error) {
	switch a.s.Treatment {
	case "":
		return rows, nil
	case treatment.Within:
		if kinds := a.kinds(rows); len(kinds) > 1 {
			return nil, &ColumnError{Column: column.Treatment, Found: "rows of several treatments: " + some(kinds), Want: "rows of one, such as --where treatment=" + kinds[0] + ", or treatment as a factor"}
		}
		return rows, nil
	case treatment.AsFactor:
		return a.factor(rows)
	}
	return nil, &ColumnError{Column: column.Treatment, Found: "taken as " + string(a.s.Treatment), Want: string(treatment.Within) + " or " + string(treatment.AsFactor)}
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
		return nil, &ColumnError{Column: column.Treatment, Found: levels.Found, Want: levels.Want}
	}
	var columns []column.Column
	for _, level := range f.Levels {
		values, present := make([]float64, a.t.n), make([]bool, a.t.n)
		for i := range a.t.n {
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
// "" and, unless they are a factor, a doubt if there are several. A chlorinated flour
// gets its caution.
func (a *assembler) treatmentOf(rows []int) (string, treatment.Use) {
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
		return "", treatment.AsFactor
	case len(kinds) > 1:
		a.fl.Add(finding.Finding{Code: "pooled-differs", Severity: finding.Doubt, At: at, Found: "rows of several: " + some(kinds),
			Want: "one treatment in a model: it drives the curve and the cake both, and so can pass for a relation between the two",
			Do:   "fit within one, such as --where treatment=none, or with treatment as a factor (--treatment factor), or be sure that pooling is meant"})
		return "", treatment.Pooled
	case kinds[0] == treatment.Unstated:
		return "", ""
	}
	return kinds[0], treatment.Within
}
