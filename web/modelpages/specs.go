package modelpages

import (
	"context"
	"net/http"
	"strings"

	reportbook "flourcast/report/book"
	"flourcast/study"
	"flourcast/study/book"
	"flourcast/web/desk"
	"flourcast/web/frame"
)

var specsPage = desk.Page{Path: "/specs", Routes: map[string]desk.Handler{
	"GET /specs":  listSpecs,
	"POST /specs": addSpec,
}}

const specsLead = "What customers ask of products. A new revision is a new row, and counts from its day on; nothing is overwritten."

func listSpecs(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	var all []book.Said[book.Spec]
	err := d.Book(r.Context(), func(b *book.Book) (err error) {
		all, err = b.Specs(r.Context())
		return err
	})
	if err != nil {
		return err
	}
	page := frame.Page{Title: "Specifications", Lead: specsLead, Here: "/window", Parts: []frame.Part{frame.Of(reportbook.Specs(d.Bar.Book, all))}}
	t, err := d.Table(r.Context())
	if err == nil {
		form, err := d.Fill(r, forms, "specs", map[string]any{"Question": ask(t, r), "Today": d.Env.Clock().Format("2006-01-02")})
		if err != nil {
			return err
		}
		page.Parts = append(page.Parts, form)
	} else if desk.Code(err) == http.StatusInternalServerError {
		return err
	}
	return d.Show(w, r, page)
}

// addSpec writes a specification down.
func addSpec(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	field := func(name string) string { return strings.TrimSpace(r.PostFormValue(name)) }
	asked, err := limits(field("low"), field("high"), field("response"))
	if err != nil {
		return err
	}
	if asked == nil {
		return &study.RequestError{Found: "no limit", Want: "a lower limit, an upper one, or both"}
	}
	s := book.Spec{Customer: field("customer"), Product: field("product"), Revision: field("revision"), ValidFrom: field("from")}.With(*asked)
	err = d.Book(r.Context(), func(b *book.Book) error {
		_, err := b.AddSpec(context.WithoutCancel(r.Context()), d.Env, s, field("operator"))
		return err
	})
	if err != nil {
		return err
	}
	http.Redirect(w, r, "/specs", http.StatusSeeOther)
	return nil
}
