// Package contents puts what a model file holds into words and tables.
//
//  1. What the file is, and that its content gives its hash.
//  2. The model: method, coefficients in original units with their units.
//  3. The lots that it was made from, and how it did on them unseen.
//  4. The verdict with its thresholds and overrides.
//
// It rounds and phrases, and computes nothing. Judging again is the business of
// `verdict`, drawing that of `report`.
package contents

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/eval/verdict"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/card"
)

// mostLots and mostFeatures are how many lots and features a screen has; JSON has
// all.
const (
	mostLots     = 12
	mostFeatures = 24
)

// Document is the document of `show`.
func Document(c *card.Contents) document.Document {
	d := document.Document{
		Title:    "What " + c.Model + " holds",
		Subtitle: responseWords(c),
		Notice:   c.Notice,
		Meta: []document.Pair{
			{Name: "file", Value: fmt.Sprintf("%s, SHA-256 %.12s… as its content has it", c.File.Schema, c.File.SHA256)},
			{Name: "made", Value: c.Made.Format("2006-01-02 15:04") + " UTC by flourcast " + c.Program},
			{Name: "from", Value: fmt.Sprintf("%s, %d rows, SHA-256 %.12s…", c.Source.File, c.Source.Rows, c.Source.SHA256)},
			{Name: "product", Value: cmp.Or(productWords(c.Product), "not stated")},
			{Name: "pasting method", Value: cmp.Or(c.Method, "several or not stated")},
			{Name: "solvent", Value: cmp.Or(string(c.Solvent), "not known")},
			{Name: "treatment", Value: cmp.Or(c.Treatment, "several or not stated")},
			{Name: "model", Value: modelWords(c)},
			{Name: "interval", Value: c.Interval},
		},
	}
	if len(c.Where) > 0 {
		var conditions []string
		for _, w := range c.Where {
			conditions = append(conditions, w.String())
		}
		d.Meta = append(d.Meta, document.Pair{Name: "rows with", Value: strings.Join(conditions, ", ")})
	}
	d.Sections = []document.Section{featureSection(c), lotSection(c), verdictSection(c)}
	return d
}

func responseWords(c *card.Contents) string {
	words := c.Response
	if t, ok := trait.Lookup(c.Response); ok {
		words = t.Label
	}
	for _, more := range []string{c.ResponseUnit, c.ResponseKind} {
		if more != "" {
			words += ", " + more
		}
	}
	return "It forecasts " + words
}

func productWords(id string) string {
	if p, ok := trait.LookupProduct(id); ok {
		return p.Label
	}
	return id
}

func modelWords(c *card.Contents) string {
	words := []string{c.Kind}
	if c.Components > 0 {
		words = append(words, fmt.Sprintf("components %d", c.Components))
	}
	if c.Lambda != nil {
		words = append(words, fmt.Sprintf("penalty %.4g", *c.Lambda))
	}
	if c.Origin {
		words = append(words, "through the origin")
	}
	if c.Weighting != nil {
		words = append(words, "weighted by standard errors")
	}
	if c.Transform != "" {
		words = append(words, "of the logarithm of the response")
	}
	if d := c.Derivative; d != nil {
		words = append(words, fmt.Sprintf("derivative %d of the curve, window %d, degree %d", d.Order, d.Window, d.Degree))
	}
	return strings.Join(append(words, "scaling "+string(c.Scaling), fmt.Sprint("payload version ", c.File.PayloadVersion)), ", ")
}

func featureSection(c *card.Contents) document.Section {
	t := &document.Table{ID: "features", Caption: "Coefficients " + of(c) + ", with 95 % jackknife intervals; the intercept is " + figure(c.Intercept).Text,
		Columns: []document.Column{{Heading: "feature"}, {Heading: "unit"}, {Heading: "coefficient", Align: document.Right}, {Heading: "from", Align: document.Right}, {Heading: "to", Align: document.Right},
			{Heading: "least seen", Align: document.Right}, {Heading: "most seen", Align: document.Right}}}
	for _, f := range c.Features[:min(mostFeatures, len(c.Features))] {
		t.Rows = append(t.Rows, []document.Cell{document.Words(f.Label), document.Words(cmp.Or(f.Unit, "–")), figure(f.Coefficient), optional(f.Low), optional(f.High),
			phrase.Figure(f.Feature, f.Least), phrase.Figure(f.Feature, f.Most)})
	}
	s := document.Section{Heading: "The model", Blocks: []document.Block{t}}
	if more := len(c.Features) - mostFeatures; more > 0 {
		s.Blocks = append(s.Blocks, document.Paragraph(fmt.Sprintf("%d features more in the file; --json names all.", more)))
	}
	return s
}

