package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/eval/verdict"
	"flourcast/finding"
	"flourcast/report/chart"
	"flourcast/report/curve"
	"flourcast/report/newlots"
	"flourcast/report/phrase"
	"flourcast/study"
	"flourcast/study/card"
)

// leadingFeatures is how many scatters a model's report draws.
const leadingFeatures = 4

// Fit is the document of a fit, for the terminal: verdict, validation,
// coefficients, directions, findings.
func Fit(r *study.FitResult) Document {
	d := modelDocument(r.Card)
	d.Sections = append(d.Sections, verdictSection(r.Card), validationSection(r.Card), coefficientSection(r.Card), directionSection(r.Card.Directions))
	if len(r.Bootstrap) > 0 && r.Curve == nil {
		d.Sections = append(d.Sections, bootstrapSection(r))
	}
	if s := screenSection(r); len(s.Blocks) > 0 {
		d.Sections = append(d.Sections, s)
	}
	if len(r.LeftOut) > 0 {
		d.Sections = append(d.Sections, leftOutSection(r))
	}
	return withFindings(d, r.Findings)
}

// Verdict is the document of a model's verdict.
func Verdict(r *study.VerdictResult) Document {
	d := modelDocument(r.Card)
	d.Sections = append(d.Sections, verdictSection(r.Card), directionSection(r.Card.Directions))
	return withFindings(d, r.Card.Findings)
}

// VerdictPage is the verdict as a page to file or to attach: with the validation and
// the model card.
func VerdictPage(r *study.VerdictResult) Document {
	d := modelDocument(r.Card)
	d.Sections = append(d.Sections, verdictSection(r.Card), validationSection(r.Card), directionSection(r.Card.Directions), principleSection(r.Card))
	return withFindings(d, r.Card.Findings)
}

// Model is the whole report of one model.
func Model(r *study.ReportResult) Document {
	d := modelDocument(r.Card)
	d.Sections = append(d.Sections, modelSections(r.Card)...)
	if len(r.Runs) > 0 {
		d.Sections = append(d.Sections, curve.Section(r.Runs, "Curves"))
	}
	if r.Forecasts != nil {
		d.Sections = append(d.Sections, newlots.Section(r.Forecasts, "Forecasts"))
	}
	d.Sections = append(d.Sections, principleSection(r.Card))
	return withFindings(d, r.Card.Findings)
}

// modelSections are what a report says of a model, in the order in which a
// reader should meet them: may it be trusted, what is it made of, how does it do.
func modelSections(c *card.Card) []Section {
	return []Section{verdictSection(c), relationSection(c), validationSection(c), coefficientSection(c), directionSection(c.Directions)}
}

func modelDocument(c *card.Card) Document {
	d := Document{
		Title:    phrase.First(phrase.Label(c.Response)) + ", " + phrase.Product(c.Product),
		Subtitle: "May this model be trusted, and what does it say?",
		Notice:   c.Notice,
		Meta: []Pair{
			{Name: "model", Value: modelWords(c)},
			{Name: "pasting method", Value: cmp.Or(c.Method, "several or not stated")},
			{Name: "lots", Value: fmt.Sprint(len(c.Training))},
			{Name: "table", Value: fmt.Sprintf("%s, %s, SHA-256 %.12s…", c.Source.File, phrase.Plural(c.Source.Rows, "row"), c.Source.SHA256)},
			{Name: "made", Value: c.Made.Format("2006-01-02 15:04") + " UTC by flourcast " + c.Program},
		},
	}
	if words := selectionWords(c); words != "" {
		d.Meta = append(d.Meta, Pair{Name: "rows", Value: words})
	}
	return d
}

