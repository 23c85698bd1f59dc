// Package blending turns a blend into a document: the recipe, what binds and what it
// costs, what the blend is expected to have, and how its run came out. It computes no
// figure.
package blending

import (
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/forecast/money"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/blending"
	"flourcast/study/blendrun"
)

// Document is the blend, or why there is none.
func Document(r *blending.Result) document.Document {
	d := document.Document{Title: "Blend of flours", Meta: []document.Pair{{Name: "stock", Value: fmt.Sprintf("%s (%d rows: %d used, %d refused)", r.Stock, r.RowsRead, r.RowsAccepted, r.RowsRefused)},
		{Name: "pasting figures", Value: mixingWords[r.Mixing]}}}
	if r.Confidence > 0 {
		d.Meta = append(d.Meta, document.Pair{Name: "limits drawn in", Value: fmt.Sprintf("so that a blend keeps each with probability %.4g", r.Confidence)})
	}
	first := document.Section{Heading: "Answer", Blocks: []document.Block{answer(r), document.Callout{Kind: document.Caution, Title: "Not yet a promise", Text: r.Advice + " No rule knows a paste: swollen granules compete for water, and the amylase of one flour acts on all. A blend supports a decision; it releases nothing."}}}
	d.Sections = append(d.Sections, first)
	if r.Cost != nil {
		d.Sections = append(d.Sections, document.Section{Heading: "Recipe", Blocks: []document.Block{recipe(r)}})
	}
	if len(r.Limits) > 0 {
		s := document.Section{Heading: "Limits", Blocks: []document.Block{limits(r)}}
		if !r.Stated {
			s.Blocks = append(s.Blocks, document.Paragraph("Saves: what relaxing the limit by one unit would save, per tonne of blend (the shadow price; for stock, per further tonne of that flour). It holds for a small change."))
		}
		d.Sections = append(d.Sections, s)
	}
	if len(r.Conflict)+len(r.Nearest) > 0 {
		d.Sections = append(d.Sections, conflict(r))
	}
	if len(r.Expected) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "What the blend is expected to have", Blocks: []document.Block{expected(r)}})
	}
	if r.Ratio != nil {
		d.Sections = append(d.Sections, document.Section{Heading: "Every ratio of " + r.Ratio.First + " and " + r.Ratio.Second, Blocks: []document.Block{ratio(r)}})
	}
	if len(r.Compared) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "The blend, made and run", Blocks: []document.Block{compared(r)}})
	}
	if len(r.Findings) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "Findings in the data", Blocks: []document.Block{document.Findings(r.Findings)}})
	}
	return d
}

var mixingWords = map[string]string{
	blending.Linear:   "mixed linearly: the mean of the flours' by share",
	blending.Log:      "mixed by logarithm: the mean of the logarithms (Arrhenius, for liquids)",
	blending.Measured: "mixed as the laboratory's own blends did",
}

// amount is money with its currency.
func amount(a money.Amount, currency string) string {
	return strings.TrimSpace(a.Text() + " " + currency)
}

func answer(r *blending.Result) document.Block {
	if r.Cost == nil {
		return document.Callout{Kind: document.Notice, Title: "No blend meets the limits", Text: phrase.First(conflictWords(r))}
	}
	var parts []string
	for _, l := range r.Recipe {
		if l.Share > 0 {
			parts = append(parts, fmt.Sprintf("%.1f %% %s", 100*l.Share, l.Flour))
		}
	}
	text := strings.Join(parts, ", ") + ": " + amount(r.Cost.Round(2), r.Currency) + " per tonne of blend"
	if r.Total != nil {
		text += fmt.Sprintf(", %s for %.4g t", amount(*r.Total, r.Currency), *r.Tonnes)
	}
	text += "."
	if r.MostT != nil {
		text += fmt.Sprintf(" The stock allows %.1f t of it.", *r.MostT)
	}
	if !r.Feasible {
		return document.Callout{Kind: document.Notice, Title: "This blend does not meet " + strings.Join(r.Binding, ", "), Text: text}
	}
	if r.Stated {
		return document.Callout{Kind: document.Notice, Title: "The blend that was stated", Text: text}
	}
	if len(r.Binding) > 0 {
		text += " Bound by " + strings.Join(labels(r.Binding), ", ") + "."
	}
	return document.Callout{Kind: document.Notice, Title: "The cheapest blend", Text: text}
}

func labels(columns []string) []string {
	var out []string
	for _, c := range columns {
		if flour, ok := strings.CutPrefix(c, "stock_t: "); ok {
			c = "the stock of " + flour
		} else {
			c = phrase.Label(c)
		}
		out = append(out, c)
	}
	return out
}

