package bridging

import (
	"fmt"
	"strings"

	"flourcast/report/chart"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/bridging"
)

// pictures draw each feature: one against the other, and difference against mean.
func pictures(r *bridging.Result) document.Section {
	b := r.Bridge
	s := document.Section{Heading: "Feature by feature"}
	for _, f := range b.Features {
		label, unit := phrase.AxisOf(f.Name)
		points := chart.Series{Name: "lot", Style: chart.StylePoints, Ink: 0}
		differences := chart.Series{Name: "lot", Style: chart.StylePoints, Ink: 0}
		for _, p := range f.Points {
			points.X, points.Y, points.Labels = append(points.X, p.From), append(points.Y, p.To), append(points.Labels, p.Lot)
			differences.X, differences.Y, differences.Labels = append(differences.X, (p.From+p.To)/2), append(differences.Y, p.To-p.From), append(differences.Labels, p.Lot)
		}
		line := chart.Series{Name: "Deming", Style: chart.StyleLine, Ink: 1}
		for _, x := range []float64{f.Low, f.High} {
			line.X, line.Y = append(line.X, x), append(line.Y, f.Intercept.Value+f.Slope.Value*x)
		}
		s.Blocks = append(s.Blocks, document.Picture{Figure: chart.Figure{ID: "bridge-" + strings.ReplaceAll(f.Name, "_", "-"), Title: phrase.First(label) + ": " + b.To + " against " + b.From, Columns: 2,
			Description: fmt.Sprintf("Left, %s on both, with Deming's line over the paired range; on the thin line they would agree. Right, the difference against the mean, with its limits.", label),
			Panels: []chart.Panel{
				{Identity: true, Height: 260, X: chart.Axis{Label: b.From, Unit: unit}, Y: chart.Axis{Label: b.To, Unit: unit}, Series: []chart.Series{points, line}},
				{Height: 260, X: chart.Axis{Label: "mean of both", Unit: unit}, Y: chart.Axis{Label: b.To + " − " + b.From, Unit: unit}, Series: []chart.Series{differences},
					HLines: []chart.Line{{At: f.Bias.Value, Label: "mean", Strong: true}, {At: f.LimitLow.Value, Label: "limit"}, {At: f.LimitHigh.Value, Label: "limit"}}},
			}}})
	}
	return s
}
