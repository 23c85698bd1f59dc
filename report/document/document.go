// Package document is what a report says before it has a form, and the forms.
//
//  1. A builder makes a Document: headings, paragraphs, boxes, tables, figures,
//     findings. Each number is made once, as a Cell that carries the value and
//     the text people read.
//  2. Text (terminal), HTML (one self-contained page) and CSV (one table) are
//     faces of the same Document: they lay out and escape. They round nothing,
//     phrase nothing and compute nothing.
//
// A face refuses a figure or a number that cannot be shown rightly and writes
// nothing at all then: it is made whole in memory first. The same Document
// gives the same bytes.
package document

import (
	"slices"
	"strings"

	"flourcast/finding"
	"flourcast/report/chart"
)

// Document is a report before it has a form.
type Document struct {
	Title    string
	Subtitle string
	// Notice is shown first in every form, such as "All data are invented.".
	Notice   string
	Meta     []Pair
	Sections []Section
}

// Pair is one line of a document's particulars: "model" and "fit-hardness.json".
type Pair struct{ Name, Value string }

// Section is a heading and what stands under it. Sections that follow one
// another with the same Part are parts of one chapter of that name.
type Section struct {
	Part    string
	Heading string
	Blocks  []Block
}

// Chapter is the document as a part of a larger one: its sections under its title, led
// by its subtitle and by those of its particulars that are not in known.
func (d Document) Chapter(known ...string) []Section {
	lead := []Block{Paragraph(d.Subtitle)}
	var about []string
	for _, m := range d.Meta {
		if !slices.Contains(known, m.Name) {
			about = append(about, m.Name+": "+m.Value)
		}
	}
	if len(about) > 0 {
		lead = append(lead, Paragraph(strings.Join(about, "; ")))
	}
	out := slices.Clone(d.Sections)
	for i := range out {
		out[i].Part = d.Title
	}
	if len(out) > 0 {
		out[0].Blocks = slices.Concat(lead, out[0].Blocks)
	}
	return out
}

// Block is one of Paragraph, Callout, *Table, Findings and Picture.
type Block interface{ block() }

// Paragraph is running text.
type Paragraph string

// Callout is a boxed sentence or two that must not be missed.
type Callout struct {
	Kind  Kind
	Title string
	Text  string
}

// Kind tells what a Callout is for.
type Kind string

// Kinds of Callout.
const (
	// Caution: a safety caution, or a doubt that changes what may be concluded.
	Caution Kind = "caution"
	// Answer: what the document is about, such as a verdict.
	Answer Kind = "verdict"
	// Notice: what a reader should know about the data.
	Notice Kind = "notice"
)

// Findings lists what is wrong or doubtful, with its place and cure.
type Findings finding.List

// Picture is a figure with the caption printed under it. Without a caption the
// figure's Description is used.
type Picture struct {
	Figure  chart.Figure
	Caption string
}

// Table is rows of cells under named columns.
type Table struct {
	// ID names the table for files and anchors ("coefficients").
	ID      string
	Caption string
	Unit    string // of all columns of figures that name none; the caption tells it last
	Columns []Column
	Rows    [][]Cell
	// Notes are the footnotes that cells refer to by index; equal texts are printed once.
	Notes []string
}

// Column is a column's heading. Name is its heading in a CSV file, where a
// column name with its unit is wanted; empty: Heading.
type Column struct {
	Heading string
	Unit    string
	Name    string
	Align   Align
}

// Align is where a column's cells stand.
type Align int

// Alignments.
const (
	// Left, for words.
	Left Align = iota
	// Right, for numbers of one precision.
	Right
	// Center, for marks.
	Center
)

// Cell is one entry: the number in full precision for CSV, and the text for
// people. A nil Value is a cell without a number.
type Cell struct {
	Value *float64
	Text  string
	// Notes are indices into the table's Notes, from 0.
	Notes []int
}

// Number is a cell that carries a number and its text.
func Number(value float64, text string, notes ...int) Cell {
	return Cell{Value: &value, Text: text, Notes: notes}
}

// Words is a cell that carries text only.
func Words(text string, notes ...int) Cell { return Cell{Text: text, Notes: notes} }

func (Paragraph) block() {}
func (Callout) block()   {}
func (*Table) block()    {}
func (Findings) block()  {}
func (Picture) block()   {}