// of says what the coefficients are of.
func of(c *card.Contents) string {
	if c.Transform == "log" {
		return "of the response's natural logarithm"
	}
	return "in original units"
}

func lotSection(c *card.Contents) document.Section {
	t := &document.Table{ID: "lots", Caption: fmt.Sprintf("Measured, and predicted by models that had not seen the lot; %d lots, %d rows", len(c.Lots), c.Rows),
		Columns: []document.Column{{Heading: "lot"}, {Heading: "crop year"}, {Heading: "rows", Align: document.Right}, {Heading: "measured", Unit: c.ResponseUnit, Align: document.Right}, {Heading: "predicted", Unit: c.ResponseUnit, Align: document.Right}}}
	for _, l := range c.Lots[:min(mostLots, len(c.Lots))] {
		t.Rows = append(t.Rows, []document.Cell{document.Words(l.Lot), document.Words(cmp.Or(l.CropYear, "–")), document.Number(float64(l.Rows), fmt.Sprint(l.Rows)),
			phrase.Figure(c.Response, l.Measured), phrase.Figure(c.Response, l.Predicted)})
	}
	blocks := []document.Block{document.Paragraph(fmt.Sprintf("%s. RMSECV %s, Q² %s.", c.Scheme, strings.TrimSpace(figure(c.RMSECV).Text+" "+c.ResponseUnit), minus(fmt.Sprintf("%.2f", c.Q2)))), t}
	if more := len(c.Lots) - mostLots; more > 0 {
		blocks = append(blocks, document.Paragraph(fmt.Sprintf("%d lots more in the file; --json names all.", more)))
	}
	return document.Section{Heading: "The lots it was made from", Blocks: blocks}
}

func verdictSection(c *card.Contents) document.Section {
	kind, title := document.Answer, c.Standing
	if c.Standing == verdict.NotFitForUse {
		kind = document.Caution
	}
	if c.Grade != "" {
		title += "; " + c.Grade
	}
	s := document.Section{Heading: "Verdict", Blocks: []document.Block{document.Callout{Kind: kind, Title: title, Text: c.Sentence}}}
	for _, o := range c.Overrides {
		s.Blocks = append(s.Blocks, document.Callout{Kind: document.Caution, Title: "Used against a contradicted direction", Text: fmt.Sprintf("Rule %s. Reason given: %s", o.Rule, o.Reason)})
	}
	t := &document.Table{ID: "thresholds", Caption: "Thresholds of the verdict", Columns: []document.Column{{Heading: "threshold"}, {Heading: "value", Align: document.Right}, {Heading: "note"}}}
	for _, l := range thresholds(c.Thresholds) {
		note := ""
		if slices.ContainsFunc(c.Changed, func(changed string) bool { return strings.HasPrefix(changed, l.name) }) {
			note = "changed by the laboratory"
		}
		t.Rows = append(t.Rows, []document.Cell{document.Words(l.name), figure(l.value), document.Words(note)})
	}
	s.Blocks = append(s.Blocks, t, document.Paragraph(phrase.Supports))
	return s
}

type limit struct {
	name  string
	value float64
}

// thresholds are in the order and by the names of the JSON object.
func thresholds(t verdict.Thresholds) []limit {
	data, err := json.Marshal(t)
	if err != nil {
		return nil
	}
	var out []limit
	d := json.NewDecoder(strings.NewReader(string(data)))
	for d.More() {
		name, err := d.Token()
		if err != nil {
			return out
		}
		if key, ok := name.(string); ok {
			var v float64
			if d.Decode(&v) != nil {
				return out
			}
			out = append(out, limit{key, v})
		}
	}
	return out
}

// figure writes four significant digits with a true minus sign.
func figure(v float64) document.Cell { return document.Number(v, minus(fmt.Sprintf("%.4g", v))) }

func optional(v *float64) document.Cell {
	if v == nil {
		return document.Words("–")
	}
	return figure(*v)
}

func minus(s string) string { return strings.ReplaceAll(s, "-", "−") }
