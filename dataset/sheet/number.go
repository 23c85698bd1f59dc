package sheet

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"flourcast/finding"
)

// vote is what one cell says about the decimal mark.
type vote int

const (
	noNumber  vote = iota
	plainSign      // digits without a mark
	point          // the point must be the decimal mark: "0.5", "1,234.5"
	comma          // the comma must be
	either         // "1.234" or "1,234": thousands or decimals
)

// shape is a number's text taken apart.
type shape struct {
	points, commas, blanks int
	lastPoint, lastComma   int
	digits                 int
	exponent               int // index of e or E, −1 if none
}

// look takes a cell apart; ok is false when it is no number by its characters.
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

// judge says what a cell tells about the decimal mark. A mark that stands once,
// with exactly three digits behind it and one to three before, may be a mark of
// thousands.
func judge(s string) vote {
	sh, ok := look(s)
	switch {
	case !ok:
		return noNumber
	case sh.points == 0 && sh.commas == 0:
		return plainSign
	case sh.points > 0 && sh.commas > 0:
		if sh.points == 1 && sh.lastPoint > sh.lastComma {
			return point
		}
		if sh.commas == 1 && sh.lastComma > sh.lastPoint {
			return comma
		}
		return noNumber
	case sh.points > 1:
		return comma // 1.234.567: points are thousands
	case sh.commas > 1:
		return point
	}
	at, own := sh.lastPoint, point
	if sh.commas == 1 {
		at, own = sh.lastComma, comma
	}
	before := strings.TrimLeft(s[:at], "+-")
	after := s[at+1:]
	if sh.exponent < 0 && len(after) == 3 && len(before) >= 1 && len(before) <= 3 && before[0] != '0' && sh.blanks == 0 {
		return either
	}
	return own
}

// enoughVotes ends the search for the decimal mark: so many cells that agree
// settle it.
const enoughVotes = 200

// findDecimal settles the decimal mark from the file's own numbers, in columns
// that may hold any. Only cells that cannot be read otherwise count; where all
// could be thousands, the delimiter decides and a doubt is raised.
func (s *Sheet) findDecimal(declared string) {
	if declared != "" {
		s.Decimal = declared[0]
		return
	}
	if s.workbook {
		return // stored numbers have no mark
	}
	var count [either + 1]int
	var seen [either + 1]string
	for row, bad := range s.Rows() {
		if bad != nil {
			continue
		}
		for i, cell := range row.Cells {
			if cell == "" || s.known[i] && !s.headers[i].Trait.Numeric() || s.pick != nil && s.pick[i] < 0 {
				continue
			}
			v := judge(cell)
			if v == either && cell[strings.IndexAny(cell, ".,")] == '.' && s.Delimiter == ',' {
				v = point // where commas part the cells, points part the decimals
			}
			if count[v]++; count[v] == 1 && v >= point {
				seen[v] = fmt.Sprintf("%q in row %d, column %s", cell, row.Number, s.Columns[i].shown())
			}
		}
		if max(count[point], count[comma]) >= enoughVotes {
			break
		}
	}
	const declare = "declare decimal in an import map"
	switch {
	case count[point] > 0 && count[comma] > 0:
		s.mixed = true
		if count[comma] > count[point] {
			s.Decimal = ','
		}
		s.doubt("decimal-mixed", "decimal point as in "+seen[point]+" and decimal comma as in "+seen[comma], "one decimal mark",
			declare+"; read with a decimal "+markName(s.Decimal)+", other cells are refused")
	case count[comma] > 0:
		s.Decimal = ','
		s.note("decimal-comma", "decimal comma, as in "+seen[comma], "")
	case count[point] == 0 && count[either] > 0:
		if s.Delimiter == ';' {
			s.Decimal = ','
		}
		s.doubt("decimal-unclear", seen[either]+" can be a thousandfold of what it seems", "a number that shows the decimal mark",
			declare+"; read with a decimal "+markName(s.Decimal))
	}
}

