// Package newlots puts forecasts of new lots into a document: a row a lot with interval,
// decision and reasons, then where the lots stand, classes, contributions and
// replicates. It computes no figure.
package newlots

import (
	"cmp"
	"fmt"
	"iter"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/forecast"
	"flourcast/report/chart"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/report/wording"
	"flourcast/study"
)

// Document is the document of forecasts: a row a lot, then the reasons.
func Document(r *study.ForecastResult) document.Document { return page(r, len(r.Forecasts)) }

// page is the document of some forecasts out of all that were made.
func page(r *study.ForecastResult, all int) document.Document {
	d := document.Document{Title: "Forecast of " + phrase.Label(r.Response) + ", " + phrase.Product(r.Product), Notice: r.Notice,
		Meta: []document.Pair{{Name: "model", Value: phrase.Model(r.Model)}, {Name: "verdict of the model", Value: r.Standing}}}
	if r.Spec != nil {
		d.Meta = append(d.Meta, document.Pair{Name: "specification", Value: phrase.Limits(r.Spec.Response, r.Spec.Low, r.Spec.High)})
	}
	if c := r.Decided; c != nil {
		d.Meta = append(d.Meta, document.Pair{Name: "decisions", Value: fmt.Sprintf("%d accept, %d hold, %d reject", c.Accept, c.Hold, c.Reject)})
	}
	if r.Recorded != nil {
		d.Meta = append(d.Meta, document.Pair{Name: "lab book", Value: recordedWords(*r.Recorded, all)})
	}
	d.Sections = []document.Section{Section(r, "Lots")}
	if len(r.Findings) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "Findings in the data", Blocks: []document.Block{document.Findings(r.Findings)}})
	}
	return d
}

// Pages are the documents of forecasts in parts of so many lots, made one after the
// other: tables of all lots would be longer than anyone reads, and their columns as wide
// as the longest of them. A single page is Document. The particulars lead every page,
// the findings end the last.
func Pages(r *study.ForecastResult, lots int) iter.Seq[document.Document] {
	return func(yield func(document.Document) bool) {
		n := len(r.Forecasts)
		if n <= lots {
			yield(Document(r))
			return
		}
		for from := 0; from < n; from += lots {
			to := min(from+lots, n)
			part := *r
			part.Forecasts = r.Forecasts[from:to]
			if to < n {
				part.Findings = nil
			}
			d := page(&part, n)
			d.Subtitle = fmt.Sprintf("Lots %d to %d of %d", from+1, to, n)
			if !yield(d) {
				return
			}
		}
	}
}

// recordedWords say how many forecasts were written down; those that the book had are
// not written twice.
func recordedWords(written, all int) string {
	switch written {
	case all:
		return phrase.Plural(written, "forecast") + " written down"
	case 0:
		return "nothing new to write down: it has this already"
	}
	return fmt.Sprintf("%d of %d forecasts written down; it has the others already", written, all)
}

// Section is what a report says of forecasts.
func Section(r *study.ForecastResult, heading string) document.Section {
	label, unit := phrase.AxisOf(r.Response)
	level := 0.0
	if len(r.Forecasts) > 0 {
		level = r.Forecasts[0].Level
	}
	t := &document.Table{ID: "forecasts", Caption: wording.English().Say("forecast.caption", "response", label, "percent", fmt.Sprintf("%.0f", 100*level)),
		Columns: []document.Column{{Heading: "lot"}, {Heading: label, Unit: unit, Name: r.Response, Align: document.Right}, phrase.RightIn("from", unit), phrase.RightIn("to", unit), {Heading: "calibrated range"}, {Heading: "decision"}, {Heading: "reason and what to do"}}}
	for _, f := range r.Forecasts {
		t.Rows = append(t.Rows, []document.Cell{document.Words(f.Lot), phrase.Optional(r.Response, f.Value), phrase.Optional(r.Response, f.Low), phrase.Optional(r.Response, f.High), document.Words(cmp.Or(f.Domain, "not known")),
			document.Words(cmp.Or(f.Decision, "no specification")), document.Words(phrase.Sentences(f.Reasons...))})
	}
	s := document.Section{Heading: heading}
	if fig, ok := forecastFigure(r); ok {
		s.Blocks = append(s.Blocks, document.Picture{Figure: fig})
	}
	s.Blocks = append(s.Blocks, t)
	if near, ok := nearestTable(r); ok {
		s.Blocks = append(s.Blocks, near)
	}
	if r.Spec != nil {
		s.Blocks = append(s.Blocks, document.Paragraph(decisionWords(r)))
	}
	if t := classTable(r); t != nil {
		s.Blocks = append(s.Blocks, t)
	}
	if t := contributionTable(r); t != nil {
		s.Blocks = append(s.Blocks, t, document.Paragraph(wording.English().Say("forecast.shares")))
	}
	if t := replicateTable(r); t != nil {
		s.Blocks = append(s.Blocks, t)
	}
	s.Blocks = append(s.Blocks, document.Paragraph(phrase.Supports))
	return s
}

