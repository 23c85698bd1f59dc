package measurement

import (
	"fmt"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/report/chart"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/spread"
)

// Variance is the document of a split of variance: the shares first, then how many
// batches and pieces a lot needs.
func Variance(r *spread.Result) document.Document {
	label, unit := responseOf(r.Response)
	d := document.Document{Title: "What " + label + " varies with", Subtitle: fmt.Sprintf("%s: %d rows, mean %s", r.File, r.N, words(trait.Format(r.Response, r.Mean)+" "+unit))}
	d.Sections = append(d.Sections, shares(r, label, unit), factors(r), plan(r, label, unit))
	for _, m := range r.Means {
		if m.Factor != r.Plan.Unit && len(m.Levels) > 1 {
			d.Sections = append(d.Sections, means(m, r.Response, label, unit))
		}
	}
	if len(r.Findings) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "Findings", Blocks: []document.Block{document.Findings(r.Findings)}})
	}
	return d
}

func responseOf(column string) (label, unit string) {
	if t, ok := trait.Lookup(column); ok {
		return t.Label, t.Unit
	}
	return column, ""
}

func words(s string) string { return strings.TrimSpace(s) }

func shares(r *spread.Result, label, unit string) document.Section {
	t := &document.Table{ID: "components", Caption: "Variance of " + label + " by its sources", Columns: []document.Column{{Heading: "source"},
		{Heading: "variance", Unit: squared(unit), Name: "variance", Align: document.Right}, {Heading: "share", Unit: "%", Name: "share_pct", Align: document.Right},
		{Heading: "standard deviation", Unit: unit, Name: "sd", Align: document.Right}, {Heading: "degrees of freedom", Name: "df", Align: document.Right}, {Heading: "levels", Align: document.Right}}}
	bars := chart.Series{Style: chart.StyleBars}
	var ticks []string
	for i, c := range r.Components {
		var notes []int
		if c.Raw < 0 {
			notes = append(notes, len(t.Notes))
			t.Notes = append(t.Notes, fmt.Sprintf("the estimate for %s is %s, reported as 0", c.Name, phrase.General(c.Raw)))
		}
		t.Rows = append(t.Rows, []document.Cell{document.Words(c.Name), document.Number(c.Variance, phrase.General(c.Variance), notes...), document.Number(100*c.Share, fmt.Sprintf("%.0f", 100*c.Share)),
			document.Number(c.SD, phrase.General(c.SD)), phrase.Count(c.DF), phrase.Count(c.Levels)})
		bars.X, bars.Y = append(bars.X, float64(i)), append(bars.Y, 100*c.Share)
		ticks = append(ticks, c.Name)
	}
	s := document.Section{Heading: "Sources of variation", Blocks: []document.Block{t}}
	if len(r.Components) > 1 {
		s.Blocks = append(s.Blocks, document.Picture{Figure: chart.Figure{ID: "components", Title: "Share of each source in the variance of " + label,
			Description: "A bar for each source of variation, in per cent of the sum of all components.",
			Panels:      []chart.Panel{{Height: 180, X: chart.Axis{Label: "source", Ticks: ticks}, Y: chart.Axis{Label: "share of the variance", Unit: "%"}, Series: []chart.Series{bars}}}}})
	}
	for _, l := range r.NotEstimable {
		s.Blocks = append(s.Blocks, document.Paragraph(fmt.Sprintf("No figure for %s: %s.", l.Name, l.Reason)))
	}
	return s
}

// factors says in words how each factor was read.
func factors(r *spread.Result) document.Section {
	s := document.Section{Heading: "How the factors were read"}
	for _, f := range r.Factors {
		text := fmt.Sprintf("%s: %d labels", f.Name, f.Labels)
		if len(f.Within) > 0 {
			text += ", within " + strings.Join(f.Within, " and ")
		}
		if len(f.Crossed) > 0 {
			text += ", across " + strings.Join(f.Crossed, " and ")
		}
		s.Blocks = append(s.Blocks, document.Paragraph(text+"."))
	}
	return s
}

// shown is up to which numbers of levels and pieces the table of the plan goes.
var shown = map[int]bool{1: true, 2: true, 3: true, 4: true, 8: true, 12: true}

func plan(r *spread.Result, label, unit string) document.Section {
	p := r.Plan
	s := document.Section{Heading: "How many a " + p.Unit + " needs"}
	head := func(id, caption string) *document.Table {
		t := &document.Table{ID: id, Caption: caption}
		for _, name := range p.Levels {
			t.Columns = append(t.Columns, document.Column{Heading: name, Align: document.Right})
		}
		t.Columns = append(t.Columns, document.Column{Heading: p.Repeat, Align: document.Right}, document.Column{Heading: "standard error", Unit: unit, Name: "se", Align: document.Right},
			document.Column{Heading: "tests", Align: document.Right})
		return t
	}
	add := func(t *document.Table, w spread.Way) {
		var row []document.Cell
		for _, name := range p.Levels {
			row = append(row, phrase.Count(w.N[name]))
		}
		t.Rows = append(t.Rows, append(row, phrase.Count(w.N[p.Repeat]), document.Number(w.SE, phrase.General(w.SE)), phrase.Count(w.Tests)))
	}
	if p.WantSE != nil && len(p.Ways) > 0 {
		t := head("ways", fmt.Sprintf("Ways to a standard error of at most %s %s, the fewest tests first", phrase.General(*p.WantSE), unit))
		for _, w := range p.Ways[:min(len(p.Ways), 10)] {
			add(t, w)
		}
		s.Blocks = append(s.Blocks, t)
	}
	t := head("plan", fmt.Sprintf("Standard error of the mean %s of one %s; tests are the product of the numbers", label, p.Unit))
	for _, w := range p.Rows {
		small := shown[w.N[p.Repeat]]
		for _, name := range p.Levels {
			small = small && w.N[name] <= 3
		}
		if small && len(t.Rows) < 60 {
			add(t, w)
		}
	}
	s.Blocks = append(s.Blocks, t)
	return s
}

func means(m spread.Means, response, label, unit string) document.Section {
	t := &document.Table{ID: "means-" + m.Factor, Caption: "Mean " + label + " by " + m.Factor,
		Columns: []document.Column{{Heading: m.Factor}, {Heading: label, Unit: unit, Name: response, Align: document.Right}, {Heading: "rows", Align: document.Right}}}
	for _, l := range m.Levels {
		t.Rows = append(t.Rows, []document.Cell{document.Words(l.Label), phrase.Figure(response, l.Mean), phrase.Count(l.N)})
	}
	return document.Section{Heading: "Means by " + m.Factor, Blocks: []document.Block{t}}
}

func squared(unit string) string {
	if unit == "" || unit == "%" {
		return ""
	}
	return "(" + unit + ")²"
}
