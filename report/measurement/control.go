package measurement

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/control"
	"flourcast/dataset/trait"
	"flourcast/report/chart"
	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/measurement"
)

// Control is the document of the control flour: the days, the runs that are in
// doubt, the charts.
func Control(r *measurement.ControlResult) document.Document {
	d := document.Document{Title: "Control flour", Subtitle: "Was the instrument as it usually is, day by day?",
		Meta: []document.Pair{{Name: "control runs", Value: fmt.Sprintf("%d on %d days", r.Controls, len(r.Days))}, {Name: "a day is decided by", Value: joined(r.Deciding)}}}
	d.Sections = append(d.Sections, daySection(r))
	for _, l := range lines(r.Charts) {
		d.Sections = append(d.Sections, chartSection(l, r.Events))
	}
	d.Sections = append(d.Sections, limitSection(r))
	if len(r.Overlaps) > 0 {
		d.Sections = append(d.Sections, overlapSection(r.Overlaps))
	}
	if len(r.Events) > 0 {
		d.Sections = append(d.Sections, eventSection(r.Events))
	}
	return withFindings(d, r.Findings)
}

func joined(features []string) string {
	var words []string
	for _, id := range features {
		words = append(words, phrase.Plain(id))
	}
	return strings.Join(words, ", ")
}

// State says in a box how the control flour stands on each instrument's last day, and
// how many days were out before.
func State(r *measurement.ControlResult) document.Callout {
	last := map[string]control.Day{}
	for _, day := range r.Days {
		if l, ok := last[day.Instrument]; !ok || day.Day >= l.Day {
			last[day.Instrument] = day
		}
	}
	c := document.Callout{Kind: document.Notice, Title: "Control flour"}
	var says []string
	for _, name := range r.Instruments {
		day := last[name]
		says = append(says, fmt.Sprintf("instrument %s %s on its last day, %s", instrument(name), strings.ReplaceAll(string(day.Standing), "-", " "), day.Day))
		if day.Standing == control.OutControl {
			c.Kind = document.Caution
			says[len(says)-1] += ": " + signals(day.Signals)
		}
	}
	c.Title += ": " + strings.Join(says, "; ")
	if c.Kind == document.Caution {
		c.Text = "Nothing from such a day is accepted until the cause is mended and the control is repeated. "
	}
	c.Text += fmt.Sprintf("%d of %d days were out of control.", r.DaysOut, len(r.Days))
	return c
}

// daySection says first which days are out, and what that means for their runs.
func daySection(r *measurement.ControlResult) document.Section {
	s := document.Section{Heading: "Days"}
	answer := document.Callout{Kind: document.Answer, Title: "No day out of control", Text: fmt.Sprintf("%d days with a control run.", len(r.Days))}
	if r.DaysOut > 0 {
		answer.Title = fmt.Sprintf("%d of %d days out of control", r.DaysOut, len(r.Days))
		answer.Text = "Nothing from such a day is accepted until the cause is mended and the control is repeated."
	}
	s.Blocks = append(s.Blocks, answer)
	days := &document.Table{ID: "days", Caption: "Days that are not simply in control", Columns: []document.Column{{Heading: "instrument"}, {Heading: "day"}, {Heading: "standing"}, {Heading: "signals"}}}
	notJudged := 0
	for _, day := range r.Days {
		if day.Standing == control.NotJudged {
			notJudged++
			continue
		}
		if day.Standing != control.InControl {
			days.Rows = append(days.Rows, []document.Cell{document.Words(instrument(day.Instrument)), document.Words(day.Day), document.Words(string(day.Standing)), document.Words(signals(day.Signals))})
		}
	}
	if len(days.Rows) > 0 {
		s.Blocks = append(s.Blocks, days)
	}
	if notJudged > 0 {
		s.Blocks = append(s.Blocks, document.Paragraph(fmt.Sprintf("%d days are not judged: their control has no limits yet.", notJudged)))
	}
	if len(r.Marked) > 0 {
		t := &document.Table{ID: "marked", Caption: "Runs for which the control of their day does not vouch", Columns: []document.Column{{Heading: "run"}, {Heading: "lot"}, {Heading: "method"}, {Heading: "instrument"}, {Heading: "tested at"}, {Heading: "kind"}, {Heading: "status"}}}
		for _, m := range r.Marked {
			t.Rows = append(t.Rows, []document.Cell{document.Words(m.Run), document.Words(m.Lot), document.Words(m.Method), document.Words(instrument(m.Instrument)), document.Words(m.TestedAt), document.Words(m.Kind), document.Words(m.Status)})
		}
		s.Blocks = append(s.Blocks, t)
	}
	if r.Uncovered > 0 {
		s.Blocks = append(s.Blocks, document.Paragraph(fmt.Sprintf("%d runs were made on a day, or on an instrument, without a control run.", r.Uncovered)))
	}
	return s
}

