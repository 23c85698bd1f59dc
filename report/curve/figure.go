package curve

import (
	"fmt"
	"slices"
	"strings"

	"flourcast/report/chart"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/curve"
)

// marks are the features that have a place on a curve, and their names there.
var marks = []struct{ id, label string }{{"pasting_temp_tangent_C", "tangent"}, {"pasting_temp_C", "onset"}, {"second_peak_mPas", "second peak"}, {"peak_mPas", "peak"}, {"trough_mPas", "trough"}, {"final_mPas", "final"}}

// placed are the deviations that stand at a place of the curve rather than over
// a stage of it, and their names there.
var placed = map[string]string{"spike": "spike", "gap": "gap", "boil-over": "boil-over", "viscosity-step": "step", "saturated": "clipped"}

// manyRuns is from how many curves on each is faint and has no name: a legend of
// fifty names tells nothing.
const manyRuns = 12

func panels() (viscosity, temperature chart.Panel) {
	x := chart.Axis{Label: "time", Unit: "min"}
	return chart.Panel{Height: 320, X: x, Y: chart.Axis{Label: "viscosity", Unit: "mPa·s"}}, chart.Panel{Height: 90, X: x, Y: chart.Axis{Label: "temperature", Unit: "°C"}}
}

func drawable(run curve.RunFeatures) bool { return run.Curve != nil && len(run.Curve.TimeS) > 1 }

func minutes(timeS []float64) []float64 {
	out := make([]float64, len(timeS))
	for i, t := range timeS {
		out[i] = t / 60
	}
	return out
}

// together draws several curves over time, the temperature in a strip below, one
// line for each method. drawn is how many curves are there.
func together(runs []curve.RunFeatures, id string) (fig chart.Figure, drawn int) {
	viscosity, temperature := panels()
	many := len(runs) > manyRuns
	var methods []string
	for _, run := range runs {
		if !drawable(run) || drawn == shownRuns {
			continue
		}
		x := minutes(run.Curve.TimeS)
		label := run.Lot
		if run.Replicate != "" && run.Replicate != "1" {
			label += ", replicate " + run.Replicate
		}
		if many {
			label = ""
		}
		viscosity.Series = append(viscosity.Series, chart.Series{Name: label, Style: chart.StyleLine, Ink: drawn, X: x, Y: run.Curve.ViscosityMPas, Faint: many})
		if len(run.Curve.TemperatureC) == len(x) && !slices.Contains(methods, run.Method) {
			temperature.Series = append(temperature.Series, chart.Series{Name: "temperature " + run.Method, Style: chart.StyleLine, Ink: len(temperature.Series), X: x, Y: run.Curve.TemperatureC})
			methods = append(methods, run.Method)
		}
		drawn++
	}
	fig = chart.Figure{ID: id, Title: "Pasting curves", ShareX: true, Panels: []chart.Panel{viscosity},
		Description: "Viscosity over the time of the test, with the measured temperature in the strip below."}
	if len(temperature.Series) > 0 {
		fig.Panels = append(fig.Panels, temperature)
	}
	return fig, drawn
}

// Span is what the curves of Lots reference lots lie between, over time in seconds; Of
// says in a few words which lots they are.
type Span struct {
	Lots             int
	Of               string
	TimeS, Low, High []float64
}

// Name is the span's name in a legend.
func (s *Span) Name() string {
	return fmt.Sprintf("from the lowest to the highest curve of %s that %s", phrase.Plural(s.Lots, "lot"), s.Of)
}

// Overlay draws the runs of one lot over those of others: the lot's own named, the
// first of them with its stages and its features where they were found, the others
// faint behind, behind all what reference lots span (nil: none). ok is false when the
// lot has no curve.
func Overlay(own, others []curve.RunFeatures, span *Span, id string) (fig chart.Figure, ok bool) {
	fig, drawn := together(own, id)
	if drawn == 0 {
		return fig, false
	}
	var first curve.RunFeatures
	for _, run := range slices.Backward(own) {
		if drawable(run) {
			first = run
		}
	}
	marked, _ := alone(first, id)
	fig.Panels[0].Marks, fig.Panels[0].VLines = marked.Panels[0].Marks, marked.Panels[0].VLines
	fig.Description = "Viscosity over the time of the test: the lot's own runs, other lots faint behind them; below, the measured temperature."
	if span != nil {
		fig.Panels[0].Bands = []chart.Band{{Name: span.Name(), X: minutes(span.TimeS), Low: span.Low, High: span.High}}
		fig.Description += " Tinted: " + span.Name() + "."
	}
	others = slices.DeleteFunc(slices.Clone(others), func(run curve.RunFeatures) bool { return !drawable(run) })
	behind, _ := together(others, id)
	for i, s := range behind.Panels[0].Series {
		s.Name, s.Faint, s.Ink = name(others[i]), true, len(own)+i
		fig.Panels[0].Series = append(fig.Panels[0].Series, s)
	}
	return fig, true
}

