// Package lotcard puts what is known of one lot into a document: what it is, its
// figures with their repeatability, and what was forecast.
//
//  1. Document takes the lot's rows of the joined table and the forecasts as they were
//     made. A row of the table is a section: a lot may be meant for several products.
//  2. Each figure stands with the number of its measurements and their standard
//     deviation; results stand apart from features.
//
// It computes no figure: what the table does not have is not in the document.
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

// Document is the sheet of a lot. t is the joined table of the lab book.
func Document(lot string, t *dataset.Table) document.Document {
	d := document.Document{Title: "Lot " + lot}
	for row := range t.Len() {
		if t.Lot(row) == lot {
			d.Sections = append(d.Sections, about(t, row), figures(t, row, "Results", trait.RoleResponse), figures(t, row, "Flour", trait.RoleComposition), figures(t, row, "Features", trait.RoleFeature))
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
		Columns: []document.Column{{Heading: "figure"}, {Heading: "mean", Align: document.Right}, {Heading: "unit"}, {Heading: "n", Align: document.Right}, {Heading: "SD", Align: document.Right}, {Heading: "column"}}}
	for _, c := range t.Columns() {
		id, method := trait.Split(c)
		known, ok := trait.Lookup(id)
		v, has := t.Number(c, row)
		if !ok || !has || known.Role != role || isBeside(c) {
			continue
		}
		name := known.Label
		if method != "" {
			name += " (" + method + ")"
		}
		table.Rows = append(table.Rows, []document.Cell{document.Words(name), phrase.Figure(c, v), document.Words(known.Unit), side(t, row, c, "_n"), side(t, row, c, "_sd"), document.Words(c)})
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
