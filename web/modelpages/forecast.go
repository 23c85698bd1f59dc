package modelpages

import (
	"context"
	"net/http"
	"net/url"

	"flourcast/report"
	"flourcast/study"
	"flourcast/web/desk"
	"flourcast/web/frame"
)

var forecastPage = desk.Page{Path: "/forecast", Title: "forecast", Fields: desk.Fields{"spec": "Specification of the response", "lot": "Lot"}, Routes: map[string]desk.Handler{
	"GET /forecast":       forecastForm,
	"POST /forecast":      forecastFiles,
	"POST /forecast/book": forecastBook,
}}

func forecastForm(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	all, err := d.Models(r.Context())
	if err != nil {
		return err
	}
	known, err := specs(d, r.Context(), all, "/forecast")
	if err != nil {
		return err
	}
	form, err := d.Fill(r, forms, "forecast", map[string]any{"Specs": known, "Models": choices(all, r.FormValue("model")), "Low": r.FormValue("low"), "High": r.FormValue("high"), "Lots": r.FormValue("lots")})
	if err != nil {
		return err
	}
	return d.Show(w, r, frame.Page{Title: "Forecast", Lead: "A value, how far it may be off, whether the lot lies within what the model knows, and what decides.", Here: "/forecast", Parts: []frame.Part{form}})
}

// wanted is what both forms ask for.
func wanted(d *desk.Desk, r *http.Request) (q study.ForecastRequest, err error) {
	m, err := model(d, r.Context(), r.PostFormValue("model"))
	if err != nil {
		return q, err
	}
	q.Card = m.Card
	q.Spec, err = limits(r.PostFormValue("low"), r.PostFormValue("high"), m.Card.Response)
	return q, err
}

func shown(res *study.ForecastResult) frame.Page {
	doc := report.Forecast(res)
	part := frame.Of(doc)
	return frame.Page{Title: doc.Title, Lead: doc.Subtitle, Parts: []frame.Part{part}}
}

// forecastFiles forecasts the lots of dropped files. Nothing is stored.
func forecastFiles(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	q, err := wanted(d, r)
	if err != nil {
		return err
	}
	given, err := d.Take(r, "files", "lots")
	if err != nil {
		return err
	}
	q.Paths, q.Lot = given.Paths["files"], r.PostFormValue("lot")
	if len(q.Paths) == 0 {
		return &study.RequestError{Found: "no file, or only empty ones", Want: "curves, pasting values or a table of new lots"}
	}
	for _, path := range given.Paths["lots"] {
		q.Lots = path
	}
	return d.Work(w, r, "/forecast", "Forecasting "+given.Names("files"), func(ctx context.Context, env study.Env) (frame.Page, error) {
		res, err := study.Forecast(ctx, env, q)
		if err != nil {
			return frame.Page{}, err
		}
		return shown(res), nil
	})
}

// forecastBook forecasts lots of the lab book, and writes the forecasts down in it if
// that is wanted.
func forecastBook(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	fq, err := wanted(d, r)
	if err != nil {
		return err
	}
	q := study.BookForecastRequest{ForecastRequest: fq, Dir: d.Dir, Wanted: desk.Names(r.PostFormValue("lots")), Operator: r.PostFormValue("operator"), Unrecorded: r.PostFormValue("record") == ""}
	return d.Work(w, r, "/forecast", "Forecasting lots of the lab book", func(ctx context.Context, env study.Env) (frame.Page, error) {
		res, err := study.ForecastBook(ctx, env, q)
		if err != nil {
			return frame.Page{}, err
		}
		page := shown(res)
		page.Parts[0].Links.Row = func(table, first string) string {
			for _, f := range res.Forecasts {
				if f.Lot == first {
					return "/lots/" + url.PathEscape(first)
				}
			}
			return ""
		}
		return page, nil
	})
}
