package survey

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"flourcast/dataset/treatment"
	"flourcast/report/chart"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/relation"
	"flourcast/study/survey"
)

// scatters is how many relations are drawn, the closest first.
const scatters = 8

// Relate is the document of a table's relations to a response.
func Relate(r *survey.RelateResult) document.Document {
	label, unit := phrase.AxisOf(r.Response)
	d := document.Document{Title: "What goes with " + label, Subtitle: "Correlations over lots, as they stand, given protein, and within crop years", Meta: aboutPairs(r.About)}
	if r.TreatmentUse == treatment.AsFactor {
		if i := slices.IndexFunc(d.Meta, func(p document.Pair) bool { return p.Name == "flour treatment" }); i >= 0 {
			d.Meta[i].Value = "told apart: correlations are within treatments"
		}
		d.Subtitle = "Correlations over lots within treatments (the mean of each treatment taken off); also given protein, and within crop years"
	}
	rs := slices.Clone(r.Relations)
	slices.SortStableFunc(rs, func(a, b relation.Relation) int { return cmp.Compare(math.Abs(b.R), math.Abs(a.R)) })
	if len(rs) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "Correlations", Blocks: []document.Block{relationTable(rs, label),
			document.Paragraph("A correlation is no cause. Figures of one curve move together, so a list of small p is seldom a list of causes; protein and the year move many of them at once: where the columns disagree, believe the one with more taken off. For published directions, and whether these lots bear them out, see the verdict of a model.")}})
		d.Sections = append(d.Sections, document.Section{Heading: "Pictures", Blocks: []document.Block{document.Picture{Figure: scatter(rs, r.Response)}}})
	}
	if len(r.Years) > 1 {
		t := &document.Table{ID: "years", Caption: phrase.First(label) + " by crop year", Columns: []document.Column{{Heading: "crop year"}, phrase.RightIn("rows", ""), phrase.RightIn("mean", unit), phrase.RightIn("SD", unit)}}
		for _, y := range r.Years {
			t.Rows = append(t.Rows, []document.Cell{document.Words(y.Year), phrase.Count(y.Rows), document.Number(y.Mean, phrase.Digits(y.Mean)), optionalDigits(y.SD)})
		}
		d.Sections = append(d.Sections, document.Section{Heading: "Crop years", Blocks: []document.Block{t}})
	}
	if len(r.Skipped) > 0 {
		t := &document.Table{ID: "skipped", Caption: "Columns without a relation", Columns: []document.Column{phrase.RightIn("columns", ""), {Heading: "which"}, {Heading: "reason"}}}
		of := map[string][]string{}
		var reasons []string
		for _, s := range r.Skipped {
			if of[s.Reason] == nil {
				reasons = append(reasons, s.Reason)
			}
			of[s.Reason] = append(of[s.Reason], s.Column)
		}
		for _, reason := range reasons {
			t.Rows = append(t.Rows, []document.Cell{phrase.Count(len(of[reason])), document.Words(phrase.SomeLots(of[reason])), document.Words(reason)})
		}
		d.Sections = append(d.Sections, document.Section{Heading: "Left out", Blocks: []document.Block{t}})
	}
	return withFindings(d, r.About)
}

func relationTable(rs []relation.Relation, label string) *document.Table {
	t := &document.Table{ID: "relations", Caption: "Correlation with " + label + ", closest first; 95 % intervals by Fisher's z",
		Columns: []document.Column{{Heading: "feature"}, phrase.RightIn("lots", ""), phrase.RightIn("r"+within(rs)+" (95 %)", ""), phrase.RightIn("p", ""), phrase.RightIn("adjusted p", ""), phrase.RightIn("given protein", ""), phrase.RightIn("within years", "")}}
	t.Notes = []string{"Benjamini and Hochberg 1995 over all features of this table", "protein held constant, and crop-year means taken off; * its 95 % interval excludes zero"}
	t.Columns[4].Name = "p_adjusted"
	part := func(p *relation.Part) document.Cell {
		if p == nil {
			return document.Words("–")
		}
		star := ""
		if p.Low > 0 || p.High < 0 {
			star = " *"
		}
		return document.Number(p.R, phrase.FixedText(p.R, 2)+star)
	}
	for i, r := range rs {
		name, _ := phrase.AxisOf(r.Feature)
		adjusted := pValue(r.PAdjusted)
		if i == 0 {
			adjusted.Notes = []int{0}
		}
		given := part(r.GivenProtein)
		if i == 0 {
			given.Notes = []int{1}
		}
		whole := phrase.Fixed(r.R, 2)
		if r.Low != nil && r.High != nil {
			whole = interval(r.R, *r.Low, *r.High)
		}
		t.Rows = append(t.Rows, []document.Cell{document.Words(name), phrase.Count(r.N), whole, pValue(r.P), adjusted, given, part(r.WithinYear)})
	}
	return t
}