func markName(mark byte) string {
	if mark == ',' {
		return "comma"
	}
	return "point"
}

// parseNumber reads a number with the sheet's decimal mark. why says what is
// wrong when ok is false.
func (s *Sheet) parseNumber(cell string) (v float64, ok bool, why string) {
	text := cell
	if text[0] >= 0x80 || strings.IndexByte(text, 0xc2) >= 0 || strings.IndexByte(text, 0xe2) >= 0 {
		text = asciiNumber.Replace(text)
	}
	sh, ok := look(text)
	if !ok {
		return 0, false, "text"
	}
	decimal := s.Decimal
	if s.workbook && sh.commas > 0 && sh.points == 0 { // typed as text: a stored number has no comma
		switch judge(text) {
		case comma:
			decimal = ','
		case either:
			if s.Decimal != ',' {
				return 0, false, "a comma that may part thousands or decimals"
			}
		}
	}
	marks, others, last := sh.points, sh.commas, sh.lastPoint
	if decimal == ',' {
		marks, others, last = sh.commas, sh.points, sh.lastComma
	}
	if others > 0 || sh.blanks > 0 {
		if marks > 1 || marks == 0 && s.mixed && judge(text) == either {
			return 0, false, "a number whose marks contradict each other"
		}
		whole := text
		if end := max(last, sh.exponent); marks == 1 || sh.exponent >= 0 {
			if marks == 1 {
				end = last
			}
			whole = text[:end]
		}
		if !grouped(whole) {
			return 0, false, "a decimal " + markName(other(decimal)) + " in a file with decimal " + markName(decimal) + "s"
		}
		text = strings.Map(func(r rune) rune {
			if r == ' ' || r == '\'' || r == rune(other(decimal)) {
				return -1
			}
			return r
		}, text)
	} else if marks > 1 {
		return 0, false, "a number whose marks contradict each other"
	}
	if decimal == ',' && marks == 1 {
		text = strings.Replace(text, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsInf(v, 0) {
		return 0, false, "text"
	}
	return v, true, ""
}

// asciiNumber replaces what typesetting puts into numbers: the minus sign, and
// narrow or no-break spaces between thousands.
var asciiNumber = strings.NewReplacer("−", "-", "\u00a0", " ", "\u202f", " ", "\u2009", " ", "’", "'")

func other(mark byte) byte {
	if mark == ',' {
		return '.'
	}
	return ','
}

// grouped reports whether the whole part of a number is written in groups of
// thousands: one to three digits, then threes, one sign between all of them.
func grouped(s string) bool {
	s = strings.TrimLeft(s, "+-")
	at := strings.IndexAny(s, ".,' ")
	if at < 0 {
		return true
	}
	parts := strings.Split(s, s[at:at+1])
	for i, p := range parts {
		if strings.IndexFunc(p, func(r rune) bool { return r < '0' || r > '9' }) >= 0 || i > 0 && len(p) != 3 || len(p) == 0 || len(p) > 3 {
			return false
		}
	}
	return true
}

// numberFinding is the finding for a cell that should have been a number.
func (s *Sheet) numberFinding(row Row, col int, why string) *finding.Finding {
	cell := row.Cells[col]
	f := &finding.Finding{Code: "number-not-read", Severity: finding.Refused, At: s.Place(row, col), Want: "a number", Do: "correct the cell or leave it empty"}
	f.Found = fmt.Sprintf("%q, %s", cell, why)
	switch {
	case strings.HasPrefix(cell, "#"):
		f.Found = fmt.Sprintf("the spreadsheet error %s", cell)
		f.Do = "repair the formula or leave the cell empty"
	case strings.HasPrefix(cell, "<") || strings.HasPrefix(cell, ">"):
		f.Do = "a limit is no figure: leave the cell empty and say it in a remark"
	case why != "text":
		f.Do = "write it with the file's decimal mark, or declare decimal in an import map"
	}
	return f
}
