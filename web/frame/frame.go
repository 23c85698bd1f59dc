// Package frame is the look of the bench in a browser: bar, page, style, scripts.
//
//  1. A Page is a title and parts; a part is a document of package report, or the
//     markup of a form.
//  2. Render puts them into the layout, whole in memory first.
//  3. Static serves style, scripts and the plotting library (uPlot, MIT) out of the
//     program.
//
// Documents keep their words and figures: nothing is rounded or phrased here. No page
// has a style attribute or a script of its own, so that the strictest policy holds.
package frame

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"io"
	"io/fs"
	"net/http"
	"net/url"
	"strings"

	"flourcast/report/chart"
	"flourcast/report/document"
)

var (
	//go:embed layout.html
	layoutSource string
	//go:embed static
	static embed.FS

	layout = template.Must(template.New("layout").Parse(layoutSource))
)

// Entry is a place in the bar.
type Entry struct{ Path, Title string }

// Bar is what stands above every page.
type Bar struct {
	Book    string // what is open
	Notice  string // printed on every page, such as that all data are invented
	Entries []Entry
	Signed  *Signed // who signed in; nil where nobody has to
}

// Signed is who signed in, with the token of the form by which they sign out.
type Signed struct{ Name, Role, Token string }

// Page is one page. Here is the path of the entry of the bar that it belongs to.
type Page struct {
	Title, Lead string
	Here        string
	Parts       []Part
	// Reload asks a browser without scripts to load the page again after so many
	// seconds; 0: never.
	Reload int
	Code   int // status of the answer; 0: that all is well
}

// Part is markup made by a page's own template or, with Doc, a document.
type Part struct {
	HTML  template.HTML
	Doc   *document.Document
	Links document.Links
	// Fold puts the part behind this line, to be opened; empty: it stands open.
	Fold string
	// Titled shows the document's title and subtitle as a heading: for pages of
	// several documents.
	Titled bool
}

// Of makes a part of a document.
func Of(d document.Document) Part { return Part{Doc: &d} }

type partView struct {
	Part
	Body template.HTML
}

type pageView struct {
	Page
	Bar
	Parts []partView
}

// At tells what an entry of the bar is for the page: "page" or "".
func (v pageView) At(e Entry) string {
	if e.Path == v.Here {
		return "page"
	}
	return ""
}

// Render writes the page. at is its own address, from which its tables' CSV files are
// reached. Errors: a figure or table that cannot be shown rightly; then nothing is
// written.
func Render(w io.Writer, bar Bar, p Page, at *url.URL) error {
	v := pageView{Page: p, Bar: bar}
	for i, part := range p.Parts {
		pv := partView{Part: part, Body: part.HTML}
		if part.Doc != nil {
			if part.Links.CSV == nil && at != nil {
				part.Links.CSV = func(id string) string { return tableAddress(at, i, id) }
			}
			var b bytes.Buffer
			if err := document.Fragment(&b, *part.Doc, part.Links); err != nil {
				return err
			}
			pv.Body = template.HTML(b.String())
		}
		v.Parts = append(v.Parts, pv)
	}
	var b bytes.Buffer
	if err := layout.Execute(&b, v); err != nil {
		return fmt.Errorf("frame: filling the layout: %w", err)
	}
	_, err := b.WriteTo(w)
	return err
}

// csvKey is the query's name of the table that is wanted: "PART.ID".
const csvKey = "csv"

func tableAddress(at *url.URL, part int, id string) string {
	q := at.Query()
	q.Set(csvKey, fmt.Sprintf("%d.%s", part, id))
	return at.Path + "?" + q.Encode()
}

// Table is the table of the page that an address asks for as CSV, with the name of
// its file. asked is false for addresses of the page itself; t is nil for a table that
// the page does not have.
func (p Page) Table(at *url.URL) (t *document.Table, name string, asked bool) {
	key := at.Query().Get(csvKey)
	if key == "" {
		return nil, "", false
	}
	for i, part := range p.Parts {
		if id, ok := strings.CutPrefix(key, fmt.Sprintf("%d.", i)); ok && part.Doc != nil {
			if t := document.TableOf(*part.Doc, id); t != nil {
				return t, id + ".csv", true
			}
		}
	}
	return nil, "", true
}

// darkFigures goes to the end of the style sheet.
func darkFigures() string {
	return "@media screen and (prefers-color-scheme: dark) {\n" + chart.DarkStyle() + "}\n"
}

// Static serves /static/….
func Static() http.Handler {
	files, err := fs.Sub(static, "static")
	if err != nil {
		panic("frame: " + err.Error()) // the folder is in the program
	}
	style, err := fs.ReadFile(files, "bench.css")
	if err != nil {
		panic("frame: " + err.Error())
	}
	style = append(style, darkFigures()...)
	mux := http.NewServeMux()
	mux.HandleFunc("GET /static/bench.css", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/css; charset=utf-8")
		_, _ = w.Write(style) // the reader has gone
	})
	mux.Handle("GET /static/", http.StripPrefix("/static/", http.FileServerFS(files)))
	return mux
}
