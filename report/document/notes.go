package document

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"flourcast/finding"
	"flourcast/report/chart"
)

// Words that all faces share.
const noFindings = "Nothing was found wrong or doubtful."

var severities = []finding.Severity{finding.Refused, finding.Doubt, finding.Note}

// label names the kind, so that it is not told by colour alone.
func (c Callout) label() string {
	if c.Kind == "" {
		return string(Notice)
	}
	return string(c.Kind)
}

func (p Picture) caption() string {
	if p.Caption != "" {
		return p.Caption
	}
	return p.Figure.Description
}

// title is a column's heading with its unit.
func (c Column) title() string {
	if c.Unit == "" {
		return c.Heading
	}
	return c.Heading + ", " + c.Unit
}

// check refuses what no face can show rightly: a row with more cells than
// columns, a note that is not there, a number that is not finite, a figure
// that chart.Check refuses.
func check(d Document) error {
	for _, s := range d.Sections {
		for _, block := range s.Blocks {
			switch k := block.(type) {
			case *Table:
				if err := checkTable(k); err != nil {
					return fmt.Errorf("document: section %q: %w", s.Heading, err)
				}
			case Picture:
				if err := chart.Check(k.Figure); err != nil {
					return fmt.Errorf("document: section %q: %w", s.Heading, err)
				}
			}
		}
	}
	return nil
}

func checkTable(t *Table) error {
	for r, row := range t.Rows {
		if len(row) > len(t.Columns) {
			return fmt.Errorf("table %q, row %d: %d cells; expected at most %d, one a column", t.ID, r+1, len(row), len(t.Columns))
		}
		for i, c := range row {
			if c.Value != nil && (*c.Value-*c.Value != 0) {
				return fmt.Errorf("table %q, row %d, column %q: %g; expected a finite number, or a cell without one", t.ID, r+1, t.Columns[i].Heading, *c.Value)
			}
			for _, n := range c.Notes {
				if n < 0 || n >= len(t.Notes) {
					return fmt.Errorf("table %q, row %d, column %q: note %d; expected 0 to %d", t.ID, r+1, t.Columns[i].Heading, n, len(t.Notes)-1)
				}
			}
		}
	}
	return nil
}

// footnote is a note's text with its number; 0 is a note on the whole table.
type footnote struct {
	number int
	text   string
}

// mark is how the text face introduces a note.
func (f footnote) mark() string {
	if f.number == 0 {
		return ""
	}
	return "[" + strconv.Itoa(f.number) + "] "
}

// footnotes are a table's notes as printed: each text once, numbered in the
// order in which a reader meets them, those without a reference last.
type footnotes struct {
	number []int // by index into the table's Notes
	texts  []footnote
}

func footnotesOf(t *Table) footnotes {
	f := footnotes{number: make([]int, len(t.Notes))}
	find := func(text string) int {
		return slices.IndexFunc(f.texts, func(n footnote) bool { return n.text == text })
	}
	for _, row := range t.Rows {
		for _, c := range row {
			for _, n := range c.Notes {
				at := find(t.Notes[n])
				if at < 0 {
					at = len(f.texts)
					f.texts = append(f.texts, footnote{at + 1, t.Notes[n]})
				}
				f.number[n] = at + 1
			}
		}
	}
	for _, text := range t.Notes {
		if find(text) < 0 {
			f.texts = append(f.texts, footnote{0, text})
		}
	}
	return f
}

// numbers are the printed numbers of a cell's notes, rising, each once.
func (f footnotes) numbers(c Cell) []int {
	var out []int
	for _, n := range c.Notes {
		out = append(out, f.number[n])
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// marks is " [1 3]" for a cell with notes, else empty.
func (f footnotes) marks(c Cell) string {
	numbers := f.numbers(c)
	if len(numbers) == 0 {
		return ""
	}
	return " " + strings.ReplaceAll(fmt.Sprint(numbers), ",", "")
}
