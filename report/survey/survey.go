// Package survey puts what a table says before a model is made, and while lots are
// still to be measured, into documents: relations, candidates, how many lots are needed,
// and which of them next.
//
//  1. Relate, Compare, Plan and Next take a job's result, the answer first, then the
//     tables and figures behind it.
//
// It computes no figure.
package survey

import (
	"fmt"

	"flourcast/dataset/treatment"
	"flourcast/report/chart"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/survey"
)

func aboutPairs(a survey.About) []document.Pair {
	out := []document.Pair{{Name: "table", Value: a.Table}, {Name: "lots", Value: fmt.Sprint(a.Lots)}}
	if a.Product != "" {
		out = append(out, document.Pair{Name: "product", Value: phrase.Product(a.Product)})
	}
	if a.Method != "" {
		out = append(out, document.Pair{Name: "pasting method", Value: a.Method})
	}
	switch {
	case a.TreatmentUse == treatment.AsFactor:
		out = append(out, document.Pair{Name: "flour treatment", Value: "a factor, an indicator for each but the reference"})
	case a.TreatmentUse == treatment.Pooled:
		out = append(out, document.Pair{Name: "flour treatment", Value: "several, pooled"})
	case a.Treatment != "":
		out = append(out, document.Pair{Name: "flour treatment", Value: "within " + a.Treatment})
	}
	for _, w := range a.Where {
		out = append(out, document.Pair{Name: "only rows with", Value: w.String()})
	}
	return out
}

func withFindings(d document.Document, a survey.About) document.Document {
	if len(a.Findings) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "Findings in the data", Blocks: []document.Block{document.Findings(a.Findings)}})
	}
	return d
}

func axis(column string) chart.Axis {
	label, unit := phrase.AxisOf(column)
	return chart.Axis{Label: label, Unit: unit}
}

func optionalDigits(v *float64) document.Cell {
	if v == nil {
		return document.Words("–")
	}
	return document.Number(*v, phrase.Digits(*v))
}

// interval is a figure with its limits in one cell.
func interval(v, low, high float64) document.Cell {
	return document.Number(v, fmt.Sprintf("%s (%s to %s)", phrase.FixedText(v, 2), phrase.FixedText(low, 2), phrase.FixedText(high, 2)))
}

// pValue writes small p as "<0.001".
func pValue(p *float64) document.Cell {
	switch {
	case p == nil:
		return document.Words("–")
	case *p < 0.001:
		return document.Number(*p, "<0.001")
	}
	return phrase.Fixed(*p, 3)
}
