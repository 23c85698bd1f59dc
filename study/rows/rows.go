// Package rows looks at the rows that a model used through all columns of their
// table, not only those that went into its matrix.
//
//  1. Any numeric column on those rows, with its solvent and its repeatability:
//     what published directions are put to.
//  2. The response's own error, from the spread of its replicates, and the highest
//     Q² that this error allows.
//  3. Leaks: lots that are one flour under two names, and features made from the
//     response.
//
// It fits nothing and judges nothing. Rows are those of the matrix, in its order.
package rows

import (
	"flourcast/dataset/assembly"
	"flourcast/dataset/column"
	"flourcast/dataset/method"
	"flourcast/dataset/table"
	"flourcast/dataset/trait"
	"flourcast/eval/direction"
	"flourcast/model/design"
	"flourcast/stat/precision"
)

// Protein is the column that features are adjusted for.
const Protein = "protein_pct"

// Used are the rows of Table that Matrix was made from; Assembly says which.
// Methods are the laboratory's own beside the built-in ones.
type Used struct {
	Table    *table.Table
	Matrix   *design.Matrix
	Assembly assembly.Made
	Methods  []method.Method
}

// Evidence is what published directions are put to: every pasting feature and
// figure of composition on the rows, with lots, protein, crop years and labels.
func (u Used) Evidence() direction.Evidence {
	m := u.Matrix
	e := direction.Evidence{Product: u.Assembly.Product, Solvent: u.Assembly.Solvent, Response: m.Response(),
		Lots: m.Lots(), Y: m.Y(), Features: u.Features(), Labels: map[string][]string{}}
	if t, ok := trait.Lookup(m.Response()); ok {
		e.Kind = t.Kind
	}
	if p := u.Column(Protein); p != nil {
		e.Protein = p
	}
	if years, ok := m.Grouping("crop_year"); ok {
		e.Year = years
	}
	for _, name := range m.Groupings() {
		e.Labels[name], _ = m.Grouping(name)
	}
	return e
}

// Features are the numeric traits of the table that a direction may name,
// on the rows used: pasting features and composition.
func (u Used) Features() []direction.FeatureColumn {
	var out []direction.FeatureColumn
	for _, name := range u.Table.Columns() {
		t, ok := trait.Lookup(name)
		if _, companion := column.Companion(name); !ok || companion || (t.Role != trait.RoleFeature && t.Role != trait.RoleComposition) {
			continue
		}
		if c := u.Column(name); c != nil {
			out = append(out, *c)
		}
	}
	return out
}

// Column is a numeric column of the table on the rows used, or nil where no row
// has it. Its solvent is that of its method.
func (u Used) Column(name string) *direction.FeatureColumn {
	c := direction.FeatureColumn{ID: name, X: make([]float64, u.Matrix.N()), Present: make([]bool, u.Matrix.N())}
	any := false
	for k, row := range u.Assembly.Rows {
		c.X[k], c.Present[k] = u.Table.Number(name, row)
		any = any || c.Present[k]
	}
	if !any {
		return nil
	}
	if _, m := trait.Split(name); m != "" {
		c.Solvent = u.solventOf(m)
	}
	c.RepeatSD = repeatSD(u.Table, name)
	return &c
}

func (u Used) solventOf(id string) trait.Solvent {
	for _, m := range u.Methods {
		if m.ID == id {
			return m.Solvent
		}
	}
	return method.SolventOf(id)
}

// repeatSD is the repeatability SD of a column's replicates over the whole
// table, or nil where nothing was measured twice.
func repeatSD(t *table.Table, column string) *float64 {
	var n []int
	var sd []float64
	for i := range t.Len() {
		k, okN := t.Number(column+"_n", i)
		s, okSD := t.Number(column+"_sd", i)
		if okN && okSD {
			n, sd = append(n, int(k)), append(sd, s)
		}
	}
	r, err := precision.Pooled(n, sd)
	if err != nil {
		return nil
	}
	return &r.SD
}
