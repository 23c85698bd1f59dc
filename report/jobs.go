package report

import (
	"cmp"
	"fmt"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/forecast"
	"flourcast/report/chart"
	"flourcast/report/pieces"
	"flourcast/study"
)

// Join is the document of a join: what became of every row, and what did not pair.
func Join(r *study.JoinResult) Document {
	d := Document{Title: "Joined table", Subtitle: fmt.Sprintf("%s, a row for each lot and product: %s", plural(r.Rows, "row"), r.Table)}
	d.Sections = []Section{joinSection(r)}
	return withFindings(d, r.Findings)
}

func joinSection(r *study.JoinResult) Section {
	counts := &Table{ID: "rows", Caption: "Rows read: accepted, waiting for their lot or run, refused", Columns: []Column{{Heading: "file"}, {Heading: "read", Align: Right}, {Heading: "accepted", Align: Right}, {Heading: "waiting", Align: Right}, {Heading: "refused", Align: Right}}}
	for _, k := range r.Joined.Kinds {
		if k.Read > 0 {
			counts.Rows = append(counts.Rows, []Cell{Words(k.Kind), count(k.Read), count(k.Accepted), count(k.Waiting), count(k.Refused)})
		}
	}
	counts.Rows = append(counts.Rows, []Cell{Words("all"), count(r.Read), count(r.Accepted), count(r.Waiting), count(r.Refused)})
	s := Section{Heading: "Files", Blocks: []Block{counts}}
	if len(r.Thickness) > 0 {
		s.Blocks = append(s.Blocks, pieces.Thickness(r.Thickness))
	}
	if len(r.Unpaired) == 0 {
		return s
	}
	// Lots that share a reason are one row: a mill screens far more than it cooks.
	type key struct{ has, lacks, reason string }
	lots := map[key][]string{}
	var order []key
	for _, u := range r.Unpaired {
		k := key{u.Has, u.Lacks, u.Reason}
		if lots[k] == nil {
			order = append(order, k)
		}
		lots[k] = append(lots[k], u.Lot)
	}
	t := &Table{ID: "unpaired", Caption: plural(len(r.Unpaired), "lot") + " without both pasting figures and a result", Columns: []Column{{Heading: "lots", Align: Right}, {Heading: "which"}, {Heading: "has"}, {Heading: "lacks"}, {Heading: "reason"}}}
	for _, k := range order {
		t.Rows = append(t.Rows, []Cell{count(len(lots[k])), Words(someLots(lots[k])), Words(k.has), Words(k.lacks), Words(k.reason)})
	}
	s.Blocks = append(s.Blocks, t)
	return s
}

// Forecast is the document of forecasts: a row a lot, then the reasons.
func Forecast(r *study.ForecastResult) Document {
	d := Document{Title: "Forecast of " + plainLabel(r.Response) + ", " + productLabel(r.Product), Notice: r.Notice,
		Meta: []Pair{{Name: "model", Value: r.Model}, {Name: "verdict of the model", Value: r.Standing}}}
	if r.Spec != nil {
		d.Meta = append(d.Meta, Pair{Name: "specification", Value: specWords(*r.Spec)})
	}
	d.Sections = []Section{forecastSection(r, "Lots")}
	return withFindings(d, r.Findings)
}

