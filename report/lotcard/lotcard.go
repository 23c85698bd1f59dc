// Package lotcard puts what is known of one lot into documents: what was forecast and
// measured of it, its features with their repeatability, what it is.
//
//  1. Forecasts has each forecast as it was made, and what became of it.
//  2. Features has the sessions of its runs: each run's figure, the mean, what the runs
//     differ by, and what they may differ by.
//  3. About takes the lot's rows of the joined table: results, flour, and the words of
//     the lots file. A lot may be meant for several products.
//
// It computes no figure: what a result does not have is not in the document.
package lotcard

import (
	"strings"

	"flourcast/dataset"
	"flourcast/dataset/trait"
	"flourcast/report/document"
	"flourcast/report/phrase"
)

// beside are the endings of columns that go with a measured column.
var beside = []string{"_n", "_sd", "_se"}

// About is what the joined table t of a lab book has of a lot beside its features.
func About(lot string, t *dataset.Table) document.Document {
	d := document.Document{Title: "Lot " + lot}
	for row := range t.Len() {
		if t.Lot(row) == lot {
			d.Sections = append(d.Sections, figures(t, row, "Results", trait.RoleResponse), figures(t, row, "Flour", trait.RoleComposition), about(t, row))
		}
	}
	var kept []document.Section
	for _, s := range d.Sections {
		if len(s.Blocks) > 0 {
			kept = append(kept, s)
		}
	}
	d.Sections = kept
	return d
}

// about has the words that the table knows of a lot.
func about(t *dataset.Table, row int) document.Section {
	table := &document.Table{ID: "about", Caption: "From the lots file", Columns: []document.Column{{Heading: "what"}, {Heading: "as the lab book has it"}}}
	for _, c := range t.Columns() {
		if t.IsNumber(c) || c == t.LotColumn() {
			continue
		}
		if text, ok := t.Text(c, row); ok && text != "" {
			if c == "product" {
				text = phrase.Product(text)
			}
			table.Rows = append(table.Rows, []document.Cell{document.Words(strings.ReplaceAll(c, "_", " ")), document.Words(text)})
		}
	}
	if len(table.Rows) == 0 {
		return document.Section{}
	}
	return document.Section{Heading: "What it is", Blocks: []document.Block{table}}
}

// figures has the measured columns of a role, in the order of the table.
func figures(t *dataset.Table, row int, heading string, role trait.Role) document.Section {
	table := &document.Table{ID: strings.ToLower(heading), Caption: heading + ": mean, number of measurements, their standard deviation",
		Columns: []document.Column{{Heading: "figure"}, phrase.Right("mean"), {Heading: "unit"}, phrase.Right("n"), phrase.Right("SD"), {Heading: "column"}}}
	for _, c := range t.Columns() {
		known, ok := trait.Lookup(c)
		v, has := t.Number(c, row)
		if !ok || !has || known.Role != role || isBeside(c) {
			continue
		}
		table.Rows = append(table.Rows, []document.Cell{document.Words(known.Label), phrase.Figure(c, v), document.Words(known.Unit), side(t, row, c, "_n"), side(t, row, c, "_sd"), document.Words(c)})
	}
	if len(table.Rows) == 0 {
		return document.Section{}
	}
	return document.Section{Heading: heading, Blocks: []document.Block{table}}
}

func isBeside(column string) bool {
	for _, ending := range beside {
		if strings.HasSuffix(column, ending) {
			return true
		}
	}
	return false
}

// side is the cell of a column that goes with a measured one.
func side(t *dataset.Table, row int, column, ending string) document.Cell {
	v, ok := t.Number(column+ending, row)
	switch {
	case !ok:
		return document.Words("–")
	case ending == "_n":
		return phrase.Count(int(v))
	}
	return phrase.Figure(column, v)
}
