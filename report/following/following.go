// Package following turns a follow-up into a document: whether the model may still
// be trusted first, then why and what to do, the chart, the figures, and what the
// outcomes cannot tell. It computes no figure.
package following

import (
	"cmp"
	"fmt"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/forecast/follow"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/following"
	"flourcast/study/validation"
)

// Document is the whole report of a follow-up.
func Document(r *following.Result) document.Document {
	label, _ := phrase.AxisOf(r.Response)
	d := document.Document{Title: "Follow-up of " + label, Subtitle: "What was measured against what was forecast at the time", Notice: r.Notice,
		Meta: []document.Pair{{Name: "model", Value: phrase.Model(r.Model)}, {Name: "verdict when it was made", Value: r.Standing}, {Name: "forecasts read", Value: fmt.Sprintf("%d: %d followed, %d waiting for an outcome, %d left out, %d refused", r.Counts.Read, r.Counts.Followed, r.Counts.Waiting, r.Counts.LeftOut, r.Counts.Refused)}}}
	if r.Counts.Read == 0 {
		d.Subtitle, d.Meta = "Incoming flours against those that the model was made from", d.Meta[:2]
	}
	if r.Counts.Read > 0 {
		d.Sections = append(d.Sections, answer(r))
	}
	if r.Limits != nil {
		d.Sections = append(d.Sections, charts(r))
	}
	if r.Figures != nil {
		d.Sections = append(d.Sections, figures(r))
	}
	if len(r.Decisions) > 0 {
		d.Sections = append(d.Sections, selection(r))
	}
	if len(r.Claims) > 0 {
		d.Sections = append(d.Sections, claims(r))
	}
	if r.Incoming != nil {
		d.Sections = append(d.Sections, incoming(r))
	}
	if len(r.Lots) > 0 {
		d.Sections = append(d.Sections, lots(r))
	}
	if len(r.LeftOut) > 0 {
		d.Sections = append(d.Sections, leftOut("Left out", "left-out", r.LeftOut))
	}
	if len(r.Findings) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "Findings in the data", Blocks: []document.Block{document.Findings(r.Findings)}})
	}
	return d
}

var titles = map[string]string{
	follow.InControl:    "In control: go on, and go on measuring",
	follow.Watch:        "Watch: measure the next lots before they are decided on",
	follow.Recalibrate:  "Recalibrate: do not decide on lots by this model until it is fitted anew",
	follow.TooFew:       "Too few lots to say",
	following.NoOutcome: "No outcome yet",
}

func answer(r *following.Result) document.Section {
	kind := document.Answer
	if r.Status == follow.Watch || r.Status == follow.Recalibrate {
		kind = document.Caution
	}
	text := phrase.Sentences(strings.Join(r.Why, "; "))
	if r.Status == follow.Recalibrate {
		text += " " + "Add the lots named below to the calibration, fit and check it anew."
	}
	s := document.Section{Heading: "May the model still be trusted?", Blocks: []document.Block{document.Callout{Kind: kind, Title: titles[r.Status], Text: text}}}
	if len(r.Add) > 0 {
		s.Blocks = append(s.Blocks, document.Paragraph("Lots to add to the calibration: "+strings.Join(r.Add, ", ")+"."))
	}
	if r.Selected {
		s.Blocks = append(s.Blocks, document.Callout{Kind: document.Notice, Title: "The outcomes are of chosen lots", Text: "Held and rejected lots were measured less than half as often as accepted ones. The figures tell how the model does on lots that it likes; whether it was right to hold or reject the others they cannot tell. Measure a few held lots chosen by lot (choose --random)."})
	}
	return document.Section{Heading: s.Heading, Blocks: append(s.Blocks, document.Paragraph(phrase.Supports))}
}

