package survey

import (
	"cmp"
	"fmt"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/eval/domain"
	"flourcast/report/chart"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/choosing"
)

// Next is the document of the lots to measure next: which, and why each.
func Next(r *choosing.Result) document.Document {
	label := trait.Label(r.Response)
	product := r.Product
	if p, ok := trait.LookupProduct(r.Product); ok {
		product = p.Label
	}
	d := document.Document{Title: "Lots to measure next", Subtitle: label + ", " + cmp.Or(product, "all products"), Notice: r.Notice,
		Meta: []document.Pair{{Name: "table", Value: r.Table}, {Name: "measured lots", Value: fmt.Sprint(r.Measured)}, {Name: "lots to choose from", Value: fmt.Sprintf("%d (%d more lack a feature)", r.Candidates, r.Lacking)}}}
	if r.Model != "" {
		d.Meta = append(d.Meta, document.Pair{Name: "model", Value: phrase.Model(r.Model)})
	}
	t := &document.Table{ID: "chosen", Caption: "In the order of choice", Columns: []document.Column{{Heading: "lot"}, {Heading: "distance", Align: document.Right}, {Heading: "why"}, {Heading: "calibrated range"}}}
	outside := false
	for _, c := range r.Chosen {
		distance := document.Words("–")
		if c.Distance != nil {
			distance = document.Number(*c.Distance, fmt.Sprintf("%.2f", *c.Distance))
		}
		outside = outside || c.Domain == domain.Outside
		t.Rows = append(t.Rows, []document.Cell{document.Words(c.Lot), distance, document.Words(why(r, c)), document.Words(cmp.Or(c.Domain, "–"))})
	}
	s := document.Section{Heading: "Choice"}
	if fig, ok := distances(r); ok {
		s.Blocks = append(s.Blocks, document.Picture{Figure: fig})
	}
	s.Blocks = append(s.Blocks, t, document.Paragraph("Distance is in standard deviations, the root mean square over the features, from the nearest lot that is measured or chosen before (Kennard & Stone 1969)."))
	if outside {
		s.Blocks = append(s.Blocks, document.Callout{Kind: document.Notice, Title: "Far off may mean a faulty run", Text: "A lot outside of what the model was calibrated on is either a flour worth knowing or a run gone wrong. Repeat the run before making noodles of it."})
	}
	d.Sections = append(d.Sections, s)
	if len(r.Findings) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "Findings in the data", Blocks: []document.Block{document.Findings(r.Findings)}})
	}
	return d
}

func why(r *choosing.Result, c choosing.Chosen) string {
	switch {
	case c.By == "random" && r.HeldKnown:
		return fmt.Sprintf("drawn at random from the held lots (seed %d), so that outcomes do not only tell of accepted ones", r.Seed)
	case c.By == "random":
		return fmt.Sprintf("drawn at random from the other lots (seed %d); with --forecasts it would be from the held ones", r.Seed)
	case c.Nearest == "":
		return "one of the two lots that differ most"
	}
	label, unit := c.Feature, ""
	if id, _ := trait.Split(c.Feature); id != "" {
		if t, ok := trait.Lookup(id); ok {
			label, unit = t.Label, t.Unit
		}
	}
	return strings.TrimSpace(fmt.Sprintf("%s %s, where the nearest lot, %s, has %s %s", label, trait.Format(c.Feature, *c.Value), c.Nearest, trait.Format(c.Feature, *c.NearestValue), unit))
}

// distances draws how far each choice lay: where the bars are short, more lots fill in
// little.
func distances(r *choosing.Result) (chart.Figure, bool) {
	var lots []string
	s := chart.Series{Style: chart.StyleBars}
	for _, c := range r.Chosen {
		if c.Distance == nil {
			continue
		}
		s.X, s.Y = append(s.X, *c.Distance), append(s.Y, float64(len(lots)))
		lots = append(lots, c.Lot)
	}
	if len(lots) == 0 || len(lots) > 60 {
		return chart.Figure{}, false
	}
	return chart.Figure{ID: "choice", Title: "How far each chosen lot lies from those before", Description: "Bars get shorter from choice to choice; where they are short, a further lot fills in little.",
		Panels: []chart.Panel{{Height: float64(60 + 22*len(lots)), X: chart.Axis{Label: "distance", Unit: "SD"}, Y: chart.Axis{Label: "lot", Ticks: lots}, Series: []chart.Series{s}}}}, true
}