func forecastSection(r *study.ForecastResult, heading string) Section {
	label, unit := axisOf(r.Response)
	level := 0.0
	if len(r.Forecasts) > 0 {
		level = r.Forecasts[0].Level
	}
	t := &Table{ID: "forecasts", Caption: fmt.Sprintf("Forecast %s with %.0f %% interval", label, 100*level),
		Columns: []Column{{Heading: "lot"}, {Heading: label, Unit: unit, Name: r.Response, Align: Right}, {Heading: "from", Align: Right}, {Heading: "to", Align: Right}, {Heading: "calibrated range"}, {Heading: "decision"}, {Heading: "reason and what to do"}}}
	for _, f := range r.Forecasts {
		t.Rows = append(t.Rows, []Cell{Words(f.Lot), optional(r.Response, f.Value), optional(r.Response, f.Low), optional(r.Response, f.High), Words(cmp.Or(f.Domain, "not known")),
			Words(cmp.Or(f.Decision, "no specification")), Words(sentences(f.Reasons...))})
	}
	s := Section{Heading: heading}
	if fig, ok := forecastFigure(r); ok {
		s.Blocks = append(s.Blocks, Picture{Figure: fig})
	}
	s.Blocks = append(s.Blocks, t)
	if near, ok := nearestTable(r); ok {
		s.Blocks = append(s.Blocks, near)
	}
	if r.Spec != nil {
		s.Blocks = append(s.Blocks, Paragraph(decisionWords(r)))
	}
	if t := classTable(r); t != nil {
		s.Blocks = append(s.Blocks, t)
	}
	if t := contributionTable(r); t != nil {
		s.Blocks = append(s.Blocks, t, Paragraph("The average lot's forecast and a lot's contributions add up to its forecast. Features of one curve go together, so that a single share is no direction."))
	}
	if t := replicateTable(r); t != nil {
		s.Blocks = append(s.Blocks, t)
	}
	s.Blocks = append(s.Blocks, Paragraph(supports))
	return s
}

// nearestTable says for each lot by which features it stands where it does, and which
// calibrated lot is most like it.
func nearestTable(r *study.ForecastResult) (*Table, bool) {
	t := &Table{ID: "nearest", Caption: "Where the lots stand among those the model was calibrated on",
		Columns: []Column{{Heading: "lot"}, {Heading: "calibrated range"}, {Heading: "by"}, {Heading: "nearest calibrated lot"}, {Heading: "distance", Align: Right}, {Heading: "usual", Align: Right}, {Heading: "differs most in"}},
		Notes:   []string{"distance in standard deviations along the ways in which the calibrated lots differ; usual: 95 % of them have a neighbour as near as that. A new lot much farther off stands in a gap between them: shown, not judged"}}
	methods := map[string]bool{}
	for _, f := range r.Forecasts {
		for _, c := range f.DomainBy {
			methods[methodOf(c)] = true
		}
		if f.Nearest != nil {
			for _, c := range f.Nearest.Features {
				methods[methodOf(c)] = true
			}
		}
	}
	delete(methods, "")
	for _, f := range r.Forecasts {
		if f.Nearest == nil {
			continue
		}
		near := Words(f.Nearest.Lot)
		if len(t.Rows) == 0 {
			near = Words(f.Nearest.Lot, 0)
		}
		t.Rows = append(t.Rows, []Cell{Words(f.Lot), Words(f.Domain), Words(labels(f.DomainBy, methods)), near, fixed(f.Nearest.Distance, 2), fixed(f.Nearest.Spacing, 2), Words(labels(f.Nearest.Features, methods))})
	}
	return t, len(t.Rows) > 0
}

func methodOf(column string) string { _, m := trait.Split(column); return m }

// labels are columns by their names for people, without the method where all
// columns that the forecasts name are of one; – for none.
func labels(columns []string, methods map[string]bool) string {
	var out []string
	for _, c := range columns {
		if id, _ := trait.Split(c); len(methods) < 2 {
			c = id
		}
		out = append(out, plainLabel(c))
	}
	return cmp.Or(strings.Join(out, ", "), "–")
}

// specWords is a specification as people say it: "hardness 3.2 to 4.0 N".
func specWords(s forecast.Spec) string {
	label, unit := axisOf(s.Response)
	var limits string
	switch {
	case s.Low != nil && s.High != nil:
		limits = fmt.Sprintf("%v to %v", *s.Low, *s.High)
	case s.Low != nil:
		limits = fmt.Sprintf("at least %v", *s.Low)
	case s.High != nil:
		limits = fmt.Sprintf("at most %v", *s.High)
	}
	return strings.TrimSpace(label + " " + limits + " " + unit)
}

// forecastFigure draws each lot's interval against the specification.
func forecastFigure(r *study.ForecastResult) (chart.Figure, bool) {
	label, unit := axisOf(r.Response)
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
	return chart.Figure{ID: "forecasts-" + anchorText(r.Product) + "-" + anchorText(r.Response), Title: "Forecast " + label + " with interval",
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
