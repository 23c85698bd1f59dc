// Package pairing makes the document of pairs of tests: the answer first, then the
// figures behind it, then the cautions of what is touched.
//
//  1. Document takes the result of study/pairing.
//  2. Each kind of pairs has its tables and its picture.
//
// It computes no figure: what a result does not hold is not in the document.
package pairing

import (
	"fmt"

	"flourcast/dataset/method"
	"flourcast/dataset/trait"
	"flourcast/forecast/pairs"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/pairing"
)

// rules is what the cautions do not replace.
const rules = "Safety data sheets, local rules and qualified people come before these cautions."

// screens is what pairs are good for.
const screens = "Pairs explain a curve; they release no lot, and say nothing about food safety."

// Document is the document of pairs.
func Document(r *pairing.Result) document.Document {
	d := document.Document{Meta: []document.Pair{{Name: "table", Value: r.File}, {Name: "intervals", Value: fmt.Sprintf("%g %%", 100*r.Level)}}}
	switch {
	case r.Amylase != nil:
		d.Title = "Amylase: the same lots with and without the inhibitor"
		d.Sections = amylase(r.Amylase)
	case r.Dose != nil:
		d.Title = "Added amylase: " + trait.Name(r.Dose.Feature) + " over the dose"
		d.Sections = dose(r.Dose)
	case r.Treatment != nil:
		d.Title = "Treated flours beside their untreated twins"
		d.Sections = treated(r.Treatment)
	}
	d.Sections[0].Blocks = append(d.Sections[0].Blocks, document.Paragraph(screens))
	if len(r.Findings) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "Before you rely on it", Blocks: []document.Block{document.Findings(r.Findings)}})
	}
	if len(r.Cautions) > 0 {
		d.Sections = append(d.Sections, cautions(r.Cautions))
		d.Notice = "Read the cautions at the end before you test."
	}
	return d
}

func cautions(all []method.Caution) document.Section {
	s := document.Section{Heading: "Cautions"}
	for _, c := range all {
		s.Blocks = append(s.Blocks, document.Callout{Kind: document.Caution, Title: c.Topic, Text: c.Text})
	}
	s.Blocks = append(s.Blocks, document.Paragraph(rules))
	return s
}

func unit(column string) string {
	t, _ := trait.Lookup(column)
	return t.Unit
}

func figure(column string, v float64) document.Cell {
	return phrase.Figure(column, v)
}

// minus is a number with the sign of print.
func minus(s string) string {
	if len(s) > 0 && s[0] == '-' {
		return "−" + s[1:]
	}
	return s
}

func right(heading, unit, name string) document.Column {
	return document.Column{Heading: heading, Unit: unit, Name: name, Align: document.Right}
}

// count is "1 lot", "3 lots".
func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// governed is an answer about amylase in words.
var governed = map[pairs.Answer]string{pairs.Confirmed: "amylase governs", pairs.Contradicted: "amylase does not govern", pairs.CannotTell: "cannot tell"}
