package sheet

import (
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"

	"flourcast/dataset/cell"
	"flourcast/finding"
)

// Text is a cell as text; ok is false when it is empty, and for col −1.
func (s *Sheet) Text(row Row, col int) (text string, ok bool) {
	if col < 0 || col >= len(row.Cells) || row.Cells[col] == "" {
		return "", false
	}
	return row.Cells[col], true
}

// Number is a cell as a number, in the unit in which it is written and times the
// factor that the import map declares. A cell that is empty or says "no figure"
// (-, NA, n/a), and col −1: ok false, bad nil. Anything else that is no finite
// number: ok false, and bad says why (severity refused; what becomes of the row
// is the caller's to say).
func (s *Sheet) Number(row Row, col int) (v float64, ok bool, bad *finding.Finding) {
	text, ok := s.Text(row, col)
	if !ok || cell.Absent(text) {
		return 0, false, nil
	}
	v, why := s.marks.Number(text)
	if why != "" {
		return 0, false, s.notANumber(row, col, why)
	}
	if f := s.Columns[col].Factor; f != 0 {
		v *= f
	}
	if math.IsInf(v, 0) {
		return 0, false, s.notANumber(row, col, "more than can be computed with")
	}
	return v, true, nil
}

// notANumber is the finding for a cell that should have been a number.
func (s *Sheet) notANumber(row Row, col int, why string) *finding.Finding {
	text := row.Cells[col]
	f := &finding.Finding{Code: "number-not-read", Severity: finding.Refused, At: s.Place(row, col),
		Found: fmt.Sprintf("%q, %s", text, why), Want: "a number", Do: "correct the cell or leave it empty"}
	switch {
	case strings.HasPrefix(text, "#"):
		f.Found, f.Do = "the spreadsheet error "+text, "repair the formula or leave the cell empty"
	case strings.HasPrefix(text, "<") || strings.HasPrefix(text, ">"):
		f.Do = "a limit is no figure: leave the cell empty and say it in a remark"
	case why != "text":
		f.Do = "write it with the file's decimal mark, or declare decimal in an import map"
	}
	return f
}

// Value is Number brought to the unit and sign of the column's trait. A time may
// also be written as h:mm:ss, or as mm:ss where the header says (mm:ss).
func (s *Sheet) Value(row Row, col int) (v float64, ok bool, bad *finding.Finding) {
	if col < 0 || col >= len(s.headers) || !s.known[col] {
		return s.Number(row, col)
	}
	if s.plain[col] && col < len(row.Cells) { // as nearly all figures of a curve are
		if v, ok := s.marks.Plain(row.Cells[col]); ok {
			return v, true, nil
		}
	}
	h := &s.headers[col]
	if h.Trait.Dimension == "time" {
		if text, _ := s.Text(row, col); strings.Contains(text, ":") || strings.Contains(h.Unit.Symbol, ":") && !cell.Absent(text) {
			return s.clock(row, col, h.Unit.Symbol)
		}
	}
	v, ok, bad = s.Number(row, col)
	if !ok || s.same[col] {
		return v, ok, bad
	}
	if v = h.Convert(v); math.IsInf(v, 0) {
		return 0, false, s.notANumber(row, col, "more than can be computed with")
	}
	return v, true, nil
}

// clock reads a time with colons, in seconds; in a workbook such a time is
// stored as its share of a day.
func (s *Sheet) clock(row Row, col int, unit string) (v float64, ok bool, bad *finding.Finding) {
	text, _ := s.Text(row, col)
	if v, ok := cell.Clock(text, unit == "mm:ss"); ok {
		return v, true, nil
	}
	if days, why := s.marks.Number(text); s.marks.Stored && why == "" && days >= 0 && days < 1000 {
		return days * 24 * 3600, true, nil
	}
	return 0, false, &finding.Finding{Code: "time-not-read", Severity: finding.Refused, At: s.Place(row, col), Found: fmt.Sprintf("%q", text),
		Want: "seconds or minutes as a number, h:mm:ss, or mm:ss under a header with (mm:ss)", Do: "write the time so"}
}

// Date is a cell as a day or a moment, by the clock of the place where it was
// written (UTC unless it states a zone). 3/4/2026 is read only when the import
// map declares the order. A workbook's stored day is read by its number.
func (s *Sheet) Date(row Row, col int) (t time.Time, ok bool, bad *finding.Finding) {
	text, ok := s.Text(row, col)
	if !ok || cell.Absent(text) {
		return time.Time{}, false, nil
	}
	if t, ok := cell.Date(text, s.dates); ok {
		return t, true, nil
	}
	const lastDay = 2958465 // 9999-12-31 in a workbook
	if days, why := s.marks.Number(text); s.marks.Stored && why == "" && days >= 1 && days <= lastDay {
		if t, err := excelize.ExcelDateToTime(days, s.date1904); err == nil {
			return t.Round(time.Second), true, nil
		}
	}
	return time.Time{}, false, &finding.Finding{Code: "date-not-read", Severity: finding.Refused, At: s.Place(row, col), Found: fmt.Sprintf("%q", text),
		Want: "a date such as 2026-03-14", Do: `write it so, or declare dates = "d/m/y" or "m/d/y" in an import map`}
}
