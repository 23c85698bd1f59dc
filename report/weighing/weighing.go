// Package weighing makes the document of a weigh-in: what to put in the can
// first, what stands behind it, then the cautions of what is touched.
//
//  1. Weighing takes the result of study/weighing.
//  2. Tables follow in the order in which a person at the balance needs them.
//
// It computes no figure: what a result does not hold is not in the document.
package weighing

import (
	"fmt"

	"flourcast/dataset/method"
	"flourcast/dataset/trait"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/weighing"
)

// rules is what the cautions do not replace.
const rules = "Safety data sheets, local rules and qualified people come before these cautions."

// Document is the document of a weigh-in.
func Document(r *weighing.Result) document.Document {
	m := r.Method
	d := document.Document{Title: "Weigh-in: " + m.Label,
		Subtitle: fmt.Sprintf("%.3f g flour and %.3f g %s, %.3f g in all", r.WeighIn.Method.FlourG, r.WeighIn.Method.SolventG, r.Solvent.Words, r.WeighIn.Method.TotalG),
		Meta: []document.Pair{
			{Name: "method", Value: m.ID},
			{Name: "solids", Value: fmt.Sprintf("%g g, %s basis", m.SolidsG, m.Basis)},
			{Name: "moisture", Value: moistureWords(r)},
			{Name: "keeps constant", Value: constantWords(m)},
			{Name: "source", Value: m.Source},
		}}
	if r.Solvent.Words != string(trait.Water) {
		d.Notice = "Read the cautions at the end before you start."
	}
	d.Sections = append(d.Sections, weighIn(r))
	if r.AsWeighed != nil {
		d.Sections = append(d.Sections, asWeighed(r))
	}
	d.Sections = append(d.Sections, solvent(r), programme(r))
	if len(r.Findings) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "Before you rely on it", Blocks: []document.Block{document.Findings(r.Findings)}})
	}
	d.Sections = append(d.Sections, cautions(r))
	return d
}

func moistureWords(r *weighing.Result) string {
	text := fmt.Sprintf("%.4g %% of the flour as it is", r.WeighIn.MoisturePct)
	if r.MoistureGiven.Basis == weighing.Dry {
		text += fmt.Sprintf(" (%.4g %% of the dry matter)", r.MoistureGiven.Pct)
	}
	return text
}

func constantWords(m weighing.MethodFacts) string {
	text := "the total fill"
	if m.Constant == method.KeepsSolvent {
		text = "the solvent"
	}
	if !m.Stated {
		text += " (not stated by the method, taken)"
	}
	return text
}

// conventionWords heads the column of a convention.
func conventionWords(c method.Convention) string {
	if c == method.KeepsSolvent {
		return "constant solvent"
	}
	return "constant total fill"
}

func weighIn(r *weighing.Result) document.Section {
	f := r.WeighIn
	t := &document.Table{ID: "weigh-in", Caption: "By the method's own convention, and by the other one for comparison",
		Columns: []document.Column{{Heading: ""}, {Heading: "method: " + conventionWords(f.Method.Convention), Align: document.Right}, {Heading: "other: " + conventionWords(f.Other.Convention), Align: document.Right}}}
	row := func(name string, decimals int, byMethod, other float64) {
		t.Rows = append(t.Rows, []document.Cell{document.Words(name), figure(byMethod, decimals), figure(other, decimals)})
	}
	row("flour as it is, g", 3, f.Method.FlourG, f.Other.FlourG)
	row("solvent, g", 3, f.Method.SolventG, f.Other.SolventG)
	row(fmt.Sprintf("the same, mL at %g °C", r.Solvent.TemperatureC), 2, f.Method.SolventML, f.Other.SolventML)
	row("total fill, g", 3, f.Method.TotalG, f.Other.TotalG)
	row("dry solids, % of the slurry", 2, f.Method.SolidsPct, f.Other.SolidsPct)
	row("dry solids to 1 g of all water, g", 4, f.Method.SolidsPerWater, f.Other.SolidsPerWater)
	if r.Solvent.SucrosePct > 0 {
		row("sucrose weighed in with the solvent, g", 3, f.Method.SoluteG, f.Other.SoluteG)
		row("sucrose, % of sucrose and all water", 2, f.Method.SucrosePct, f.Other.SucrosePct)
	} else if r.Solvent.SoluteGPerL > 0 {
		row("inhibitor in the solvent, g", 5, f.Method.SoluteG, f.Other.SoluteG)
	}
	flour := &document.Table{ID: "flour", Caption: "The same flour on three bases", Columns: []document.Column{{Heading: "as it is", Unit: "g", Align: document.Right}, {Heading: "at 14 % moisture", Unit: "g", Align: document.Right}, {Heading: "dry", Unit: "g", Align: document.Right}},
		Rows: [][]document.Cell{{figure(f.Flour.AsIsG, 3), figure(f.Flour.At14G, 3), figure(f.Flour.DryG, 3)}}}
	return document.Section{Heading: "Weigh in", Blocks: []document.Block{t, flour}}
}

