package modelpages

import (
	"context"
	"net/http"
	"strconv"

	"flourcast/dataset"
	"flourcast/report"
	reportbook "flourcast/report/book"
	"flourcast/report/phrase"
	reportsurvey "flourcast/report/survey"
	"flourcast/study"
	"flourcast/study/survey"
	"flourcast/web/desk"
	"flourcast/web/frame"
)

var modelsPage = desk.Page{Path: "/models", Title: "models", Routes: map[string]desk.Handler{
	"GET /models":          listModels,
	"GET /models/{row}":    oneModel,
	"POST /models/compare": compareModels,
	"POST /models/fit":     fitModel,
}}

func modelAddress(row string) string { return "/models/" + row }

func listModels(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	all, err := d.Models(r.Context())
	if err != nil {
		return err
	}
	part := frame.Of(reportbook.Models(all))
	part.Links.Row = func(_, first string) string { return modelAddress(first) }
	part.Links.Also = map[string][]string{"models": {"product", "response"}}
	page := frame.Page{Title: "Models", Lead: "What may be forecast, and whether to trust it.", Here: "/models", Parts: []frame.Part{part}}
	t, err := d.Table(r.Context())
	if err == nil {
		form, err := d.Fill(r, forms, "models", ask(t, r))
		if err != nil {
			return err
		}
		page.Parts = append(page.Parts, form)
	} else if desk.Code(err) == http.StatusInternalServerError {
		return err
	}
	return d.Show(w, r, page)
}

// oneModel is everything that stands behind a model.
func oneModel(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	m, err := model(d, r.Context(), r.PathValue("row"))
	if err != nil {
		return err
	}
	res, err := study.Report(r.Context(), d.Env, study.ReportRequest{Card: m.Card})
	if err != nil {
		return err
	}
	doc := report.Model(res)
	links, err := d.Fill(r, forms, "model", map[string]any{"Row": m.ID})
	if err != nil {
		return err
	}
	return d.Show(w, r, frame.Page{Title: doc.Title, Lead: doc.Subtitle, Here: "/models", Parts: []frame.Part{links, frame.Of(doc)}})
}

// curveStep is the grid that whole curves are laid on.
const curveStep = "6s"

// withCurves puts the whole curves of the question's method beside its table.
func withCurves(d *desk.Desk, ctx context.Context, env study.Env, q *survey.Request) error {
	t, err := desk.Of(ctx, d, desk.Data, "curves "+q.Method, func(ctx context.Context) (*dataset.Table, error) {
		laid, err := study.BookCurves(ctx, env, d.Dir, study.LayRequest{Table: q.Table, Step: curveStep, Only: q.Method})
		if err != nil {
			return nil, err
		}
		return laid.Table, nil
	})
	if err == nil {
		q.Table = t
	}
	return err
}

// asked is the question of a form that starts work.
func asked(d *desk.Desk, r *http.Request) (survey.Request, error) {
	t, err := d.Table(r.Context())
	if err != nil {
		return survey.Request{}, err
	}
	q := ask(t, r)
	return survey.Request{Table: t, File: "lab book", Response: q.Response, Product: q.Product, Method: q.Method, Notice: d.Bar.Notice}, nil
}

func compareModels(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	q, err := asked(d, r)
	if err != nil {
		return err
	}
	q.Folds, q.Repeats = "lot", repeats
	return d.Work(w, r, "/models", "Comparing candidates for "+phrase.Label(q.Response), func(ctx context.Context, env study.Env) (frame.Page, error) {
		if q.Method != "" { // whole curves are of one method
			if err := withCurves(d, ctx, env, &q); err != nil {
				return frame.Page{}, err
			}
		}
		res, err := survey.Compare(ctx, env, q)
		if err != nil {
			return frame.Page{}, err
		}
		doc := reportsurvey.Compare(res)
		return frame.Page{Title: doc.Title, Lead: doc.Subtitle, Parts: []frame.Part{frame.Of(doc)}}, nil
	})
}

// wholeCurves is the kind of model that the form offers beside the catalogue's.
const wholeCurves = "curves"

// As on the command line.
const (
	repeats      = 10
	permutations = 999
)

// fitModel fits, judges and writes the model down in the lab book.
func fitModel(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	q, err := asked(d, r)
	if err != nil {
		return err
	}
	q.Kind, q.Folds, q.Repeats, q.Permutations = r.PostFormValue("kind"), "lot", repeats, permutations
	curves := q.Kind == wholeCurves
	if curves {
		if q.Method == "" {
			return &study.RequestError{Found: "whole curves by any method", Want: "one pasting method", Do: "choose it: curves of different methods have different programmes"}
		}
		q.Kind, q.Features = "pls", []string{"v_*"}
	}
	operator := r.PostFormValue("operator")
	return d.Work(w, r, "/models", "Fitting a model of "+phrase.Label(q.Response), func(ctx context.Context, env study.Env) (frame.Page, error) {
		if curves {
			if err := withCurves(d, ctx, env, &q); err != nil {
				return frame.Page{}, err
			}
		}
		res, err := study.Fit(ctx, env, q)
		if err != nil {
			return frame.Page{}, err
		}
		row, err := study.KeepModel(ctx, env, d.Dir, res.Card, operator)
		if err != nil {
			return frame.Page{}, err
		}
		doc := report.Fit(res)
		links, err := d.Fill(r, forms, "model", map[string]any{"Row": strconv.FormatInt(row, 10)})
		if err != nil {
			return frame.Page{}, err
		}
		return frame.Page{Title: doc.Title, Lead: doc.Subtitle, Parts: []frame.Part{links, frame.Of(doc)}}, nil
	})
}
