// Package onepage puts each Document on one sheet of paper, A4 or Letter, as HTML that
// prints so and as PDF.
//
//  1. Size finds the largest type, from 9.5 down to 7 points, at which the document
//     fits its page; one that does not fit is refused, never cut.
//  2. HTML writes the documents as a page each, in black on white, without a script.
//  3. PDF prints that HTML by Chromium where there is one, and otherwise lays out the
//     same blocks by itself with an embedded font (Liberation Sans, SIL Open Font
//     Licence 1.1). Dates in the file are those it is told: the same documents give the
//     same bytes from the same printer.
//
// It knows paragraphs, callouts, tables without footnotes and pictures, and refuses
// other blocks. It rounds, phrases and computes nothing but places.
package onepage

import (
	"fmt"
	"time"

	"flourcast/report/document"
)

// Paper is a size of paper, in mm.
type Paper struct {
	Name          string
	Width, Height float64
}

// Papers that are known.
var (
	A4     = Paper{"A4", 210, 297}
	Letter = Paper{"Letter", 215.9, 279.4}
)

// PaperNamed is the paper of a name.
func PaperNamed(name string) (Paper, bool) {
	switch name {
	case "a4", "A4":
		return A4, true
	case "letter", "Letter":
		return Letter, true
	}
	return Paper{}, false
}

// Options say how documents are put on paper. Made is the date in a PDF, Program who
// made it; Language is that of the texts, such as "en". Browser is the Chromium to
// print with: a path; "" looks for one; "none" prints without.
type Options struct {
	Paper    Paper
	Language string
	Made     time.Time
	Program  string
	Browser  string
}

// margin is the white around a page, in mm.
const margin = 13

// sizes of type that are tried, in points.
var sizes = []float64{9.5, 9, 8.5, 8, 7.5, 7}

// TooLongError says that a document does not fit its page.
type TooLongError struct {
	Title string
	Paper string
}

func (e *TooLongError) Error() string {
	return fmt.Sprintf("%q does not fit one page of %s at %g points; leave something out", e.Title, e.Paper, sizes[len(sizes)-1])
}

// CharacterError says that a text has a character which the built-in font lacks.
type CharacterError struct{ Character rune }

func (e *CharacterError) Error() string {
	return fmt.Sprintf("the built-in font has no %q (U+%04X): print with Chromium (--browser), or write an HTML sheet", e.Character, e.Character)
}

// check refuses what no page can show.
func check(docs []document.Document) error {
	if len(docs) == 0 {
		return fmt.Errorf("onepage: no document")
	}
	for _, d := range docs {
		for _, s := range d.Sections {
			for _, block := range s.Blocks {
				switch k := block.(type) {
				case document.Paragraph, document.Callout, document.Picture:
				case *document.Table:
					if len(k.Notes) > 0 {
						return fmt.Errorf("onepage: table %q has footnotes, which a page has no room for", k.ID)
					}
				default:
					return fmt.Errorf("onepage: no face for a block of type %T", block)
				}
			}
		}
	}
	return nil
}
