// Package desk is what every page of the bench works with: the open lab book, the
// jobs, the frame, and a place in the bar.
//
//  1. A page is a Page: its place in the bar and its routes, in one file.
//  2. A Handler reads a request, calls package study, and shows what package report
//     makes of it by Show; it computes nothing. A fault that it returns becomes a page
//     that says what was found, what was expected and what to do.
//  3. Long work goes to Work, whose page shows progress and, later, the outcome.
//  4. Of keeps what was worked out of the whole book until it has another row of the
//     kinds that count.
//
// It never opens a path that came from a browser.
package desk

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"log/slog"
	"net/http"
	"sync"

	"flourcast/report"
	"flourcast/study"
	"flourcast/study/book"
	"flourcast/web/frame"
	"flourcast/web/guard"
	"flourcast/web/jobs"
	"flourcast/web/people"
	"flourcast/work"
)

// Desk is shared by all requests. Fields are set before the first one.
type Desk struct {
	Dir     string // of the lab book
	Env     study.Env
	Board   *jobs.Board
	Guard   *guard.Guard
	Bar     frame.Bar
	Scratch string // folder for what browsers send; removed with the server
	Offered Offered
	Log     *slog.Logger
	// Least is the role that a route needs, by its pattern; nil where nobody signs in,
	// and everybody may everything.
	Least map[string]people.Role

	fields map[string]Fields // of pages, by their path; set by Mount

	mu    sync.Mutex
	kept  map[string]*kept
	asked uint64 // how often something kept was asked for
	given map[string]Given
	order []string // of given, the oldest first
}

// Offered are files that pages offer where a browser sends none, such as the invented
// mill's: flours in stock, and blends made of them. Empty: none.
type Offered struct{ Stock, Blends string }

// Handler answers one request, or returns why it cannot.
type Handler func(d *Desk, w http.ResponseWriter, r *http.Request) error

// Page is one page of the bench. Title is its word in the bar, empty for none; Routes
// are its handlers by the pattern of net/http ("GET /lots/{lot}"); Fields names the fields
// of its forms, in which its faults are said.
type Page struct {
	Path, Title string
	Fields      Fields
	Routes      map[string]Handler
}

// Mount puts the pages on mux, and those with a title into the bar.
func (d *Desk) Mount(mux *http.ServeMux, pages []Page) {
	d.fields = map[string]Fields{}
	for _, p := range pages {
		d.fields[p.Path] = p.Fields
		if p.Title != "" {
			d.Bar.Entries = append(d.Bar.Entries, frame.Entry{Path: p.Path, Title: p.Title})
		}
		for pattern, h := range p.Routes {
			mux.HandleFunc(pattern, func(w http.ResponseWriter, r *http.Request) {
				if err := h(d, w, r); err != nil {
					d.fail(w, r, p.Path, err)
				}
			})
		}
	}
}

// Show sends a page, or the one table of it that the address asks for as CSV.
func (d *Desk) Show(w http.ResponseWriter, r *http.Request, p frame.Page) error {
	var b bytes.Buffer
	if t, name, asked := p.Table(r.URL); asked {
		if t == nil {
			return &study.RequestError{Found: "no such table on this page", Want: "one of its tables"}
		}
		if err := report.CSV(&b, t); err != nil {
			return err
		}
		w.Header().Set("Content-Type", "text/csv; charset=utf-8")
		w.Header().Set("Content-Disposition", fmt.Sprintf("attachment; filename=%q", name))
	} else {
		if err := frame.Render(&b, d.bar(r), p, r.URL); err != nil {
			return err
		}
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
	}
	w.WriteHeader(cmp.Or(p.Code, http.StatusOK))
	if _, err := b.WriteTo(w); err != nil {
		d.Log.Debug("the reader has gone", "path", r.URL.Path, "err", err)
	}
	return nil
}

// JSON sends data for a script of the page.
func JSON(w http.ResponseWriter, v any) error {
	var b bytes.Buffer
	if err := json.NewEncoder(&b).Encode(v); err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/json")
	_, err := b.WriteTo(w)
	return err
}

// NotFoundError says that what a deep link names is not there.
type NotFoundError struct{ What string }

func (e *NotFoundError) Error() string {
	return e.What + " is not in the lab book: see whether the name is right, or add its files first"
}

// Code is the status for an error: what a browser asked for is 4xx, all else 500.
func Code(err error) int {
	var (
		request *study.RequestError
		nothing *study.NothingUsableError
		missing *NotFoundError
	)
	switch {
	case errors.As(err, &missing):
		return http.StatusNotFound
	case errors.As(err, &request), errors.As(err, &nothing):
		return http.StatusUnprocessableEntity
	}
	return http.StatusInternalServerError
}

// fail shows an error as a page.
func (d *Desk) fail(w http.ResponseWriter, r *http.Request, here string, err error) {
	if r.Context().Err() != nil {
		return // nobody reads it
	}
	err = d.Named(here, err)
	code := Code(err)
	if code == http.StatusInternalServerError {
		d.Log.Error("a page failed", "path", r.URL.Path, "err", err)
	}
	r.URL.RawQuery = "" // the fault is no table
	if err := d.Show(w, r, frame.Page{Title: "This could not be answered", Here: here, Code: code, Parts: []frame.Part{frame.Of(Fault(err))}}); err != nil {
		http.Error(w, "The fault could not be shown: "+err.Error(), http.StatusInternalServerError)
	}
}

// Fault is a fault as a document: what was found, and the findings that it carries.
func Fault(err error) report.Document {
	s := report.Section{Heading: "What was wrong", Blocks: []report.Block{report.Callout{Kind: report.Caution, Title: "Nothing was changed.", Text: err.Error()}}}
	var nothing *study.NothingUsableError
	if errors.As(err, &nothing) && len(nothing.Findings) > 0 {
		s.Blocks = append(s.Blocks, report.Findings(nothing.Findings))
	}
	return report.Document{Title: "Not answered", Sections: []report.Section{s}}
}

// WithFault shows a page whose form could not be answered: the fault stands where the
// answer would. A fault that is not of the question is returned.
func (d *Desk) WithFault(w http.ResponseWriter, r *http.Request, p frame.Page, err error) error {
	if p.Code = Code(err); p.Code == http.StatusInternalServerError {
		return err
	}
	p.Parts = append(p.Parts, frame.Of(Fault(d.Named(p.Here, err))))
	return d.Show(w, r, p)
}

// Fill fills a page's own template; forms find the session's token in .Token, the rest
// in .Data. {{if call .May "POST /add"}} asks whether who looks may use a route; .By is
// who signed in, "" where nobody has to.
func (d *Desk) Fill(r *http.Request, t *template.Template, name string, data any) (frame.Part, error) {
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, name, map[string]any{"Token": d.Guard.Token(r), "Data": data, "By": by(r), "May": func(pattern string) bool { return d.May(r, pattern) }}); err != nil {
		return frame.Part{}, fmt.Errorf("filling %s: %w", name, err)
	}
	return frame.Part{HTML: template.HTML(b.String())}, nil
}

// Book opens the lab book, runs f on it and closes it.
func (d *Desk) Book(ctx context.Context, f func(b *book.Book) error) error {
	b, err := book.Open(ctx, d.Dir)
	if err != nil {
		return err
	}
	defer b.Close()
	return f(b)
}

// WithProgress is the environment of a job.
func (d *Desk) WithProgress(p work.Progress) study.Env {
	env := d.Env
	env.Progress = p
	return env
}
