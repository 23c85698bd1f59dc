package book

import (
	"fmt"
	"strconv"

	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/book"
	"flourcast/study/entry"
)

// Models is the document of the models of a book: a row a model, the latest first.
func Models(all []book.Model) document.Document {
	t := &document.Table{ID: "models", Caption: "What may be forecast, and whether to trust it; Q² is of lots that the model had not seen",
		Columns: []document.Column{left("row"), left("product"), left("response"), left("verdict"), left("good for"), phrase.Right("lots"), phrase.Right("Q²"), left("method"), left("kind"), left("written down")}}
	for i := len(all) - 1; i >= 0; i-- {
		m := all[i]
		grade := string(m.Card.Verdict.Grade)
		if grade == "" {
			grade = "–"
		}
		lots := map[string]bool{}
		for _, r := range m.Card.Training {
			lots[r.Lot] = true
		}
		row := words(strconv.FormatInt(m.ID, 10), phrase.Product(m.Card.Product), phrase.Label(m.Card.Response), string(m.Card.Verdict.Standing), grade)
		row = append(row, phrase.Count(len(lots)), phrase.Fixed(m.Card.CV.Q2, 2))
		t.Rows = append(t.Rows, append(row, words(m.Card.Method, m.Card.Kind, m.Made.Format("2006-01-02 15:04"))...))
	}
	s := document.Section{Heading: "Models", Blocks: []document.Block{t}}
	if len(all) == 0 {
		s.Blocks = []document.Block{document.Paragraph("The lab book has no model yet.")}
	}
	return document.Document{Title: "Models of the lab book", Sections: []document.Section{s}}
}

// Forecasts is the document of forecasts as they were made, the latest first: at most
// so many of them, 0 all.
func Forecasts(all []book.Forecast, most int) document.Document {
	t := &document.Table{ID: "forecasts", Caption: "Forecasts as they were made at the time, the latest first",
		Columns: []document.Column{left("lot"), left("response"), phrase.Right("forecast"), phrase.Right("from"), phrase.Right("to"), left("calibrated range"), left("specification"), left("decision"), left("made")}}
	for i := len(all) - 1; i >= 0 && (most == 0 || len(t.Rows) < most); i-- {
		f := all[i]
		row := words(f.Of.Lot, phrase.Label(f.Of.Response))
		for _, v := range []*float64{f.Of.Value, f.Of.Low, f.Of.High} {
			row = append(row, phrase.Optional(f.Of.Response, v))
		}
		t.Rows = append(t.Rows, append(row, words(or(f.Of.Domain), or(f.Of.Spec), or(f.Of.Decision), f.Made.Format("2006-01-02 15:04"))...))
	}
	s := document.Section{Heading: "Forecasts", Blocks: []document.Block{t}}
	if len(all) == 0 {
		s.Blocks = []document.Block{document.Paragraph("Nothing was forecast yet.")}
	}
	return document.Document{Title: "Forecasts", Sections: []document.Section{s}}
}

func or(text string) string {
	if text == "" {
		return "–"
	}
	return text
}

// Tally says in a box what becomes of the rows of files.
func Tally(r *entry.AddResult) document.Callout {
	c := document.Callout{Kind: document.Answer, Title: fmt.Sprintf("%d rows read: %d accepted, %d waiting, %d refused.", r.Read, r.Accepted, r.Waiting, r.Refused)}
	if r.Refused > 0 {
		c.Kind, c.Text = document.Caution, "A refused row is not stored; each stands below with its place, what was found, what was expected and what to do."
	} else if r.Waiting > 0 {
		c.Text = "A waiting row is stored, and counts as soon as its lot or run is known."
	} else {
		c.Text = "Every row can be used."
	}
	return c
}
