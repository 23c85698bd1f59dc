package survey

import (
	"fmt"
	"strings"

	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/trial"
)

// Trial is the document of the checks' own trial.
func Trial(r *trial.Result) document.Document {
	d := document.Document{Title: "The checks on trial", Subtitle: "Simulated mills whose truth is known, judged as anybody's would be",
		Notice: "Everything here is simulated, and simpler than flour.",
		Meta: []document.Pair{{Name: "mills a row", Value: fmt.Sprint(r.Mills)}, {Name: "seed", Value: fmt.Sprint(r.Seed)},
			{Name: "model", Value: fmt.Sprintf("%s, %d repeats, %d permutations", strings.ToUpper(r.Kind), r.Repeats, r.Permutations)}}}
	t := &document.Table{ID: "trial", Caption: "What became of them, in mills", Columns: []document.Column{{Heading: "mill"}, {Heading: "truth"}, phrase.RightIn("lots", ""), phrase.RightIn("fit", ""), phrase.RightIn("provisional", ""), phrase.RightIn("not fit", ""), phrase.RightIn("seen", ""), {Heading: "expected"}, {Heading: "holds"}}}
	for _, o := range r.Rows {
		seen, holds := document.Words("–"), "yes"
		if o.Seen != nil {
			seen = phrase.Count(*o.Seen)
		}
		if !o.Holds {
			holds = "NO"
		}
		t.Rows = append(t.Rows, []document.Cell{document.Words(o.Name), document.Words(o.Truth), phrase.Count(o.Lots), phrase.Count(o.FitForUse), phrase.Count(o.Provisional), phrase.Count(o.NotFit), seen, document.Words(o.Expected), document.Words(holds)})
	}
	words := "From 100 mills on a share is compared plainly with what is expected; with fewer, it holds unless chance alone would give so much in fewer than one trial in a thousand."
	d.Sections = []document.Section{{Heading: "Counts", Blocks: []document.Block{t, document.Paragraph(words)}}}
	return d
}