// alone draws one run with its stages, its features where they were found, what
// deviates at one place, and its programme beside the measured temperature.
func alone(run curve.RunFeatures, id string) (fig chart.Figure, ok bool) {
	if !drawable(run) {
		return chart.Figure{}, false
	}
	viscosity, temperature := panels()
	x := minutes(run.Curve.TimeS)
	viscosity.Series = []chart.Series{{Style: chart.StyleLine, Ink: 0, X: x, Y: run.Curve.ViscosityMPas}}
	viscosity.Marks = append(featureMarks(run), deviationMarks(run)...)
	if s := run.Stages; s != nil {
		add := func(at float64, label string) {
			viscosity.VLines = append(viscosity.VLines, chart.Line{At: at / 60, Label: label})
			temperature.VLines = append(temperature.VLines, chart.Line{At: at / 60})
		}
		add(s.Heating, "heating")
		add(s.Hot, "hot hold")
		if s.HasCooling {
			add(s.Cooling, "cooling")
		}
		if s.HasFinal {
			add(s.Final, "final")
		}
	}
	fig = chart.Figure{ID: id, Title: "Pasting curve", ShareX: true, Panels: []chart.Panel{viscosity},
		Description: "Viscosity over the time of the test, with its stages and its features where they were found; below, the measured temperature beside the programme."}
	if run.Programme != nil {
		p := chart.Series{Name: "programme", Style: chart.StyleLine, Ink: 1}
		for _, q := range run.Programme {
			p.X, p.Y = append(p.X, q.TimeS/60), append(p.Y, q.TemperatureC)
		}
		temperature.Series = append(temperature.Series, p)
	}
	if len(run.Curve.TemperatureC) == len(x) {
		temperature.Series = append(temperature.Series, chart.Series{Name: "measured", Style: chart.StyleLine, Ink: 0, X: x, Y: run.Curve.TemperatureC})
	}
	if len(temperature.Series) > 0 {
		fig.Panels = append(fig.Panels, temperature)
	}
	return fig, true
}

func featureMarks(run curve.RunFeatures) []chart.Mark {
	var out []chart.Mark
	for _, m := range marks {
		if p, ok := run.Places[m.id]; ok {
			out = append(out, chart.Mark{X: p.TimeS / 60, Y: p.ViscosityMPas, Label: m.label})
		}
	}
	return out
}

// deviationMarks point at the first sampled point of each deviation that has a
// place.
func deviationMarks(run curve.RunFeatures) []chart.Mark {
	var out []chart.Mark
	if run.Conformity == nil {
		return nil
	}
	for _, d := range run.Conformity.Deviations {
		label, has := placed[d.Code]
		i := slices.IndexFunc(run.Curve.TimeS, func(t float64) bool { return t >= d.FromS })
		if has && i >= 0 {
			out = append(out, chart.Mark{X: run.Curve.TimeS[i] / 60, Y: run.Curve.ViscosityMPas[i], Label: label})
		}
	}
	return out
}

// everyS is how far apart the rows of Points are, s.
const everyS = 30

// Points is a table of what Overlay draws of a lot's own runs, for whoever cannot see
// the picture: the first sampled point in each half minute, and the span of reference
// lots there.
func Points(own []curve.RunFeatures, span *Span) document.Section {
	t := &document.Table{ID: "points", Caption: "The first point that was sampled in each half minute", Columns: []document.Column{phrase.RightIn("time", "min")}}
	var runs []curve.RunFeatures
	last := 0.0
	for _, run := range own {
		if drawable(run) {
			runs, last = append(runs, run), max(last, run.Curve.TimeS[len(run.Curve.TimeS)-1])
			t.Columns = append(t.Columns, phrase.RightIn(label(run)+", temperature", "°C"), phrase.RightIn(label(run)+", viscosity", "mPa·s"))
		}
	}
	if span != nil {
		t.Columns = append(t.Columns, phrase.RightIn("lowest of the reference lots", "mPa·s"), phrase.RightIn("highest", "mPa·s"))
		t.Caption += "; reference lots: " + span.Name()
	}
	for from := 0.0; from <= last; from += everyS {
		row := []document.Cell{phrase.Fixed(from/60, 1)}
		for _, run := range runs {
			temperature, viscosity := document.Words("–"), document.Words("–")
			if i, ok := first(run.Curve.TimeS, from); ok {
				viscosity = phrase.Figure("peak_mPas", run.Curve.ViscosityMPas[i])
				if len(run.Curve.TemperatureC) == len(run.Curve.TimeS) {
					temperature = phrase.Fixed(run.Curve.TemperatureC[i], 1)
				}
			}
			row = append(row, temperature, viscosity)
		}
		if span != nil {
			low, high := document.Words("–"), document.Words("–")
			if i, ok := first(span.TimeS, from); ok {
				low, high = phrase.Figure("peak_mPas", span.Low[i]), phrase.Figure("peak_mPas", span.High[i])
			}
			row = append(row, low, high)
		}
		t.Rows = append(t.Rows, row)
	}
	return document.Section{Heading: "Curves as a table", Blocks: []document.Block{t}}
}

// first is the first point in the stretch of everyS that begins at from.
func first(timeS []float64, from float64) (i int, ok bool) {
	i = slices.IndexFunc(timeS, func(t float64) bool { return t >= from })
	return i, i >= 0 && timeS[i] < from+everyS
}

// label tells the runs of one lot apart.
func label(run curve.RunFeatures) string {
	return strings.TrimPrefix(strings.TrimPrefix(name(run), run.Lot), ", ")
}
