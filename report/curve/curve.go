// Package curve makes the documents of pasting curves: their features, how each
// run kept to its method, and the pictures that show both.
//
//  1. Document is the terminal's answer: a row a run, what deviates, and for a
//     single run everything that was read off it.
//  2. Section draws curves together for a report; a single one shows its stages,
//     its features where they were found, its deviations and the programme.
//  3. Page gives each run a section of its own.
//  4. Laid says which curves were laid on which grid.
//
// It computes no figure: what a result does not hold is not in the document.
package curve

import (
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/pasting"
	"flourcast/dataset/trait"
	"flourcast/finding"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/curve"
)

// shownRuns is how many curves one picture, and how many runs one page, takes.
const shownRuns = 50

// Document is the document of extracted features for the terminal.
func Document(r *curve.FeaturesResult) document.Document {
	d := head(r)
	s := document.Section{Heading: "Runs", Blocks: []document.Block{featureTable(r.Runs)}}
	d.Sections = append(d.Sections, s)
	if len(r.Runs) == 1 {
		d.Sections = append(d.Sections, document.Section{Heading: "Details", Blocks: []document.Block{valueTable(r.Runs[0], false)}})
		if blocks := conduct(r.Runs[0]); len(blocks) > 0 {
			d.Sections = append(d.Sections, document.Section{Heading: "Conformity to the method", Blocks: blocks})
		}
	} else if t := summary(r.Runs); len(t.Rows) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "Conformity to the method", Blocks: []document.Block{t}})
	}
	return withFindings(d, all(r))
}

// Page is the document of features for a page: each run with its picture, up to
// shownRuns.
func Page(r *curve.FeaturesResult) document.Document {
	d := head(r)
	blocks := []document.Block{featureTable(r.Runs)}
	if t := summary(r.Runs); len(t.Rows) > 0 {
		blocks = append(blocks, t)
	}
	if len(r.Runs) > shownRuns {
		blocks = append(blocks, document.Paragraph(fmt.Sprintf("The first %d of %d runs are drawn.", shownRuns, len(r.Runs))))
	}
	d.Sections = append(d.Sections, document.Section{Heading: "Runs", Blocks: blocks})
	for i, run := range r.Runs[:min(len(r.Runs), shownRuns)] {
		d.Sections = append(d.Sections, single(run, name(run), fmt.Sprintf("run-%d", i+1)))
	}
	return withFindings(d, all(r))
}

// Section draws runs together under a heading; a single run comes with its
// details and its conformity.
func Section(runs []curve.RunFeatures, heading string) document.Section {
	if len(runs) == 1 {
		return single(runs[0], heading, "curves-"+anchor(heading))
	}
	s := document.Section{Heading: heading}
	fig, drawn := together(runs, "curves-"+anchor(heading))
	if drawn == 0 {
		s.Blocks = append(s.Blocks, document.Paragraph("No curve to draw."))
		return s
	}
	if drawn < len(runs) {
		s.Blocks = append(s.Blocks, document.Paragraph(fmt.Sprintf("%d of %d runs are drawn.", drawn, len(runs))))
	}
	s.Blocks = append(s.Blocks, document.Picture{Figure: fig}, featureTable(runs[:min(len(runs), shownRuns)]))
	if t := summary(runs); len(t.Rows) > 0 {
		s.Blocks = append(s.Blocks, t)
	}
	return s
}

// single is one run on its own: picture, features, conformity.
func single(run curve.RunFeatures, heading, id string) document.Section {
	s := document.Section{Heading: heading}
	if fig, ok := alone(run, id); ok {
		s.Blocks = append(s.Blocks, document.Picture{Figure: fig})
	} else {
		s.Blocks = append(s.Blocks, document.Paragraph("No curve to draw."))
	}
	if len(run.Features) > 0 {
		s.Blocks = append(s.Blocks, valueTable(run, true))
	} else {
		s.Blocks = append(s.Blocks, document.Findings(run.Findings.With(finding.Refused)))
	}
	s.Blocks = append(s.Blocks, conduct(run)...)
	return s
}

