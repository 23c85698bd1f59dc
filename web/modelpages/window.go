package modelpages

import (
	"cmp"
	"context"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"flourcast/dataset/trait"
	reporting "flourcast/report/operating"
	"flourcast/report/phrase"
	"flourcast/study/book"
	"flourcast/study/card"
	"flourcast/study/operating"
	"flourcast/web/desk"
	"flourcast/web/frame"
)

var windowPage = desk.Page{Path: "/window", Title: "window", Fields: desk.Fields{"spec": "Specification", "feature": "Over"}, Routes: map[string]desk.Handler{"GET /window": operatingWindow}}

// windowView is what the form of the window is filled with. Least and Most are the
// range of the response over the lots that the model was made from.
type windowView struct {
	Models, First, Second []named
	Row, Response, Unit   string
	Low, High             string
	Least, Most           float64
	Specs                 []inBook
}

func operatingWindow(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	all, err := d.Models(r.Context())
	if err != nil {
		return err
	}
	all = slices.DeleteFunc(slices.Clone(all), func(m book.Model) bool { return m.Card.OfCurves() }) // they have no window
	v := windowView{Row: r.FormValue("model"), Low: strings.TrimSpace(r.FormValue("low")), High: strings.TrimSpace(r.FormValue("high"))}
	v.Models = choices(all, v.Row)
	if v.Specs, err = specs(d, r.Context(), all, "/window"); err != nil {
		return err
	}
	if v.Row == "" { // the first thing that somebody asks for
		switch {
		case len(v.Specs) > 0:
			v.Row, v.Low, v.High = v.Specs[0].row, figure(v.Specs[0].spec.Low), figure(v.Specs[0].spec.High)
		case len(v.Models) > 0:
			v.Row = v.Models[0].ID
		}
		choose(v.Models, v.Row)
	}
	page := frame.Page{Title: "Window", Lead: "Within which range of the curve's figures lots meet a specification, and how past lots would have fared.", Here: "/window"}
	if v.Row == "" {
		return showWindow(d, w, r, page, v, nil)
	}
	m, err := model(d, r.Context(), v.Row)
	if err != nil {
		return err
	}
	fill(&v, m.Card, r)
	spec, err := limits(v.Low, v.High, m.Card.Response)
	if err != nil || spec == nil {
		return showWindow(d, w, r, page, v, err)
	}
	q := operating.Request{Model: "row " + v.Row + " of the lab book", Card: m.Card, Spec: *spec, By: by(v)}
	res, err := desk.Of(r.Context(), d, desk.Models, strings.Join([]string{"window", v.Row, spec.String(), strings.Join(q.By, "\x00")}, "\x00"), func(ctx context.Context) (*operating.Result, error) {
		return operating.FromModel(ctx, d.Env, q)
	})
	if err != nil {
		return showWindow(d, w, r, page, v, err)
	}
	part := frame.Of(reporting.Document(res))
	part.Titled = true
	part.Links.Row = func(_, first string) string {
		if slices.ContainsFunc(res.Lots, func(l operating.Lot) bool { return l.Lot == first }) {
			return "/lots/" + url.PathEscape(first)
		}
		return ""
	}
	page.Parts = append(page.Parts, part)
	return showWindow(d, w, r, page, v, nil)
}

// showWindow puts the form before the answer, or before the fault.
func showWindow(d *desk.Desk, w http.ResponseWriter, r *http.Request, page frame.Page, v windowView, fault error) error {
	form, err := d.Fill(r, forms, "window", v)
	if err != nil {
		return err
	}
	page.Parts = slices.Insert(page.Parts, 0, form)
	if fault != nil {
		return d.WithFault(w, r, page, fault)
	}
	return d.Show(w, r, page)
}

// fill lists the model's features and the range of its response.
func fill(v *windowView, c *card.Card, r *http.Request) {
	v.Response, v.Unit, _ = trait.Words(c.Response)
	peak := ""
	for _, f := range c.Features {
		if id, _ := trait.Split(f); id == "peak_mPas" {
			peak = f
		}
		v.First = append(v.First, named{ID: f, Label: phrase.Label(f)})
		v.Second = append(v.Second, named{ID: f, Label: phrase.Label(f)})
	}
	choose(v.First, cmp.Or(r.FormValue("by"), peak))
	choose(v.Second, r.FormValue("and"))
	v.Least, v.Most = c.MeasuredRange()
}

// by are the features chosen in the form.
func by(v windowView) []string {
	var out []string
	for _, list := range [][]named{v.First, v.Second} {
		for _, n := range list {
			if n.Chosen && !slices.Contains(out, n.ID) {
				out = append(out, n.ID)
			}
		}
	}
	return out
}