func conflictWords(r *blending.Result) string {
	if len(r.Conflict) == 0 {
		return "bound by " + strings.Join(labels(r.Binding), ", ") + "."
	}
	var parts []string
	for _, c := range r.Conflict {
		parts = append(parts, limitWords(c.Column, c.Flour, c.Side, c.Limit))
	}
	if len(parts) == 1 {
		return parts[0] + " cannot be met by any blend of this stock."
	}
	return strings.Join(parts, " and ") + " cannot be met together by this stock; without any one of them the others can."
}

func limitWords(column, flour, side string, at float64) string {
	sign := "at least "
	if side == "high" {
		sign = "at most "
	}
	if column == "stock_t" {
		return fmt.Sprintf("%s of %s, %.4g t", "the stock", flour, at)
	}
	_, unit := phrase.AxisOf(column)
	return strings.TrimSpace(phrase.Label(column) + " " + sign + trait.Format(column, at) + " " + unit)
}

func conflict(r *blending.Result) document.Section {
	s := document.Section{Heading: "What conflicts"}
	s.Blocks = append(s.Blocks, document.Paragraph(phrase.First(conflictWords(r))))
	if len(r.Nearest) > 0 {
		t := &document.Table{ID: "nearest", Caption: "The least change of all limits together", Columns: []document.Column{{Heading: "limit"}, {Heading: "asked for", Align: document.Right}, {Heading: "would have to be", Align: document.Right}}}
		for _, n := range r.Nearest {
			name := phrase.Label(n.Column)
			if n.Flour != "" {
				name = "stock of " + n.Flour + ", t"
			}
			t.Rows = append(t.Rows, []document.Cell{document.Words(name), phrase.Figure(n.Column, n.Limit), phrase.Figure(n.Column, n.Needed)})
		}
		s.Blocks = append(s.Blocks, t)
	}
	return s
}

func recipe(r *blending.Result) *document.Table {
	t := &document.Table{ID: "recipe", Columns: []document.Column{{Heading: "flour"}, {Heading: "share", Unit: "%", Name: "share_pct", Align: document.Right}, {Heading: "price per tonne", Unit: r.Currency, Name: "price", Align: document.Right},
		{Heading: "stock", Unit: "t", Name: "stock_t", Align: document.Right}}}
	if r.Tonnes != nil {
		t.Columns = append(t.Columns, document.Column{Heading: "to take", Unit: "t", Name: "tonnes", Align: document.Right}, document.Column{Heading: "cost", Unit: r.Currency, Align: document.Right})
	}
	for _, l := range r.Recipe {
		row := []document.Cell{document.Words(l.Flour), document.Number(100*l.Share, phrase.FixedText(100*l.Share, 2)), money2(l.Price), phrase.OptionalFixed(l.StockT, 1)}
		if r.Tonnes != nil {
			row = append(row, phrase.OptionalFixed(l.Tonnes, 3), money2(*l.Cost))
		}
		t.Rows = append(t.Rows, row)
	}
	if r.Tonnes != nil {
		t.Rows = append(t.Rows, []document.Cell{document.Words("together"), document.Words(""), document.Words(""), document.Words(""), phrase.Fixed(*r.Tonnes, 3), money2(*r.Total)})
	}
	return t
}

func money2(a money.Amount) document.Cell { return document.Number(a.Float(), a.Text()) }

