// Package suitability writes the sheet that a customer gets, out of what study found,
// and the screens that the house sees.
//
//  1. Sheets makes a Document for each lot: what to expect, the curve, the figures that
//     say so, what was not checked, how far to trust it, and cautions. Every sentence
//     comes from the catalogue of package wording.
//  2. House is the screen: what was written, what to look at before it is sent, and
//     which lot has which code.
//  3. Uses is the screen of lots set against several products.
//
// A sheet holds no name of another lot, no supplier, customer, operator, price, file or
// coefficient; what the study's result says of these goes into House only. It rounds and
// phrases, and computes nothing.
package suitability

import (
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/dataset/treatment"
	"flourcast/eval/verdict"
	"flourcast/forecast"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/report/wording"
	"flourcast/study/suitability"
)

// writer writes in one language.
type writer struct {
	*wording.Catalogue
	destination string
}

// Sheets are the documents for the customer, one a lot.
func Sheets(r *suitability.Result, words *wording.Catalogue) []document.Document {
	w := writer{words, r.Destination}
	var out []document.Document
	for _, s := range r.Sheets {
		d := document.Document{Title: w.title(s), Subtitle: w.Say("sheet.subtitle"), Notice: s.Notice}
		if r.Customer != "" {
			d.Meta = append(d.Meta, document.Pair{Name: w.Say("sheet.customer"), Value: r.Customer})
		}
		if r.Destination != "" {
			d.Meta = append(d.Meta, document.Pair{Name: w.Say("sheet.destination"), Value: r.Destination})
		}
		d.Meta = append(d.Meta, document.Pair{Name: w.Say("sheet.date"), Value: r.Made.Format("2006-01-02")}, document.Pair{Name: w.Say("sheet.made_by"), Value: "flourcast"})
		if top := w.top(s); len(top) > 0 {
			d.Sections = append(d.Sections, document.Section{Blocks: top})
		}
		if len(s.Fits) > 0 {
			d.Sections = append(d.Sections, document.Section{Heading: w.Say("fits.heading"), Blocks: []document.Block{w.fits(s)}})
		} else {
			d.Sections = append(d.Sections, document.Section{Heading: w.Say("expect.heading"), Blocks: w.expect(s)})
		}
		d.Sections = append(d.Sections, document.Section{Heading: w.Say("curve.heading"), Blocks: w.curve(s)})
		if len(s.Features) > 0 && len(s.Expected) > 0 {
			d.Sections = append(d.Sections, document.Section{Heading: w.Say("features.heading"), Blocks: w.features(s)})
		}
		d.Sections = append(d.Sections, document.Section{Heading: w.Say("unchecked.heading"), Blocks: []document.Block{document.Paragraph(w.unchecked(s))}})
		if trust := w.trust(s); trust != "" {
			d.Sections = append(d.Sections, document.Section{Heading: w.Say("trust.heading"), Blocks: []document.Block{document.Paragraph(trust)}})
		}
		d.Sections = append(d.Sections, document.Section{Heading: w.Say("caution.heading"), Blocks: []document.Block{
			document.Paragraph(w.Say("caution.supports") + " " + w.Say("caution.allergen") + " " + w.Say("caution.rules"))}})
		out = append(out, d)
	}
	return out
}

func (w writer) title(s suitability.Sheet) string {
	if len(s.Fits) > 0 {
		return w.Say("sheet.title_several", "lot", s.Lot)
	}
	return w.Say("sheet.title", "lot", s.Lot, "product", w.product(s.Products[0]))
}