// modelWords says what kind of model it is: "PLS, 2 components, features scaled to unit SD".
func modelWords(c *card.Card) string {
	kind := map[string]string{"pls": "PLS", "ols": "least squares", "ridge": "ridge", "mean": "mean"}[c.Kind]
	words := []string{cmp.Or(kind, c.Kind)}
	if c.Components > 0 {
		words = append(words, phrase.Plural(c.Components, "component"))
	}
	if c.Lambda != nil {
		words = append(words, fmt.Sprintf("penalty %.4g", *c.Lambda))
	}
	if c.Origin {
		words = append(words, "through the origin")
	}
	if c.Weighting != nil {
		words = append(words, "weighted by the response's standard errors")
	}
	if c.Transform == "log" {
		words = append(words, "of the response's logarithm")
	}
	if d := c.Derivative; d != nil && d.Order > 0 {
		words = append(words, fmt.Sprintf("%s derivative of the curves (%d columns, degree %d)", [...]string{"", "first", "second"}[d.Order], d.Window, d.Degree))
	}
	if c.Kind != "mean" {
		words = append(words, phrase.Plural(len(c.Features), "feature"))
		if c.Scaling == "none" {
			words = append(words, "centred only")
		} else {
			words = append(words, "scaled to SD 1")
		}
	}
	return strings.Join(words, ", ")
}

func withFindings(d Document, l finding.List) Document {
	if len(l) > 0 {
		d.Sections = append(d.Sections, Section{Heading: "Findings in the data", Blocks: []Block{Findings(l)}})
	}
	return d
}

func verdictSection(c *card.Card) Section {
	v := c.Verdict
	title := phrase.First(v.Standing)
	if v.Grade != "" {
		title += "; " + v.Grade
	}
	s := Section{Heading: "Verdict", Blocks: []Block{Callout{Kind: verdictBox(v), Title: title, Text: v.Sentence}}}
	for _, o := range v.Overrides {
		s.Blocks = append(s.Blocks, Callout{Kind: Caution, Title: "Used against a contradicted direction", Text: fmt.Sprintf("Rule %s. Reason given: %s", o.Rule, o.Reason)})
	}
	t := &Table{ID: "checks", Caption: "What was checked", Columns: []Column{{Heading: "check"}, {Heading: "answer"}, {Heading: "figure", Align: Right}, {Heading: "threshold", Align: Right}, {Heading: "reason, and what to do"}}}
	for _, k := range v.Checks {
		t.Rows = append(t.Rows, []Cell{Words(k.Name), Words(k.Outcome), significant(k.Figure), significant(k.Threshold), Words(phrase.Sentences(k.Detail, k.Cure))})
	}
	s.Blocks = append(s.Blocks, t)
	if v.GradeReason != "" {
		s.Blocks = append(s.Blocks, Paragraph("Grade: "+v.GradeReason))
	}
	s.Blocks = append(s.Blocks, Paragraph(phrase.Supports))
	return s
}

// verdictBox is how a verdict's box looks: one that is not fit is a caution.
func verdictBox(v verdict.Verdict) Kind {
	if v.Standing == verdict.NotFitForUse {
		return Caution
	}
	return Answer
}

// significant writes a check's figure with three significant digits.
func significant(v *float64) Cell {
	if v == nil {
		return Words("–")
	}
	if *v == math.Trunc(*v) && math.Abs(*v) < 1e6 {
		return phrase.Fixed(*v, 0)
	}
	decimals := max(0, 2-int(math.Floor(math.Log10(math.Abs(*v)))))
	return phrase.Fixed(*v, min(decimals, 6))
}

