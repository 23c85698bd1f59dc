// Package cell reads what people write into the cells of a table: numbers with
// a decimal point or comma and marks between thousands, times of the clock,
// dates.
//
//  1. A Tally collects what a file's cells say about its decimal mark and
//     settles Marks for the file.
//  2. Marks.Number reads a number by them, or says what is wrong with it.
//  3. Clock and Date read times and dates.
//
// It refuses what can be read two ways: "1.234" in a file that mixes decimal
// points and commas, "03/04/2026" without a declared order.
package cell

import (
	"math"
	"strconv"
	"strings"
)

// Vote is what one cell says about the decimal mark.
type Vote int

// The votes.
const (
	NoNumber Vote = iota
	NoMark        // digits alone
	Point         // the point must be the decimal mark: "0.5", "1,234.5"
	Comma         // the comma must be: "0,5", "1.234,5"
	Either        // "1.234" or "1,234": thousands or decimals
)

// shape is a number's text taken apart.
type shape struct {
	points, commas, blanks int
	lastPoint, lastComma   int
	digits                 int
	exponent               int // index of e or E, −1 if there is none
}

// look takes a cell apart; ok is false when its characters are not a number's.
func look(s string) (sh shape, ok bool) {
	sh = shape{lastPoint: -1, lastComma: -1, exponent: -1}
	for i := 0; i < len(s); i++ {
		switch b := s[i]; {
		case b >= '0' && b <= '9':
			sh.digits++
		case b == '.' && sh.exponent < 0:
			sh.points++
			sh.lastPoint = i
		case b == ',' && sh.exponent < 0:
			sh.commas++
			sh.lastComma = i
		case (b == ' ' || b == '\'') && sh.exponent < 0 && sh.digits > 0:
			sh.blanks++
		case (b == '+' || b == '-') && (i == 0 || i == sh.exponent+1):
		case (b == 'e' || b == 'E') && sh.digits > 0 && sh.exponent < 0:
			sh.exponent = i
		default:
			return sh, false
		}
	}
	return sh, sh.digits > 0
}

// Judge says what a cell tells about the decimal mark. A mark that stands once,
// with one to three digits before it (the first not 0) and exactly three behind,
// may part thousands.
func Judge(s string) Vote {
	sh, ok := look(s)
	switch {
	case !ok:
		return NoNumber
	case sh.points == 0 && sh.commas == 0:
		return NoMark
	case sh.points > 0 && sh.commas > 0:
		if sh.points == 1 && sh.lastPoint > sh.lastComma {
			return Point
		}
		if sh.commas == 1 && sh.lastComma > sh.lastPoint {
			return Comma
		}
		return NoNumber
	case sh.points > 1: // 1.234.567
		return ifGrouped(s, Comma)
	case sh.commas > 1:
		return ifGrouped(s, Point)
	}
	at, own := sh.lastPoint, Point
	if sh.commas == 1 {
		at, own = sh.lastComma, Comma
	}
	before := strings.TrimLeft(s[:at], "+-")
	after := s[at+1:]
	if sh.exponent < 0 && len(after) == 3 && len(before) >= 1 && len(before) <= 3 && before[0] != '0' && sh.blanks == 0 {
		return Either
	}
	return own
}

func ifGrouped(s string, v Vote) Vote {
	if grouped(s) {
		return v
	}
	return NoNumber
}

// Tally counts what the cells of a file say about the decimal mark.
type Tally struct {
	Count [Either + 1]int
	First [Either + 1]string // by vote: the first such cell, where it stands
}

// Enough is how many cells that agree settle the decimal mark.
const Enough = 200

// Add counts one cell. where is called for the first cell of a kind that tells
// something, to remember it by.
func (t *Tally) Add(v Vote, where func() string) {
	if t.Count[v]++; t.Count[v] == 1 && v >= Point {
		t.First[v] = where()
	}
}

// Settled reports that no more cells need to be counted.
func (t *Tally) Settled() bool { return max(t.Count[Point], t.Count[Comma]) >= Enough }

// Marks is how the numbers of one file are written.
type Marks struct {
	Decimal byte // '.' or ','
	// Mixed: the file has decimal points and decimal commas, so that a number
	// that could be grouped by thousands is refused.
	Mixed bool
	// Stored: numbers come from a workbook, where they have a point and no
	// groups. A cell with a comma was typed as text and is read by itself.
	Stored bool
}

