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

// Moisture is the moisture, %, that a basis stands for: 0 for "dry", the number
// for "14 %", the flour's own for "as is" (ok false if that is not known, or if
// the basis is none of these).
func Moisture(basis string, own float64, ownKnown bool) (pct float64, ok bool) {
	b := strings.ToLower(strings.Join(strings.Fields(basis), " "))
	switch b {
	case "dry", "dry basis", "dry matter", "db", "dm":
		return 0, true
	case "as is", "as-is", "as received":
		return own, ownKnown && own >= 0 && own < 100
	}
	number, isPct := strings.CutSuffix(strings.TrimSuffix(strings.TrimSuffix(b, " moisture"), " mb"), "%")
	v, err := strconv.ParseFloat(strings.Replace(strings.TrimSpace(number), ",", ".", 1), 64)
	return v, isPct && err == nil && v >= 0 && v < 100
}

// Rebase brings a share of flour at one moisture, %, to another:
//
//	figure × (100 − to) / (100 − from)
func Rebase(figure, from, to float64) float64 { return figure * (100 - to) / (100 - from) }
