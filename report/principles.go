package report

import (
	"flourcast/report/phrase"
	"flourcast/study/card"
)

// principleSection is the model card: what two standards of reporting ask of a
// model, and what this one has to say.
func principleSection(c *card.Card) Section {
	t := &Table{ID: "model-card", Caption: "What the principles for validating structure–activity models (OECD 2004) and the TRIPOD statement (2015) ask, a lot taken as the patient",
		Columns: []Column{{Heading: "item"}, {Heading: "asks for"}, {Heading: "this model"}}}
	for _, i := range c.Items() {
		t.Rows = append(t.Rows, []Cell{Words(i.Standard + " " + i.Item), Words(i.Asks), Words(phrase.Sentences(i.Says))})
	}
	return Section{Heading: "Model card", Blocks: []Block{t}}
}
