// Package measurement puts how well a laboratory measures into documents: the
// repeatability of features, the charts of the control flour, and what a measurement
// varies with.
//
//  1. Repeatability, Control and Variance build a document from the job's result.
//
// It computes no figure.
package measurement

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/finding"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/measurement"
)

// Repeatability is the document of the job of that name.
func Repeatability(r *measurement.RepeatabilityResult) document.Document {
	d := document.Document{Title: "Repeatability", Subtitle: "How well duplicates of one session agree, and whether a feature tells the lots apart"}
	if r.Table != "" {
		d.Meta = append(d.Meta, document.Pair{Name: "table", Value: r.Table})
	}
	if len(r.Aside) > 0 {
		var words []string
		for _, a := range r.Aside {
			words = append(words, fmt.Sprintf("%d %s", a.Runs, a.Reason))
		}
		d.Meta = append(d.Meta, document.Pair{Name: "runs that tell no repeatability", Value: strings.Join(words, ", ")})
	}
	for _, g := range r.Groups {
		d.Sections = append(d.Sections, repeatSection(g))
	}
	return withFindings(d, r.Findings)
}

func repeatSection(g measurement.RepeatGroup) document.Section {
	heading := cmp.Or(g.Method, "method not stated")
	if g.Instrument != "" {
		heading += " on instrument " + g.Instrument
	}
	right := document.Right
	t := &document.Table{ID: "repeatability", Caption: fmt.Sprintf("%d runs of %d lots; r: two results of one session differ by more in 5 %% of cases", g.Runs, g.Lots),
		Columns: []document.Column{{Heading: "feature", Name: "feature"}, {Heading: "mean", Align: right}, {Heading: "lots with duplicates", Name: "lots_with_duplicates", Align: right}, {Heading: "df", Align: right},
			{Heading: "s_r", Name: "repeat_sd", Align: right}, {Heading: "95 % from", Name: "repeat_sd_low", Align: right}, {Heading: "to", Name: "repeat_sd_high", Align: right}, {Heading: "r", Name: "repeat_limit", Align: right},
			{Heading: "CV", Unit: "%", Name: "cv_pct", Align: right}, {Heading: "SD between lots", Name: "between_lot_sd", Align: right}, {Heading: "ratio", Name: "between_over_repeat", Align: right}, {Heading: "tells lots apart", Name: "tells_lots_apart"}}}
	if !slices.ContainsFunc(g.Features, func(f measurement.RepeatOfAFeature) bool { return f.RepeatSD != nil }) {
		return document.Section{Heading: heading, Blocks: []document.Block{document.Paragraph(fmt.Sprintf("%d runs of %d lots, and no duplicates of one session among them: repeatability cannot be told.", g.Runs, g.Lots))}}
	}
	for _, f := range g.Features {
		verdict := document.Words("–")
		switch {
		case f.RepeatSD == nil:
			verdict = document.Words("no duplicates")
		case f.TellsApart != nil && *f.TellsApart:
			verdict = document.Words("yes")
		case f.TellsApart != nil:
			verdict = document.Words("no", 0)
			t.Notes = []string{fmt.Sprintf("does not tell these lots apart: the SD between lots is under %d × s_r", measurement.ApartRatio)}
		}
		t.Rows = append(t.Rows, []document.Cell{document.Words(trait.Label(f.Feature)), phrase.Figure(f.Feature, f.Mean), phrase.Count(f.Duplicated), phrase.Count(f.DF),
			optional(f.RepeatSD), optional(f.RepeatSDLow), optional(f.RepeatSDHigh), optional(f.RepeatLimit), optional(f.CVPct), optional(f.BetweenSD), optional(f.Ratio), verdict})
	}
	s := document.Section{Heading: heading, Blocks: []document.Block{t}}
	if table := suspectTable(g); table != nil {
		s.Blocks = append(s.Blocks, table)
	}
	for _, f := range g.Features {
		if f.SDWithoutOutliers != nil {
			s.Blocks = append(s.Blocks, document.Paragraph(fmt.Sprintf("%s: s_r is %s with all duplicates, %s without the outliers of Cochran's test.", trait.Label(f.Feature), general(*f.RepeatSD), general(*f.SDWithoutOutliers))))
		}
	}
	return s
}

// suspectTable has a row for each lot, test and standing; nil without suspects.
func suspectTable(g measurement.RepeatGroup) *document.Table {
	type key struct{ lot, day, test, standing, run string }
	var order []key
	features := map[key][]string{}
	for _, f := range g.Features {
		for _, s := range f.Suspects {
			k := key{s.Lot, s.Day, s.Test, s.Standing, s.Run}
			if features[k] == nil {
				order = append(order, k)
			}
			features[k] = append(features[k], phrase.Plain(f.Feature))
		}
	}
	if len(order) == 0 {
		return nil
	}
	slices.SortStableFunc(order, func(a, b key) int { return cmp.Or(cmp.Compare(a.test, b.test), cmp.Compare(a.lot, b.lot)) })
	t := &document.Table{ID: "suspects", Caption: "Suspects; none is left out of any figure above", Columns: []document.Column{{Heading: "test"}, {Heading: "lot"}, {Heading: "day"}, {Heading: "standing"}, {Heading: "features"}, {Heading: "run"}}}
	said := map[string]string{
		"Cochran":     "Cochran: the duplicates differ more than those of other lots. Look at the runs; void one only with its reason.",
		"Grubbs":      "Grubbs: the lot's mean stands apart from the others'. A lot may rightly do so; look whether it is what it is called.",
		"Grubbs pair": "Grubbs pair: two lots stand apart together. They may rightly do so; look whether they are what they are called.",
	}
	for _, k := range order {
		note := slices.Index(t.Notes, said[k.test])
		if note < 0 {
			note = len(t.Notes)
			t.Notes = append(t.Notes, said[k.test])
		}
		t.Rows = append(t.Rows, []document.Cell{document.Words(k.test, note), document.Words(k.lot), document.Words(k.day), document.Words(k.standing), document.Words(strings.Join(features[k], ", ")), document.Words(k.run)})
	}
	return t
}

func withFindings(d document.Document, l finding.List) document.Document {
	if len(l) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "Findings in the data", Blocks: []document.Block{document.Findings(l)}})
	}
	return d
}

func general(v float64) string {
	text := fmt.Sprintf("%.3g", v)
	if v >= 1000 || v <= -1000 {
		text = fmt.Sprintf("%.0f", v)
	}
	return strings.Replace(text, "-", "−", 1)
}

func optional(v *float64) document.Cell {
	if v == nil {
		return document.Words("–")
	}
	return document.Number(*v, general(*v))
}
