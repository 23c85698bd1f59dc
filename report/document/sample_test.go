package document

import (
	"math"

	"flourcast/finding"
	"flourcast/report/chart"
)

// evil is a lot's name as a hostile file would write it.
const evil = `<script>alert("lot")</script>`

// sample is a document with every kind of block. All numbers are invented.
func sample() Document {
	points := chart.Series{Name: "60 lots", Style: chart.StylePoints}
	for i := range 60 {
		x := 3.0 + 0.02*float64(i)
		points.X, points.Y = append(points.X, x), append(points.Y, x+0.16*math.Sin(7*x*x))
		points.Labels = append(points.Labels, "lot "+evil)
	}
	predicted := chart.Figure{ID: "predicted", Title: "Measured against predicted hardness",
		Description: "Each lot was predicted by models that never saw it.",
		Panels: []chart.Panel{{X: chart.Axis{Label: "predicted hardness", Unit: "N"}, Y: chart.Axis{Label: "measured hardness", Unit: "N"},
			Identity: true, Series: []chart.Series{points}}}}
	curve := chart.Series{Name: "lot A-0231", Style: chart.StyleLine}
	strip := chart.Series{Style: chart.StyleLine, Ink: 4}
	for i := range 131 {
		t := float64(i) / 10
		curve.X, strip.X = append(curve.X, t), append(strip.X, t)
		curve.Y = append(curve.Y, 30+2400/(1+math.Exp(-(t-4.2)*4))*(1-0.4/(1+math.Exp(-(t-6)*2)))*(1+0.7/(1+math.Exp(-(t-9.4)*1.5))))
		strip.Y = append(strip.Y, 50+45*min(1, max(0, (t-1)/3.7))-45*min(1, max(0, (t-7.2)/3.8)))
	}
	curves := chart.Figure{ID: "curve", Title: "Pasting curve", ShareX: true, Description: "Viscosity above, the measured temperature in the strip below.",
		Panels: []chart.Panel{
			{X: chart.Axis{Label: "time", Unit: "min"}, Y: chart.Axis{Label: "viscosity", Unit: "mPa·s"}, Height: 220, Series: []chart.Series{curve},
				Marks: []chart.Mark{{X: 5, Y: curve.Y[50], Label: "peak"}, {X: 13, Y: curve.Y[130], Label: "final"}}},
			{X: chart.Axis{Label: "time", Unit: "min"}, Y: chart.Axis{Label: "temperature", Unit: "°C"}, Height: 70, Series: []chart.Series{strip}}}}

	coefficients := &Table{ID: "coefficients", Caption: "Coefficients with 95 % intervals",
		Columns: []Column{{Heading: "feature"}, {Heading: "coefficient", Unit: "N per SD", Name: "coefficient_N", Align: Right}, {Heading: "from", Align: Right}, {Heading: "to", Align: Right}, {Heading: "sign", Align: Center}, {Heading: "what it says"}},
		Rows: [][]Cell{
			{Words("peak viscosity"), Number(-0.2134567891234567, "−0.21", 0), Number(-0.3, "−0.30"), Number(-0.12, "−0.12"), Words("−"), Words("a higher peak goes with softer noodles, as the established direction says; the interval does not reach zero")},
			{Words("breakdown"), Number(-0.18, "−0.18", 1), Number(-0.27, "−0.27"), Number(-0.09, "−0.09"), Words("−"), Words("as peak")},
			{Words("setback from trough"), Number(10.5, "10.50", 2, 0), Words("–"), Words("–"), Words("+"), Words("no interval")},
			{Words("粘度 (viscosity)"), Number(0.04, "0.04"), Number(-0.05, "−0.05"), Number(0.13, "0.13"), Words("o"), Words(evil)},
		},
		Notes: []string{"Jackknife over lots; assumes t with m − 1 degrees.", "Moves with the peak.", "Jackknife over lots; assumes t with m − 1 degrees.", "Values per standard deviation of the calibration lots."}}

	wide := &Table{ID: "features", Caption: "Features of three runs", Columns: []Column{{Heading: "lot"}}}
	for _, h := range []string{"pasting temperature", "peak viscosity", "trough viscosity", "breakdown", "final viscosity", "setback from trough", "setback from peak", "peak time", "peak temperature", "rise rate"} {
		wide.Columns = append(wide.Columns, Column{Heading: h, Unit: "mPa·s", Align: Right})
	}
	for _, lot := range []string{"A-0231", "0012", "Weizen Nord 2024/11, silo 3"} {
		row := []Cell{Words(lot)}
		for i := range 10 {
			row = append(row, Number(1234.5678*float64(i), "1234"[:1+i%4]))
		}
		wide.Rows = append(wide.Rows, row)
	}

	return Document{
		Title: "Hardness, white salted noodle", Subtitle: "May this model be trusted, and what does it say?",
		Notice: "All data in this report are invented.",
		Meta:   []Pair{{"model", "PLS, 2 components, 9 features, scaled to SD 1"}, {"lots", "60"}, {"table", "table.csv, 60 rows, SHA-256 0f3a5c…"}, {"lot of " + evil, evil}},
		Sections: []Section{
			{"Hardness", "Verdict", []Block{
				Callout{Answer, "Fit for use; screens lots", "Sixty lots over three crop years; the model predicts lots that it has not seen with an error of 0.15 N, and it moves as established directions say."},
				Callout{Caution, "Used against a contradicted direction", "Silver nitrate is toxic, an oxidiser and stains; collect silver waste separately."},
				Callout{Kind: Notice, Text: "A forecast supports a decision by qualified people; it releases nothing."}}},
			{"Hardness", "Coefficients", []Block{Paragraph("Features of one curve move together. A single coefficient says what the model does, not how the product follows the feature; for that see the directions."), coefficients}},
			{"", "Curves", []Block{Picture{Figure: curves}, wide}},
			{"Hardness", "Validation", []Block{Picture{Figure: predicted, Caption: "Lots of " + evil}}},
			{"", "Findings in the data", []Block{Findings{
				{Code: "number-unread", Severity: finding.Refused, At: finding.Place{File: "texture.csv", Row: 14, Column: "Hardness"}, Found: `"n. a." in a number`, Want: "a number or an empty cell", Do: "correct the cell or leave it empty"},
				{Code: "setback-convention", Severity: finding.Note, Found: "setback read as final − trough"},
				{Code: "batch-spread", Severity: finding.Doubt, At: finding.Place{File: "texture.csv", Row: 20}, Found: "CV 31 % over " + evil, Want: "8 to 15 %", Do: "look at the batch"},
			}}},
			{"Hardness", "Coefficients", []Block{Findings{}}},
		}}
}
