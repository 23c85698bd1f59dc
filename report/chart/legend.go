package chart

import (
	"slices"

	"flourcast/report/chart/pen"
)

// legendsOf returns one legend for the whole figure where panels share x or
// all have the same entries, else one for each panel.
func legendsOf(f Figure) [][]pen.Entry {
	if f.ShareX {
		return [][]pen.Entry{legendOf(f.Panels)}
	}
	var out [][]pen.Entry
	for i := range f.Panels {
		out = append(out, legendOf(f.Panels[i:i+1]))
	}
	if !slices.ContainsFunc(out, func(l []pen.Entry) bool { return !slices.Equal(l, out[0]) }) {
		return out[:1]
	}
	return out
}

// legendOf collects the named things of panels; series of one name and look
// share an entry.
func legendOf(panels []Panel) []pen.Entry {
	var out []pen.Entry
	add := func(e pen.Entry) {
		if e.Name == "" {
			return
		}
		for i := range out {
			o := &out[i]
			if o.Name == e.Name && o.Look == e.Look && o.Band == e.Band && o.Hatched == e.Hatched && o.Strong == e.Strong && o.Identity == e.Identity {
				o.Line, o.Glyph = o.Line || e.Line, o.Glyph || e.Glyph
				o.Whisker, o.Bar = o.Whisker || e.Whisker, o.Bar || e.Bar
				return
			}
		}
		out = append(out, e)
	}
	for _, p := range panels {
		for _, s := range p.Series {
			add(pen.Entry{Name: s.Name, Look: s.look(), Whisker: s.Low != nil && s.Style != StyleBars,
				Line: s.Style == StyleLine, Glyph: s.Style == StylePoints, Bar: s.Style == StyleBars})
		}
		for _, b := range p.Bands {
			add(pen.Entry{Name: b.Name, Look: pen.Look{Ink: b.Ink}, Band: !b.Hatched, Hatched: b.Hatched, Strong: b.Strong})
		}
		if p.Identity {
			add(pen.Entry{Name: "equal", Identity: true})
		}
	}
	return out
}
