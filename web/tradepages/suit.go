package tradepages

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"flourcast/report"
	"flourcast/report/onepage"
	"flourcast/report/phrase"
	reportsuit "flourcast/report/suitability"
	"flourcast/report/wording"
	"flourcast/study"
	"flourcast/study/book"
	"flourcast/study/suitability"
	"flourcast/web/desk"
	"flourcast/web/frame"
)

var suitPage = desk.Page{Path: "/suit", Title: "suit", Routes: map[string]desk.Handler{
	"GET /suit":            suit,
	"GET /suit/sheet.html": suitFile,
	"GET /suit/sheet.pdf":  suitFile,
}}

// every stands for all products that have a model.
const every = "all"

// suitView is what the form is filled with. Query is its question as an address.
type suitView struct {
	Lots, Customer, Destination, Against, Paper string
	Products, Papers                            []named
	Customers                                   []string
	Query                                       string
}

// question reads the form. ok is false where no lot was asked for yet.
func question(d *desk.Desk, r *http.Request) (q suitability.Request, v suitView, ok bool, err error) {
	field := func(name string) string { return strings.TrimSpace(r.FormValue(name)) }
	v = suitView{Lots: field("lots"), Customer: field("customer"), Destination: field("destination"), Against: field("against"), Paper: cmp.Or(field("paper"), onepage.A4.Name)}
	product := field("product")
	q = suitability.Request{Dir: d.Dir, Lots: desk.Names(v.Lots), Customer: v.Customer, Destination: v.Destination, Against: v.Against, All: product == every}
	if product != "" && !q.All {
		q.Products = []string{product}
	}
	for _, p := range []onepage.Paper{onepage.A4, onepage.Letter} {
		v.Papers = append(v.Papers, named{p.Name, p.Name, strings.EqualFold(p.Name, v.Paper)})
	}
	all, err := d.Models(r.Context())
	if err != nil {
		return q, v, false, err
	}
	for _, m := range all {
		id := m.Card.Product
		if id != "" && !slices.ContainsFunc(v.Products, func(n named) bool { return n.ID == id }) {
			v.Products = append(v.Products, named{id, phrase.Product(id), id == product})
		}
	}
	v.Products = append(v.Products, named{every, "all that have a model", q.All})
	err = d.Book(r.Context(), func(b *book.Book) error {
		specs, err := b.Specs(r.Context())
		for _, s := range specs {
			if !slices.Contains(v.Customers, s.What.Customer) {
				v.Customers = append(v.Customers, s.What.Customer)
			}
		}
		return err
	})
	v.Query = url.Values{"lots": {v.Lots}, "product": {product}, "customer": {v.Customer}, "destination": {v.Destination}, "against": {v.Against}, "paper": {v.Paper}}.Encode()
	return q, v, len(q.Lots) > 0, err
}

// restsOn are the rows that a sheet rests on.
var restsOn = slices.Concat(desk.Data, desk.Models, []string{"spec"})

// sheets makes the sheets, once a day until the book has another row that counts.
func sheets(d *desk.Desk, ctx context.Context, q suitability.Request, v suitView) (*suitability.Result, error) {
	day := d.Env.Now().Format("2006-01-02") // specifications hold by day
	return desk.Of(ctx, d, restsOn, "suit "+day+" "+v.Query, func(ctx context.Context) (*suitability.Result, error) {
		return suitability.Make(ctx, d.Env, q)
	})
}

func suit(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	q, v, asked, err := question(d, r)
	if err != nil {
		return err
	}
	page := frame.Page{Title: "Suit", Lead: "What a customer may be told of a lot: one page each, with what to look at before it is sent.", Here: "/suit"}
	form, err := d.Fill(r, forms, "suit", v)
	if err != nil {
		return err
	}
	page.Parts = append(page.Parts, form)
	if !asked {
		return d.Show(w, r, page)
	}
	res, err := sheets(d, r.Context(), q, v)
	if err != nil {
		return d.WithFault(w, r, page, err)
	}
	files, err := d.Fill(r, forms, "sheets", v)
	if err != nil {
		return err
	}
	page.Parts = append(page.Parts, files, frame.Of(inOne(res)))
	return d.Show(w, r, page)
}

// inOne is the house's screen and then every sheet, as one document: a chapter each.
func inOne(res *suitability.Result) report.Document {
	house := reportsuit.House(res, "")
	house.Title, house.Meta = "For the house, not for the customer", nil // the form says the rest
	out := report.Document{Sections: house.Chapter()}
	for i, d := range reportsuit.Sheets(res, wording.English()) {
		d.Title = "The sheet of " + res.Sheets[i].Lot + ": " + d.Title
		sections := d.Chapter()
		if len(sections) > 0 {
			sections[0].Heading = cmp.Or(sections[0].Heading, "Read this first")
		}
		for k := range sections {
			if len(res.Sheets) > 1 { // every section has a name of its own for who cannot see the page
				sections[k].Heading += ", " + res.Sheets[i].Lot
			}
		}
		out.Sections = append(out.Sections, sections...)
	}
	return out
}

// suitFile is the sheets as a file.
func suitFile(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	q, v, asked, err := question(d, r)
	if err != nil {
		return err
	}
	if !asked {
		return &study.RequestError{Found: "no lot", Want: "one or more lots of the lab book"}
	}
	paper, ok := onepage.PaperNamed(v.Paper)
	if !ok {
		return &study.RequestError{Found: "paper " + v.Paper, Want: "A4 or letter"}
	}
	res, err := sheets(d, r.Context(), q, v)
	if err != nil {
		return err
	}
	words := wording.English()
	docs := reportsuit.Sheets(res, words)
	o := onepage.Options{Paper: paper, Language: words.Language(), Made: res.Made, Program: strings.TrimSpace("flourcast " + d.Env.Version)}
	name, kind := "sheet.html", "text/html; charset=utf-8"
	var data []byte
	if strings.HasSuffix(r.URL.Path, ".pdf") {
		name, kind = "sheet.pdf", "application/pdf"
		data, _, err = onepage.PDF(r.Context(), docs, o)
	} else {
		data, err = onepage.HTML(docs, o)
	}
	var long *onepage.TooLongError
	var sign *onepage.CharacterError
	if errors.As(err, &long) || errors.As(err, &sign) {
		return &study.RequestError{Found: err.Error(), Want: "a sheet that one page can show"}
	}
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Content-Disposition", fmt.Sprintf("attachment; filename=%q", name))
	if _, err := w.Write(data); err != nil {
		d.Log.Debug("the reader has gone", "path", r.URL.Path, "err", err)
	}
	return nil
}