// signals puts a day's signals in words.
func signals(all []control.Signal) string {
	var words []string
	for _, g := range all {
		text := fmt.Sprintf("%s %s (%s SD)", phrase.Plain(g.Feature), trait.Format(g.Feature, g.Value), signed(g.SDs))
		if g.Chart == "gathered" {
			text = "moving average of " + text
		}
		words = append(words, text)
	}
	return strings.Join(words, ", ")
}

func signed(v float64) string {
	return strings.Replace(fmt.Sprintf("%+.1f", v), "-", "−", 1)
}

func instrument(id string) string { return cmp.Or(id, "not stated") }

// line is one deciding feature on one instrument by one method: its batches, one
// chart each, on one time line.
type line struct {
	instrument, method, feature string
	charts                      []control.Chart
}

func lines(charts []control.Chart) []line {
	var out []line
	for _, c := range charts {
		if !c.Decides {
			continue
		}
		k := slices.IndexFunc(out, func(l line) bool {
			return l.instrument == c.Instrument && l.method == c.Method && l.feature == c.Feature
		})
		if k < 0 {
			k = len(out)
			out = append(out, line{c.Instrument, c.Method, c.Feature, nil})
		}
		out[k].charts = append(out[k].charts, c)
	}
	return out
}

// chartSection draws single runs above, the moving average below, run by run.
func chartSection(l line, events []control.Event) document.Section {
	label, unit := phrase.Plain(l.feature), ""
	if t, ok := trait.Lookup(l.feature); ok {
		unit = t.Unit
	}
	x := chart.Axis{Label: "control run, in order of time"}
	single := chart.Panel{Title: "Single runs", Height: 230, X: x, Y: chart.Axis{Label: label, Unit: unit}}
	gathered := chart.Panel{Title: "Moving average of the runs", Height: 150, X: x, Y: chart.Axis{Label: label, Unit: unit}}
	var times []string
	for _, c := range l.charts {
		for _, p := range c.Points {
			times = append(times, p.TestedAt)
		}
	}
	slices.Sort(times)
	taken := map[string]int{} // runs of one moment stand side by side
	for ink, c := range l.charts {
		draw(&single, &gathered, c, ink, func(at string) float64 {
			first, _ := slices.BinarySearch(times, at)
			taken[at]++
			return float64(first + taken[at])
		})
	}
	marked := 0
	for _, e := range events {
		if e.Instrument != "" && e.Instrument != l.instrument {
			continue
		}
		before, _ := slices.BinarySearch(times, e.TestedAt)
		at := chart.Line{At: float64(before) + 0.5, Label: e.Kind + " " + e.TestedAt}
		single.VLines = append(single.VLines, at)
		at.Label = ""
		gathered.VLines = append(gathered.VLines, at)
		marked++
	}
	fig := chart.Figure{ID: strings.ToLower("control-" + anchor(l.instrument) + "-" + anchor(l.method) + "-" + anchor(l.feature)), Title: phrase.First(label) + " of the control flour",
		Description: fmt.Sprintf("Each control run on instrument %s by %s with the limits of a run in order, and the exponentially weighted moving average with its own.", instrument(l.instrument), cmp.Or(l.method, "a method that is not stated")), ShareX: true, Panels: []chart.Panel{single}}
	if marked > 0 {
		fig.Description += " Upright lines: events of the instrument."
	}
	if len(gathered.Series) > 0 {
		fig.Panels = append(fig.Panels, gathered)
	}
	return document.Section{Part: "Charts", Heading: fmt.Sprintf("%s, instrument %s, %s", phrase.First(label), instrument(l.instrument), cmp.Or(l.method, "method not stated")), Blocks: []document.Block{document.Picture{Figure: fig}}}
}

