package following

import (
	"strconv"
	"strings"

	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/following"
)

// State is the follow-up of a model by its row in the lab book.
type State struct {
	Row int64
	Of  *following.Result
}

// States says of each model whether it may still be trusted, in a line.
func States(all []State) *document.Table {
	t := &document.Table{ID: "states", Caption: "Models whose forecasts have outcomes: may they still be trusted?",
		Columns: []document.Column{{Heading: "row"}, {Heading: "product"}, {Heading: "response"}, {Heading: "state"}, {Heading: "why"}, phrase.Right("followed"), phrase.Right("waiting")}}
	for _, s := range all {
		var row []document.Cell
		for _, text := range []string{strconv.FormatInt(s.Row, 10), phrase.Product(s.Of.Product), phrase.Label(s.Of.Response), s.Of.Status, phrase.Sentences(strings.Join(s.Of.Why, "; "))} {
			row = append(row, document.Words(text))
		}
		t.Rows = append(t.Rows, append(row, phrase.Count(s.Of.Counts.Followed), phrase.Count(s.Of.Counts.Waiting)))
	}
	return t
}