// figures are the figures over all lots, then by group.
func figures(r *following.Result) document.Section {
	_, unit := phrase.AxisOf(r.Response)
	t := &document.Table{ID: "figures", Caption: "Errors are measured − forecast; these figures are told, only the chart is judged",
		Columns: []document.Column{{Heading: "lots of"}, phrase.RightIn("lots", ""), phrase.RightIn("bias", unit), phrase.RightIn("limit", unit), phrase.RightIn("SEP", unit), phrase.RightIn("limit", unit), phrase.RightIn("slope", ""), phrase.RightIn("inside their interval", ""), phrase.RightIn("promised", "")},
		Notes:   []string{"beyond what chance gives in 19 of 20 such groups; of many groups some are, by chance"}}
	add := func(name string, f validation.Figures) {
		row := []document.Cell{document.Words(name), document.Number(float64(f.N), fmt.Sprint(f.N))}
		row = append(row, tested(f.Bias, "±")...)
		row = append(row, tested(f.SEP, "")...)
		slope := document.Words("–")
		if f.Slope != nil {
			slope = document.Number(f.Slope.Slope, phrase.FixedText(f.Slope.Slope, 2))
			if f.Slope.Beyond {
				slope.Notes = []int{0}
			}
		}
		inside, level := document.Words("–"), document.Words("–")
		if c := f.Coverage; c != nil {
			inside, level = document.Number(float64(c.Inside), fmt.Sprintf("%d of %d", c.Inside, c.N)), document.Number(c.Level, fmt.Sprintf("%.0f %%", 100*c.Level))
			if c.Few {
				inside.Notes = []int{0}
			}
		}
		t.Rows = append(t.Rows, append(row, slope, inside, level))
	}
	add("all", *r.Figures)
	for _, g := range r.Groups {
		name := g.Name
		if p, ok := trait.LookupProduct(g.Name); ok && g.By == "product" {
			name = p.Label
		}
		add(g.By+" "+name, g.Figures)
	}
	text := "Limits: bias t₀.₉₇₅·SEP/√n; SEP against the calibration's own error, SEC·√F₀.₉₅ (as ISO 12099:2017 uses them, from memory)."
	return document.Section{Heading: "Figures", Blocks: []document.Block{t, document.Paragraph(text)}}
}

func tested(v *validation.Tested, sign string) []document.Cell {
	if v == nil {
		return []document.Cell{document.Words("–"), document.Words("–")}
	}
	value, limit := document.Number(v.Value, phrase.Digits(v.Value)), document.Words("–")
	if v.Limit != nil {
		limit = document.Number(*v.Limit, sign+phrase.Digits(*v.Limit))
	}
	if v.Beyond {
		value.Notes = []int{0}
	}
	return []document.Cell{value, limit}
}

func selection(r *following.Result) document.Section {
	t := &document.Table{ID: "decisions", Caption: "Which lots were measured, by what their forecast said; met: how many of these met the limits", Columns: []document.Column{{Heading: "decision"}, phrase.RightIn("forecast", ""), phrase.RightIn("measured", ""), phrase.RightIn("met", "")}}
	for _, d := range r.Decisions {
		t.Rows = append(t.Rows, []document.Cell{document.Words(cmp.Or(d.Decision, "none was asked for")), document.Number(float64(d.Forecast), fmt.Sprint(d.Forecast)), document.Number(float64(d.Measured), fmt.Sprint(d.Measured)), met(d)})
	}
	return document.Section{Heading: "What the outcomes cannot tell", Blocks: []document.Block{t, document.Paragraph("Noodles are made mostly of lots that were accepted. A model that rejects good lots looks no worse for it.")}}
}

// met says how many of the measured lots whose specification is known met it.
func met(d following.Decision) document.Cell {
	switch {
	case d.Specified == 0:
		return document.Words("–")
	case d.Specified < d.Measured:
		return document.Number(float64(d.Met), fmt.Sprintf("%d of %d", d.Met, d.Specified))
	}
	return document.Number(float64(d.Met), fmt.Sprint(d.Met))
}