// relationSection draws the response against the features that go with it most.
func relationSection(c *card.Card) Section {
	s := Section{Heading: "What goes with it"}
	relations := slices.Clone(c.Relations)
	slices.SortStableFunc(relations, func(a, b card.Relation) int { return cmp.Compare(math.Abs(b.R), math.Abs(a.R)) })
	if len(relations) == 0 {
		s.Blocks = append(s.Blocks, Paragraph("No feature to relate."))
		return s
	}
	yLabel, yUnit := phrase.AxisOf(c.Response)
	fig := chart.Figure{ID: anchor("scatter", c), Title: phrase.First(yLabel) + " against the leading features", Columns: 2,
		Description: "Each point is a lot; the line is least squares and the band the 95 % interval of the mean."}
	for _, r := range relations[:min(leadingFeatures, len(relations))] {
		xLabel, xUnit := phrase.AxisOf(r.Feature)
		p := chart.Panel{Title: relationWords(r), X: chart.Axis{Label: xLabel, Unit: xUnit}, Y: chart.Axis{Label: yLabel, Unit: yUnit}, Height: 220}
		points := chart.Series{Name: "lot", Style: chart.StylePoints}
		for _, q := range r.Points {
			points.X, points.Y, points.Labels = append(points.X, q.X), append(points.Y, q.Y), append(points.Labels, q.Lot)
		}
		line := chart.Series{Name: "least squares", Style: chart.StyleLine, Ink: 1}
		band := chart.Band{Name: "95 % interval of the mean", Ink: 1}
		for _, b := range r.Line {
			line.X, line.Y = append(line.X, b.X), append(line.Y, b.Y)
			band.X, band.Low, band.High = append(band.X, b.X), append(band.Low, b.Low), append(band.High, b.High)
		}
		p.Series = append(p.Series, points)
		if len(line.X) > 1 {
			p.Series, p.Bands = append(p.Series, line), append(p.Bands, band)
		}
		fig.Panels = append(fig.Panels, p)
	}
	s.Blocks = append(s.Blocks, Picture{Figure: fig})
	t := &Table{ID: "relations", Caption: "Correlation with " + phrase.Label(c.Response) + ", strongest first",
		Columns: []Column{{Heading: "feature"}, {Heading: "r", Align: Right}, {Heading: "95 % from", Align: Right}, {Heading: "to", Align: Right}, {Heading: "given protein", Align: Right}, {Heading: "lots", Align: Right}}}
	for _, r := range relations {
		t.Rows = append(t.Rows, []Cell{Words(phrase.Label(r.Feature)), phrase.Fixed(r.R, 2), phrase.OptionalFixed(r.Low, 2), phrase.OptionalFixed(r.High, 2), phrase.OptionalFixed(r.GivenProtein, 2), phrase.Count(r.N)})
	}
	s.Blocks = append(s.Blocks, t)
	return s
}

func relationWords(r card.Relation) string {
	if r.Low == nil || r.High == nil {
		return fmt.Sprintf("r %s, %s", phrase.FixedText(r.R, 2), phrase.Plural(r.N, "lot"))
	}
	return fmt.Sprintf("r %s (95 %%: %s to %s), %s", phrase.FixedText(r.R, 2), phrase.FixedText(*r.Low, 2), phrase.FixedText(*r.High, 2), phrase.Plural(r.N, "lot"))
}

