package lotcard

import (
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/pasting"
	"flourcast/dataset/trait"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/measurement"
)

// Features has a section for each session of a lot's runs, and names the runs that are
// in none. With all there is every feature, along the curve; without, the ten that
// everyone reports.
func Features(sessions []measurement.SessionOfLot, aside []measurement.AsideOfLot, all bool) []document.Section {
	var out []document.Section
	for i, s := range sessions {
		heading := "Features, " + s.Method
		if s.Method == "" {
			heading = "Features"
		}
		out = append(out, document.Section{Heading: heading, Blocks: session(s, all, fmt.Sprintf("features-%d", i+1))})
	}
	if len(aside) > 0 {
		t := &document.Table{ID: "aside", Caption: "Runs whose figures do not stand above, and why", Columns: []document.Column{{Heading: "run"}, {Heading: "method"}, {Heading: "day"}, {Heading: "why"}}}
		for _, a := range aside {
			t.Rows = append(t.Rows, []document.Cell{document.Words(a.Run), document.Words(or(a.Method)), document.Words(or(a.Day)), document.Words(a.Why)})
		}
		out = append(out, document.Section{Heading: "Runs set aside", Blocks: []document.Block{t}})
	}
	return out
}

// session is a table of a session's features; where runs differ by more than they
// should, a box says so first.
func session(s measurement.SessionOfLot, all bool, id string) []document.Block {
	several := len(s.Runs) > 1
	t := &document.Table{ID: id, Caption: caption(s), Columns: []document.Column{{Heading: "feature"}, {Heading: "unit"}}}
	for _, run := range s.Runs {
		t.Columns = append(t.Columns, phrase.Right(run))
	}
	if several {
		t.Columns = append(t.Columns, phrase.Right("mean"), phrase.Right("differ by"), phrase.Right("at most"), document.Column{Heading: "agree"})
	}
	t.Columns = append(t.Columns, phrase.Right("repeatability SD"))
	var apart []string
	main := pasting.Main()
	for _, f := range s.Features {
		known, _ := trait.Lookup(f.Feature)
		if f.Agrees != nil && !*f.Agrees && slices.Contains(main, f.Feature) {
			apart = append(apart, fmt.Sprintf("%s by %s, at most %s", known.Label, phrase.Figure(f.Feature, *f.Spread).Text, phrase.WithUnit(f.Feature, *f.Limit)))
		}
		if !all && !slices.Contains(main, f.Feature) {
			continue
		}
		row := []document.Cell{document.Words(known.Label), document.Words(known.Unit)}
		for _, v := range f.Values {
			row = append(row, phrase.Optional(f.Feature, v))
		}
		if several {
			row = append(row, phrase.Figure(f.Feature, f.Mean), phrase.Optional(f.Feature, f.Spread), phrase.Optional(f.Feature, f.Limit), document.Words(phrase.YesNo(f.Agrees)))
		}
		t.Rows = append(t.Rows, append(row, spread(f.RepeatSD)))
	}
	if len(apart) == 0 {
		return []document.Block{t}
	}
	box := document.Callout{Kind: document.Caution, Title: "The runs differ by more than runs of one flour usually do", Text: phrase.Sentences(strings.Join(apart, "; ")) + " See whether one of them went wrong, and repeat it."}
	if len(apart) == 1 { // of ten features, one does by chance now and then
		box.Kind, box.Title = document.Notice, "The runs differ in one feature by more than in 95 of 100 cases"
		box.Text = phrase.Sentences(apart[0]) + " Of ten features one does so now and then by chance."
	}
	return []document.Block{box, t}
}

func caption(s measurement.SessionOfLot) string {
	text := phrase.Plural(len(s.Runs), "run")
	if s.Waiting {
		return text + ". Instrument and day are not known: " + map[bool]string{true: "the runs wait", false: "the run waits"}[len(s.Runs) > 1] + " for a line in a runs file, so nothing is said of repeatability"
	}
	if s.Instrument != "" {
		text += " on instrument " + s.Instrument
	}
	if s.Day != "" {
		text += ", " + s.Day
	}
	if len(s.Runs) > 1 {
		text += ". At most: what runs of one flour differ by in 95 of 100 cases, by the laboratory's own duplicates"
	}
	return text
}

// spread is a standard deviation; it has more digits than the figure that it is of.
func spread(v *float64) document.Cell {
	if v == nil {
		return document.Words("–")
	}
	return document.Number(*v, phrase.Digits(*v))
}