// Inks of a chart: of runs in order, and of what is out.
const outInk = 3

// draw puts one batch's chart on the two panels; place gives a run's x.
func draw(single, gathered *chart.Panel, c control.Chart, ink int, place func(testedAt string) float64) {
	var xs []float64
	in := chart.Series{Name: "control " + c.Batch, Style: chart.StylePoints, Ink: ink}
	out := chart.Series{Name: "out of control", Style: chart.StylePoints, Ink: outInk}
	ewma := chart.Series{Name: "control " + c.Batch, Style: chart.StyleLine, Ink: ink}
	ewmaOut := chart.Series{Name: "out of control", Style: chart.StylePoints, Ink: outInk}
	limits := chart.Band{Name: "limits", Ink: ink}
	ewmaLimits := chart.Band{Name: "limits", Ink: ink}
	for _, p := range c.Points {
		x := place(p.TestedAt)
		xs = append(xs, x)
		s := &in
		if p.Single != "" {
			s = &out
			single.Marks = append(single.Marks, chart.Mark{X: x, Y: p.Value, Label: day(p.TestedAt)})
		}
		s.X, s.Y, s.Labels = append(s.X, x), append(s.Y, p.Value), append(s.Labels, strings.TrimSpace(p.Run+" "+p.TestedAt))
		if p.EWMA == nil {
			continue
		}
		ewma.X, ewma.Y = append(ewma.X, x), append(ewma.Y, *p.EWMA)
		ewmaLimits.X, ewmaLimits.Low, ewmaLimits.High = append(ewmaLimits.X, x), append(ewmaLimits.Low, *p.EWMALow), append(ewmaLimits.High, *p.EWMAHigh)
		if p.Gathered != "" {
			ewmaOut.X, ewmaOut.Y, ewmaOut.Labels = append(ewmaOut.X, x), append(ewmaOut.Y, *p.EWMA), append(ewmaOut.Labels, strings.TrimSpace(p.Run+" "+p.TestedAt))
		}
	}
	if l := c.Limits; l != nil {
		for _, x := range []float64{slices.Min(xs), slices.Max(xs)} {
			limits.X, limits.Low, limits.High = append(limits.X, x), append(limits.Low, l.Low), append(limits.High, l.High)
		}
		centre := chart.Series{Name: "centre", Style: chart.StyleLine, Ink: ink, Faint: true, X: limits.X, Y: []float64{l.Centre, l.Centre}}
		single.Bands, gathered.Bands = append(single.Bands, limits), append(gathered.Bands, ewmaLimits)
		single.Series, gathered.Series = append(single.Series, centre), append(gathered.Series, ewma)
	}
	for _, s := range []chart.Series{in, out} {
		if len(s.X) > 0 {
			single.Series = append(single.Series, s)
		}
	}
	if len(ewmaOut.X) > 0 {
		gathered.Series = append(gathered.Series, ewmaOut)
	}
}

func day(testedAt string) string { d, _, _ := strings.Cut(testedAt, " "); return d }

// anchor keeps letters and digits of a name.
func anchor(s string) string {
	return strings.Trim(strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' {
			return r
		}
		return '-'
	}, s), "-")
}

