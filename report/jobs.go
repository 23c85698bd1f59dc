package report

import (
	"iter"

	"fmt"

	"flourcast/report/newlots"
	"flourcast/report/phrase"
	"flourcast/report/pieces"
	"flourcast/study"
)

// Join is the document of a join: what became of every row, and what did not pair.
func Join(r *study.JoinResult) Document {
	d := Document{Title: "Joined table", Subtitle: fmt.Sprintf("%s, a row for each lot and product: %s", phrase.Plural(r.Rows, "row"), r.Table)}
	d.Sections = []Section{joinSection(r)}
	return withFindings(d, r.Findings)
}

func joinSection(r *study.JoinResult) Section {
	counts := &Table{ID: "rows", Caption: "Rows read: accepted, waiting for their lot or run, refused", Columns: []Column{{Heading: "file"}, {Heading: "read", Align: Right}, {Heading: "accepted", Align: Right}, {Heading: "waiting", Align: Right}, {Heading: "refused", Align: Right}}}
	for _, k := range r.Joined.Kinds {
		if k.Read > 0 {
			counts.Rows = append(counts.Rows, []Cell{Words(k.Kind), phrase.Count(k.Read), phrase.Count(k.Accepted), phrase.Count(k.Waiting), phrase.Count(k.Refused)})
		}
	}
	counts.Rows = append(counts.Rows, []Cell{Words("all"), phrase.Count(r.Read), phrase.Count(r.Accepted), phrase.Count(r.Waiting), phrase.Count(r.Refused)})
	s := Section{Heading: "Files", Blocks: []Block{counts}}
	if len(r.Thickness) > 0 {
		s.Blocks = append(s.Blocks, pieces.Thickness(r.Thickness))
	}
	if len(r.Unpaired) == 0 {
		return s
	}
	// Lots that share a reason are one row: a mill screens far more than it cooks.
	type key struct{ has, lacks, reason string }
	lots := map[key][]string{}
	var order []key
	for _, u := range r.Unpaired {
		k := key{u.Has, u.Lacks, u.Reason}
		if lots[k] == nil {
			order = append(order, k)
		}
		lots[k] = append(lots[k], u.Lot)
	}
	t := &Table{ID: "unpaired", Caption: phrase.Plural(len(r.Unpaired), "lot") + " without both pasting figures and a result", Columns: []Column{{Heading: "lots", Align: Right}, {Heading: "which"}, {Heading: "has"}, {Heading: "lacks"}, {Heading: "reason"}}}
	for _, k := range order {
		t.Rows = append(t.Rows, []Cell{phrase.Count(len(lots[k])), Words(phrase.SomeLots(lots[k])), Words(k.has), Words(k.lacks), Words(k.reason)})
	}
	s.Blocks = append(s.Blocks, t)
	return s
}

// Forecast is the document of forecasts: a row a lot, then the reasons.
func Forecast(r *study.ForecastResult) Document { return newlots.Document(r) }

// ForecastPages are the documents of forecasts, so many lots each.
func ForecastPages(r *study.ForecastResult, lots int) iter.Seq[Document] {
	return newlots.Pages(r, lots)
}
