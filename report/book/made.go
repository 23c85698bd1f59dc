package book

import (
	"fmt"
	"strconv"

	"flourcast/forecast"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/book"
	"flourcast/study/bookkeeping"
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
	s := document.Section{Heading: "Forecasts", Blocks: []document.Block{forecasts("forecasts", "Forecasts as they were made at the time, the latest first", all, most)}}
	if len(all) == 0 {
		s.Blocks = []document.Block{document.Paragraph("Nothing was forecast yet.")}
	}
	return document.Document{Title: "Forecasts", Sections: []document.Section{s}}
}

// Undecided is a table of forecasts that wait for a person's decision, the latest first.
func Undecided(all []book.Forecast) *document.Table {
	return forecasts("undecided", "Lots that their forecast held or rejected, and of which nobody has written down yet what is done with them", all, 0)
}

// forecasts is a table of forecasts, the latest first: at most so many of them, 0 all.
func forecasts(id, caption string, all []book.Forecast, most int) *document.Table {
	t := &document.Table{ID: id, Caption: caption, Columns: []document.Column{left("lot"), left("response"), phrase.Right("forecast"), phrase.Right("from"), phrase.Right("to"), left("limits"), left("decision"), left("calibrated range"), left("made")}}
	for i := len(all) - 1; i >= 0 && (most == 0 || len(t.Rows) < most); i-- {
		f := all[i]
		label, unit := phrase.AxisOf(f.Of.Response)
		if unit != "" {
			label += ", " + unit
		}
		row := words(f.Of.Lot, label)
		for _, v := range []*float64{f.Of.Value, f.Of.Low, f.Of.High} {
			row = append(row, phrase.Optional(f.Of.Response, v))
		}
		t.Rows = append(t.Rows, append(row, words(Limits(f.Of.Spec), or(f.Of.Decision), or(f.Of.Domain), f.Made.Format("2006-01-02"))...))
	}
	return t
}

// Limits puts a specification in words, without its response.
func Limits(spec string) string {
	s, err := forecast.ParseSpec(spec)
	if err != nil {
		return or(spec)
	}
	return phrase.Range(s.Low, s.High)
}

// Arrivals is a table of what came in, the latest first: at most so many.
func Arrivals(all []bookkeeping.Arrival, most int) *document.Table {
	t := &document.Table{ID: "arrivals", Caption: "What came in last, put together by kind, person and minute", Columns: []document.Column{left("time"), left("what"), phrase.Right("rows"), left("lots"), left("entered by")}}
	for _, a := range all[:min(most, len(all))] {
		t.Rows = append(t.Rows, append(words(a.Made.Format("2006-01-02 15:04"), kinds(a.Kind)), phrase.Count(a.Rows), document.Words(or(phrase.SomeLots(a.Lots))), document.Words(or(a.Operator))))
	}
	return t
}

// kinds is a kind of row in words.
func kinds(kind string) string {
	switch kind {
	case "reading":
		return "texture or bakes"
	case "outcome":
		return "outcomes of forecasts"
	case "test":
		return "lines of a runs file"
	case "run":
		return "curves or pasting values"
	}
	return kind + "s"
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
