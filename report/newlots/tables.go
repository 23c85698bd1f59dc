package newlots

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/forecast"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study"
)

// decisionWords state the decision rule.
func decisionWords(r *study.ForecastResult) string {
	return fmt.Sprintf("Decision rule: accept where the probability of meeting the specification is at least %.4g, reject where it is at most %.4g, else hold (guard bands after JCGM 106:2012 and ILAC-G8:09/2019; Student's t). A lot outside the calibrated range, with a failing run or with replicates that disagree is held whatever the probability.", r.Rule.Accept, r.Rule.Reject)
}

// classTable gives each lot's probability of lying in each named band; nil without
// bands.
func classTable(r *study.ForecastResult) *document.Table {
	if r.Bands == nil {
		return nil
	}
	label, unit := phrase.AxisOf(r.Response)
	t := &document.Table{ID: "classes", Caption: "Probability of each class of " + label, Columns: []document.Column{{Heading: "lot"}, {Heading: "class"}}}
	for k, name := range r.Bands.Names {
		t.Columns = append(t.Columns, document.Column{Heading: name + " (" + bandWords(r, k, unit) + ")", Name: name, Align: document.Right})
	}
	for _, f := range r.Forecasts {
		row := []document.Cell{document.Words(f.Lot), document.Words(dash(f.Class))}
		for k := range r.Bands.Names {
			if len(f.Classes) == 0 {
				row = append(row, document.Words("–"))
			} else {
				row = append(row, share(f.Classes[k].Probability))
			}
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

func bandWords(r *study.ForecastResult, k int, unit string) string {
	format := func(v float64) string { return trait.Format(r.Response, v) }
	var words string
	switch cuts := r.Bands.Cuts; {
	case k == 0:
		words = "below " + format(cuts[0])
	case k == len(cuts):
		words = "from " + format(cuts[k-1])
	default:
		words = format(cuts[k-1]) + " to " + format(cuts[k])
	}
	return strings.TrimSpace(words + " " + unit)
}

func dash(s string) string {
	if s == "" {
		return "–"
	}
	return s
}

// share writes a probability with two decimals, and never 0 or 1.
func share(p float64) document.Cell {
	switch {
	case p < 0.005:
		return document.Number(p, "<0.01")
	case p > 0.995:
		return document.Number(p, ">0.99")
	}
	return phrase.Fixed(p, 2)
}

// contributionTable says what moved each lot off the average one; nil where no lot
// has contributions.
func contributionTable(r *study.ForecastResult) *document.Table {
	k := slices.IndexFunc(r.Forecasts, func(f forecast.Forecast) bool { return len(f.Contributions) > 0 })
	if k < 0 {
		return nil
	}
	label, unit := phrase.AxisOf(r.Response)
	t := &document.Table{ID: "contributions", Caption: "What moved each lot's " + label + " off the average lot's" + inUnit(unit), Unit: unit,
		Columns: []document.Column{{Heading: "lot"}, {Heading: "average lot", Align: document.Right}}}
	methods := methodsOf(r)
	for _, s := range r.Forecasts[k].Shares() {
		heading := s.Stretch
		if s.Feature != "" {
			heading = labels([]string{s.Feature}, methods)
		}
		t.Columns = append(t.Columns, document.Column{Heading: heading, Name: cmp.Or(s.Feature, s.Stretch), Align: document.Right})
	}
	t.Columns = append(t.Columns, document.Column{Heading: "this lot", Align: document.Right})
	for _, f := range r.Forecasts {
		if len(f.Contributions) == 0 {
			continue
		}
		row := []document.Cell{document.Words(f.Lot), phrase.Optional(r.Response, f.Average)}
		for _, s := range f.Shares() {
			row = append(row, signed(r.Response, s.Contribution))
		}
		t.Rows = append(t.Rows, append(row, phrase.Optional(r.Response, f.Value)))
	}
	return t
}

func inUnit(unit string) string {
	if unit == "" {
		return ""
	}
	return ", " + unit
}

// signed writes a difference with its sign.
func signed(column string, v float64) document.Cell {
	c := phrase.Figure(column, v)
	if v > 0 {
		c.Text = "+" + c.Text
	}
	return c
}

// replicateTable lists the features that were run more than once; nil where none was.
func replicateTable(r *study.ForecastResult) *document.Table {
	t := &document.Table{ID: "replicates", Caption: "Replicates: mean with its standard error, against calibration's", Columns: []document.Column{{Heading: "lot"}, {Heading: "feature"}, {Heading: "runs", Align: document.Right},
		{Heading: "mean", Align: document.Right}, {Heading: "standard error", Align: document.Right}, {Heading: "SD", Align: document.Right}, {Heading: "SD in calibration", Align: document.Right}, {Heading: "largest SD that agrees", Align: document.Right}}}
	for _, f := range r.Forecasts {
		for _, p := range f.Replicates {
			if p.SD != nil {
				t.Rows = append(t.Rows, replicateRow(f, p))
			}
		}
	}
	if t.Rows == nil {
		return nil
	}
	return t
}

func replicateRow(f forecast.Forecast, p forecast.Replicated) []document.Cell {
	label, unit := phrase.AxisOf(p.Feature)
	return []document.Cell{document.Words(f.Lot), document.Words(label + inUnit(unit)), phrase.Count(p.N), phrase.Figure(p.Feature, p.Value), phrase.Optional(p.Feature, p.SE), phrase.Optional(p.Feature, p.SD), phrase.Optional(p.Feature, p.CalibrationSD), phrase.Optional(p.Feature, p.Limit)}
}
