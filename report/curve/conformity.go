package curve

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"flourcast/finding"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/curve"
)

// conduct is how a run kept to its method: its stages, then what deviates.
func conduct(run curve.RunFeatures) []document.Block {
	c := run.Conformity
	if c == nil {
		return nil
	}
	var out []document.Block
	if len(c.Stages) > 0 {
		t := &document.Table{ID: "stages", Caption: "Measured temperature against the programme, stage by stage", Columns: []document.Column{{Heading: "stage"},
			{Heading: "from", Unit: "s", Align: document.Right}, {Heading: "to", Unit: "s", Align: document.Right}, {Heading: "offset", Unit: "°C", Align: document.Right}, {Heading: "worst", Unit: "°C", Align: document.Right},
			{Heading: "lag", Unit: "s", Align: document.Right}, {Heading: "rate", Unit: "°C/min", Align: document.Right}, {Heading: "programme", Unit: "°C/min", Align: document.Right}, {Heading: "overshoot", Unit: "°C", Align: document.Right}}}
		for _, s := range c.Stages {
			t.Rows = append(t.Rows, []document.Cell{document.Words(s.Name), phrase.OptionalFixed(&s.FromS, 0), phrase.OptionalFixed(&s.ToS, 0), phrase.OptionalFixed(&s.OffsetC, 1), phrase.OptionalFixed(&s.WorstC, 1), phrase.OptionalFixed(s.LagS, 0), phrase.OptionalFixed(s.Rate, 2), phrase.OptionalFixed(s.WantRate, 2), phrase.OptionalFixed(s.OverC, 1)})
		}
		out = append(out, t)
	}
	if len(c.Deviations) == 0 {
		return append(out, document.Paragraph(fmt.Sprintf("Nothing deviates. %.0f s were recorded, a point every %.3g s.", c.DurationS, c.StepS)))
	}
	t := &document.Table{ID: "deviations", Caption: "What deviates, by how much, and what it is likely to do", Columns: []document.Column{{Heading: "deviation"}, {Heading: "stage"}, {Heading: "size", Align: document.Right}, {Heading: "unit"}, {Heading: "likely effect"}, {Heading: "on"}, {Heading: "outcome"}}}
	for _, d := range c.Deviations {
		stage := d.Stage
		if stage == "" {
			stage = "whole run"
		}
		size := document.Words("–")
		if d.Unit != "" {
			size = document.Number(d.Size, phrase.General(d.Size))
		}
		t.Rows = append(t.Rows, []document.Cell{document.Words(d.Code), document.Words(stage), size, document.Words(d.Unit), document.Words(d.Effect), document.Words(d.Words()), document.Words(string(d.Severity))})
	}
	return append(out, t)
}

// Conformity is a section that says of each run how it kept to its method; pictures, and
// figures stage by stage, are on Page.
func Conformity(runs []curve.RunFeatures) document.Section {
	t := &document.Table{ID: "conformity", Caption: "How each run kept to its method", Columns: []document.Column{{Heading: "method"}, {Heading: "replicate"}, {Heading: "what deviates"}, {Heading: "stage"}, phrase.Right("by"), {Heading: "likely effect"}, {Heading: "outcome"}}}
	row := func(run curve.RunFeatures, cells ...document.Cell) {
		t.Rows = append(t.Rows, append([]document.Cell{document.Words(orDash(run.Method)), document.Words(orDash(run.Replicate))}, cells...))
	}
	dash := document.Words("–")
	for _, run := range runs {
		switch c, refused := run.Conformity, run.Findings.With(finding.Refused); {
		case len(refused) > 0:
			row(run, document.Words(refused[0].Found), dash, dash, dash, document.Words("refused"))
		case c == nil:
			row(run, document.Words("not judged"), dash, dash, dash, dash)
		case len(c.Deviations) == 0:
			row(run, document.Words("nothing"), dash, dash, dash, dash)
		default:
			for _, d := range c.Deviations {
				by := dash
				if d.Unit != "" {
					by = document.Number(d.Size, phrase.General(d.Size)+" "+d.Unit)
				}
				row(run, document.Words(strings.ReplaceAll(d.Code, "-", " ")), document.Words(orDash(d.Stage)), by, document.Words(orDash(d.Effect)), document.Words(string(d.Severity)))
			}
		}
	}
	return document.Section{Heading: "Conformity to the method", Blocks: []document.Block{t}}
}

func orDash(text string) string {
	if text == "" {
		return "–"
	}
	return text
}

// summary is what deviates among several runs: a row a deviation, most frequent
// first.
func summary(runs []curve.RunFeatures) *document.Table {
	t := &document.Table{ID: "conformity", Caption: "Deviations from the method", Columns: []document.Column{{Heading: "deviation"}, {Heading: "runs", Align: document.Right}, {Heading: "largest", Align: document.Right}, {Heading: "unit"}, {Heading: "lots"}}}
	type kind struct {
		code, unit string
		largest    float64
		lots       []string
	}
	var kinds []*kind
	for _, run := range runs {
		if run.Conformity == nil {
			continue
		}
		for _, d := range run.Conformity.Deviations {
			k := slices.IndexFunc(kinds, func(k *kind) bool { return k.code == d.Code })
			if k < 0 {
				k = len(kinds)
				kinds = append(kinds, &kind{code: d.Code, unit: d.Unit})
			}
			if math.Abs(d.Size) > math.Abs(kinds[k].largest) {
				kinds[k].largest = d.Size
			}
			if label := name(run); !slices.Contains(kinds[k].lots, label) {
				kinds[k].lots = append(kinds[k].lots, label)
			}
		}
	}
	slices.SortStableFunc(kinds, func(a, b *kind) int { return len(b.lots) - len(a.lots) })
	const shown = 3
	for _, k := range kinds {
		lots := strings.Join(k.lots[:min(shown, len(k.lots))], "; ")
		if len(k.lots) > shown {
			lots += "; …"
		}
		t.Rows = append(t.Rows, []document.Cell{document.Words(k.code), phrase.Count(len(k.lots)), document.Number(k.largest, phrase.General(k.largest)), document.Words(k.unit), document.Words(lots)})
	}
	return t
}