// nearestTable says for each lot by which features it stands where it does, and which
// calibrated lot is most like it.
func nearestTable(r *study.ForecastResult) (*document.Table, bool) {
	t := &document.Table{ID: "nearest", Caption: "Where the lots stand among those the model was calibrated on",
		Columns: []document.Column{{Heading: "lot"}, {Heading: "calibrated range"}, {Heading: "by"}, {Heading: "nearest calibrated lot"}, {Heading: "distance", Align: document.Right}, {Heading: "usual", Align: document.Right}, {Heading: "differs most in"}},
		Notes:   []string{"distance in standard deviations along the ways in which the calibrated lots differ; usual: 95 % of them have a neighbour as near as that. A new lot much farther off stands in a gap between them: shown, not judged"}}
	methods := methodsOf(r)
	for _, f := range r.Forecasts {
		if f.Nearest == nil {
			continue
		}
		near := document.Words(f.Nearest.Lot)
		if len(t.Rows) == 0 {
			near = document.Words(f.Nearest.Lot, 0)
		}
		t.Rows = append(t.Rows, []document.Cell{document.Words(f.Lot), document.Words(f.Domain), document.Words(labels(f.DomainBy, methods)), near, phrase.Fixed(f.Nearest.Distance, 2), phrase.Fixed(f.Nearest.Spacing, 2), document.Words(labels(f.Nearest.Features, methods))})
	}
	return t, len(t.Rows) > 0
}

// methodsOf are the methods of the columns that the forecasts name.
func methodsOf(r *study.ForecastResult) map[string]bool {
	methods := map[string]bool{}
	for _, f := range r.Forecasts {
		for _, c := range f.DomainBy {
			methods[methodOf(c)] = true
		}
		for _, c := range f.Contributions {
			methods[methodOf(c.Feature)] = true
		}
		if f.Nearest != nil {
			for _, c := range f.Nearest.Features {
				methods[methodOf(c)] = true
			}
		}
	}
	delete(methods, "")
	return methods
}

func methodOf(column string) string { _, m := trait.Split(column); return m }

// labels are columns by their names for people, without the method where all
// columns that the forecasts name are of one; – for none. Of many it names the first.
func labels(columns []string, methods map[string]bool) string {
	const most = 7
	var out []string
	for i, c := range columns {
		if i == most && len(columns) > most+1 {
			return strings.Join(out, ", ") + fmt.Sprintf(" and %d more", len(columns)-most)
		}
		if id, _ := trait.Split(c); len(methods) < 2 {
			c = id
		}
		out = append(out, phrase.Label(c))
	}
	return cmp.Or(strings.Join(out, ", "), "–")
}

// forecastFigure draws each lot's interval against the specification.
func forecastFigure(r *study.ForecastResult) (chart.Figure, bool) {
	label, unit := phrase.AxisOf(r.Response)
	byDecision := map[string]*chart.Series{}
	var series []*chart.Series
	var lots []string
	for _, f := range r.Forecasts {
		if f.Value == nil || f.Low == nil || f.High == nil {
			continue
		}
		name := cmp.Or(f.Decision, "no specification")
		s := byDecision[name]
		if s == nil {
			s = &chart.Series{Name: name, Style: chart.StylePoints, Ink: decisionInk(name)}
			byDecision[name] = s
			series = append(series, s)
		}
		s.X, s.Y = append(s.X, *f.Value), append(s.Y, float64(len(lots)))
		s.Low, s.High, s.Labels = append(s.Low, *f.Low), append(s.High, *f.High), append(s.Labels, f.Lot)
		lots = append(lots, f.Lot)
	}
	if len(lots) == 0 || len(lots) > 60 {
		return chart.Figure{}, false
	}
	p := chart.Panel{Height: float64(70 + 24*len(lots)), X: chart.Axis{Label: label, Unit: unit}, Y: chart.Axis{Label: "lot", Ticks: lots}}
	for _, s := range series {
		p.Series = append(p.Series, *s)
	}
	if r.Spec != nil {
		if r.Spec.Low != nil {
			p.VLines = append(p.VLines, chart.Line{At: *r.Spec.Low, Label: "lower limit"})
		}
		if r.Spec.High != nil {
			p.VLines = append(p.VLines, chart.Line{At: *r.Spec.High, Label: "upper limit"})
		}
	}
	return chart.Figure{ID: "forecasts-" + phrase.Anchor(r.Product) + "-" + phrase.Anchor(r.Response), Title: "Forecast " + label + " with interval",
		Description: "Each lot's forecast and interval, with the limits of the specification where there is one.", Panels: []chart.Panel{p}}, true
}

func decisionInk(name string) int {
	switch name {
	case forecast.Accept:
		return 0
	case forecast.Hold:
		return 1
	case forecast.Reject:
		return 2
	}
	return 3
}
