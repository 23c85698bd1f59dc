package labpages

import (
	"context"
	"net/http"
	"net/url"
	"strings"

	"flourcast/report"
	reportbook "flourcast/report/book"
	"flourcast/study"
	"flourcast/study/book"
	"flourcast/study/entry"
	"flourcast/web/desk"
	"flourcast/web/frame"
)

var addPage = desk.Page{Path: "/add", Title: "add", Routes: map[string]desk.Handler{
	"GET /add":               addForm,
	"POST /add":              addLook,
	"GET /add/{id}":          addShow,
	"POST /add/{id}/confirm": addConfirm,
}}

const addLead = "Drop files of lots, runs, curves, pasting values, texture or bakes. You see what becomes of every row first; nothing is stored before you say so."

func addForm(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	form, err := d.Fill(r, forms, "add", nil)
	if err != nil {
		return err
	}
	return d.Show(w, r, frame.Page{Title: "Add", Lead: addLead, Here: "/add", Parts: []frame.Part{form}})
}

// addLook takes the files and sends the browser to what would become of them.
func addLook(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	given, err := d.Take(r, "files", "map")
	if err != nil {
		return err
	}
	if len(given.Paths["files"]) == 0 {
		return &study.RequestError{Found: "no file, or only empty ones", Want: "at least one file with rows"}
	}
	http.Redirect(w, r, "/add/"+given.ID+"?"+url.Values{"lot": {field(r, "lot")}, "method": {field(r, "method")}, "reason": {field(r, "reason")}}.Encode(), http.StatusSeeOther)
	return nil
}

func field(r *http.Request, name string) string { return strings.TrimSpace(r.FormValue(name)) }

// request is the sending as a request to the lab book: to add its rows or, with a reason,
// to let them stand in for the book's rows of the same names.
func request(d *desk.Desk, r *http.Request, g desk.Given) (q entry.AddRequest, err error) {
	q = entry.AddRequest{Dir: d.Dir, Paths: g.Paths["files"], Lot: field(r, "lot"), Method: field(r, "method"), Reason: field(r, "reason")}
	for _, path := range g.Paths["map"] {
		text, err := book.ReadText(path)
		if err != nil {
			return q, err
		}
		q.Map = &text
	}
	return q, nil
}

func given(d *desk.Desk, r *http.Request) (desk.Given, error) {
	g, ok := d.Gave(r.PathValue("id"))
	if !ok {
		return g, &study.RequestError{Found: "files that are no longer here", Want: "files dropped since the server was started", Do: "drop them again"}
	}
	return g, nil
}

// addShow says what would become of the files. It writes nothing.
func addShow(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	g, err := given(d, r)
	if err != nil {
		return err
	}
	q, err := request(d, r, g)
	if err != nil {
		return err
	}
	q.DryRun = true
	res, err := entry.Add(r.Context(), d.Env, q)
	if err != nil {
		return err
	}
	confirm, err := d.Fill(r, forms, "confirm", map[string]any{"ID": g.ID, "Usable": res.Accepted+res.Waiting > 0, "Lot": q.Lot, "Method": q.Method, "Reason": q.Reason})
	if err != nil {
		return err
	}
	title := "What would be added"
	if q.Reason != "" {
		title = "What would be corrected"
	}
	return d.Show(w, r, frame.Page{Title: title, Lead: "Nothing is stored yet: " + g.Names("files"), Here: "/add", Parts: []frame.Part{tally(res), frame.Of(reportbook.Add(res)), confirm}})
}

// tally says in one line what becomes of the rows.
func tally(res *entry.AddResult) frame.Part {
	doc := report.Document{Sections: []report.Section{{Heading: "Rows", Blocks: []report.Block{reportbook.Tally(res)}}}}
	return frame.Of(doc)
}

// addConfirm writes the accepted and waiting rows.
func addConfirm(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	g, err := given(d, r)
	if err != nil {
		return err
	}
	q, err := request(d, r, g)
	if err != nil {
		return err
	}
	q.Operator = r.PostFormValue("operator")
	return d.Work(w, r, "/add", "Adding "+g.Names("files"), func(ctx context.Context, env study.Env) (frame.Page, error) {
		res, err := entry.Add(ctx, env, q)
		if err != nil {
			return frame.Page{}, err
		}
		title := "Added to the lab book"
		if q.Reason != "" {
			title = "Corrected in the lab book"
		}
		return frame.Page{Title: title, Parts: []frame.Part{tally(res), frame.Of(reportbook.Add(res))}}, nil
	})
}