func limitSection(r *measurement.ControlResult) document.Section {
	right := document.Right
	t := &document.Table{ID: "limits", Caption: "Limits of the charts, and the days that lie outside", Columns: []document.Column{{Heading: "instrument"}, {Heading: "control"}, {Heading: "method"}, {Heading: "feature"}, {Heading: "decides"},
		{Heading: "runs", Align: right}, {Heading: "mean", Align: right}, {Heading: "assigned", Align: right}, {Heading: "SD", Align: right}, {Heading: "from", Align: right}, {Heading: "to", Align: right}, {Heading: "outside"}}}
	sds := 0.0
	for _, c := range r.Charts {
		decides, outside := "no", []string{}
		if c.Decides {
			decides = "yes"
		}
		for _, p := range c.Points {
			if p.Single != "" || p.Gathered != "" {
				outside = append(outside, day(p.TestedAt))
			}
		}
		const shown = 3
		if n := len(outside); n > shown {
			outside = append(outside[:shown], fmt.Sprintf("and %d more", n-shown))
		}
		row := []document.Cell{document.Words(instrument(c.Instrument)), document.Words(c.Batch), document.Words(c.Method), document.Words(trait.Label(c.Feature)), document.Words(decides), phrase.Count(len(c.Points)),
			phrase.Figure(c.Feature, c.Mean), document.Words("–")}
		if c.Assigned != nil {
			row[len(row)-1] = phrase.Figure(c.Feature, *c.Assigned)
		}
		if l := c.Limits; l != nil {
			sds = l.SDs
			row = append(row, document.Number(l.SD, general(l.SD)), phrase.Figure(c.Feature, l.Low), phrase.Figure(c.Feature, l.High), document.Words(strings.Join(outside, ", ")))
		} else {
			row = append(row, document.Words("–"), document.Words("–"), document.Words("–"), document.Words("no limits: "+c.Reason))
		}
		t.Rows = append(t.Rows, row)
	}
	s := document.Section{Heading: "Limits", Blocks: []document.Block{t}}
	if sds > 0 {
		s.Blocks = append(s.Blocks, document.Paragraph(fmt.Sprintf("Limits are %.2f SD wide, so that a run in order is called out by %d deciding features together no more often than by one at 3 SD: once in 370 runs. The moving average adds no more than once in 500. Runs outside their limits did not count for them.", sds, len(r.Deciding))))
	}
	return s
}

func overlapSection(all []control.Overlap) document.Section {
	right := document.Right
	t := &document.Table{ID: "overlaps", Caption: "One batch of control flour and the next, on days when both were run", Columns: []document.Column{{Heading: "instrument"}, {Heading: "method"}, {Heading: "batch"}, {Heading: "next"}, {Heading: "feature"},
		{Heading: "days", Align: right}, {Heading: "next − batch", Name: "difference", Align: right}, {Heading: "SD", Align: right}, {Heading: "standard error", Name: "se", Align: right}}}
	for _, o := range all {
		t.Rows = append(t.Rows, []document.Cell{document.Words(instrument(o.Instrument)), document.Words(o.Method), document.Words(o.Batch), document.Words(o.Next), document.Words(trait.Label(o.Feature)), phrase.Count(o.Days),
			document.Number(o.Difference, general(o.Difference)), optional(o.SD), optional(o.SE)})
	}
	return document.Section{Heading: "From one batch to the next", Blocks: []document.Block{t}}
}

func eventSection(events []control.Event) document.Section {
	t := &document.Table{ID: "events", Caption: "What was done to the instruments; the moving average begins again after each", Columns: []document.Column{{Heading: "date"}, {Heading: "instrument"}, {Heading: "kind"}, {Heading: "note"}}}
	for _, e := range events {
		t.Rows = append(t.Rows, []document.Cell{document.Words(e.TestedAt), document.Words(cmp.Or(e.Instrument, "all")), document.Words(e.Kind), document.Words(e.Note)})
	}
	return document.Section{Heading: "Events", Blocks: []document.Block{t}}
}
