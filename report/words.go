package report

import (
	"fmt"
	"math"
	"strings"

	"flourcast/dataset/trait"
)

// number is a cell with v rounded by the rule of the column's trait.
func number(column string, v float64, notes ...int) Cell {
	return Number(v, trait.Format(column, v), notes...)
}

// optional is number, or an empty cell.
func optional(column string, v *float64) Cell {
	if v == nil {
		return Words("–")
	}
	return number(column, *v)
}

// fixed is a cell with a fixed number of decimals: for ratios and correlations.
func fixed(v float64, decimals int) Cell { return Number(v, fixedText(v, decimals)) }

func optionalFixed(v *float64, decimals int) Cell {
	if v == nil {
		return Words("–")
	}
	return fixed(*v, decimals)
}

// fixedText writes v with a true minus sign and no "−0.00".
func fixedText(v float64, decimals int) string {
	if math.Abs(v) < math.Pow(10, -float64(decimals))/2 {
		v = 0
	}
	return strings.Replace(fmt.Sprintf("%.*f", decimals, v), "-", "−", 1)
}

// count is a cell with a whole number.
func count(n int) Cell { return Number(float64(n), fmt.Sprint(n)) }

// plural is "1 lot", "2 lots".
func plural(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %ss", n, one)
}

// axisOf splits a column's label into name and unit: "peak viscosity", "mPa·s".
func axisOf(column string) (label, unit string) {
	id, method := trait.Split(column)
	if t, ok := trait.Lookup(id); ok {
		label, unit = t.Label, t.Unit
	} else {
		label = id
	}
	if method != "" {
		label += " (" + method + ")"
	}
	return label, unit
}

// plainLabel is the column's label without its unit.
func plainLabel(column string) string { label, _ := axisOf(column); return label }

// productLabel is the product's label, or its id, or "all products".
func productLabel(id string) string {
	if p, ok := trait.LookupProduct(id); ok {
		return p.Label
	}
	if id == "" {
		return "product not stated"
	}
	return id
}

// someLots names the first of many lots.
func someLots(lots []string) string {
	const shown = 4
	if len(lots) <= shown {
		return strings.Join(lots, ", ")
	}
	return strings.Join(lots[:shown], ", ") + ", …"
}

// sentences joins texts as sentences: a capital first, a full stop last, empty
// ones left out.
func sentences(texts ...string) string {
	var out []string
	for _, t := range texts {
		if t = strings.TrimSpace(t); t != "" {
			out = append(out, strings.TrimSuffix(first(t), ".")+".")
		}
	}
	return strings.Join(out, " ")
}

// first makes the first letter a capital.
func first(s string) string {
	if s == "" {
		return s
	}
	r := []rune(s)
	return strings.ToUpper(string(r[0])) + string(r[1:])
}
