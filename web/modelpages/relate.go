package modelpages

import (
	"context"
	"net/http"
	"net/url"
	"strings"

	reportsurvey "flourcast/report/survey"
	"flourcast/study/survey"
	"flourcast/web/desk"
	"flourcast/web/frame"
)

var relatePage = desk.Page{Path: "/relate", Title: "relate", Routes: map[string]desk.Handler{
	"GET /relate":           relate,
	"GET /relate/{feature}": relateOne,
}}

// relations are the relations that a question asks for.
func relations(d *desk.Desk, r *http.Request) (*survey.RelateResult, question, error) {
	t, err := d.Table(r.Context())
	if err != nil {
		return nil, question{}, err
	}
	q := ask(t, r)
	res, err := desk.Of(r.Context(), d, desk.Data, strings.Join([]string{"relate", q.Response, q.Product, q.Method}, "\x00"), func(ctx context.Context) (*survey.RelateResult, error) {
		return survey.Relate(ctx, d.Env, survey.Request{Table: t, File: "lab book", Response: q.Response, Product: q.Product, Method: q.Method})
	})
	return res, q, err
}

func (q question) query() string {
	return url.Values{"response": {q.Response}, "product": {q.Product}, "method": {q.Method}}.Encode()
}

func relate(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	res, q, err := relations(d, r)
	page := frame.Page{Title: "Relate", Lead: "What goes with a response, lot by lot: as it stands, with protein held constant, and within crop years.", Here: "/relate"}
	if err != nil && q.Response == "" {
		return err
	}
	form, fillErr := d.Fill(r, forms, "relate", q)
	if fillErr != nil {
		return fillErr
	}
	page.Parts = append(page.Parts, form)
	if err != nil {
		return d.WithFault(w, r, page, err)
	}
	part := frame.Of(reportsurvey.Relate(res))
	part.Titled = true
	part.Links.Row = func(table, first string) string {
		feature := reportsurvey.FeatureOf(res, first)
		if table != "relations" || feature == "" {
			return ""
		}
		return "/relate/" + url.PathEscape(feature) + "?" + q.query()
	}
	page.Parts = append(page.Parts, part)
	return d.Show(w, r, page)
}

func relateOne(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	res, _, err := relations(d, r)
	if err != nil {
		return err
	}
	doc, ok := reportsurvey.Relation(res, r.PathValue("feature"))
	if !ok {
		return &desk.NotFoundError{What: "A relation with " + r.PathValue("feature")}
	}
	part := frame.Of(doc)
	part.Links.Row = func(table, first string) string {
		if table == "lots" {
			return "/lots/" + url.PathEscape(first)
		}
		return ""
	}
	return d.Show(w, r, frame.Page{Title: doc.Title, Here: "/relate", Parts: []frame.Part{part}})
}