// top is what has to be read first.
func (w writer) top(s suitability.Sheet) []document.Block {
	var out []document.Block
	caution := func(title, text string) {
		out = append(out, document.Callout{Kind: document.Caution, Title: title, Text: text})
	}
	if s.NotFit {
		caution(w.Say("top.not_fit"), w.Say("top.not_fit_why"))
	}
	has := func(code string) bool {
		return slices.ContainsFunc(s.Expected, func(e suitability.Expected) bool { return slices.Contains(e.Trouble, code) })
	}
	if has(suitability.TroubleOutside) {
		caution(w.Say("top.outside"), w.Say("top.outside_why"))
	}
	if has(suitability.TroubleRun) {
		caution(w.Say("top.run"), w.Say("top.run_why"))
	}
	if has(suitability.TroubleNoValue) {
		caution(w.Say("top.no_value"), w.Say("top.no_value_why"))
	}
	kind := treatment.Kind(s.Treatment)
	banned := kind == treatment.Chlorinated || kind == treatment.Bromated // somewhere
	switch {
	case treatment.Permission(s.Permission) == treatment.NotPermitted:
		caution(w.Say("top.banned", "destination", w.destination), w.Say("top.banned_why", "treatment", w.treatment(s.Treatment)))
	case banned && w.destination == "":
		caution(w.Say("top.treated_nowhere", "treatment", w.treatment(s.Treatment)), w.Say("top.treated_nowhere_why"))
	case banned || kind == treatment.Other && w.destination != "":
		caution(w.Say("top.treated", "destination", w.destination), w.Say("top.treated_why", "treatment", w.treatment(s.Treatment)))
	}
	return out
}

// amount is a figure with its unit.
func (w writer) amount(column string, v float64) string {
	_, unit := phrase.AxisOf(column)
	return strings.TrimSpace(w.figure(column, v) + " " + unit)
}

func (w writer) figure(column string, v float64) string {
	return w.Number(phrase.Figure(column, v).Text)
}

// name is a column in full words, without its method.
func (w writer) name(column string) string {
	id, _ := trait.Split(column)
	return w.Name("name."+id, phrase.Label(id))
}

// product is a product in words.
func (w writer) product(id string) string { return w.Name("product."+id, phrase.Product(id)) }

// treatment is how the flour was treated, in words.
func (w writer) treatment(kind string) string { return w.Name("treatment."+kind, kind) }

// explained is the column's name with a half-line for whoever does not know it.
func (w writer) explained(column string) string {
	id, _ := trait.Split(column)
	if w.Has("explain." + id) {
		return w.name(column) + " (" + w.Say("explain."+id) + ")"
	}
	return w.name(column)
}

// expect says what each model expects, a box each.
func (w writer) expect(s suitability.Sheet) []document.Block {
	var out []document.Block
	for _, e := range s.Expected {
		response := phrase.First(w.explained(e.Response))
		var lead string
		var say []string
		switch {
		case e.Value == nil:
			lead = w.Say("expect.none", "response", response)
		case e.Low != nil && e.High != nil:
			lead = w.Say("expect.about", "response", response, "value", w.amount(e.Response, *e.Value), "low", w.figure(e.Response, *e.Low), "high", w.amount(e.Response, *e.High), "percent", percent(e.Level))
		case e.Level >= 1:
			lead = w.Say("expect.unlimited", "response", response, "value", w.amount(e.Response, *e.Value))
		default:
			lead = w.Say("expect.value", "response", response, "value", w.amount(e.Response, *e.Value))
		}
		if e.Limits != nil && e.Probability != nil {
			say = append(say, w.Say("expect.meets", "limits", w.limits(*e.Limits), "chance", w.chance(*e.Probability)))
			if decided := !slices.ContainsFunc(e.Trouble, holds); decided && e.Decision != "" {
				say = append(say, w.Say("expect."+e.Decision))
			}
		}
		if e.Measured != nil {
			say = append(say, w.Say("expect.measured", "value", w.amount(e.Response, *e.Measured)))
		}
		switch {
		case e.Present == nil:
		case e.PresentForecast:
			say = append(say, w.Say("expect.present_forecast", "value", w.amount(e.Response, *e.Present)))
		default:
			say = append(say, w.Say("expect.present_measured", "value", w.amount(e.Response, *e.Present)))
		}
		if slices.Contains(e.Trouble, suitability.TroubleEdge) {
			say = append(say, w.Say("expect.edge"))
		}
		if slices.Contains(e.Trouble, suitability.TroubleKnown) {
			say = append(say, w.Say("expect.known"))
		}
		if slices.Contains(e.Trouble, suitability.TroubleYear) {
			say = append(say, w.Say("expect.year"))
		}
		out = append(out, document.Callout{Kind: document.Answer, Title: lead, Text: strings.Join(say, " ")})
	}
	for _, f := range s.Windows {
		out = append(out, document.Callout{Kind: document.Answer, Title: phrase.First(w.reason(f)) + ".", Text: w.Say("expect.window", "limits", strings.Join(w.wanted(f), "; "))})
	}
	return out
}

