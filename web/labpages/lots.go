package labpages

import (
	"net/http"
	"net/url"
	"slices"
	"strings"

	reportbook "flourcast/report/book"
	"flourcast/report/phrase"
	"flourcast/study/bookkeeping"
	"flourcast/web/desk"
	"flourcast/web/frame"
)

var lotsPage = desk.Page{Path: "/lots", Title: "lots", Routes: map[string]desk.Handler{
	"GET /lots":                lots,
	"GET /lots/{lot}":          oneLot,
	"GET /lots/{lot}/curves":   lotCurves,
	"GET /lots/{lot}/picture":  lotPicture,
	"GET /lots/{lot}/features": lotFeatures,
}}

func lotAddress(lot string) string { return "/lots/" + url.PathEscape(lot) }

// lotsView is what the form of the lots is filled with.
type lotsView struct {
	Search, Product, Has string
	Products             []named
	Shown, Found, All    int
	Rest                 string // address of all that were found, where not all are shown
}

// mostLots is how many lots the page has before all of them are asked for.
const mostLots = 500

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
	slices.Reverse(res.Lots) // the latest first
	if v.Found = len(res.Lots); v.Found > mostLots && r.FormValue("all") == "" {
		res.Lots = res.Lots[:mostLots]
		q := r.URL.Query()
		q.Set("all", "1")
		v.Rest = "/lots?" + q.Encode()
	}
	v.Shown = len(res.Lots)
	form, err := d.Fill(r, forms, "lots", v)
	if err != nil {
		return err
	}
	part := frame.Of(reportbook.Lots(res))
	part.Links.Row = func(_, first string) string { return lotAddress(first) }
	return d.Show(w, r, frame.Page{Title: "Lots", Lead: "Every lot of the lab book, with what there is of it.", Here: "/lots", Parts: []frame.Part{form, part}})
}
