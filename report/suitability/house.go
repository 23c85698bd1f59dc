package suitability

import (
	"fmt"
	"strings"

	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/suitability"
)

// House is the screen for whoever sends the sheets: the lots, what to look at first, and
// the codes. It names what a sheet does not, and is not for the customer.
func House(r *suitability.Result, file string) document.Document {
	d := document.Document{Title: "Suitability sheets", Subtitle: "This screen is for the house; the sheets are for the customer"}
	if file != "" {
		d.Meta = append(d.Meta, document.Pair{Name: "written to", Value: file})
	}
	if r.Customer != "" {
		d.Meta = append(d.Meta, document.Pair{Name: "customer", Value: r.Customer})
	}
	destination := r.Destination
	if destination == "" {
		destination = "not stated: give it with --destination, or the treatment is not checked"
	}
	d.Meta = append(d.Meta, document.Pair{Name: "destination", Value: destination})
	section := document.Section{Heading: "Lots"}
	t := &document.Table{ID: "sheets", Caption: "Before you send: read what is said against each lot", Columns: []document.Column{{Heading: "lot"}, {Heading: "for"}, {Heading: "expected"}, {Heading: "chance", Align: document.Right}, {Heading: "decision"}, {Heading: "model"}, {Heading: "against it"}}}
	for _, s := range r.Sheets {
		for _, e := range s.Expected {
			value, chance := "–", "–"
			if e.Value != nil {
				value = phrase.Label(e.Response) + " " + phrase.Figure(e.Response, *e.Value).Text
			}
			if e.Probability != nil {
				chance = chanceText(*e.Probability)
			}
			t.Rows = append(t.Rows, []document.Cell{document.Words(s.Lot), document.Words(phrase.Product(s.Products[0])), document.Words(value), document.Words(chance), document.Words(orDash(e.Decision)),
				document.Words(fmt.Sprintf("row %d, %s", e.Model.Row, e.Model.Standing)), document.Words(orDash(strings.Join(e.Trouble, ", ")))})
		}
		for _, f := range s.Fits {
			value, chance := "–", "–"
			if f.Value != nil {
				value = phrase.Label(f.Response) + " " + phrase.Figure(f.Response, *f.Value).Text
			}
			if f.Probability != nil {
				chance = chanceText(*f.Probability)
			}
			t.Rows = append(t.Rows, []document.Cell{document.Words(s.Lot), document.Words(phrase.Product(f.Product)), document.Words(value), document.Words(chance), document.Words(orDash(f.Decision)),
				document.Words(orDash(f.Standing)), document.Words(phrase.Sentences(f.Reasons...))})
		}
	}
	section.Blocks = append(section.Blocks, t)
	for _, s := range r.Sheets {
		var codes []string
		for _, u := range s.Unchecked {
			codes = append(codes, strings.ReplaceAll(u.Code, "_", " "))
		}
		section.Blocks = append(section.Blocks, document.Paragraph("Not checked for "+s.Lot+": "+strings.Join(codes, ", ")+"."))
	}
	d.Sections = append(d.Sections, section)
	if len(r.Codes) > 0 {
		codes := &document.Table{ID: "codes", Caption: "Which lot has which code: keep it in the house", Columns: []document.Column{{Heading: "code"}, {Heading: "lot"}}}
		for _, c := range r.Codes {
			codes.Rows = append(codes.Rows, []document.Cell{document.Words(c.Code), document.Words(c.Lot)})
		}
		d.Sections = append(d.Sections, document.Section{Heading: "Codes", Blocks: []document.Block{codes}})
	}
	if len(r.Findings) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "Findings", Blocks: []document.Block{document.Findings(r.Findings)}})
	}
	return d
}

func orDash(s string) string {
	if s == "" {
		return "–"
	}
	return s
}

// chanceText is a probability with two decimals, never rounder than it is.
func chanceText(p float64) string {
	switch {
	case p > 0.99:
		return "> 0.99"
	case p < 0.01:
		return "< 0.01"
	}
	return phrase.FixedText(p, 2)
}
