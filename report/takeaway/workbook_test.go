package takeaway_test

import (
	"bytes"
	"math"
	"strconv"
	"strings"
	"testing"

	"flourcast/eval/domain"
	"flourcast/eval/verdict"
	"flourcast/forecast"
	"flourcast/report/scoresheet"
	"flourcast/study/card"

	"github.com/xuri/excelize/v2"
)

// sheet is the workbook as a person has it: cells found by what stands beside them.
type sheet struct {
	f    *excelize.File
	rows map[string]int // of Score by the words in column A
	at   []string       // cells of the features
}

func openSheet(t testing.TB, data []byte, features int) *sheet {
	t.Helper()
	f, err := excelize.OpenReader(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	s := &sheet{f: f, rows: map[string]int{}}
	all, err := f.GetRows(scoresheet.Score)
	if err != nil {
		t.Fatal(err)
	}
	for i, row := range all {
		if len(row) > 0 {
			s.rows[row[0]] = i + 1
		}
	}
	first := s.rows["Figures of the lot (means of its runs)"] + 1
	for j := range features {
		s.at = append(s.at, "C"+strconv.Itoa(first+j))
	}
	return s
}

func (s *sheet) set(t testing.TB, cell string, v any) {
	t.Helper()
	if err := s.f.SetCellValue(scoresheet.Score, cell, v); err != nil {
		t.Fatal(err)
	}
}

// fill types a lot in.
func (s *sheet) fill(t testing.TB, x []float64) {
	t.Helper()
	for j, v := range x {
		s.set(t, s.at[j], v)
	}
}

// answer is what stands beside the words, worked out anew.
func (s *sheet) answer(t testing.TB, words string) string {
	t.Helper()
	row, ok := s.rows[words]
	if !ok {
		t.Fatalf("no line %q", words)
	}
	v, err := s.f.CalcCellValue(scoresheet.Score, "C"+strconv.Itoa(row), excelize.Options{RawCellValue: true})
	if err != nil {
		t.Fatalf("%s: %v", words, err)
	}
	return v
}

func workbook(t testing.TB, c *card.Card, spec *forecast.Spec) []byte {
	t.Helper()
	data, err := scoresheet.Write(export(t, c, spec))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// answers are the lines of the workbook that are compared with a forecast, by the
// response's label.
func answers(label string) []string {
	return []string{"forecast of " + label, "from", "to", "probability of meeting the limits", "decision", "calibrated range"}
}

// compare sets what a workbook says against the program's forecast.
func compare(t *testing.T, name string, c *card.Card, f forecast.Forecast, got map[string]string) {
	t.Helper()
	label := c.Response
	value, decision := got["forecast of "+label], got["decision"]
	if got["calibrated range"] != f.Domain {
		t.Errorf("%s: %s, the program says %s", name, got["calibrated range"], f.Domain)
	}
	if f.Domain == domain.Outside {
		if value != scoresheet.OutsideText || !strings.HasPrefix(decision, forecast.Hold) || got["from"] != "–" || got["probability of meeting the limits"] != "–" {
			t.Errorf("%s: outside, and yet %v", name, got)
		}
		return
	}
	same := func(what string, want *float64, tolerance float64) {
		v, err := strconv.ParseFloat(got[what], 64)
		if want == nil {
			if err == nil {
				t.Errorf("%s: %s %v, the program has none", name, what, v)
			}
			return
		}
		if err != nil || math.Abs(v-*want) > tolerance*max(1e-3, math.Abs(*want)) {
			t.Errorf("%s: %s %q, the program has %v", name, what, got[what], *want)
		}
	}
	same("forecast of "+label, f.Value, 1e-9)
	same("from", f.Low, 1e-9)
	same("to", f.High, 1e-9)
	if c.Verdict.Standing == verdict.NotFitForUse {
		if decision != "hold: the model is not fit for use" {
			t.Errorf("%s: %s", name, decision)
		}
		return
	}
	same("probability of meeting the limits", f.Probability, 1e-9)
	if word, _, _ := strings.Cut(decision, ":"); word != f.Decision {
		t.Errorf("%s: %s, the program decides %s", name, decision, f.Decision)
	}
}

// Every kind of model, scored from its workbook by the formulas of the library that
// reads it, gives the value, interval, probability and decision of the program. (The
// library's own arithmetic rounds to 15 digits at each cell.)
func TestWorkbookScoresAsForecastDoes(t *testing.T) {
	for name, c := range models(t) {
		spec := specFor(c)
		s := openSheet(t, workbook(t, c, spec), len(c.Features))
		x := lotsFor(c, 10)
		decided := map[string]int{}
		for i, f := range asked(t, c, x, spec) {
			s.fill(t, x[i])
			got := map[string]string{}
			for _, words := range answers(c.Response) {
				got[words] = s.answer(t, words)
			}
			compare(t, name, c, f, got)
			decided[f.Decision]++
		}
		if len(decided) < 2 && c.Verdict.Standing != verdict.NotFitForUse {
			t.Errorf("%s: every lot was decided alike: %v", name, decided)
		}
	}
}

// What is not typed in, or wrongly, holds; nothing is guessed.
func TestWorkbookHolds(t *testing.T) {
	c := stored(t, "pls")
	c.Method = "noodle-water"
	s := openSheet(t, workbook(t, c, specFor(c)), len(c.Features))
	cell := func(words string) string { return "C" + strconv.Itoa(s.rows[words]) }
	want := func(says string) {
		t.Helper()
		if got := s.answer(t, "decision"); !strings.Contains(got, says) {
			t.Errorf("%s; want %q", got, says)
		}
	}
	want("hold: a figure is missing")
	x := c.Average()
	s.fill(t, x)
	want("hold: the method is not noodle-water")
	s.set(t, cell("pasting method of the runs"), "another")
	want("hold: the method is not noodle-water")
	s.set(t, cell("pasting method of the runs"), " noodle-water ")
	if got := s.answer(t, "decision"); strings.Contains(got, "method") || strings.Contains(got, "missing") {
		t.Errorf("all there, and yet %s", got)
	}
	s.set(t, s.at[2], "3,2 N")
	want("hold: a figure is missing or is not a number")
	if got := s.answer(t, "forecast of "+c.Response); got != "a figure is missing: hold" {
		t.Errorf("a text for a figure gives %s", got)
	}
	s.fill(t, x)
	lower, upper := cell("lower limit of "+c.Response), cell("upper limit of "+c.Response)
	s.set(t, lower, 9e9)
	want("hold: the lower limit is not below the upper one")
	s.set(t, lower, "none")
	want("hold: a limit is not a number")
	s.set(t, lower, nil)
	s.set(t, upper, nil)
	want("no limits given")
	s.set(t, upper, 9e9)
	want("accept")
	s.set(t, cell("accept from a probability of"), 0.01)
	want("hold: state the two probabilities")
	s.set(t, cell("accept from a probability of"), 0.95)
	x[0] *= 3
	s.fill(t, x)
	want("hold: outside the calibrated range")
}

// The verdict is on top, what is computed has its value beside the formula, the bytes
// are the same each time, and no lot is named.
func TestWorkbookSaysTheVerdictFirst(t *testing.T) {
	c := stored(t, "mean")
	c.Training[0].Lot = "SECRET-LOT"
	for i := range c.Cross.Misses {
		c.Cross.Misses[i].Lot = "SECRET-" + c.Cross.Misses[i].Lot
	}
	data := workbook(t, c, nil)
	if !bytes.Equal(data, workbook(t, c, nil)) {
		t.Error("two workbooks of one model differ")
	}
	s := openSheet(t, data, len(c.Features))
	if top, err := s.f.GetCellValue(scoresheet.Score, "A2"); err != nil || !strings.HasPrefix(top, "VERDICT: NOT FIT FOR USE") {
		t.Errorf("%q, %v", top, err)
	}
	formulas := 0
	for _, name := range s.f.GetSheetList() {
		all, err := s.f.GetRows(name)
		if err != nil {
			t.Fatal(err)
		}
		for r, row := range all {
			for k, written := range row {
				if strings.Contains(written, "SECRET") {
					t.Errorf("%s names a lot: %s", name, written)
				}
				cell, err := excelize.CoordinatesToCellName(k+1, r+1)
				if err != nil {
					t.Fatal(err)
				}
				formula, err := s.f.GetCellFormula(name, cell)
				if err != nil {
					t.Fatal(err)
				}
				if formula == "" {
					continue
				}
				formulas++
				if written == "" {
					t.Errorf("%s!%s: %s has no value beside it", name, cell, formula)
				}
			}
		}
	}
	if formulas < 50 {
		t.Errorf("%d formulas only", formulas)
	}
}
