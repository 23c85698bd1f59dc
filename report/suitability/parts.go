package suitability

import (
	"slices"
	"strings"

	"flourcast/eval/direction"
	"flourcast/eval/domain"
	"flourcast/eval/verdict"
	"flourcast/forecast"
	"flourcast/report/chart"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/comparison"
	"flourcast/study/enduse"
	"flourcast/study/suitability"
)

// curve is the picture, with what the band is.
func (w writer) curve(s suitability.Sheet) []document.Block {
	p := chart.Panel{Height: 190, X: chart.Axis{Label: w.Say("curve.time"), Unit: "min"}, Y: chart.Axis{Label: w.Say("curve.viscosity"), Unit: "mPa·s"}}
	minutes := func(timeS []float64) []float64 {
		out := make([]float64, len(timeS))
		for i, t := range timeS {
			out[i] = t / 60
		}
		return out
	}
	var band []string
	own := false
	for _, c := range s.Curves {
		switch c.Role {
		case comparison.Reference:
			key := map[string]string{comparison.ByLimits: "curve.references_limits", suitability.ByRequest: "curve.references_request"}[s.ChosenBy]
			if key == "" {
				key = "curve.references"
			}
			p.Bands = append(p.Bands, chart.Band{Name: w.Count(key, c.Lots), X: minutes(c.TimeS), Low: c.LowMPas, High: c.HighMPas, Ink: 4})
			band = c.Names
		case comparison.Present:
			p.Series = append(p.Series, chart.Series{Name: w.Say("curve.present"), Style: chart.StyleLine, Ink: 1, X: minutes(c.TimeS), Y: c.MPas})
		case comparison.This:
			p.Series = append(p.Series, chart.Series{Name: w.Say("curve.this"), Style: chart.StyleLine, Ink: 0, X: minutes(c.TimeS), Y: c.MPas})
			own = true
		}
	}
	say := []string{w.Say("curve.caption")}
	if !own {
		say = append(say, w.Say("curve.none"))
	}
	switch n := len(s.References); {
	case len(band) > 0:
		say = append(say, w.Count("curve.coded", len(band), "codes", w.some(band)))
	case n > 0:
		say = append(say, w.Count("curve.too_few", n, "codes", w.some(s.References)))
	}
	text := strings.Join(say, " ")
	if len(p.Series)+len(p.Bands) == 0 {
		return []document.Block{document.Paragraph(text)}
	}
	return []document.Block{document.Picture{Figure: chart.Figure{ID: "curve", Title: w.Say("curve.title"), Description: text, Panels: []chart.Panel{p}}, Caption: text}}
}

// some names the first codes, where there is no room for all.
func (w writer) some(codes []string) string {
	const room = 8
	if len(codes) <= room {
		return strings.Join(codes, ", ")
	}
	return w.Count("codes.more", len(codes)-room, "codes", strings.Join(codes[:room], ", "))
}

// features is the table of figures that say so.
func (w writer) features(s suitability.Sheet) []document.Block {
	response := w.name(s.Expected[0].Response)
	t := &document.Table{ID: "features", Columns: []document.Column{{Heading: w.Say("features.figure")}, {Heading: w.Say("features.this"), Align: document.Right}}}
	if s.Present != "" {
		t.Columns = append(t.Columns, document.Column{Heading: w.Say("features.present"), Align: document.Right})
	}
	t.Columns = append(t.Columns, document.Column{Heading: w.Say("features.others"), Align: document.Right}, document.Column{Heading: w.Say("features.published")}, document.Column{Heading: w.Say("features.points")})
	var sources []string
	notes := map[string]bool{}
	for _, f := range s.Features {
		_, unit := phrase.AxisOf(f.Feature)
		label := w.explained(f.Feature)
		if unit != "" {
			label += ", " + unit
		}
		row := []document.Cell{document.Words(label), document.Number(f.Value, w.figure(f.Feature, f.Value))}
		if s.Present != "" {
			cell := document.Words("–")
			if f.Present != nil {
				cell = document.Number(*f.Present, w.figure(f.Feature, *f.Present))
			}
			row = append(row, cell)
		}
		row = append(row, document.Words(w.Say("range", "low", w.figure(f.Feature, f.Low), "high", w.figure(f.Feature, f.High))), document.Words(w.direction(f, response)), document.Words(w.points(f, response)))
		t.Rows = append(t.Rows, row)
		notes[f.Of] = true
		if f.Source != "" && !slices.Contains(sources, f.Source) {
			sources = append(sources, f.Source)
		}
	}
	var say []string
	if notes[comparison.Reference] {
		say = append(say, w.Say("features.reference"))
	} else {
		say = append(say, w.Say("features.model"))
	}
	if len(sources) > 0 {
		say = append(say, w.Say("features.sources", "sources", strings.Join(sources, "; ")))
	}
	return []document.Block{t, document.Paragraph(strings.Join(say, " "))}
}

