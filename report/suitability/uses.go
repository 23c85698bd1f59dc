package suitability

import (
	"fmt"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/forecast"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/enduse"
)

// Uses is the document of lots set against several products: a ranked table for each
// lot, with reasons.
func Uses(r *enduse.Result) document.Document {
	d := document.Document{Title: "What the lots suit", Subtitle: phrase.Plural(len(r.Lots), "lot"), Notice: r.Notice,
		Meta: []document.Pair{{Name: "decision rule", Value: fmt.Sprintf("accept at a probability of %.4g or more, reject at %.4g or less, else hold", r.Rule.Accept, r.Rule.Reject)}}}
	for _, l := range r.Lots {
		d.Sections = append(d.Sections, document.Section{Heading: l.Lot, Blocks: []document.Block{document.Paragraph(lead(l)), ranked(l)}})
	}
	d.Sections = append(d.Sections, document.Section{Heading: "How it is ranked", Blocks: []document.Block{document.Paragraph("First the products that the forecast may decide, by the probability of meeting their limits; then those held for a doubt; last those of which nothing can be said. A window of several limits has the lowest of their probabilities, and the true one is at most that. " + phrase.Supports)}})
	if len(r.Findings) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "Findings in the data", Blocks: []document.Block{document.Findings(r.Findings)}})
	}
	return d
}

// lead is the answer for one lot in a sentence.
func lead(l enduse.Lot) string {
	var fits []string
	for _, f := range l.Fits {
		if f.Class == enduse.Decided && f.Decision == forecast.Accept {
			fits = append(fits, phrase.Product(f.Product))
		}
	}
	if len(fits) == 0 {
		return "No product is supported without a doubt."
	}
	return "Supported: " + strings.Join(fits, ", ") + "."
}

// ranked is the fits of one lot.
func ranked(l enduse.Lot) *document.Table {
	t := &document.Table{ID: "fits-" + phrase.Anchor(l.Lot), Columns: []document.Column{{Heading: "product"}, {Heading: "asked for"}, {Heading: "forecast", Align: document.Right}, {Heading: "probability", Align: document.Right}, {Heading: "decision"}, {Heading: "why"}}}
	for _, f := range l.Fits {
		value := document.Words("–")
		if f.Value != nil {
			value = phrase.Figure(f.Response, *f.Value)
		}
		t.Rows = append(t.Rows, []document.Cell{document.Words(phrase.Product(f.Product)), document.Words(asked(f)), value, probability(f.Probability), document.Words(decision(f)), document.Words(phrase.Sentences(f.Reasons...))})
	}
	return t
}

// asked are the limits in words.
func asked(f enduse.Fit) string {
	var parts []string
	for _, text := range f.Limits {
		s, err := forecast.ParseSpec(text)
		if err != nil {
			parts = append(parts, text)
			continue
		}
		label, unit := phrase.AxisOf(s.Response)
		switch {
		case s.Low == nil:
			label += " at most " + trait.Format(s.Response, *s.High)
		case s.High == nil:
			label += " at least " + trait.Format(s.Response, *s.Low)
		default:
			label += " " + trait.Format(s.Response, *s.Low) + " to " + trait.Format(s.Response, *s.High)
		}
		parts = append(parts, strings.TrimSpace(label+" "+unit))
	}
	return strings.Join(parts, "; ")
}

func decision(f enduse.Fit) string {
	if f.Class == enduse.Decided {
		return f.Decision
	}
	return f.Decision + " (" + f.Class + ")"
}

// probability is never shown as 0 or 1.
func probability(p *float64) document.Cell {
	switch {
	case p == nil:
		return document.Words("–")
	case *p < 0.005:
		return document.Number(*p, "<0.01")
	case *p > 0.995:
		return document.Number(*p, ">0.99")
	}
	return phrase.Fixed(*p, 2)
}
