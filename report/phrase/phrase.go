// Package phrase is how figures, columns and lots are written in documents: rounded by
// their trait, with a true minus sign, in the names that people use.
//
//  1. Figure, Optional, Fixed and Count make cells, Right their columns; FixedText,
//     Digits and General write figures within a sentence.
//  2. AxisOf, Label, Plain, Product and Model name columns, products and models.
//  3. Plural, SomeLots and Sentences make words of numbers, lots and reasons.
//
// It computes nothing but the rounding.
package phrase

import (
	"fmt"
	"math"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/report/document"
	"flourcast/report/wording"
)

// Figure is a cell with v rounded by the rule of the column's trait.
func Figure(column string, v float64, notes ...int) document.Cell {
	return document.Number(v, strings.Replace(trait.Format(column, v), "-", "−", 1), notes...)
}

// WithUnit is Figure's text with the unit behind it.
func WithUnit(column string, v float64) string {
	_, unit := AxisOf(column)
	return strings.TrimSpace(Figure(column, v).Text + " " + unit)
}

// Model names a model: its file, or its row in a lab book.
func Model(ref string) string {
	if ref != "" && strings.Trim(ref, "0123456789") == "" {
		return "row " + ref + " of the lab book"
	}
	return ref
}

// Optional is Figure, or an empty cell.
func Optional(column string, v *float64) document.Cell {
	if v == nil {
		return document.Words("–")
	}
	return Figure(column, *v)
}

// Fixed is a cell with a fixed number of decimals: for ratios and correlations.
func Fixed(v float64, decimals int) document.Cell { return document.Number(v, FixedText(v, decimals)) }

// OptionalFixed is Fixed, or an empty cell.
func OptionalFixed(v *float64, decimals int) document.Cell {
	if v == nil {
		return document.Words("–")
	}
	return Fixed(*v, decimals)
}

// FixedText writes v with a true minus sign and no "−0.00".
func FixedText(v float64, decimals int) string {
	if math.Abs(v) < math.Pow(10, -float64(decimals))/2 {
		v = 0
	}
	return strings.Replace(fmt.Sprintf("%.*f", decimals, v), "-", "−", 1)
}

// Digits writes v with three significant digits, whole thousands among them.
func Digits(v float64) string {
	if v == 0 {
		return "0"
	}
	return FixedText(v, max(0, 2-int(math.Floor(math.Log10(math.Abs(v))))))
}

// General writes v with up to four significant digits and none that say nothing.
func General(v float64) string { return strings.ReplaceAll(fmt.Sprintf("%.4g", v), "-", "−") }

// Right is a column of figures.
func Right(heading string) document.Column { return RightIn(heading, "") }

// RightIn is a column of figures in a unit.
func RightIn(heading, unit string) document.Column {
	return document.Column{Heading: heading, Unit: unit, Align: document.Right}
}

// Count is a cell with a whole number.
func Count(n int) document.Cell { return document.Number(float64(n), fmt.Sprint(n)) }

// Plural is "1 lot", "2 lots".
func Plural(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %ss", n, one)
}

// AxisOf splits a column's label into name and unit: "peak viscosity", "mPa·s".
func AxisOf(column string) (label, unit string) {
	label, unit, _ = trait.Words(column)
	if _, method := trait.Split(column); method != "" {
		label += " (" + method + ")"
	}
	return label, unit
}

// Limits are the limits of a specification as people say them: "hardness 3.2 to 4.0
// N", "hardness at most 3.9 N". A limit that is nil is not there.
func Limits(column string, low, high *float64) string {
	label, unit := AxisOf(column)
	return strings.TrimSpace(label + " " + Range(low, high) + " " + unit)
}

// Range is the limits alone: "3.2 to 4.0", "at most 3.9".
func Range(low, high *float64) string {
	switch {
	case low != nil && high != nil:
		return fmt.Sprintf("%v to %v", *low, *high)
	case low != nil:
		return fmt.Sprintf("at least %v", *low)
	case high != nil:
		return fmt.Sprintf("at most %v", *high)
	}
	return ""
}

// Label is the column's label without its unit.
func Label(column string) string { label, _ := AxisOf(column); return label }

// Plain is the column's label without its method and unit.
func Plain(column string) string { id, _ := trait.Split(column); return Label(id) }

// Product is the product's label, or its id, or "all products".
func Product(id string) string {
	if p, ok := trait.LookupProduct(id); ok {
		return p.Label
	}
	if id == "" {
		return "product not stated"
	}
	return id
}

// YesNo is an answer, or – where there is none.
func YesNo(b *bool) string {
	switch {
	case b == nil:
		return "–"
	case *b:
		return "yes"
	}
	return "no"
}

// SomeLots names the first of many lots.
func SomeLots(lots []string) string {
	const shown = 4
	if len(lots) <= shown {
		return strings.Join(lots, ", ")
	}
	return strings.Join(lots[:shown], ", ") + ", …"
}

// Sentences joins texts as sentences: a capital first, a full stop last, empty
// ones left out.
func Sentences(texts ...string) string {
	var out []string
	for _, t := range texts {
		if t = strings.TrimSpace(t); t != "" {
			out = append(out, strings.TrimSuffix(First(t), ".")+".")
		}
	}
	return strings.Join(out, " ")
}

// First makes the first letter a capital, unless the first word is a file or a
// column, which are written as they stand.
func First(s string) string {
	if s == "" {
		return s
	}
	if word, _, _ := strings.Cut(s, " "); strings.ContainsAny(strings.TrimRight(word, ".,:;"), "/\\._=") {
		return s
	}
	r := []rune(s)
	return strings.ToUpper(string(r[0])) + string(r[1:])
}

// Supports is said wherever a forecast or a verdict is shown.
var Supports = wording.English().Say("forecast.supports")

// Anchor keeps letters and digits, with hyphens for the rest.
func Anchor(s string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			return r
		}
		return '-'
	}, strings.ToLower(s))
}

// Verdict is a model's standing and its sentence in one, the standing in capitals so
// that it is seen first and in black and white.
func Verdict(standing, sentence string) string {
	return strings.TrimSpace("VERDICT: " + strings.ToUpper(standing) + ". " + Grounds(standing, sentence))
}

// Grounds is the sentence of a verdict without the standing that it begins with, for
// where that stands before it.
func Grounds(standing, sentence string) string {
	n := len(standing)
	if len(sentence) >= n && strings.EqualFold(sentence[:n], standing) {
		sentence = strings.TrimLeft(sentence[n:], ":. ")
	}
	return First(sentence)
}
