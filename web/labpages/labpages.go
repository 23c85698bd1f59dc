// Package labpages has the pages of whoever works in the laboratory: today, lots, add.
//
//  1. Pages is the list that the server mounts; a page is a file, with its template.
//  2. Each parses a request, calls package study, and shows package report's document.
//
// Nothing that is only read changes anything, and nothing is stored before it was
// confirmed.
package labpages

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
func Pages() []desk.Page { return []desk.Page{todayPage, lotsPage, decidePage, addPage} }