func claims(r *following.Result) document.Section {
	t := &document.Table{ID: "claims", Caption: "Suppliers' claims less one's own figures", Columns: []document.Column{{Heading: "supplier"}, {Heading: "figure"}, phrase.RightIn("lots", ""), phrase.RightIn("claim − own", ""), phrase.RightIn("95 % from", ""), phrase.RightIn("to", ""), phrase.RightIn("largest", ""), {Heading: "in lot"}}}
	for _, c := range r.Claims {
		label, unit := phrase.AxisOf(c.Figure)
		t.Rows = append(t.Rows, []document.Cell{document.Words(c.Supplier), document.Words(strings.TrimSuffix(label+", "+unit, ", ")), document.Number(float64(c.N), fmt.Sprint(c.N)), document.Number(c.Bias, phrase.Digits(c.Bias)), phrase.OptionalFixed(c.Low, 2), phrase.OptionalFixed(c.High, 2), document.Number(c.Largest, phrase.Digits(c.Largest)), document.Words(c.Lot)})
	}
	return document.Section{Heading: "Claims", Blocks: []document.Block{t}}
}

func incoming(r *following.Result) document.Section {
	in := r.Incoming
	box := document.Callout{Kind: document.Answer, Title: "The incoming flours are like the calibrated ones", Text: fmt.Sprintf("%d of %d lots lie outside of what the model was calibrated on, %d at its edge.", in.Outside, in.Lots, in.Edge)}
	if in.Differ {
		box.Kind, box.Title = document.Caution, "The incoming flours differ from the calibrated ones"
		var why []string
		for _, c := range in.Causes {
			why = append(why, fmt.Sprintf("%s (%d)", phrase.Plain(c.Feature), c.Lots))
		}
		if len(why) > 0 {
			box.Text += " Features that put them there, with the number of lots: " + strings.Join(why, ", ") + "."
		}
		if len(in.Moved) > 0 {
			var moved []string
			for _, m := range in.Moved {
				moved = append(moved, phrase.Plain(m))
			}
			box.Text += " On average moved by more than a standard deviation: " + strings.Join(moved, ", ") + "."
		}
		box.Text += " Make noodles of some of them (choose) before the model decides on such lots."
	}
	t := &document.Table{ID: "incoming", Caption: "Incoming lots against the calibrated ones, feature by feature", Columns: []document.Column{{Heading: "feature"}, phrase.RightIn("mean moved", "SD"), phrase.RightIn("SD, ratio", ""), phrase.RightIn("within the calibrated range", ""), phrase.RightIn("lots put outside", "")}}
	for _, f := range in.Features {
		lots := 0
		for _, c := range in.Causes {
			if c.Feature == f.Name {
				lots = c.Lots
			}
		}
		t.Rows = append(t.Rows, []document.Cell{document.Words(trait.Label(f.Name)), phrase.OptionalFixed(f.Shift, 2), phrase.OptionalFixed(f.SDRatio, 2), document.Number(f.Within, fmt.Sprintf("%.0f %%", 100*f.Within)), document.Number(float64(lots), fmt.Sprint(lots))})
	}
	s := document.Section{Heading: "Incoming flours", Blocks: []document.Block{box, t}}
	if len(in.Missed) > 0 {
		s.Blocks = append(s.Blocks, document.Paragraph("Outside: "+strings.Join(in.Missed, ", ")+"."))
	}
	if len(in.LeftOut) > 0 {
		s.Blocks = append(s.Blocks, leftOut("", "incoming-left-out", in.LeftOut).Blocks...)
	}
	return s
}

func leftOut(heading, id string, left []validation.LeftOut) document.Section {
	t := &document.Table{ID: id, Caption: "Lots that do not count", Columns: []document.Column{{Heading: "lot"}, {Heading: "reason"}}}
	for _, l := range left {
		t.Rows = append(t.Rows, []document.Cell{document.Words(l.Lot), document.Words(l.Reason)})
	}
	return document.Section{Heading: heading, Blocks: []document.Block{t}}
}
