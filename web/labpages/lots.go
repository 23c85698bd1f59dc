package labpages

import (
	"context"
	"encoding/json"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"flourcast/report"
	reportbook "flourcast/report/book"
	reportcurve "flourcast/report/curve"
	"flourcast/report/lotcard"
	"flourcast/report/phrase"
	"flourcast/study"
	"flourcast/study/book"
	"flourcast/study/bookkeeping"
	"flourcast/web/desk"
	"flourcast/web/frame"
)

var lotsPage = desk.Page{Path: "/lots", Title: "lots", Routes: map[string]desk.Handler{
	"GET /lots":                lots,
	"GET /lots/{lot}":          oneLot,
	"GET /lots/{lot}/curves":   lotCurves,
	"GET /lots/{lot}/features": lotFeatures,
}}

func lotAddress(lot string) string { return "/lots/" + url.PathEscape(lot) }

// lotsView is what the form of the lots is filled with.
type lotsView struct {
	Search, Product, Has string
	Products             []named
	Shown, All           int
}

type named struct{ ID, Label string }

func lots(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	res, err := bookkeeping.Lots(r.Context(), d.Dir)
	if err != nil {
		return err
	}
	v := lotsView{Search: strings.TrimSpace(r.FormValue("search")), Product: r.FormValue("product"), Has: r.FormValue("has"), All: len(res.Lots)}
	for _, l := range res.Lots {
		if l.Product != "" && !slices.ContainsFunc(v.Products, func(n named) bool { return n.ID == l.Product }) {
			v.Products = append(v.Products, named{l.Product, phrase.Product(l.Product)})
		}
	}
	keep := func(l bookkeeping.LotLine) bool {
		if v.Product != "" && l.Product != v.Product || !strings.Contains(strings.ToLower(l.Lot), strings.ToLower(v.Search)) {
			return false
		}
		switch v.Has {
		case "readings":
			return l.Readings > 0
		case "no-readings":
			return l.Readings == 0
		case "forecasts":
			return l.Forecasts > 0
		}
		return true
	}
	res.Lots = slices.DeleteFunc(res.Lots, func(l bookkeeping.LotLine) bool { return !keep(l) })
	v.Shown = len(res.Lots)
	form, err := d.Fill(r, forms, "lots", v)
	if err != nil {
		return err
	}
	part := frame.Of(reportbook.Lots(res))
	part.Links.Row = func(_, first string) string { return lotAddress(first) }
	return d.Show(w, r, frame.Page{Title: "Lots", Lead: "Every lot of the lab book, with what there is of it.", Here: "/lots", Parts: []frame.Part{form, part}})
}

// features are the runs of some lots with their curves.
func features(d *desk.Desk, ctx context.Context, lots ...string) (*study.FeaturesResult, error) {
	return desk.Of(ctx, d, desk.Data, "curves "+strings.Join(lots, "\x00"), func(ctx context.Context) (*study.FeaturesResult, error) {
		files, err := study.BookFiles(ctx, d.Dir, lots...)
		if err != nil {
			return nil, err
		}
		if len(files.Curves) == 0 {
			return &study.FeaturesResult{}, nil
		}
		return study.Features(ctx, d.Env, study.FeaturesRequest{Paths: files.Curves, Map: files.Map, Pictures: true})
	})
}

// oneLotView is what the head of a lot's page is filled with.
type oneLotView struct {
	Lot, With, Address, Features string
	Curves                       bool
}

func oneLot(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	ctx, lot := r.Context(), r.PathValue("lot")
	var made []book.Forecast
	err := d.Book(ctx, func(b *book.Book) error {
		known, err := b.Knows(ctx, lot)
		if err == nil && !known {
			err = &desk.NotFoundError{What: "Lot " + lot}
		}
		if err == nil {
			made, err = b.Forecasts(ctx, book.Filter{Lots: []string{lot}})
		}
		return err
	})
	if err != nil {
		return err
	}
	runs, err := features(d, ctx, lot)
	if err != nil {
		return err
	}
	v := oneLotView{Lot: lot, With: r.FormValue("with"), Features: lotAddress(lot) + "/features", Curves: len(runs.Runs) > 0}
	v.Address = lotAddress(lot) + "/curves?" + url.Values{"with": {v.With}}.Encode()
	head, err := d.Fill(r, forms, "lot", v)
	if err != nil {
		return err
	}
	page := frame.Page{Title: "Lot " + lot, Here: "/lots", Parts: []frame.Part{head}}
	if v.Curves {
		page.Parts = append(page.Parts, frame.Of(report.Document{Sections: reportcurve.Document(runs).Sections}))
	}
	table, err := d.Table(ctx)
	if err == nil {
		page.Parts = append(page.Parts, frame.Of(lotcard.Document(lot, table)))
	} else if desk.Code(err) == http.StatusInternalServerError {
		return err
	}
	log, err := bookkeeping.Log(ctx, bookkeeping.LogRequest{Dir: d.Dir, Lot: lot})
	if err != nil {
		return err
	}
	page.Parts = append(page.Parts, frame.Of(reportbook.Forecasts(made, 0)), frame.Of(trailOf(log)))
	return d.Show(w, r, page)
}

func trailOf(log *bookkeeping.LogResult) report.Document {
	doc := reportbook.Log(log)
	for i := range doc.Sections {
		doc.Sections[i].Heading = "Trail"
	}
	doc.Meta = nil
	return doc
}

// reference is how many lots may be laid behind one.
const reference = 49

// lotCurves is the figure of a lot's curves over those of others, as data.
func lotCurves(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	lot := r.PathValue("lot")
	own, err := features(d, r.Context(), lot)
	if err != nil {
		return err
	}
	others := &study.FeaturesResult{}
	if with := wanted(r.FormValue("with"), lot); len(with) > 0 {
		if others, err = features(d, r.Context(), with...); err != nil {
			return err
		}
	}
	method := ""
	for _, run := range own.Runs {
		if method == "" {
			method = run.Method
		}
	}
	same := slices.DeleteFunc(slices.Clone(others.Runs), func(run study.RunFeatures) bool { return run.Method != method })
	fig, ok := reportcurve.Overlay(own.Runs, same, "curves")
	if !ok {
		return &desk.NotFoundError{What: "A curve of lot " + lot}
	}
	w.Header().Set("Content-Type", "application/json")
	return json.NewEncoder(w).Encode(fig)
}

// wanted reads the lots to lay behind: names parted by commas or blanks.
func wanted(text, but string) []string {
	var out []string
	for _, name := range strings.FieldsFunc(text, func(r rune) bool { return r == ',' || r == ' ' }) {
		if name != but && !slices.Contains(out, name) && len(out) < reference {
			out = append(out, name)
		}
	}
	return out
}

// lotFeatures is each run of a lot by itself: picture, features, conformity.
func lotFeatures(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	lot := r.PathValue("lot")
	runs, err := features(d, r.Context(), lot)
	if err != nil {
		return err
	}
	if len(runs.Runs) == 0 {
		return &desk.NotFoundError{What: "A curve of lot " + lot}
	}
	doc := reportcurve.Page(runs)
	return d.Show(w, r, frame.Page{Title: "Runs of lot " + lot, Lead: "Each run with its picture, its features and how it kept to its method.", Here: "/lots", Parts: []frame.Part{frame.Of(doc)}})
}
