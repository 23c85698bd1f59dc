// Package bridging turns a comparison of two instruments into a document: whether the
// bridge serves, then the lines, the limits of agreement and their pictures. It
// computes no figure but the ends of the lines it draws.
package bridging

import (
	"cmp"
	"fmt"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/forecast/bridge"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/bridging"
)

// Document is the whole report of a bridge.
func Document(r *bridging.Result) document.Document {
	b := r.Bridge
	d := document.Document{Title: fmt.Sprintf("Bridge from %s to %s", b.From, b.To), Subtitle: fmt.Sprintf("%d lots run on both", b.Lots), Notice: r.Notice,
		Meta: []document.Pair{{Name: "file", Value: r.File}, {Name: "pasting method", Value: cmp.Or(b.Method, "not stated")},
			{Name: "rows read", Value: fmt.Sprintf("%d: %d used, %d of others or void, %d refused", r.Rows.Read, r.Rows.Used, r.Rows.Other, r.Rows.Refused)}}}
	if r.Out != "" {
		d.Meta = append(d.Meta, document.Pair{Name: "bridge file", Value: r.Out})
	}
	d.Sections = []document.Section{answer(r), lines(r), agreement(r), pictures(r)}
	if len(r.LeftOut) > 0 {
		t := &document.Table{ID: "left-out", Caption: "Lots that do not count", Columns: []document.Column{{Heading: "lot"}, {Heading: "reason"}}}
		for _, l := range r.LeftOut {
			t.Rows = append(t.Rows, []document.Cell{document.Words(l.Lot), document.Words(l.Reason)})
		}
		d.Sections = append(d.Sections, document.Section{Heading: "Left out", Blocks: []document.Block{t}})
	}
	if len(r.Findings) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "Findings in the data", Blocks: []document.Block{document.Findings(r.Findings)}})
	}
	return d
}

// answer says whether the bridge serves, and what it must not be taken for.
func answer(r *bridging.Result) document.Section {
	b := r.Bridge
	box := document.Callout{Kind: document.Notice, Title: "No model was named", Text: "Whether the two go together well enough depends on what they are to forecast: name the model with --model. forecast checks it again."}
	if s := r.Serves; s != nil {
		box = document.Callout{Kind: document.Answer, Title: "The bridge serves the model", Text: fmt.Sprintf("Over it the forecast's interval is %s times as wide (%s at most).", phrase.FixedText(s.Widening, 2), phrase.FixedText(s.Most, 2))}
		switch {
		case len(s.Missing) > 0:
			box.Kind, box.Title, box.Text = document.Caution, "The bridge lacks features of the model", "Missing: "+strings.Join(s.Missing, ", ")+". No bridge file was written."
		case !s.Serves:
			box.Kind, box.Title = document.Caution, "Refused: the two do not go together well enough for this model"
			box.Text = fmt.Sprintf("Over this bridge the forecast's interval would be %s times as wide (%s at most). No bridge file was written. Most of it comes from %s. Run such lots on %s, or pair more lots with replicates.", phrase.FixedText(s.Widening, 2), phrase.FixedText(s.Most, 2), worst(s.Each), b.To)
		}
	}
	blocks := []document.Block{box}
	if doubts := doubts(r); len(doubts) > 0 {
		blocks = append(blocks, document.Callout{Kind: document.Notice, Title: "Unsure", Text: phrase.First(strings.Join(doubts, "; ")) + "."})
	}
	return document.Section{Heading: "Does it serve?", Blocks: append(blocks, document.Paragraph(fmt.Sprintf("Different geometries correlate and do not agree: there is no factor between instruments that holds for every flour. This bridge holds for %s and %s, this method and the paired range only; a lot outside of it is held.", b.From, b.To)))}
}

func doubts(r *bridging.Result) (out []string) {
	if r.Bridge.Lots < r.Advised {
		out = append(out, fmt.Sprintf("%d lots are fewer than the %d advised", r.Bridge.Lots, r.Advised))
	}
	var narrow, assumed []string
	for _, f := range r.Bridge.Features {
		if f.R < r.Narrow {
			narrow = append(narrow, fmt.Sprintf("%s (r %s)", phrase.Plain(f.Name), phrase.FixedText(f.R, 3)))
		}
		if f.Assumed {
			assumed = append(assumed, phrase.Plain(f.Name))
		}
	}
	if len(narrow) > 0 {
		out = append(out, fmt.Sprintf("below r %s the lots span too little for a sure slope: %s", phrase.FixedText(r.Narrow, 3), strings.Join(narrow, ", ")))
	}
	if len(assumed) > 0 {
		out = append(out, "without duplicates on both, equal errors were assumed: "+strings.Join(assumed, ", "))
	}
	return out
}

