package modelpages

import (
	"net/http"
	"net/url"

	"flourcast/report/following"
	"flourcast/web/desk"
	"flourcast/web/frame"
)

var followPage = desk.Page{Path: "/follow", Title: "follow", Routes: map[string]desk.Handler{"GET /follow": follow}}

func follow(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	all, err := d.Models(r.Context())
	if err != nil {
		return err
	}
	row := r.FormValue("model")
	list := choices(all, row)
	if row == "" && len(list) > 0 { // the first thing that somebody asks for
		row = list[0].ID
	}
	form, err := d.Fill(r, forms, "follow", list)
	if err != nil {
		return err
	}
	page := frame.Page{Title: "Follow", Lead: "What was forecast, against what was measured since: may the model still be trusted?", Here: "/follow", Parts: []frame.Part{form}}
	if row == "" {
		return d.Show(w, r, page)
	}
	if _, err := model(d, r.Context(), row); err != nil {
		return err
	}
	res, err := d.Follow(r.Context(), row)
	if err != nil {
		return d.WithFault(w, r, page, err)
	}
	part := frame.Of(following.Document(res))
	part.Titled = true
	part.Links.Row = func(_, first string) string {
		for _, l := range res.Lots {
			if l.Lot.Lot == first {
				return "/lots/" + url.PathEscape(first)
			}
		}
		return ""
	}
	page.Parts = append(page.Parts, part)
	return d.Show(w, r, page)
}