// Relation is the document of one relation: its scatter with every lot named, and its
// correlation as it stands, given protein and within crop years. ok is false for a
// feature that the result does not relate.
func Relation(r *survey.RelateResult, feature string) (d document.Document, ok bool) {
	i := slices.IndexFunc(r.Relations, func(x relation.Relation) bool { return x.Feature == feature })
	if i < 0 {
		return d, false
	}
	one := r.Relations[i : i+1]
	label, unit := phrase.AxisOf(r.Response)
	name, nameUnit := phrase.AxisOf(feature)
	lots := &document.Table{ID: "lots", Caption: "The lots of the picture", Columns: []document.Column{{Heading: "lot"}, {Heading: "crop year"},
		{Heading: name, Unit: nameUnit, Name: feature, Align: document.Right}, {Heading: label, Unit: unit, Name: r.Response, Align: document.Right}}}
	for _, p := range one[0].Points {
		lots.Rows = append(lots.Rows, []document.Cell{document.Words(p.Lot), document.Words(cmp.Or(p.CropYear, "–")), phrase.Figure(feature, p.X), phrase.Figure(r.Response, p.Y)})
	}
	fig := scatter(one, r.Response)
	fig.Columns, fig.Panels[0].Height = 1, 0
	d = document.Document{Title: phrase.First(label) + " and " + name, Meta: aboutPairs(r.About), Sections: []document.Section{
		{Heading: "Lot by lot", Blocks: []document.Block{document.Picture{Figure: fig, Caption: fig.Description + " Pointing at one names it."}}},
		{Heading: "How closely", Blocks: []document.Block{relationTable(one, label), document.Paragraph("A correlation is no cause.")}},
		{Heading: "Lots", Blocks: []document.Block{lots}}}}
	return d, true
}

// FeatureOf is the feature that a row of the table of relations is about, by the text
// of its first cell; "" for none.
func FeatureOf(r *survey.RelateResult, text string) string {
	for _, x := range r.Relations {
		if name, _ := phrase.AxisOf(x.Feature); name == text {
			return x.Feature
		}
	}
	return ""
}

// scatter draws the closest relations, a panel each, lots by crop year where there
// are few years.
func scatter(rs []relation.Relation, response string) chart.Figure {
	label, _ := phrase.AxisOf(response)
	fig := chart.Figure{ID: "relations", Title: phrase.First(label) + " against what goes with it", Columns: 2,
		Description: "Each point is a lot; the line is least squares and the band the 95 % interval of the mean."}
	if within(rs) != "" {
		fig.Description = "Each point is a lot, by its treatment; a line over treatments would show what treatment does, so none is drawn."
	}
	years := yearsOf(rs)
	for _, r := range rs[:min(scatters, len(rs))] {
		p := chart.Panel{Title: title(r), X: axis(r.Feature), Y: axis(response), Height: 220}
		p.Series = points(r, years)
		line := chart.Series{Name: "least squares", Style: chart.StyleLine, Ink: 6}
		band := chart.Band{Name: "95 % interval of the mean", Ink: 6}
		for _, b := range r.Line {
			line.X, line.Y = append(line.X, b.X), append(line.Y, b.Y)
			band.X, band.Low, band.High = append(band.X, b.X), append(band.Low, b.Low), append(band.High, b.High)
		}
		if len(line.X) > 1 {
			p.Series, p.Bands = append(p.Series, line), append(p.Bands, band)
		}
		fig.Panels = append(fig.Panels, p)
	}
	return fig
}

// within says that correlations are within treatments; "" where they are not.
func within(rs []relation.Relation) string {
	if len(rs) > 0 && rs[0].Treatments > 0 {
		return " within treatments"
	}
	return ""
}

func title(r relation.Relation) string {
	name := "r" + within([]relation.Relation{r})
	if r.Low == nil || r.High == nil {
		return fmt.Sprintf("%s %s, %d lots", name, phrase.FixedText(r.R, 2), r.N)
	}
	return fmt.Sprintf("%s %s (95 %%: %s to %s), %d lots", name, phrase.FixedText(r.R, 2), phrase.FixedText(*r.Low, 2), phrase.FixedText(*r.High, 2), r.N)
}

// kindOf is what a lot is drawn as: its treatment where they are told apart, else its
// crop year.
func kindOf(r relation.Relation, p relation.Point) string {
	if r.Treatments > 0 {
		return p.Treatment
	}
	return p.CropYear
}

// yearsOf are the crop years of all lots, or their treatments; none when there are more
// kinds of point than anyone can tell apart.
func yearsOf(rs []relation.Relation) []string {
	var years []string
	for _, r := range rs {
		for _, p := range r.Points {
			if kind := kindOf(r, p); !slices.Contains(years, kind) {
				years = append(years, kind)
			}
		}
	}
	slices.Sort(years)
	if len(years) > 6 {
		return nil
	}
	return years
}

func points(r relation.Relation, years []string) []chart.Series {
	if years == nil {
		years = []string{""}
	}
	series := make([]chart.Series, len(years))
	for k, y := range years {
		series[k] = chart.Series{Name: cmp.Or(y, "lot"), Style: chart.StylePoints, Ink: k}
	}
	for _, p := range r.Points {
		s := &series[max(0, slices.Index(years, kindOf(r, p)))]
		s.X, s.Y, s.Labels = append(s.X, p.X), append(s.Y, p.Y), append(s.Labels, p.Lot)
	}
	return slices.DeleteFunc(series, func(s chart.Series) bool { return len(s.X) == 0 })
}
