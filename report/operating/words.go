package operating

import (
	"fmt"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/report/document"
	"flourcast/study/operating"
)

// axis is a column's label and unit.
func axis(column string) (label, unit string) {
	id, _ := trait.Split(column)
	if t, ok := trait.Lookup(id); ok {
		return t.Label, t.Unit
	}
	return column, ""
}

func plain(column string) string { label, _ := axis(column); return label }

// figureID tells windows on one page apart.
func figureID(r *operating.Result) string { return "window-" + anchor(strings.Join(r.By, "-")) }

func upper(s string) string {
	r := []rune(s)
	return strings.ToUpper(string(r[:1])) + string(r[1:])
}

func list(columns []string, word func(string) string) string {
	var out []string
	for _, c := range columns {
		out = append(out, word(c))
	}
	if len(out) < 2 {
		return strings.Join(out, "")
	}
	return strings.Join(out[:len(out)-1], ", ") + " and " + out[len(out)-1]
}

func product(id string) string {
	if p, ok := trait.LookupProduct(id); ok {
		return p.Label
	}
	if id == "" {
		return "product not stated"
	}
	return id
}

func number(column string, v float64) document.Cell {
	return document.Number(v, strings.Replace(trait.Format(column, v), "-", "−", 1))
}

func amount(column string, v float64) string {
	_, unit := axis(column)
	return strings.TrimSpace(strings.Replace(trait.Format(column, v), "-", "−", 1) + " " + unit)
}

// chance writes a probability with two decimals, cut down so that it never looks
// surer than it is.
func chance(p float64) string {
	if p < 0.01 {
		return "below 0.01"
	}
	return fmt.Sprintf("%.2f", float64(int(p*100))/100)
}
