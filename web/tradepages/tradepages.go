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
	"net/http"
	"path"

	"flourcast/web/desk"
	"flourcast/web/frame"
)

var (
	//go:embed *.html
	sources embed.FS
	//go:embed static
	statics embed.FS

	forms = template.Must(template.ParseFS(sources, "*.html"))
)

// Pages are the pages in the order of the bar.
func Pages() []desk.Page { return []desk.Page{suitPage, blendPage} }

// static serves the style and script that these pages have of their own.
func static(_ *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	name := r.PathValue("name")
	if name != path.Base(name) {
		return &desk.NotFoundError{What: name}
	}
	http.ServeFileFS(w, r, statics, "static/"+name)
	return nil
}

// showFault shows a page whose question could not be answered: the fault above the form.
// A fault that is not of the question is returned.
func showFault(d *desk.Desk, w http.ResponseWriter, r *http.Request, p frame.Page, fault error) error {
	if p.Code = desk.Code(fault); p.Code == http.StatusInternalServerError {
		return fault
	}
	p.Parts = append([]frame.Part{frame.Of(desk.Fault(d.Named(p.Here, fault)))}, p.Parts...)
	return d.Show(w, r, p)
}

// named is an entry of a list to choose from.
type named struct {
	ID, Label string
	Chosen    bool
}