func validationSection(c *card.Card) Section {
	label, unit := phrase.AxisOf(c.Response)
	points := chart.Series{Name: "lot, by crop year", Style: chart.StylePoints}
	inks := map[string]int{}
	var series []chart.Series
	for _, r := range c.Training {
		k, seen := inks[r.CropYear]
		if !seen {
			k = len(series)
			inks[r.CropYear] = k
			series = append(series, chart.Series{Name: cmp.Or(r.CropYear, "lot"), Style: chart.StylePoints, Ink: k})
		}
		series[k].X, series[k].Y, series[k].Labels = append(series[k].X, r.Predicted), append(series[k].Y, r.Measured), append(series[k].Labels, r.Lot)
	}
	if len(series) > 6 { // more kinds of glyph than anyone can tell apart
		for _, r := range c.Training {
			points.X, points.Y, points.Labels = append(points.X, r.Predicted), append(points.Y, r.Measured), append(points.Labels, r.Lot)
		}
		points.Name = "lot"
		series = []chart.Series{points}
	}
	band := chart.Band{Name: "± RMSECV"}
	band.X, band.Low, band.High = c.ErrorBand()
	fig := chart.Figure{ID: anchor("validation", c), Title: phrase.First(label) + ", measured against predicted",
		Description: "Each lot was predicted by models that never saw it. On the line, prediction and measurement agree; the band is one RMSECV to either side.",
		Panels:      []chart.Panel{{Identity: true, Height: 420, X: chart.Axis{Label: "predicted " + label, Unit: unit}, Y: chart.Axis{Label: "measured " + label, Unit: unit}, Series: series, Bands: []chart.Band{band}}}}
	words := fmt.Sprintf("%s. RMSECV %s, Q² %s against the mean on the same folds.", phrase.First(c.CV.Scheme),
		strings.TrimSpace(trimmed(c.CV.RMSECV)+" "+unit), phrase.FixedText(c.CV.Q2, 2))
	if c.CV.Nested {
		words += " The choice of components or penalty was made anew inside every training part."
	}
	if c.Permutation != nil {
		words += fmt.Sprintf(" Of %d models of shuffled lots, %d did as well: p = %s.", c.Permutation.Permutations, c.Permutation.Better, phrase.FixedText(c.Permutation.P, 3))
	}
	s := Section{Heading: "How well it predicts lots it has not seen", Blocks: []Block{Paragraph(strings.TrimSpace(words + " " + ceilingWords(c))), Picture{Figure: fig}}}
	if len(c.CV.RMSECVByComponents) > 0 {
		t := &Table{ID: "components", Caption: "Error by number of components, the choice not nested", Columns: []Column{{Heading: "components", Align: Right}, {Heading: "RMSECV", Unit: unit, Align: Right}, {Heading: "Q²", Align: Right}}}
		for _, step := range c.CV.Path {
			t.Rows = append(t.Rows, []Cell{phrase.Fixed(step.Value, 0), Number(step.RMSECV, trimmed(step.RMSECV)), phrase.Fixed(step.Q2, 2)})
		}
		s.Blocks = append(s.Blocks, t)
	}
	if p := c.Protein; p != nil {
		s.Blocks = append(s.Blocks, Paragraph(fmt.Sprintf("What pasting adds to protein: protein alone reaches Q² %s, with pasting %s; the gain is %s (%.0f %% interval %s to %s).",
			phrase.FixedText(p.Q2, 2), phrase.FixedText(p.Q2With, 2), phrase.FixedText(p.Gain, 2), 100*p.Level, phrase.FixedText(p.Low, 2), phrase.FixedText(p.High, 2))))
	}
	if y := c.Years; y != nil {
		t := &Table{ID: "years", Caption: fmt.Sprintf("Each crop year predicted from the others: Q² %s, %d of %d lots inside their %.0f %% interval", phrase.FixedText(y.Q2, 2), y.Inside, y.Lots, 100*y.Level),
			Columns: []Column{{Heading: "crop year"}, {Heading: "lots", Align: Right}, {Heading: "RMSEP", Unit: unit, Align: Right}, {Heading: "bias", Unit: unit, Align: Right}, {Heading: "inside", Align: Right}}}
		for _, g := range y.Groups {
			t.Rows = append(t.Rows, []Cell{Words(g.Name), phrase.Count(g.Lots), Number(g.RMSEP, trimmed(g.RMSEP)), Number(g.Bias, trimmed(g.Bias)), phrase.Count(g.Inside)})
		}
		s.Blocks = append(s.Blocks, t)
	}
	s.Blocks = append(s.Blocks, residueBlocks(c)...)
	return s
}

// trimmed writes an error with three significant digits.
func trimmed(v float64) string { return significant(&v).Text }

