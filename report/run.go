package report

import (
	"fmt"

	"flourcast/report/curve"
	"flourcast/report/newlots"
	"flourcast/report/phrase"
	"flourcast/study/campaign"
)

// Overview is a whole job on one screen: every model with its verdict.
func Overview(r *campaign.Result) Document {
	d := Document{Title: r.Title, Subtitle: "From pasting curves to forecasts: what the data say, and what may be trusted", Notice: r.Notice,
		Meta: []Pair{{Name: "table", Value: fmt.Sprintf("%s, %s", r.Table, phrase.Plural(r.Join.Rows, "row"))},
			{Name: "rows read", Value: fmt.Sprintf("%d: %d accepted, %d waiting, %d refused", r.Join.Read, r.Join.Accepted, r.Join.Waiting, r.Join.Refused)}}}
	t := &Table{ID: "models", Caption: "The models and their verdicts", Columns: []Column{{Heading: "product"}, {Heading: "response"}, {Heading: "lots", Align: Right}, {Heading: "Q²", Align: Right}, {Heading: "verdict"}, {Heading: "good for"}, {Heading: "file"}}}
	for _, m := range r.Models {
		c := m.Fit.Card
		t.Rows = append(t.Rows, []Cell{Words(phrase.Product(c.Product)), Words(phrase.Label(c.Response)), phrase.Count(m.Fit.Lots), phrase.Fixed(c.CV.Q2, 2), Words(c.Verdict.Standing), Words(c.Verdict.Grade), Words(m.Want.File)})
	}
	d.Sections = []Section{{Heading: "At a glance", Blocks: []Block{t, Paragraph(phrase.Supports)}}}
	return d
}

// Run is the report of a whole job: every model's verdict first, then what
// stands behind it.
func Run(r *campaign.Result) Document {
	d := Overview(r)
	for _, set := range r.Curves {
		d.Sections = append(d.Sections, curve.Section(set.Runs, set.Heading))
	}
	for _, m := range r.Models {
		name := phrase.First(phrase.Label(m.Fit.Response)) + ", " + phrase.Product(m.Fit.Product)
		for i, s := range modelSections(m.Fit.Card) {
			if i == 0 {
				if m.Want.Note != "" {
					s.Blocks = append([]Block{Paragraph(m.Want.Note)}, s.Blocks...)
				}
			}
			s.Part = name
			d.Sections = append(d.Sections, s)
		}
		if m.Forecasts != nil {
			s := newlots.Section(m.Forecasts, "New lots")
			s.Part = name
			d.Sections = append(d.Sections, s)
		}
	}
	d.Sections = append(d.Sections, joinSection(r.Join))
	return withFindings(d, r.Join.Findings)
}
