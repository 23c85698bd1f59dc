package tradepages

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"strings"

	"flourcast/report"
	"flourcast/report/onepage"
	reportsuit "flourcast/report/suitability"
	"flourcast/report/wording"
	"flourcast/study"
	"flourcast/study/suitability"
	"flourcast/web/desk"
	"flourcast/web/frame"
)

var suitPage = desk.Page{Path: "/suit", Title: "suit", Fields: suitFields, Routes: map[string]desk.Handler{
	"GET /suit":            suit,
	"GET /suit/sheet.html": suitFile,
	"GET /suit/sheet.pdf":  suitFile,
	"POST /suit/words":     suitWords,
}}

// suitFields are the labels of the form by the names of the request's fields.
var suitFields = desk.Fields{"lot": "Lots", "for": "Product that the flour is for", "customer": "Customer", "against": "Lot that is the customer's present flour", "reference": "Lots to compare with",
	"limits": "Limits instead of the customer's", "window": "Windows", "production": "Windows of the lots that ran well", "method": "Pasting method of these windows", "words": "Wording of the sheets", "paper": "Paper"}

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
	return suitAsked(d, w, r, nil)
}

// suitAsked shows the form and, once a lot was asked for, its sheets. Fault is what is
// wrong already.
func suitAsked(d *desk.Desk, w http.ResponseWriter, r *http.Request, fault error) error {
	v, err := suitForm(d, r)
	if err != nil {
		return err
	}
	page := frame.Page{Title: "Suit", Lead: "What a customer may be told of a lot: one page each, with what to look at before it is sent.", Here: "/suit"}
	var answer []frame.Part
	if v.Asked && fault == nil {
		answer, fault = suitAnswer(d, r, v)
	}
	v.Open, v.wrong = !v.Asked || fault != nil, desk.Wrong(fault)
	form, err := d.Fill(r, forms, "suit", v)
	if err != nil {
		return err
	}
	page.Parts = append([]frame.Part{form}, answer...)
	if fault != nil {
		return showFault(d, w, r, page, fault)
	}
	return d.Show(w, r, page)
}

// suitAnswer is the links to the files, the house's screen and every sheet.
func suitAnswer(d *desk.Desk, r *http.Request, v suitView) ([]frame.Part, error) {
	q, words, err := suitRequest(d, r)
	if err != nil {
		return nil, err
	}
	res, err := sheets(d, r.Context(), q, v)
	if err != nil {
		return nil, err
	}
	files, err := d.Fill(r, forms, "sheets", map[string]template.URL{"PDF": template.URL("/suit/sheet.pdf?" + v.Query), "HTML": template.URL("/suit/sheet.html?" + v.Query)}) // Encode has made it an address
	house, codes := forHouse(res)
	return []frame.Part{files, frame.Of(house), frame.Of(inOne(res, words)), frame.Of(codes)}, err
}

// forHouse is the house's screen, and the codes, which come last. On paper the page has
// neither.
func forHouse(res *suitability.Result) (screen, codes report.Document) {
	house := reportsuit.House(res, "")
	house.Title, house.Meta = "For the house, not for the customer", nil // the form says the rest
	for _, s := range house.Chapter() {
		if s.Heading == reportsuit.CodesHeading {
			codes.Sections = append(codes.Sections, s)
		} else {
			screen.Sections = append(screen.Sections, s)
		}
	}
	return screen, codes
}

// inOne is every sheet, as one document: a chapter each.
func inOne(res *suitability.Result, words *wording.Catalogue) (out report.Document) {
	for i, d := range reportsuit.Sheets(res, words) {
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

// suitWords takes a catalogue of wording and goes back to the question, or says what is
// wrong with it: file, line and key.
func suitWords(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	q := backTo(r.PostFormValue("back"))
	q.Del("words")
	given, err := d.Take(r, "catalogue")
	if err != nil {
		return err
	}
	_, _, fault := catalogue(d, given.ID)
	if fault == nil {
		q.Set("words", given.ID)
		http.Redirect(w, r, "/suit?"+q.Encode(), http.StatusSeeOther)
		return nil
	}
	again := r.Clone(r.Context())
	again.Form, again.URL.RawQuery = q, q.Encode()
	return suitAsked(d, w, again, fault)
}

// suitFile is the sheets as a file.
func suitFile(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	v, err := suitForm(d, r)
	if err != nil {
		return err
	}
	if !v.Asked {
		return &study.RequestError{Found: "no lot", Want: "one or more lots of the lab book"}
	}
	paper, ok := onepage.PaperNamed(v.Paper)
	if !ok {
		return &study.RequestError{Found: "paper " + v.Paper, Want: "A4 or letter"}
	}
	q, words, err := suitRequest(d, r)
	if err != nil {
		return err
	}
	res, err := sheets(d, r.Context(), q, v)
	if err != nil {
		return err
	}
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
