package suitability

import (
	"fmt"
	"slices"
	"strings"

	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/enduse"
	"flourcast/study/suitability"
)

// CodesHeading is over the section that must stay in the house.
const CodesHeading = "Codes"

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
		destination = "not stated, so the treatment is not checked"
	}
	d.Meta = append(d.Meta, document.Pair{Name: "destination", Value: destination})
	section := document.Section{Heading: "Lots"}
	t := &document.Table{ID: "sheets", Caption: "Before you send: read what is said against each lot", Columns: []document.Column{{Heading: "lot"}, {Heading: "for"}, {Heading: "expected"}, {Heading: "chance", Align: document.Right}, {Heading: "decision"}, {Heading: "rests on"}, {Heading: "against it"}}}
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
				document.Words(fmt.Sprintf("row %d, %s", e.Model.Row, e.Model.Standing)), document.Words(orDash(joined(e.Trouble, troubles)))})
		}
		for _, f := range slices.Concat(s.Windows, s.Fits) {
			value, chance := "–", "–"
			if f.Value != nil {
				value = phrase.Label(f.Response) + " " + phrase.Figure(f.Response, *f.Value).Text
			}
			if f.Probability != nil {
				chance = chanceText(*f.Probability)
			}
			t.Rows = append(t.Rows, []document.Cell{document.Words(s.Lot), document.Words(phrase.Product(f.Product)), document.Words(value), document.Words(chance), document.Words(orDash(f.Decision)),
				document.Words(origin(f)), document.Words(against(f))})
		}
	}
	section.Blocks = append(section.Blocks, t)
	for _, s := range r.Sheets {
		var codes []string
		for _, u := range s.Unchecked {
			codes = append(codes, u.Code)
		}
		section.Blocks = append(section.Blocks, document.Paragraph("Not checked for "+s.Lot+": "+joined(codes, notChecked)+"."))
	}
	d.Sections = append(d.Sections, section)
	if len(r.Codes) > 0 {
		codes := &document.Table{ID: "codes", Caption: "Which lot has which code: keep it in the house", Columns: []document.Column{{Heading: "code"}, {Heading: "lot"}}}
		for _, c := range r.Codes {
			codes.Rows = append(codes.Rows, []document.Cell{document.Words(c.Code), document.Words(c.Lot)})
		}
		d.Sections = append(d.Sections, document.Section{Heading: CodesHeading, Blocks: []document.Block{codes}})
	}
	if len(r.Findings) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "Findings", Blocks: []document.Block{document.Findings(r.Findings)}})
	}
	return d
}

// troubles and notChecked are the study's codes in words for the house.
var (
	troubles = map[string]string{
		suitability.TroubleOutside: "outside what the model was calibrated on", suitability.TroubleEdge: "at the edge of what the model was calibrated on", suitability.TroubleRun: "its runs are not cleared up",
		suitability.TroubleYear: "the model has no lot of this crop year", suitability.TroubleNoValue: "no forecast", suitability.TroubleNotFit: "the model is not fit for use",
		suitability.TroubleKnown: "the model was made from this lot too", suitability.TroubleOverridden: "a direction is overridden",
	}
	notChecked = map[string]string{
		suitability.UncheckedSafety: "food safety", suitability.UncheckedProcess: "the customer's own process", suitability.UncheckedMade: "no product was made of it", suitability.UncheckedDestination: "no destination was stated",
		suitability.UncheckedTreatment: "its treatment is not stated", suitability.UncheckedSprouting: "no falling number", suitability.UncheckedResponses: "responses without a model that is fit for use",
		suitability.UncheckedPresent: "no present flour to compare with", suitability.UncheckedReferences: "no reference lots",
	}
)

func joined(codes []string, words map[string]string) string {
	var out []string
	for _, c := range codes {
		text, known := words[c]
		if !known {
			text = strings.ReplaceAll(c, "_", " ")
		}
		out = append(out, text)
	}
	return strings.Join(out, "; ")
}

// against is the leading reason against a fit, with how many more there are; of a window
// what does not lie in it.
func against(f enduse.Fit) string {
	reasons := f.Reasons
	if f.By == "window" {
		reasons = slices.DeleteFunc(slices.Clone(reasons), func(r string) bool { return strings.HasSuffix(r, " lies within its limits") })
	}
	if len(reasons) < 2 || f.By == "window" {
		return phrase.Sentences(reasons...)
	}
	return phrase.Sentences(reasons[0]) + fmt.Sprintf(" And %d more: see the forecast of the lot.", len(reasons)-1)
}

// origin is what a fit rests on: the verdict on its model, or a window.
func origin(f enduse.Fit) string {
	switch {
	case f.By != "window":
		return orDash(f.Standing)
	case f.Origin == enduse.Production:
		return "window: lots that ran well"
	}
	return "window as given"
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
