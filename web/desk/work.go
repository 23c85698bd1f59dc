package desk

import (
	"context"
	_ "embed"
	"encoding/json"
	"html/template"
	"net/http"

	"flourcast/study"
	"flourcast/web/frame"
	"flourcast/web/jobs"
)

//go:embed work.html
var workSource string

var workForms = template.Must(template.New("work").Parse(workSource))

// Work starts f as a job and sends the browser to its page: progress first, then the
// page that f returns. Here is the entry of the bar that it belongs to.
func (d *Desk) Work(w http.ResponseWriter, r *http.Request, here, name string, f func(ctx context.Context, env study.Env) (frame.Page, error)) error {
	id := d.Board.Start(name, func(ctx context.Context, p *jobs.Progress) (any, error) {
		page, err := f(ctx, d.WithProgress(p))
		page.Here = here
		return page, d.Named(here, err)
	})
	http.Redirect(w, r, "/jobs/"+id, http.StatusSeeOther)
	return nil
}

// WorkPage is the page of jobs.
var WorkPage = Page{Path: "/jobs", Title: "work", Routes: map[string]Handler{
	"GET /jobs":             listWork,
	"GET /jobs/{id}":        showWork,
	"GET /jobs/{id}/state":  stateOfWork,
	"POST /jobs/{id}/state": cancelWork,
}}

func listWork(d *Desk, w http.ResponseWriter, r *http.Request) error {
	part, err := d.Fill(r, workForms, "list", d.Board.List())
	if err != nil {
		return err
	}
	return d.Show(w, r, frame.Page{Title: "Work", Lead: "Long work runs beside the pages. It goes on while you read elsewhere or load a page again.", Here: "/jobs", Parts: []frame.Part{part}})
}

func (d *Desk) job(r *http.Request) (jobs.Status, any, error, error) {
	s, result, failed, ok := d.Board.Get(r.PathValue("id"))
	if !ok {
		return s, nil, nil, &NotFoundError{"Work " + r.PathValue("id")}
	}
	return s, result, failed, nil
}

func showWork(d *Desk, w http.ResponseWriter, r *http.Request) error {
	s, result, failed, err := d.job(r)
	if err != nil {
		return err
	}
	if page, ok := result.(frame.Page); ok && s.State == jobs.Done {
		return d.Show(w, r, page)
	}
	if s.State == jobs.Failed {
		return failed
	}
	part, err := d.Fill(r, workForms, "one", s)
	if err != nil {
		return err
	}
	p := frame.Page{Title: s.Name, Here: "/jobs", Parts: []frame.Part{part}}
	if !s.State.Ended() {
		p.Reload = 2
	}
	return d.Show(w, r, p)
}

func stateOfWork(d *Desk, w http.ResponseWriter, r *http.Request) error {
	s, _, _, err := d.job(r)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/json")
	return json.NewEncoder(w).Encode(s)
}

func cancelWork(d *Desk, w http.ResponseWriter, r *http.Request) error {
	s, _, _, err := d.job(r)
	if err != nil {
		return err
	}
	d.Board.Cancel(s.ID)
	http.Redirect(w, r, "/jobs/"+s.ID, http.StatusSeeOther)
	return nil
}
