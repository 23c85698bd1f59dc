// Package survey puts what a table says before a model is made into documents:
// relations, candidates, and how many lots are needed.
//
//  1. Relate, Compare and Plan take a job's result, the answer first, then the
//     tables and figures behind it.
//
// It computes no figure.
package survey

import (
	"fmt"
	"math"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/report/chart"
	"flourcast/report/document"
	"flourcast/study/survey"
)

func aboutPairs(a survey.About) []document.Pair {
	out := []document.Pair{{Name: "table", Value: a.Table}, {Name: "lots", Value: fmt.Sprint(a.Lots)}}
	if a.Product != "" {
		out = append(out, document.Pair{Name: "product", Value: productLabel(a.Product)})
	}
	if a.Method != "" {
		out = append(out, document.Pair{Name: "pasting method", Value: a.Method})
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
	label, unit := names(column)
	return chart.Axis{Label: label, Unit: unit}
}

// names are a column's label and unit; an unknown column's own name.
func names(column string) (label, unit string) {
	id, method := trait.Split(column)
	if label = id; method != "" {
		method = " (" + method + ")"
	}
	if t, ok := trait.Lookup(id); ok {
		label, unit = t.Label, t.Unit
	}
	return label + method, unit
}

func productLabel(id string) string {
	if p, ok := trait.LookupProduct(id); ok {
		return p.Label
	}
	return id
}

func first(s string) string {
	r := []rune(s)
	return strings.ToUpper(string(r[:1])) + string(r[1:])
}

// fixed writes a figure with so many decimals, a real minus sign and no "−0.00".
func fixed(v float64, decimals int) string {
	if math.Abs(v) < math.Pow(10, -float64(decimals))/2 {
		v = 0
	}
	return strings.Replace(fmt.Sprintf("%.*f", decimals, v), "-", "−", 1)
}

// digits writes a figure with three significant digits.
func digits(v float64) string {
	if v == 0 {
		return "0"
	}
	return fixed(v, max(0, 2-int(math.Floor(math.Log10(math.Abs(v))))))
}

func cell(v float64, decimals int) document.Cell { return document.Number(v, fixed(v, decimals)) }

func optional(v *float64, decimals int) document.Cell {
	if v == nil {
		return document.Words("–")
	}
	return cell(*v, decimals)
}

func optionalDigits(v *float64) document.Cell {
	if v == nil {
		return document.Words("–")
	}
	return document.Number(*v, digits(*v))
}

// interval is a figure with its limits in one cell.
func interval(v, low, high float64) document.Cell {
	return document.Number(v, fmt.Sprintf("%s (%s to %s)", fixed(v, 2), fixed(low, 2), fixed(high, 2)))
}

func count(n int) document.Cell { return document.Number(float64(n), fmt.Sprint(n)) }

// pValue writes small p as "<0.001".
func pValue(p *float64) document.Cell {
	switch {
	case p == nil:
		return document.Words("–")
	case *p < 0.001:
		return document.Number(*p, "<0.001")
	}
	return cell(*p, 3)
}

func right(heading, unit string) document.Column {
	return document.Column{Heading: heading, Unit: unit, Align: document.Right}
}

// some names the first of many.
func some(names []string) string {
	const shown = 4
	if len(names) <= shown {
		return strings.Join(names, ", ")
	}
	return strings.Join(names[:shown], ", ") + ", …"
}