func worst(each []bridging.Each) string {
	most := bridging.Each{}
	for _, e := range each {
		if e.Widening > most.Widening {
			most = e
		}
	}
	return phrase.Plain(most.Feature)
}

// lines are the fitted lines.
func lines(r *bridging.Result) document.Section {
	b := r.Bridge
	t := &document.Table{ID: "lines", Caption: fmt.Sprintf("%s = intercept + slope × %s, with 95 %% intervals", b.To, b.From),
		Columns: []document.Column{{Heading: "feature"}, phrase.Right("from"), phrase.Right("to"), phrase.Right("r"), phrase.Right("δ"), phrase.Right("Deming slope"), {Heading: "95 %"}, phrase.Right("intercept"), {Heading: "95 %"}, phrase.Right("Passing–Bablok slope"), {Heading: "95 %"}, phrase.Right("SD about the line")}}
	three := func(v float64) string { return phrase.FixedText(v, 3) }
	for _, f := range b.Features {
		delta := document.Number(f.Delta, phrase.Digits(f.Delta))
		if f.Assumed {
			delta = document.Words("1, assumed")
		}
		median, span := document.Words("–"), document.Words("")
		if f.MedianSlope != nil {
			median, span = document.Number(f.MedianSlope.Value, three(f.MedianSlope.Value)), document.Words(interval(*f.MedianSlope, three))
		}
		t.Rows = append(t.Rows, []document.Cell{document.Words(trait.Label(f.Name)), phrase.Figure(f.Name, f.Low), phrase.Figure(f.Name, f.High), document.Number(f.R, three(f.R)), delta,
			document.Number(f.Slope.Value, three(f.Slope.Value)), document.Words(interval(f.Slope, three)),
			document.Number(f.Intercept.Value, phrase.Digits(f.Intercept.Value)), document.Words(interval(f.Intercept, phrase.Digits)), median, span, document.Number(f.Residual, phrase.Digits(f.Residual))})
	}
	blocks := []document.Block{t, document.Paragraph(fmt.Sprintf("δ is the variance of a mean's error on %s over that on %s, from duplicates: above 1, %s errs more (half of the literature uses the inverse). Intervals of Deming's line are the jackknife's; the bridge uses this line. From and to are the paired range on %s.", b.To, b.From, b.To, b.From))}
	if s := r.Serves; s != nil && len(s.Each) > 0 {
		w := &document.Table{ID: "widening", Caption: "How much wider the forecast's interval becomes", Columns: []document.Column{{Heading: "by the error of"}, phrase.Right("times")}}
		for _, e := range s.Each {
			w.Rows = append(w.Rows, []document.Cell{document.Words(phrase.Plain(e.Feature)), document.Number(e.Widening, three(e.Widening))})
		}
		w.Rows = append(w.Rows, []document.Cell{document.Words("all together, as their errors go together"), document.Number(s.Widening, three(s.Widening))})
		blocks = append(blocks, w)
	}
	return document.Section{Heading: "Lines", Blocks: blocks}
}

// agreement are the limits of agreement.
func agreement(r *bridging.Result) document.Section {
	b := r.Bridge
	t := &document.Table{ID: "agreement", Caption: fmt.Sprintf("Differences %s − %s (Bland & Altman 1986), with 95 %% intervals", b.To, b.From),
		Columns: []document.Column{{Heading: "feature"}, phrase.Right("mean difference"), {Heading: "95 %"}, phrase.Right("SD"), phrase.Right("lower limit"), {Heading: "95 %"}, phrase.Right("upper limit"), {Heading: "95 %"}}}
	cells := func(e bridge.Estimate) []document.Cell {
		return []document.Cell{document.Number(e.Value, phrase.Digits(e.Value)), document.Words(interval(e, phrase.Digits))}
	}
	for _, f := range b.Features {
		row := append([]document.Cell{document.Words(trait.Label(f.Name))}, cells(f.Bias)...)
		row = append(row, document.Number(f.BiasSD, phrase.Digits(f.BiasSD)))
		t.Rows = append(t.Rows, append(append(row, cells(f.LimitLow)...), cells(f.LimitHigh)...))
	}
	var grows []string
	for _, f := range b.Features {
		if f.Slope.Low > 1 || f.Slope.High < 1 {
			grows = append(grows, phrase.Plain(f.Name))
		}
	}
	text := "No slope differs surely from 1."
	if len(grows) > 0 {
		text = "The difference grows or shrinks with the figure itself (the slope's interval is beside 1): " + strings.Join(grows, ", ") + ". There the mean difference corrects nothing, and the limits are too wide for some flours and too narrow for others."
	}
	return document.Section{Heading: "Agreement as they stand", Blocks: []document.Block{t, document.Paragraph(text)}}
}

func interval(e bridge.Estimate, text func(float64) string) string {
	return text(e.Low) + " to " + text(e.High)
}
