package lot

import (
	"strconv"
	"strings"
)

// TableBasis is the basis of protein, ash, wet gluten and damaged starch in a
// table: flour of 14 % moisture (the usual basis of the trade, AACC 76-21 and
// others, from memory).
const TableBasis = "14 %"

// tableMoisture is TableBasis as a number.
const tableMoisture = 14.0

// wheatFactor is the nitrogen factor of a table's protein (AACC 46-30, from memory).
const wheatFactor = 5.7

// AsIs is the basis of flour as it is, with its own moisture.
const AsIs = "as is"

// plainBasis is a basis in one spelling: "as is", "dry", "14 %"; others stay as
// written.
func plainBasis(basis string) string {
	b := strings.ToLower(strings.Join(strings.Fields(basis), " "))
	switch b {
	case "dry basis", "dry matter", "db", "dm":
		return "dry"
	case "as-is", "as received", "as is basis":
		return AsIs
	}
	number, isPct := strings.CutSuffix(strings.TrimSuffix(strings.TrimSuffix(b, " moisture"), " mb"), "%")
	if v, err := strconv.ParseFloat(strings.Replace(strings.TrimSpace(number), ",", ".", 1), 64); isPct && err == nil {
		return strconv.FormatFloat(v, 'g', -1, 64) + " %"
	}
	if b == AsIs || b == "dry" {
		return b
	}
	return basis
}

// Moisture is the moisture, %, that a basis stands for: 0 for "dry", the number
// for "14 %", the flour's own for "as is" (ok false if that is not known, or if
// the basis is none of these).
func Moisture(basis string, own float64, ownKnown bool) (pct float64, ok bool) {
	switch b := plainBasis(basis); b {
	case "dry":
		return 0, true
	case AsIs:
		return own, ownKnown && own >= 0 && own < 100
	default:
		number, isPct := strings.CutSuffix(b, " %")
		v, err := strconv.ParseFloat(number, 64)
		return v, isPct && err == nil && v >= 0 && v < 100
	}
}

// Rebase brings a share of flour at one moisture, %, to another:
//
//	figure × (100 − to) / (100 − from)
func Rebase(figure, from, to float64) float64 { return figure * (100 - to) / (100 - from) }
