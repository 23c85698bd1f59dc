package report

import (
	"fmt"
	"strings"

	"flourcast/eval/metric"
	"flourcast/report/phrase"
	"flourcast/study/card"
)

// residueBlocks say what the model leaves over: what its errors have in common, the
// lot that carries most of it, and the screened lots that were not measured.
func residueBlocks(c *card.Card) []Block {
	_, unit := phrase.AxisOf(c.Response)
	var out []Block
	if t := c.Trends; t != nil {
		var words []string
		if t.Curvature != nil {
			words = append(words, "errors over the forecast: "+curveWords(*t.Curvature))
		}
		for _, f := range t.Curved {
			words = append(words, fmt.Sprintf("they curve over %s (p %s, corrected for all features)", phrase.Label(f.Feature), chance(f.PAll)))
		}
		if d := t.Drift; d != nil {
			words = append(words, fmt.Sprintf("drift %s a year (95 %%: %s to %s, p %s) by %s", strings.TrimSpace(trimmed(d.Value)+" "+unit), trimmed(d.Low), strings.TrimSpace(trimmed(d.High)+" "+unit), chance(d.P), phrase.Label(t.DriftOver)))
		}
		if len(words) > 0 {
			out = append(out, Paragraph("Looked at, not judged: "+strings.Join(words, "; ")+"."))
		}
	}
	if o := c.OneLot; o != nil && o.LowestLot != "" {
		out = append(out, Paragraph(fmt.Sprintf("%s left out one by one: Q² falls furthest, to %s, without lot %s.", phrase.Plural(o.Tried, "lot"), phrase.FixedText(o.LowestQ2, 2), o.LowestLot)))
	}
	if s := c.Screened; s != nil {
		words := fmt.Sprintf("%s screened and not measured: %d lie inside what the measured lots cover, %d at its edge, %d outside", phrase.Plural(s.Lots, "lot"), s.Inside, s.Edge, s.Outside)
		if len(s.Missed) > 0 {
			words += " (" + phrase.SomeLots(s.Missed) + "), which to measure next"
		}
		out = append(out, Paragraph(words+"."))
	}
	return out
}

func curveWords(t metric.Trend) string {
	if t.P < 0.05 {
		return fmt.Sprintf("curved (p %s): a straight line leaves something", chance(t.P))
	}
	return fmt.Sprintf("no curve to be seen (p %s)", chance(t.P))
}

// chance writes a p-value with three decimals, small ones as a bound.
func chance(p float64) string {
	if p < 0.001 {
		return "below 0.001"
	}
	return phrase.FixedText(p, 3)
}
