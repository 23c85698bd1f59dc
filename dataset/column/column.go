// Package column holds one column of a table: text or numbers, with cells that
// may be absent.
//
//  1. Text, Numbers and Guess make one; Guess finds the type from name and cells.
//  2. Declared knows the names whose type is settled: traits are numbers, a lot is
//     text whatever it looks like.
//  3. Companion knows the columns that only tell about another one, such as
//     NAME_sd.
//
// A lot 0012 stays 0012. Numbers that are not finite are refused by Check. The
// package knows one column at a time, and no files.
package column

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"flourcast/dataset/cell"
	"flourcast/dataset/trait"
)

// Column is immutable. Rows count from 0.
type Column struct {
	name    string
	number  bool
	cells   []string // of text; "" is absent
	values  []float64
	present []bool // of numbers
}

// Text is a column of text. An empty cell is absent; cells are cleaned.
func Text(name string, cells []string) Column {
	c := Column{name: Clean(name), cells: make([]string, len(cells))}
	for i, s := range cells {
		c.cells[i] = Clean(s)
	}
	return c
}

// Numbers is a column of numbers; values[i] counts if present[i]. It panics if
// the two are not of one length.
func Numbers(name string, values []float64, present []bool) Column {
	if len(values) != len(present) {
		panic("column: Numbers: as many values as marks of presence expected")
	}
	c := Column{name: Clean(name), number: true, values: make([]float64, len(values)), present: slices.Clone(present)}
	for i, v := range values {
		if present[i] {
			c.values[i] = v
		}
	}
	return c
}

// Guess types a column from its name and cells: numbers if Declared says so or,
// for an unknown name, if every cell is one, with a decimal point, or says that
// there is none. A code such as 0012 is text. Declared numbers with a text among
// them are text.
func Guess(name string, cells []string) Column {
	text := Text(name, cells)
	number, known := Declared(text.name)
	if known && !number {
		return text
	}
	values, present := make([]float64, len(cells)), make([]bool, len(cells))
	for i, s := range text.cells {
		if cell.Absent(s) {
			continue
		}
		v, why := cell.Marks{Decimal: '.'}.Number(s)
		if why != "" || IsCode(s) {
			return text
		}
		values[i], present[i] = v, true
	}
	if !known && !slices.Contains(present, true) {
		return text
	}
	return Numbers(text.name, values, present)
}

// Name is the column's name.
func (c Column) Name() string { return c.name }

// IsNumber reports whether the column holds numbers.
func (c Column) IsNumber() bool { return c.number }

// Len is the number of rows.
func (c Column) Len() int {
	if c.number {
		return len(c.values)
	}
	return len(c.cells)
}

// Empty reports whether no cell is present.
func (c Column) Empty() bool {
	for i := range c.Len() {
		if _, ok := c.Cell(i); ok {
			return false
		}
	}
	return true
}

// Cell is a cell as it stands in a CSV, and whether it is there: a number with
// as many digits as it takes to read the same bits again.
func (c Column) Cell(row int) (string, bool) {
	if !c.number {
		return c.cells[row], c.cells[row] != ""
	}
	if !c.present[row] {
		return "", false
	}
	return strconv.FormatFloat(c.values[row], 'g', -1, 64), true
}

// Number is a cell as a number, and whether it is there; text has none.
func (c Column) Number(row int) (float64, bool) {
	if !c.number || !c.present[row] {
		return 0, false
	}
	return c.values[row], true
}

// Pick is the column of the given rows, in the given order.
func (c Column) Pick(rows []int) Column {
	out := Column{name: c.name, number: c.number}
	for _, i := range rows {
		if c.number {
			out.values, out.present = append(out.values, c.values[i]), append(out.present, c.present[i])
		} else {
			out.cells = append(out.cells, c.cells[i])
		}
	}
	return out
}

// Check returns an error for the first number that is not finite.
func (c Column) Check() error {
	for i, v := range c.values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("column %s: found %v in row %d, expected a finite number or an absent cell", c.name, v, i+1)
		}
	}
	return nil
}

// words are the columns that are text whatever their cells look like: a lot
// 0012, a crop year 2023, a replicate 1.
var words = map[string]bool{"date": true, "parent": true, "whose": true, "scope": true}

// Declared tells whether a column name has a fixed type, and whether that is
// number: traits are numbers or text by the glossary, companions of numbers are
// numbers, and a basis is text.
func Declared(name string) (number, known bool) {
	if of, ok := Companion(name); ok {
		if number, known = Declared(of); known && number {
			return true, true
		}
	}
	id, _ := trait.Split(name)
	if words[id] || strings.HasSuffix(id, "_basis") {
		return false, true
	}
	t, ok := trait.Lookup(id)
	return ok && t.Numeric(), ok
}

// Claimed is the suffix of a figure that was not measured on this lot by the
// laboratory itself: a supplier's, a third party's, or a typical one.
const Claimed = "_claimed"

// Companion reports whether a column only tells about another one, by its suffix
// (number of replicates, SD, standard error, claimed figure), and about which.
// Such a column is never a feature.
func Companion(name string) (of string, ok bool) {
	for _, s := range []string{"_n", "_sd", "_se", Claimed} {
		if of, ok = strings.CutSuffix(name, s); ok && of != "" {
			return of, true
		}
	}
	return "", false
}

// IsCode reports whether a cell of digits starts with a zero that a number would
// lose.
func IsCode(s string) bool {
	s = strings.TrimLeft(s, "+-")
	return len(s) > 1 && s[0] == '0' && s[1] >= '0' && s[1] <= '9'
}

// Clean makes a text what it is when read back from a file: without outer blanks
// and control characters.
func Clean(s string) string {
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if r == '\n' || r == '\t' || !unicode.IsControl(r) && r != '\ufeff' {
			return r
		}
		return -1
	}, strings.ToValidUTF8(s, "")))
}

// Expand replaces each name with a star by the columns that fit it, in their
// order, companions left out: "v_*" by v_0000s, v_0004s … A name without a star,
// and one that no column fits, stays as it is.
func Expand(names, columns []string) []string {
	var out []string
	for _, name := range names {
		before := len(out)
		if head, tail, star := strings.Cut(name, "*"); star {
			for _, c := range columns {
				if _, companion := Companion(c); !companion && len(c) >= len(name)-1 && strings.HasPrefix(c, head) && strings.HasSuffix(c, tail) {
					out = append(out, c)
				}
			}
		}
		if len(out) == before {
			out = append(out, name)
		}
	}
	return out
}
