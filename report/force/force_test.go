package force

import (
	"errors"
	"math"
	"strings"
	"testing"

	"flourcast/report/chart"
	"flourcast/report/document"
)

// TestIn: 1 gf is 9.80665 mN by definition, so 11.76798 N are 1200 gf. The document that
// was given stays in N.
func TestIn(t *testing.T) {
	in := func() document.Document {
		return document.Document{Title: "x", Sections: []document.Section{{Heading: "h", Blocks: []document.Block{
			&document.Table{ID: "t", Columns: []document.Column{{Heading: "hardness", Unit: "N", Name: "hardness_N"}, {Heading: "work", Unit: "N·mm"}, {Heading: "stress", Unit: "kPa"}, {Heading: "springiness"}},
				Rows: [][]document.Cell{{document.Number(11.76798, "11.77"), document.Number(0.0980665, "0.10"), document.Number(3, "3"), document.Words("–")}}},
			document.Picture{Figure: chart.Figure{ID: "f", Title: "f", Panels: []chart.Panel{{X: chart.Axis{Label: "time", Unit: "s"}, Y: chart.Axis{Label: "force", Unit: "N"},
				Series: []chart.Series{{Style: chart.StyleLine, X: []float64{0, 1}, Y: []float64{0, 0.980665}}}, Marks: []chart.Mark{{X: 1, Y: 0.980665, Label: "m"}}}}}},
		}}}}
	}
	d := in()
	out := In(d, "gf")
	tab := out.Sections[0].Blocks[0].(*document.Table)
	if tab.Columns[0].Unit != "gf" || tab.Columns[0].Name != "hardness_gf" || tab.Columns[1].Unit != "gf·mm" || tab.Columns[2].Unit != "kPa" {
		t.Errorf("%+v", tab.Columns)
	}
	if r := tab.Rows[0]; r[0].Text != "1200" || math.Abs(*r[0].Value-1200) > 1e-9 || r[1].Text != "10" || r[2].Text != "3" || r[3].Text != "–" {
		t.Errorf("%+v", r)
	}
	p := out.Sections[0].Blocks[1].(document.Picture).Figure.Panels[0]
	if p.Y.Unit != "gf" || math.Abs(p.Series[0].Y[1]-100) > 1e-9 || math.Abs(p.Marks[0].Y-100) > 1e-9 {
		t.Errorf("%+v", p)
	}
	was, orig := in().Sections[0].Blocks, d.Sections[0].Blocks
	if orig[0].(*document.Table).Rows[0][0].Text != was[0].(*document.Table).Rows[0][0].Text || orig[1].(document.Picture).Figure.Panels[0].Series[0].Y[1] != 0.980665 {
		t.Error("the document given was changed")
	}
	if same := In(d, "N"); same.Sections[0].Blocks[0].(*document.Table).Columns[0].Unit != "N" {
		t.Error("N was changed")
	}
	var bad *UnitError
	if err := Check("lbf"); !errors.As(err, &bad) {
		t.Error(err)
	}
}

// TestSentence: forces are converted where their unit stands behind them, to the digits
// that were written; 3.9 N are 397.69 gf and 0.119 N 12.134 gf, by the definition.
func TestSentence(t *testing.T) {
	for in, want := range map[string]string{
		"hardness at most 3.9 N":   "hardness at most 398 gf",
		"RMSECV 0.119 N, Q² 0.73":  "RMSECV 12.1 gf, Q² 0.73",
		"3.20 to 4.00 N is 0.5":    "326 to 408 gf is 0.5",
		"drift −0.0380 N a year":   "drift −3.87 gf a year",
		"of −0.145 to 0.0691 N, p": "of −14.8 to 7.05 gf, p",
		"work 0.50 N·mm":           "work 51 gf·mm",
		"lot N26-001 of 12 lots":   "lot N26-001 of 12 lots",
		"12 N26 lots":              "12 N26 lots",
		"hardness_N=..3.9":         "hardness_N=..3.9",
		"nothing":                  "nothing",
		"":                         "",
		strings.Repeat("9", 400) + " N of nobody": strings.Repeat("9", 400) + " N of nobody",
	} {
		if got := sentence(in); got != want {
			t.Errorf("%q: %q, want %q", in, got, want)
		}
	}
}

// TestAxes: a picture of measured against predicted is converted along both axes, one
// of lots by forecast along x, with limits and intervals.
func TestAxes(t *testing.T) {
	lo, n := 0.0, 0.00980665
	f := chart.Figure{Panels: []chart.Panel{
		{X: chart.Axis{Unit: "N", Min: &lo}, Y: chart.Axis{Unit: "N"}, Identity: true, Series: []chart.Series{{X: []float64{n}, Y: []float64{2 * n}, Low: []float64{n}}}},
		{X: chart.Axis{Unit: "N"}, Y: chart.Axis{Ticks: []string{"A"}}, Series: []chart.Series{{X: []float64{n}, Y: []float64{0}, Low: []float64{n}, High: []float64{3 * n}}}, VLines: []chart.Line{{At: n, Label: "1 N"}}},
		{X: chart.Axis{Unit: "mPa·s"}, Y: chart.Axis{}, Series: []chart.Series{{X: []float64{5}, Y: []float64{6}}}},
	}}
	got := figure(f)
	near := func(v, want float64) bool { return math.Abs(v-want) < 1e-9 }
	if s := got.Panels[0].Series[0]; !near(s.X[0], 1) || !near(s.Y[0], 2) || !near(s.Low[0], 1) || got.Panels[0].X.Unit != "gf" {
		t.Errorf("%+v", got.Panels[0])
	}
	if p := got.Panels[1]; !near(p.Series[0].X[0], 1) || p.Series[0].Y[0] != 0 || !near(p.Series[0].High[0], 3) || !near(p.VLines[0].At, 1) || p.VLines[0].Label != "102 gf" {
		t.Errorf("%+v", p)
	}
	if s := got.Panels[2].Series[0]; s.X[0] != 5 || s.Y[0] != 6 {
		t.Errorf("%+v", s)
	}
	if f.Panels[0].Series[0].X[0] != n || f.Panels[1].VLines[0].At != n || f.Panels[0].X.Unit != "N" {
		t.Error("the figure given was changed")
	}
}