// Laid is the document of curves laid on a grid.
func Laid(r *curve.LayResult) document.Document {
	unit := "s"
	if r.On != "time" {
		unit = "°C"
	}
	d := document.Document{Title: "Curves on a grid", Subtitle: fmt.Sprintf("%d rows by %d columns, %s to %s", r.Rows, r.Columns, r.First, r.Last),
		Meta: []document.Pair{{Name: "method", Value: r.Method}, {Name: "laid on", Value: fmt.Sprintf("%s, every %g %s", r.On, r.Step, unit)}, {Name: "a row is", Value: "a " + r.By}, {Name: "rows read", Value: counts(r.Counts.Read, r.Counts.Accepted, r.Counts.Waiting, r.Counts.Refused)}}}
	if r.Output != "" {
		d.Meta = append(d.Meta, document.Pair{Name: "written to", Value: r.Output})
	}
	t := &document.Table{ID: "absent", Caption: "Runs with cells that are absent: before or after the record, in a gap, or where a temperature was not reached", Columns: []document.Column{{Heading: "lot"}, {Heading: "replicate"}, {Heading: "absent", Align: document.Right}, {Heading: "file"}}}
	for _, run := range r.Runs {
		if run.Absent > 0 {
			t.Rows = append(t.Rows, []document.Cell{document.Words(run.Lot), document.Words(run.Replicate), phrase.Count(run.Absent), document.Words(run.File)})
		}
	}
	if len(t.Rows) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "Absent cells", Blocks: []document.Block{t}})
	}
	return withFindings(d, r.Findings)
}

func head(r *curve.FeaturesResult) document.Document {
	return document.Document{Title: "Pasting features", Subtitle: counts(r.Counts.Read, r.Counts.Accepted, r.Counts.Waiting, r.Counts.Refused)}
}

func counts(read, accepted, waiting, refused int) string {
	return fmt.Sprintf("%d rows read: %d accepted, %d waiting, %d refused", read, accepted, waiting, refused)
}

// all is the findings of the files and of the runs.
func all(r *curve.FeaturesResult) finding.List {
	out := append(finding.List{}, r.Findings...)
	for _, run := range r.Runs {
		out = append(out, run.Findings...)
	}
	return out
}

// featureTable has the ten features that everyone reports, a row a run.
func featureTable(runs []curve.RunFeatures) *document.Table {
	t := &document.Table{ID: "features", Columns: []document.Column{{Heading: "lot"}, {Heading: "method"}, {Heading: "replicate"}}}
	ids := pasting.Main()
	if slices.ContainsFunc(runs, func(r curve.RunFeatures) bool { _, ok := r.Features[pasting.StirringNumber]; return ok }) {
		ids = append(ids, pasting.StirringNumber) // what a test that stays hot is run for
	}
	for _, id := range ids {
		d, _ := trait.Lookup(id)
		t.Columns = append(t.Columns, document.Column{Heading: d.Label, Unit: d.Unit, Name: id, Align: document.Right})
	}
	for _, run := range runs {
		row := []document.Cell{document.Words(run.Lot), document.Words(run.Method), document.Words(run.Replicate)}
		for _, id := range ids {
			row = append(row, value(run, id))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// valueTable has the features of one run along the curve, a row a feature that is
// there: all of them, or those beside the ten.
func valueTable(run curve.RunFeatures, all bool) *document.Table {
	t := &document.Table{ID: "details", Caption: "Beside the ten that everyone reports; a model takes them when named",
		Columns: []document.Column{{Heading: "feature"}, {Heading: "value", Align: document.Right}, {Heading: "unit"}, {Heading: "column"}}}
	if all {
		t.Caption = "Features of the run, along the curve"
	}
	for _, id := range pasting.IDs() {
		d, _ := trait.Lookup(id)
		if _, ok := run.Features[id]; ok && (all || d.Family != "pasting") {
			t.Rows = append(t.Rows, []document.Cell{document.Words(d.Label), value(run, id), document.Words(d.Unit), document.Words(id)})
		}
	}
	return t
}

func value(run curve.RunFeatures, id string) document.Cell {
	v, ok := run.Features[id]
	if !ok {
		return document.Words("–")
	}
	return phrase.Figure(id, v)
}

// name is a run in a heading.
func name(run curve.RunFeatures) string {
	text := run.Lot
	if text == "" {
		text = "Run without a lot"
	}
	if run.Method != "" {
		text += ", " + run.Method
	}
	if run.Replicate != "" && run.Replicate != "1" {
		text += ", replicate " + run.Replicate
	}
	return text
}

func anchor(text string) string {
	return strings.Trim(strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			return r
		}
		return '-'
	}, strings.ToLower(text)), "-")
}

func withFindings(d document.Document, l finding.List) document.Document {
	if len(l) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "Findings in the data", Blocks: []document.Block{document.Findings(l)}})
	}
	return d
}
