package report

import (
	"fmt"
	"strings"

	"flourcast/report/chart"
	"flourcast/report/phrase"
	"flourcast/study"
	"flourcast/study/anatomy"
	"flourcast/study/card"
)

// curveSection draws the coefficients of a model of whole curves over the mean
// curve: a table of hundreds of rows would say less.
func curveSection(c *card.Card, curve *anatomy.Curve) Section {
	label, unit := phrase.AxisOf(c.Response)
	if c.Transform == "log" {
		label, unit = "ln("+label+")", ""
	}
	seconds := chart.Axis{Label: "time", Unit: "s"}
	mean := chart.Panel{Title: "Mean curve of the calibration lots", X: seconds, Y: chart.Axis{Label: "viscosity", Unit: "mPa·s"}, Height: 200,
		Series: []chart.Series{{Style: chart.StyleLine, Name: "mean", X: curve.At, Y: curve.Mean}}}
	what := strings.TrimSuffix(unit+" for 1 mPa·s", " ")
	coefficients := chart.Panel{Title: "Coefficient of each place", X: seconds, Y: chart.Axis{Label: "change of " + label, Unit: strings.TrimSpace(what)}, Height: 200,
		Series: []chart.Series{{Style: chart.StyleLine, Name: "coefficient", Ink: 1, X: curve.At, Y: curve.Coefficient}}, HLines: []chart.Line{{At: 0, Strong: true}}}
	if len(c.Intervals) == len(curve.At) {
		band := chart.Band{Name: "95 % jackknife interval", Ink: 1, X: curve.At}
		for _, k := range c.Intervals {
			band.Low, band.High = append(band.Low, k.Low), append(band.High, k.High)
		}
		coefficients.Bands = append(coefficients.Bands, band)
	}
	words := fmt.Sprintf("%d places of the curve; the intercept is %s. --json has every coefficient. Neighbouring places say nearly the same: look where the coefficients leave zero together, believe no single one, and for how the product follows the paste see the directions.",
		len(curve.At), strings.Replace(fmt.Sprintf("%.6g", c.Intercept), "-", "−", 1))
	return Section{Heading: "What the model is made of", Blocks: []Block{Picture{Figure: chart.Figure{ID: anchor("curve", c), Title: "Coefficients over the mean curve", ShareX: true,
		Description: "Above, the mean curve of the calibration lots; below, by how much the forecast moves when the viscosity at that time alone moves by 1 mPa·s.",
		Panels:      []chart.Panel{mean, coefficients}}}, Paragraph(words)}}
}

// bootstrapSection sets the coefficients' bootstrap intervals out.
func bootstrapSection(r *study.FitResult) Section {
	t := &Table{ID: "bootstrap", Caption: "Coefficients over resamples of the lots: 2.5th and 97.5th percentiles; the choice of components or penalty is not repeated",
		Columns: []Column{{Heading: "feature"}, {Heading: "coefficient", Align: Right}, {Heading: "95 % from", Align: Right}, {Heading: "to", Align: Right}, {Heading: "standard error", Align: Right}}}
	for _, k := range r.Bootstrap {
		t.Rows = append(t.Rows, []Cell{Words(phrase.Label(k.Feature)), Number(k.Value, phrase.General(k.Value)), Number(k.Low, phrase.General(k.Low)), Number(k.High, phrase.General(k.High)), Number(k.SE, phrase.General(k.SE))})
	}
	return Section{Heading: "Coefficients by bootstrap", Blocks: []Block{t}}
}