// Number reads a number. why is empty, or says what is wrong with it. Infinite
// figures and NaN are text.
func (m Marks) Number(text string) (v float64, why string) {
	if text == "" {
		return 0, "nothing"
	}
	if v, ok := m.Plain(text); ok {
		return v, ""
	}
	sh, ok := look(text)
	if !ok {
		text = ascii.Replace(text)
		if sh, ok = look(text); !ok {
			return 0, "text"
		}
	}
	decimal := m.Decimal
	if m.Stored && sh.commas > 0 {
		switch vote := Judge(text); {
		case vote == Comma:
			decimal = ','
		case vote == Either && m.Decimal != ',':
			return 0, "a comma that may part thousands or decimals"
		}
	}
	marks, others, last := sh.points, sh.commas, sh.lastPoint
	if decimal == ',' {
		marks, others, last = sh.commas, sh.points, sh.lastComma
	}
	if marks > 1 {
		return 0, "more than one decimal " + MarkName(decimal)
	}
	if m.Mixed && Judge(text) == Either {
		return 0, "thousands or decimals in a file that mixes points and commas"
	}
	if others > 0 || sh.blanks > 0 {
		end := len(text)
		if marks == 1 {
			end = last
		} else if sh.exponent >= 0 {
			end = sh.exponent
		}
		if !grouped(text[:end]) || strings.ContainsAny(text[end+marks:], "., '") {
			return 0, "not a number with a decimal " + MarkName(decimal)
		}
		text = strings.Map(func(r rune) rune {
			if r == ' ' || r == '\'' || r != rune(decimal) && (r == '.' || r == ',') {
				return -1
			}
			return r
		}, text)
	}
	if decimal == ',' && marks == 1 {
		text = strings.Replace(text, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsInf(v, 0) {
		return 0, "text"
	}
	return v, ""
}

// Plain reads what nearly every number looks like: digits with or without a sign
// and one decimal mark, at most 15 of them; ok is false for all else, which Number
// reads or refuses. Such a number is a whole number and a
// power of ten, both exact, so that their quotient is the nearest float64 there
// is, as with strconv.ParseFloat.
func (m Marks) Plain(text string) (v float64, ok bool) {
	if m.Mixed || m.Stored || text == "" {
		return 0, false
	}
	digits := text
	if text[0] == '-' || text[0] == '+' {
		digits = text[1:]
	}
	if len(digits) == 0 || len(digits) > 16 {
		return 0, false
	}
	n, mark := int64(0), -1
	for i := range len(digits) {
		switch b := digits[i]; {
		case b >= '0' && b <= '9':
			n = 10*n + int64(b-'0')
		case b == m.Decimal && mark < 0:
			mark = i
		default:
			return 0, false
		}
	}
	v = float64(n)
	switch {
	case mark >= 0 && len(digits) == 1 || mark < 0 && len(digits) > 15:
		return 0, false
	case mark >= 0:
		v /= powers[len(digits)-1-mark]
	}
	if text[0] == '-' {
		v = -v
	}
	return v, true
}

// powers are those of ten, exact as float64.
var powers = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

// ascii replaces what typesetting puts into numbers: the minus sign, narrow and
// no-break spaces and the apostrophe between thousands.
var ascii = strings.NewReplacer("−", "-", "\u00a0", " ", "\u202f", " ", "\u2009", " ", "’", "'")

// MarkName is "point" or "comma".
func MarkName(mark byte) string {
	if mark == ',' {
		return "comma"
	}
	return "point"
}

// grouped reports whether a whole number is written in groups of thousands: one
// to three digits that do not begin with 0, then threes, the same sign between
// all of them; or without any sign.
func grouped(s string) bool {
	s = strings.TrimLeft(s, "+-")
	at := strings.IndexAny(s, ".,' ")
	if at < 0 {
		return true
	}
	if s[0] == '0' {
		return false
	}
	for i, part := range strings.Split(s, s[at:at+1]) {
		if strings.IndexFunc(part, func(r rune) bool { return r < '0' || r > '9' }) >= 0 || i > 0 && len(part) != 3 || part == "" || len(part) > 3 {
			return false
		}
	}
	return true
}

// Absent reports the ways to write "no figure" into a cell for a number: an
// empty cell, a dash, NA, N/A.
func Absent(text string) bool {
	switch text {
	case "", "-", "–", "—", "NA", "N/A", "n/a":
		return true
	}
	return false
}