// holds reports whether a trouble holds the lot whatever the chance is.
func holds(trouble string) bool {
	return slices.Contains([]string{suitability.TroubleNotFit, suitability.TroubleOutside, suitability.TroubleRun, suitability.TroubleNoValue}, trouble)
}

// percent is a level as so many of 100, cut down: an interval promises no more than it
// holds.
func percent(level float64) string { return fmt.Sprint(int(100*level + 1e-9)) }

// limits are a specification in words.
func (w writer) limits(s forecast.Spec) string {
	switch {
	case s.Low != nil && s.High != nil:
		return w.Say("limits.between", "low", w.figure(s.Response, *s.Low), "high", w.amount(s.Response, *s.High))
	case s.Low != nil:
		return w.Say("limits.from", "low", w.amount(s.Response, *s.Low))
	}
	return w.Say("limits.to", "high", w.amount(s.Response, *s.High))
}

// chance is a probability in words that promise no more than it holds.
func (w writer) chance(p float64) string {
	switch {
	case p > 0.99:
		return w.Say("chance.high")
	case p < 0.01:
		return w.Say("chance.low")
	}
	return w.Say("chance.about", "n", fmt.Sprintf("%.0f", 100*p))
}

// unchecked lists what was not checked, a sentence each.
func (w writer) unchecked(s suitability.Sheet) string {
	var out []string
	for _, u := range s.Unchecked {
		switch u.Code {
		case suitability.UncheckedResponses:
			var names []string
			for _, c := range u.Columns {
				names = append(names, w.name(c))
			}
			out = append(out, w.Say("unchecked.responses", "responses", phrase.First(strings.Join(names, ", "))))
		default:
			out = append(out, w.Say("unchecked."+u.Code))
		}
	}
	return strings.Join(out, " ")
}

// trust tells the verdict and date of each model once; of several products in short.
func (w writer) trust(s suitability.Sheet) string {
	var out []string
	for _, m := range s.Models {
		key := map[string]string{verdict.FitForUse: "trust.short_fit", verdict.Provisional: "trust.short_provisional"}[m.Standing]
		if key == "" {
			key = "trust.short_not_fit"
		}
		out = append(out, w.Say(key, "response", phrase.First(w.name(m.Response)), "product", w.product(m.Product), "lots", w.Count("trust.lots", m.Lots), "date", m.Made.Format("2006-01-02")))
	}
	if len(s.Models) > 0 {
		out = append(out, w.Say("trust.standings"))
	}
	for _, e := range s.Expected {
		key := map[string]string{verdict.FitForUse: "trust.fit", verdict.Provisional: "trust.provisional"}[e.Model.Standing]
		if key == "" {
			key = "trust.not_fit"
		}
		out = append(out, w.Say(key, "response", w.name(e.Response), "lots", w.Count("trust.lots", e.Model.Lots), "date", e.Model.Made.Format("2006-01-02")))
		if key := map[string]string{verdict.RanksLots: "trust.ranks", verdict.ScreensLots: "trust.screens", verdict.ControlsQuality: "trust.controls"}[e.Model.Grade]; key != "" {
			out = append(out, w.Say(key))
		}
		if slices.Contains(e.Trouble, suitability.TroubleOverridden) {
			out = append(out, w.Say("trust.overridden"))
		}
	}
	return strings.Join(out, " ")
}