func asWeighed(r *weighing.Result) document.Section {
	w := r.AsWeighed
	t := &document.Table{ID: "as-weighed", Columns: []document.Column{{Heading: ""}, {Heading: "as weighed", Align: document.Right}, {Heading: "method", Align: document.Right}, {Heading: "off, %", Align: document.Right}}}
	t.Rows = append(t.Rows, []document.Cell{document.Words("dry solids, g"), figure(w.SolidsG, 3), figure(w.WantG, 3), signed(w.SolidsOffPct)})
	if w.Fill != nil {
		t.Rows = append(t.Rows,
			[]document.Cell{document.Words("dry solids, % of the slurry"), figure(w.Fill.SolidsPct, 2), figure(r.WeighIn.Method.SolidsPct, 2), signed(*w.ShareOffPct)},
			[]document.Cell{document.Words("total fill, g"), figure(w.Fill.TotalG, 3), figure(r.WeighIn.Method.TotalG, 3), document.Words("")})
	}
	return document.Section{Heading: "As weighed", Blocks: []document.Block{t, document.Callout{Kind: document.Answer, Text: w.Verdict + ". No viscosity is corrected for solids."}}}
}

func solvent(r *weighing.Result) document.Section {
	s := r.Solvent
	source := "ICUMSA polynomial, Bubník et al. 1995"
	if s.SucrosePct == 0 && s.Words != string(trait.Water) {
		source = "taken as water's"
	}
	text := fmt.Sprintf("%s at %g °C: %.5f g/mL (%s).", phrase.First(s.Words), s.TemperatureC, s.DensityGPerML, source)
	if s.SoluteGPerL > 0 {
		text += fmt.Sprintf(" %.5g g in a litre of solution.", s.SoluteGPerL)
	}
	out := document.Section{Heading: "Solvent", Blocks: []document.Block{document.Paragraph(text)}}
	if len(r.Readings) > 0 {
		t := &document.Table{ID: "readings", Caption: "What the method's strength and volume can mean", Columns: []document.Column{{Heading: "reading"}, {Heading: "sucrose", Unit: "% by mass", Align: document.Right}, {Heading: "solvent", Unit: "g", Align: document.Right}}}
		for _, x := range r.Readings {
			t.Rows = append(t.Rows, []document.Cell{document.Words(x.Means), figure(x.SucrosePct, 1), figure(x.SolventG, 2)})
		}
		out.Blocks = append(out.Blocks, t)
	}
	if len(r.Implied) > 0 {
		t := &document.Table{ID: "implied", Caption: fmt.Sprintf("What a total fill of %g g would mean", r.Implied[0].FillG),
			Columns: []document.Column{{Heading: "flour counted"}, {Heading: "flour", Unit: "g", Align: document.Right}, {Heading: "solvent", Unit: "g", Align: document.Right}, {Heading: "volume at the stated strength", Unit: "mL", Align: document.Right}, {Heading: "sucrose at the stated volume", Unit: "% by mass", Align: document.Right}}}
		for _, i := range r.Implied {
			pct := document.Words("none")
			if i.SucrosePct != nil {
				pct = figure(*i.SucrosePct, 1)
			}
			t.Rows = append(t.Rows, []document.Cell{document.Words(i.Counted), figure(i.FlourG, 2), figure(i.SolventG, 2), figure(i.VolumeML, 2), pct})
		}
		out.Blocks = append(out.Blocks, t)
	}
	return out
}

func programme(r *weighing.Result) document.Section {
	b := r.Boiling
	text := fmt.Sprintf("Hottest %.1f °C. Water boils at %.1f °C (%s, %.0f hPa)", b.HottestC, b.WaterC, r.PressureFrom, b.PressureHPa)
	if b.ElevationC > 0.005 {
		text += fmt.Sprintf(", this slurry at %.1f °C: sucrose raises it by %.1f °C", b.PointC, b.ElevationC)
	}
	out := document.Section{Heading: "Temperature programme", Blocks: []document.Block{document.Paragraph(text + ". The programme " + b.Verdict + ".")}}
	if r.Capped {
		t := &document.Table{ID: "programme", Caption: fmt.Sprintf("Held at %.1f °C", b.LimitC), Columns: []document.Column{{Heading: "time", Unit: "s", Align: document.Right}, {Heading: "temperature", Unit: "°C", Align: document.Right}}}
		for _, p := range r.Programme {
			t.Rows = append(t.Rows, []document.Cell{figure(p.TimeS, 0), figure(p.TemperatureC, 1)})
		}
		out.Blocks = append(out.Blocks, t)
	}
	return out
}

func cautions(r *weighing.Result) document.Section {
	t := &document.Table{ID: "cautions", Columns: []document.Column{{Heading: "what"}, {Heading: "caution"}}}
	for _, c := range r.Cautions {
		t.Rows = append(t.Rows, []document.Cell{document.Words(c.Topic), document.Words(c.Text)})
	}
	return document.Section{Heading: "Cautions", Blocks: []document.Block{t, document.Paragraph(rules)}}
}

// figure is a number with fixed decimals; all of a weigh-in are positive.
func figure(v float64, decimals int) document.Cell {
	return document.Number(v, fmt.Sprintf("%.*f", decimals, v))
}

// signed is a deviation in %, with its sign and a true minus.
func signed(v float64) document.Cell {
	switch text := fmt.Sprintf("%.1f", max(v, -v)); {
	case text == "0.0":
		return document.Number(v, text)
	case v < 0:
		return document.Number(v, "−"+text)
	default:
		return document.Number(v, "+"+text)
	}
}
