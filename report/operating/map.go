package operating

import (
	"fmt"

	"flourcast/forecast/window"
	"flourcast/report/chart"
	"flourcast/report/document"
	"flourcast/study/operating"
)

// mapFigure draws zones, contours and lots over two features; where no lots stand
// around it is hatched.
func mapFigure(r *operating.Result) chart.Figure {
	m := r.Map
	xLabel, xUnit := axis(r.By[0])
	yLabel, yUnit := axis(r.By[1])
	p := chart.Panel{Height: 420, X: chart.Axis{Label: xLabel, Unit: xUnit, Min: &m.X[0], Max: &m.X[len(m.X)-1]}, Y: chart.Axis{Label: yLabel, Unit: yUnit, Min: &m.Y[0], Max: &m.Y[len(m.Y)-1]}}
	p.Bands = append(p.Bands, zoneBands(m, window.Acceptable)...)
	p.Bands = append(p.Bands, zoneBands(m, window.Target)...)
	p.Bands = append(p.Bands, unknown(m)...)
	inks := map[float64]int{}
	for _, c := range m.Contours {
		ink, seen := inks[c.P]
		if !seen {
			ink = 2 + len(inks)
			inks[c.P] = ink
		}
		s := chart.Series{Name: fmt.Sprintf("probability %.4g", c.P), Style: chart.StyleLine, Ink: ink}
		for _, spot := range c.Line {
			s.X, s.Y = append(s.X, spot.X), append(s.Y, spot.Y)
		}
		p.Series = append(p.Series, s)
	}
	p.Series = append(p.Series, lotSeries(r, func(l operating.Lot) (float64, float64) { return l.At[0], l.At[1] })...)
	return chart.Figure{ID: figureID(r), Title: "Operating window of " + xLabel + " and " + yLabel,
		Description: "Probability of meeting the specification over two features: zones shaded, lines of equal probability, the past lots, and hatching where no lots stand around.", Panels: []chart.Panel{p}}
}

// zoneBands shades a zone, one band for each run of columns that have it.
func zoneBands(m *window.Map, zone string) []chart.Band {
	var out []chart.Band
	open := map[int]int{} // which stretch of its zone in the column → band
	for i, column := range m.Zones {
		next, k := map[int]int{}, 0
		for _, s := range column {
			if s.Zone != zone {
				continue
			}
			b, ok := open[k]
			if !ok {
				b = len(out)
				out = append(out, chart.Band{Name: zone, Ink: zoneInk(zone), Strong: zone == window.Target})
			}
			out[b].X, out[b].Low, out[b].High = append(out[b].X, m.X[i]), append(out[b].Low, s.From), append(out[b].High, s.To)
			next[k] = b
			k++
		}
		open = next
	}
	return out
}

// unknown hatches what lies below and above the lots.
func unknown(m *window.Map) []chart.Band {
	below := chart.Band{Name: "no lots around: not known", Hatched: true}
	above := below
	for i, x := range m.X {
		low, high := m.Y[0], m.Y[0]
		if zones := m.Zones[i]; len(zones) > 0 {
			low, high = zones[0].From, zones[len(zones)-1].To
		}
		below.X, below.Low, below.High = append(below.X, x), append(below.Low, m.Y[0]), append(below.High, low)
		above.X, above.Low, above.High = append(above.X, x), append(above.Low, high), append(above.High, m.Y[len(m.Y)-1])
	}
	return []chart.Band{below, above}
}

// mapTable gives the zones of the second feature at a few values of the first, for
// whoever has no picture.
func mapTable(r *operating.Result) *document.Table {
	m := r.Map
	x, xUnit := axis(r.By[0])
	y, yUnit := axis(r.By[1])
	t := &document.Table{ID: "zones-" + figureID(r), Caption: "Zones of " + y + " at some values of " + x, Columns: []document.Column{{Heading: x, Unit: xUnit, Name: r.By[0], Align: document.Right}, {Heading: "zone"},
		{Heading: "from", Unit: yUnit, Name: "from", Align: document.Right}, {Heading: "to", Unit: yUnit, Name: "to", Align: document.Right}}}
	const every = 8
	for i := every / 2; i < len(m.X); i += every {
		for _, s := range m.Zones[i] {
			t.Rows = append(t.Rows, []document.Cell{number(r.By[0], m.X[i]), document.Words(s.Zone), number(r.By[1], s.From), number(r.By[1], s.To)})
		}
	}
	return t
}