func coefficientSection(c *card.Card) Section {
	s := Section{Heading: "What the model is made of"}
	if len(c.Features) == 0 {
		s.Blocks = append(s.Blocks, Paragraph("The mean of the lots; no feature."))
		return s
	}
	if curve := c.Curve(); curve != nil {
		return curveSection(c, curve)
	}
	_, unit := phrase.AxisOf(c.Response)
	label, _ := phrase.AxisOf(c.Response)
	of := "in original units"
	if c.Transform == "log" {
		of, label, unit = "of the response's natural logarithm", "ln("+label+")", ""
	}
	per := "" // the unit of a coefficient, but for the feature's own
	if unit != "" {
		per = unit + " per unit"
	}
	t := &Table{ID: "coefficients", Caption: "Coefficients " + of + "; the intercept is " + strings.TrimSpace(strings.Replace(fmt.Sprintf("%.6g", c.Intercept), "-", "−", 1)+" "+unit),
		Columns: []Column{{Heading: "feature"}, {Heading: "coefficient", Unit: per, Align: Right}, {Heading: "95 % from", Unit: per, Align: Right}, {Heading: "to", Unit: per, Align: Right}, {Heading: "for one SD", Unit: unit, Align: Right}}}
	series := chart.Series{Style: chart.StylePoints, Name: "coefficient with 95 % jackknife interval"}
	var ticks []string
	byFeature := map[string]card.Coefficient{}
	for _, k := range c.Intervals {
		byFeature[k.Feature] = k
	}
	for _, name := range c.Features {
		k, ok := byFeature[name]
		if !ok {
			t.Rows = append(t.Rows, []Cell{Words(phrase.Label(name)), Number(c.Coefficients[name], phrase.General(c.Coefficients[name])), Words("–"), Words("–"), Words("–")})
			continue
		}
		perSD := k.Value * k.FeatureSD
		t.Rows = append(t.Rows, []Cell{Words(phrase.Label(name)), Number(k.Value, phrase.General(k.Value)), Number(k.Low, phrase.General(k.Low)), Number(k.High, phrase.General(k.High)), Number(perSD, trimmed(perSD))})
		series.X, series.Y = append(series.X, perSD), append(series.Y, float64(len(ticks)))
		series.Low, series.High = append(series.Low, k.Low*k.FeatureSD), append(series.High, k.High*k.FeatureSD)
		ticks = append(ticks, phrase.Label(name))
	}
	if len(ticks) > 0 && len(ticks) <= 40 {
		zero := 0.0
		s.Blocks = append(s.Blocks, Picture{Figure: chart.Figure{ID: anchor("coefficients", c), Title: "Coefficients, for one standard deviation of each feature",
			Description: "How far the prediction moves when one feature alone moves by one standard deviation, with a 95 % jackknife interval over lots (approximate).",
			Panels: []chart.Panel{{Height: float64(60 + 26*len(ticks)), X: chart.Axis{Label: "change of " + label, Unit: unit, Min: &zero, Max: &zero}, Y: chart.Axis{Label: "feature", Ticks: ticks},
				Series: []chart.Series{series}, VLines: []chart.Line{{At: 0, Strong: true}}}}}})
	}
	s.Blocks = append(s.Blocks, t, Paragraph("Features of one curve move together. A single coefficient says what the model does, not how the product follows the feature; for that see the directions."))
	return s
}

// screenSection is the features one at a time; empty where there is nothing to show.
func screenSection(r *study.FitResult) Section {
	t := &Table{ID: "screen", Caption: "One feature at a time, least squares on all lots (no validation: for a first look only)",
		Columns: []Column{{Heading: "feature"}, {Heading: "slope", Align: Right}, {Heading: "R²", Align: Right}, {Heading: "note"}}}
	for _, row := range r.Screen {
		if _, place := trait.PlaceOf(row.Feature); place {
			continue // places of a curve say nothing one at a time
		}
		if !row.OK {
			t.Rows = append(t.Rows, []Cell{Words(phrase.Label(row.Feature)), Words("–"), Words("–"), Words(row.Reason)})
			continue
		}
		t.Rows = append(t.Rows, []Cell{Words(phrase.Label(row.Feature)), Number(row.Slope, phrase.General(row.Slope)), phrase.Fixed(row.R2, 3), Words("")})
	}
	if len(t.Rows) == 0 {
		return Section{}
	}
	return Section{Heading: "Quick screen", Blocks: []Block{t}}
}

// leftOutSection groups the rows that the model does not have by their reason.
func leftOutSection(r *study.FitResult) Section {
	lots := map[string][]string{}
	var reasons []string
	for _, l := range r.LeftOut {
		if lots[l.Reason] == nil {
			reasons = append(reasons, l.Reason)
		}
		lots[l.Reason] = append(lots[l.Reason], l.Lot)
	}
	t := &Table{ID: "left-out", Caption: phrase.Plural(len(r.LeftOut), "row") + " of the table not used", Columns: []Column{{Heading: "rows", Align: Right}, {Heading: "which"}, {Heading: "reason"}}}
	for _, reason := range reasons {
		t.Rows = append(t.Rows, []Cell{phrase.Count(len(lots[reason])), Words(phrase.SomeLots(lots[reason])), Words(reason)})
	}
	return Section{Heading: "Left out", Blocks: []Block{t}}
}

// anchor names a figure of a model so that several models fit on one page.
func anchor(what string, c *card.Card) string {
	return what + "-" + phrase.Anchor(c.Product) + "-" + phrase.Anchor(c.Response)
}
