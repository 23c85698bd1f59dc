package sheet

import (
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"

	"flourcast/finding"
)

// Text is a cell as text; ok is false when it is empty, and for col −1.
func (s *Sheet) Text(row Row, col int) (text string, ok bool) {
	if col < 0 || col >= len(row.Cells) || row.Cells[col] == "" {
		return "", false
	}
	return row.Cells[col], true
}

// absent reports the ways to write "no figure" into a cell for a number.
func absent(cell string) bool {
	switch cell {
	case "", "-", "–", "—", "NA", "N/A", "n/a":
		return true
	}
	return false
}

// Number is a cell as a number, in the unit in which it is written and times the
// factor that the import map declares. A cell that is empty or says "no figure"
// (-, NA, n/a), and col −1: ok false, bad nil. Anything else that is no finite
// number: ok false, and bad says why (severity refused; the caller decides what
// becomes of the row).
func (s *Sheet) Number(row Row, col int) (v float64, ok bool, bad *finding.Finding) {
	if col < 0 || col >= len(row.Cells) || absent(row.Cells[col]) {
		return 0, false, nil
	}
	v, ok, why := s.parseNumber(row.Cells[col])
	if !ok {
		return 0, false, s.numberFinding(row, col, why)
	}
	if f := s.Columns[col].Factor; f != 0 {
		v *= f
	}
	return v, true, nil
}

// Value is Number brought to the unit and sign of the column's trait. A time may
// also be written as h:mm:ss, or as mm:ss where the header says so.
func (s *Sheet) Value(row Row, col int) (v float64, ok bool, bad *finding.Finding) {
	h, known := s.Header(col)
	if known && h.Trait.Dimension == "time" {
		if v, ok, bad := s.clock(row, col, h.Unit.Symbol); ok || bad != nil {
			return v, ok, bad
		}
	}
	v, ok, bad = s.Number(row, col)
	if !ok || !known {
		return v, ok, bad
	}
	if v = h.Convert(v); math.IsInf(v, 0) {
		return 0, false, s.numberFinding(row, col, "text")
	}
	return v, true, nil
}

// clock reads times with colons, in seconds. Neither ok nor bad: the cell is
// no such time.
func (s *Sheet) clock(row Row, col int, unit string) (v float64, ok bool, bad *finding.Finding) {
	cell, _ := s.Text(row, col)
	isClock := strings.Contains(unit, ":")
	if absent(cell) || !isClock && !strings.Contains(cell, ":") {
		return 0, false, nil
	}
	parts := strings.Split(cell, ":")
	if s.workbook && isClock && len(parts) == 1 { // a stored time is a share of a day
		if days, ok, _ := s.parseNumber(cell); ok && days >= 0 {
			return days * 24 * 3600, true, nil
		}
	}
	if len(parts) == 3 || len(parts) == 2 && unit == "mm:ss" {
		for i, p := range parts {
			n, good, _ := 0.0, false, ""
			if p != "" && p[0] >= '0' && p[0] <= '9' {
				n, good, _ = s.parseNumber(p)
			}
			if !good || i > 0 && n >= 60 || i < len(parts)-1 && n != math.Trunc(n) {
				ok = false
				break
			}
			v, ok = v*60+n, true
		}
		if ok {
			return v, true, nil
		}
	}
	return 0, false, &finding.Finding{Code: "time-not-read", Severity: finding.Refused, At: s.Place(row, col), Found: fmt.Sprintf("%q", cell),
		Want: "seconds, minutes, h:mm:ss, or mm:ss under a header that says (mm:ss)", Do: "write the time so"}
}

// dateLayouts are the ways to write a date that can be read one way only, the
// day first where points part the figures.
var dateLayouts = []string{"2006-01-02", "2006-1-2", "20060102", "2006/1/2", "2.1.2006", "2 Jan 2006", "2-Jan-2006", "2 January 2006", "Jan 2, 2006", "January 2, 2006"}

var clockLayouts = []string{"", " 15:04", " 15:04:05", "T15:04", "T15:04:05", "T15:04:05Z07:00", " 3:04 PM"}

// Date is a cell as a day or a moment, by the clock of the place where it was
// written (as UTC). Days with slashes are read only when day and month cannot be
// mixed up or the import map declares dates. A workbook's stored day is read by
// its number.
func (s *Sheet) Date(row Row, col int) (t time.Time, ok bool, bad *finding.Finding) {
	cell, ok := s.Text(row, col)
	if !ok || absent(cell) {
		return time.Time{}, false, nil
	}
	if s.workbook {
		if days, isNumber, _ := s.parseNumber(cell); isNumber && days >= 1 && days < 2958466 && len(cell) != len("20060102") {
			if t, err := excelize.ExcelDateToTime(days, s.date1904); err == nil {
				return t.Round(time.Second), true, nil
			}
		}
	}
	for _, day := range dateLayouts {
		for _, clock := range clockLayouts {
			if t, err := time.Parse(day+clock, cell); err == nil {
				return t, true, nil
			}
		}
	}
	if t, ok := s.slashDate(cell); ok {
		return t, true, nil
	}
	return time.Time{}, false, &finding.Finding{Code: "date-not-read", Severity: finding.Refused, At: s.Place(row, col), Found: fmt.Sprintf("%q", cell),
		Want: "a date such as 2026-03-14", Do: `write it so, or declare dates = "d/m/y" or "m/d/y" in an import map`}
}

// slashDate reads 14/3/2026 and 14-3-2026 by the declared order, or when only
// one order gives a date.
func (s *Sheet) slashDate(cell string) (time.Time, bool) {
	var found []time.Time
	for _, order := range []string{"d/m/y", "m/d/y"} {
		if s.dates != "" && s.dates != order {
			continue
		}
		day := "2/1/2006"
		if order == "m/d/y" {
			day = "1/2/2006"
		}
		for _, clock := range clockLayouts {
			for _, layout := range []string{day, strings.ReplaceAll(day, "/", "-")} {
				if t, err := time.Parse(layout+clock, cell); err == nil {
					found = append(found, t)
				}
			}
		}
	}
	if len(found) == 2 && found[0].Equal(found[1]) || len(found) == 1 {
		return found[0], true
	}
	return time.Time{}, false
}
