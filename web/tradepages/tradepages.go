// Package tradepages has the pages of technical sales: suit, blend.
//
//  1. Pages is the list that the server mounts; a page is a file, with its template.
//  2. Each parses a request, calls package study, and shows package report's document.
//  3. A sheet for a customer is to be had as a file too, as the command writes it.
//
// Neither page changes anything.
package tradepages

import (
	"embed"
	"html/template"

	"flourcast/web/desk"
)

var (
	//go:embed *.html
	sources embed.FS

	forms = template.Must(template.ParseFS(sources, "*.html"))
)

// Pages are the pages in the order of the bar.
func Pages() []desk.Page { return []desk.Page{suitPage, blendPage} }

// named is an entry of a list to choose from.
type named struct {
	ID, Label string
	Chosen    bool
}