func limits(r *blending.Result) *document.Table {
	t := &document.Table{ID: "limits", Columns: []document.Column{{Heading: "limit"}, {Heading: "blend", Align: document.Right}}}
	if r.Stated {
		t.Columns = append(t.Columns, document.Column{Heading: "kept"})
	} else {
		t.Columns = append(t.Columns, document.Column{Heading: "binds"}, document.Column{Heading: "saves per unit", Unit: r.Currency, Name: "saves", Align: document.Right})
	}
	drawn, probable := false, false
	for _, l := range r.Limits {
		drawn = drawn || l.Held != l.Limit
		probable = probable || l.Probability != nil
	}
	if drawn {
		t.Columns = append(t.Columns, document.Column{Heading: "drawn in to", Name: "held", Align: document.Right})
	}
	if probable {
		t.Columns = append(t.Columns, document.Column{Heading: "probability of keeping its limits", Name: "probability", Align: document.Right})
	}
	for _, l := range r.Limits {
		row := []document.Cell{document.Words(limitWords(l.Column, l.Flour, l.Side, l.Limit)), phrase.Figure(l.Column, l.Value)}
		if r.Stated {
			row = append(row, document.Words(phrase.YesNo(&l.Kept)))
		} else {
			row = append(row, document.Words(phrase.YesNo(&l.Binds)), document.Number(l.Saves, fmt.Sprintf("%.4g", l.Saves)))
		}
		if drawn {
			row = append(row, phrase.Figure(l.Column, l.Held))
		}
		if probable {
			row = append(row, phrase.OptionalFixed(l.Probability, 3))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

func expected(r *blending.Result) *document.Table {
	t := &document.Table{ID: "expected", Columns: []document.Column{{Heading: "property"}, {Heading: "unit"}, {Heading: "expected", Align: document.Right}, {Heading: "rule"},
		{Heading: "linear", Name: "by_mass", Align: document.Right}, {Heading: "log", Name: "by_log", Align: document.Right}, {Heading: "SD of own blends", Name: "sd", Align: document.Right}, {Heading: "own blends", Name: "own_blends", Align: document.Right}}}
	for _, e := range r.Expected {
		label, unit := phrase.AxisOf(e.Column)
		rule := e.Rule
		if e.Exact {
			rule += ", exact"
		}
		own := document.Words("–")
		if e.OwnBlends > 0 {
			own = phrase.Count(e.OwnBlends)
		}
		row := []document.Cell{document.Words(label), document.Words(unit), phrase.Figure(e.Column, e.Value), document.Words(rule), phrase.Optional(e.Column, e.ByMass), phrase.Optional(e.Column, e.ByLog), phrase.Optional(e.Column, e.SD), own}
		if !e.Exact && e.ByMass != nil && e.SD == nil {
			row[2].Notes = []int{0}
			t.Notes = []string{"how far the rule is off is not known without own blends; the least doubt is the span from linear to log. Own blends, made and run, tell more."}
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// ratio is the blends of two flours, a row each.
func ratio(r *blending.Result) *document.Table {
	t := &document.Table{ID: "ratios", Caption: "Two flours alone, by the same rules; limits are held against figures before they are rounded", Columns: []document.Column{{Heading: r.Ratio.First, Unit: "%", Name: "first_pct", Align: document.Right}, {Heading: r.Ratio.Second, Unit: "%", Name: "second_pct", Align: document.Right},
		{Heading: "per tonne", Unit: r.Currency, Name: "cost", Align: document.Right}}}
	judged := false
	for _, f := range r.Ratio.Steps[0].Figures {
		label, unit := phrase.AxisOf(f.Column)
		t.Columns = append(t.Columns, document.Column{Heading: label, Unit: unit, Name: f.Column, Align: document.Right})
		judged = judged || f.Kept != nil
	}
	probable := slices.ContainsFunc(r.Ratio.Steps[0].Figures, func(f blending.StepFigure) bool { return f.Probability != nil })
	if judged {
		t.Columns = append(t.Columns, document.Column{Heading: "keeps the limits", Name: "meets"})
	}
	if probable {
		t.Columns = append(t.Columns, document.Column{Heading: "least probability of keeping one", Name: "probability", Align: document.Right})
	}
	for _, s := range r.Ratio.Steps {
		row := []document.Cell{phrase.Count(s.Pct), phrase.Count(s.OtherPct), document.Number(s.Cost.Float(), s.Cost.Round(2).Text())}
		for _, f := range s.Figures {
			row = append(row, phrase.Figure(f.Column, f.Value))
		}
		if judged {
			row = append(row, document.Words(phrase.YesNo(s.Meets)))
		}
		if probable {
			row = append(row, phrase.OptionalFixed(s.LeastProbability, 3))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

func compared(r *blending.Result) *document.Table {
	t := &document.Table{ID: "compared", Columns: []document.Column{{Heading: "property"}, {Heading: "predicted", Align: document.Right}, {Heading: "measured", Align: document.Right}, {Heading: "difference", Align: document.Right},
		{Heading: "runs", Align: document.Right}, {Heading: "the rule let expect", Name: "expected"}, {Heading: "as expected"}, {Heading: "keeps its limits"}}}
	for _, c := range r.Compared {
		span := "–"
		if c.Low != nil {
			span = trait.Format(c.Column, *c.Low) + " to " + trait.Format(c.Column, *c.High)
			if c.Against == blendrun.AgainstSpan {
				span += " (linear to log)"
			} else {
				span += " (95 %, own blends)"
			}
		}
		t.Rows = append(t.Rows, []document.Cell{document.Words(trait.Label(c.Column)), phrase.Figure(c.Column, c.Predicted), phrase.Figure(c.Column, c.Measured), phrase.Figure(c.Column, c.Difference), phrase.Count(c.Runs),
			document.Words(span), document.Words(phrase.YesNo(c.Within)), document.Words(phrase.YesNo(c.Meets))})
	}
	return t
}