// direction is what is published of a feature, its standing, and what the laboratory's
// lots answer.
func (w writer) direction(f comparison.Feature, response string) string {
	if f.Standing == "" {
		return w.Say("direction.unpublished")
	}
	own := w.Say(map[string]string{direction.Confirmed: "own.confirmed", direction.Contradicted: "own.contradicted", direction.CannotTell: "own.unclear"}[f.Own])
	if f.Disagree {
		return w.Say("direction.disagree") + "; " + own
	}
	key := map[string]string{direction.Rises: "direction.rises", direction.Falls: "direction.falls", direction.None: "direction.none", direction.Optimum: "direction.optimum"}[f.Sign]
	return w.Say(key, "response", response) + " (" + w.Say("standing."+f.Standing) + "); " + own
}

// points is what the figure says of the response here.
func (w writer) points(f comparison.Feature, response string) string {
	key := map[string]string{comparison.PointsHigher: "features.more", comparison.PointsLower: "features.less", comparison.PointsSame: "features.same"}[f.Points]
	switch {
	case key == "":
	case f.Than == comparison.Present:
		return w.Say(key+"_than_yours", "response", response)
	default:
		return w.Say(key, "response", response)
	}
	return w.Say("features.unsaid")
}

// fits is the table of several products.
func (w writer) fits(s suitability.Sheet) *document.Table {
	t := &document.Table{ID: "fits", Columns: []document.Column{{Heading: w.Say("fits.product")}, {Heading: w.Say("fits.expected")}, {Heading: w.Say("fits.limits")}, {Heading: w.Say("fits.chance")}, {Heading: w.Say("fits.reason")}}}
	for _, f := range s.Fits {
		expected, chance := "–", "–"
		if f.Value != nil {
			expected = w.name(f.Response) + " " + w.amount(f.Response, *f.Value)
			if f.Low != nil && f.High != nil {
				expected += " (" + w.Say("range", "low", w.figure(f.Response, *f.Low), "high", w.figure(f.Response, *f.High)) + ")"
			}
		}
		wanted := w.wanted(f)
		if f.Probability != nil {
			chance = w.chance(*f.Probability)
		}
		if len(wanted) == 0 {
			wanted = []string{"–"}
		}
		t.Rows = append(t.Rows, []document.Cell{document.Words(w.product(f.Product)), document.Words(expected), document.Words(strings.Join(wanted, "; ")), document.Words(chance), document.Words(w.reason(f))})
	}
	return t
}

// wanted are the limits of a fit in words.
func (w writer) wanted(f enduse.Fit) (out []string) {
	for _, text := range f.Limits {
		if spec, err := forecast.ParseSpec(text); err == nil {
			out = append(out, w.name(spec.Response)+" "+w.limits(spec))
		}
	}
	return out
}

// reason is why a fit ranks where it does; the study's own reasons may name what is the
// laboratory's business.
func (w writer) reason(f enduse.Fit) string {
	switch {
	case f.Standing == verdict.NotFitForUse:
		return w.Say("fits.not_fit")
	case f.Domain == domain.Outside:
		return w.Say("fits.outside")
	case f.By == "window" && f.Class == enduse.Unknown, f.By == "model" && f.Value == nil:
		return w.Say("fits.no_figure")
	case len(f.Limits) == 0:
		return w.Say("fits.no_limits")
	case f.Class == enduse.Doubted, f.Class == enduse.Unknown:
		return w.Say("fits.held")
	case f.By == "window":
		key := "fits.window_met"
		switch {
		case f.Decision == forecast.Reject && f.Origin == enduse.Production:
			key = "fits.production_missed"
		case f.Decision == forecast.Reject:
			key = "fits.window_missed"
		case f.Origin == enduse.Production:
			key = "fits.production_met"
		}
		say := w.Say(key)
		if f.Probability == nil {
			say += "; " + w.Say("fits.window_once")
		}
		return say
	}
	return w.Say("fits.inside")
}
