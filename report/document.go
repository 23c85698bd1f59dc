// Package report turns the results of jobs into documents.
//
//  1. A builder (Fit, Model, Run …) takes a typed result of package study and
//     says in order what a reader should know: the verdict first, then what
//     stands behind it. Only here are figures rounded and sentences made.
//  2. Text, HTML and CSV write the Document; package document owns the forms.
//
// It computes no figure: what a result does not hold is not in the report.
package report

import (
	"io"

	"flourcast/report/document"
)

// What documents are made of; see package document.
type (
	Document  = document.Document
	Pair      = document.Pair
	Section   = document.Section
	Block     = document.Block
	Paragraph = document.Paragraph
	Callout   = document.Callout
	Kind      = document.Kind
	Findings  = document.Findings
	Picture   = document.Picture
	Table     = document.Table
	Column    = document.Column
	Cell      = document.Cell
)

// Kinds of Callout and alignments of columns.
const (
	Caution = document.Caution
	Answer  = document.Answer
	Notice  = document.Notice
	Right   = document.Right
)

// Number is a cell that carries a number and its text; notes are indices into
// the table's Notes.
func Number(value float64, text string, notes ...int) Cell {
	return document.Number(value, text, notes...)
}

// Words is a cell that carries text only.
func Words(text string, notes ...int) Cell { return document.Words(text, notes...) }

// Text writes the document for a terminal.
func Text(w io.Writer, d Document) error { return document.Text(w, d) }

// HTML writes the document as one self-contained page.
func HTML(w io.Writer, d Document) error { return document.HTML(w, d) }

// CSV writes one table in full precision.
func CSV(w io.Writer, t *Table) error { return document.CSV(w, t) }
