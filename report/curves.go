package report

import (
	"fmt"

	"flourcast/report/chart"
	"flourcast/study"
)

// markedRuns is up to how many curves features are marked on: more would cover
// the curves.
const markedRuns = 1

// shownRuns is how many curves one picture takes.
const shownRuns = 50

// marks are the features that have a place on a curve, and their names there.
var marks = []struct{ id, label string }{{"pasting_temp_C", "onset"}, {"peak_mPas", "peak"}, {"trough_mPas", "trough"}, {"final_mPas", "final"}}

// curveSection draws curves over time, the temperature in a strip below.
func curveSection(runs []study.RunFeatures, heading string) Section {
	s := Section{Heading: heading}
	fig, drawn := curveFigure(runs, "curves-"+anchorText(heading))
	if drawn == 0 {
		s.Blocks = append(s.Blocks, Paragraph("No curve to draw."))
		return s
	}
	if drawn < len(runs) {
		s.Blocks = append(s.Blocks, Paragraph(fmt.Sprintf("%d of %d runs are drawn.", drawn, len(runs))))
	}
	s.Blocks = append(s.Blocks, Picture{Figure: fig}, featureTable(runs[:min(len(runs), shownRuns)]))
	return s
}

func curveFigure(runs []study.RunFeatures, id string) (chart.Figure, int) {
	viscosity := chart.Panel{Height: 320, X: chart.Axis{Label: "time", Unit: "min"}, Y: chart.Axis{Label: "viscosity", Unit: "mPa·s"}}
	temperature := chart.Panel{Height: 90, X: chart.Axis{Label: "time", Unit: "min"}, Y: chart.Axis{Label: "temperature", Unit: "°C"}}
	drawn := 0
	lastProgramme := ""
	for _, run := range runs {
		if run.Curve == nil || len(run.Curve.TimeS) == 0 || drawn == shownRuns {
			continue
		}
		minutes := make([]float64, len(run.Curve.TimeS))
		for i, t := range run.Curve.TimeS {
			minutes[i] = t / 60
		}
		name := run.Lot
		if run.Replicate != "" && run.Replicate != "1" {
			name += ", replicate " + run.Replicate
		}
		viscosity.Series = append(viscosity.Series, chart.Series{Name: name, Style: chart.StyleLine, Ink: drawn, X: minutes, Y: run.Curve.ViscosityMPas, Faint: len(runs) > 12})
		// One strip for each programme: runs of one method share it.
		if len(run.Curve.TemperatureC) == len(minutes) && run.Method != lastProgramme {
			temperature.Series = append(temperature.Series, chart.Series{Name: "temperature " + run.Method, Style: chart.StyleLine, Ink: len(temperature.Series), X: minutes, Y: run.Curve.TemperatureC})
			lastProgramme = run.Method
		}
		drawn++
	}
	if len(runs) > 12 { // a legend of fifty names tells nothing
		for i := range viscosity.Series {
			viscosity.Series[i].Name = ""
		}
	}
	if drawn <= markedRuns {
		for _, run := range runs {
			viscosity.Marks = append(viscosity.Marks, featureMarks(run)...)
		}
	}
	fig := chart.Figure{ID: id, Title: "Pasting curves", ShareX: true, Panels: []chart.Panel{viscosity},
		Description: "Viscosity over the time of the test, with the measured temperature in the strip below."}
	if len(temperature.Series) > 0 {
		fig.Panels = append(fig.Panels, temperature)
	}
	return fig, drawn
}

// featureMarks places the features of a run on its curve, where they were found.
func featureMarks(run study.RunFeatures) []chart.Mark {
	var out []chart.Mark
	for _, m := range marks {
		p, ok := run.Places[m.id]
		if ok {
			out = append(out, chart.Mark{X: p.TimeS / 60, Y: p.ViscosityMPas, Label: m.label})
		}
	}
	return out
}
