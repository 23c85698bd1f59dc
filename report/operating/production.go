package operating

import (
	"fmt"

	"flourcast/report/chart"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/operating"
)

// Production is the document of windows from lots that ran well.
func Production(r *operating.ProductionResult) document.Document {
	d := document.Document{Title: "Operating window from production", Subtitle: "Lots that ran well against lots that had trouble, without a model",
		Meta: []document.Pair{{Name: "table", Value: r.File}, {Name: "column", Value: r.Column}, {Name: "product", Value: rowsOf(r.Product)},
			{Name: "lots", Value: fmt.Sprintf("%d ran well, %d had trouble, %d not stated", r.Well, r.Trouble, r.NotStated)}}}
	s := document.Section{Heading: "Windows"}
	t := &document.Table{ID: "limits", Caption: fmt.Sprintf("Tolerance limits of lots that ran well: %.4g %% of such lots, with %.4g %% confidence", 100*r.Share, 100*r.Confidence),
		Columns: []document.Column{{Heading: "feature"}, {Heading: "lots", Align: document.Right}, {Heading: "from", Align: document.Right}, {Heading: "to", Align: document.Right}, {Heading: "k", Align: document.Right},
			{Heading: "normal?"}, {Heading: "distribution-free from", Align: document.Right}, {Heading: "to", Name: "free to", Align: document.Right}}}
	for _, f := range r.Features {
		label, unit := axis(f.Feature)
		row := []document.Cell{document.Words(label + ", " + unit), phrase.Count(f.Well), none, none, none, document.Words(normalWords(f)), none, none}
		if n := f.Normal; n != nil {
			row[2], row[3], row[4] = number(f.Feature, n.Low), number(f.Feature, n.High), document.Number(n.K, fmt.Sprintf("%.3f", n.K))
		}
		if n := f.Free; n != nil {
			row[6], row[7] = number(f.Feature, n.Low), number(f.Feature, n.High)
		}
		t.Rows = append(t.Rows, row)
	}
	s.Blocks = append(s.Blocks, t)
	if r.Well < r.Needs {
		s.Blocks = append(s.Blocks, document.Callout{Kind: document.Notice, Title: "Too few lots for limits without a distribution",
			Text: fmt.Sprintf("Two distribution-free limits for %.4g %% of lots with %.4g %% confidence need %d lots that ran well; there are %d. Until then the limits rest on the normal distribution: look at the picture, and take them with care where it is doubtful.", 100*r.Share, 100*r.Confidence, r.Needs, r.Well)})
	}
	past := &document.Table{ID: "past", Caption: "Had the limits been used on these lots, each judged by limits made without it and its family", Columns: []document.Column{{Heading: "feature"},
		{Heading: "ran well, inside", Align: document.Right}, {Heading: "ran well, outside", Align: document.Right}, {Heading: "trouble, outside", Align: document.Right}, {Heading: "trouble, inside", Align: document.Right}}}
	for _, f := range r.Features {
		if p := f.Past; p != nil {
			past.Rows = append(past.Rows, []document.Cell{document.Words(plain(f.Feature)), phrase.Count(p.WellInside), phrase.Count(p.WellOutside), phrase.Count(p.TroubleOutside), phrase.Count(p.TroubleInside)})
		}
	}
	if past.Rows != nil {
		s.Blocks = append(s.Blocks, past, document.Paragraph("Ran well and inside, and trouble and outside, are right. A feature whose limits hold most of the lots that had trouble does not tell them apart: their trouble has another cause, or the limits are wide because there are few lots."))
	}
	for _, f := range r.Features {
		if fig, ok := figure(f); ok {
			s.Blocks = append(s.Blocks, document.Picture{Figure: fig})
		}
	}
	s.Blocks = append(s.Blocks, document.Paragraph(supports))
	d.Sections = append(d.Sections, s)
	if len(r.Findings) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "Findings in the data", Blocks: []document.Block{document.Findings(r.Findings)}})
	}
	return d
}

func rowsOf(id string) string {
	if id == "" {
		return "all in the table"
	}
	return product(id)
}

var none = document.Words("–")

func normalWords(f operating.FeatureWindow) string {
	switch {
	case f.AndersonDarling == nil:
		return "too few lots to tell"
	case f.NotNormal:
		return "doubtful"
	}
	return "no doubt"
}

// figure draws the lots along the feature, those that ran well above.
func figure(f operating.FeatureWindow) (chart.Figure, bool) {
	if len(f.Figures) == 0 {
		return chart.Figure{}, false
	}
	label, unit := axis(f.Feature)
	well, trouble := chart.Series{Style: chart.StylePoints, Ink: 0}, chart.Series{Style: chart.StylePoints, Ink: 1}
	for _, v := range f.Figures {
		s, y, what := &trouble, 1.0, v.Lot
		if v.RanWell {
			s, y = &well, 0
		} else if v.What != "" {
			what += ": " + v.What
		}
		s.X, s.Y, s.Labels = append(s.X, v.Value), append(s.Y, y), append(s.Labels, what)
	}
	p := chart.Panel{Height: 130, X: chart.Axis{Label: label, Unit: unit}, Y: chart.Axis{Label: "in production", Ticks: []string{"ran well", "trouble"}}}
	for _, s := range []chart.Series{well, trouble} {
		if len(s.X) > 0 {
			p.Series = append(p.Series, s)
		}
	}
	if n := f.Normal; n != nil {
		p.VLines = append(p.VLines, chart.Line{At: n.Low, Label: "from"}, chart.Line{At: n.High, Label: "to"})
	}
	return chart.Figure{ID: "production-" + anchor(f.Feature), Title: "Lots in production by " + label, Description: "Each lot along the feature, those that ran well above those that had trouble, with the tolerance limits.", Panels: []chart.Panel{p}}, true
}

func anchor(s string) string {
	out := []rune(s)
	for i, r := range out {
		if !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9') {
			out[i] = '-'
		}
	}
	return string(out)
}
