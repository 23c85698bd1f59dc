package force

import (
	"errors"
	"math"
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
	if r := tab.Rows[0]; r[0].Text != "1200" || math.Abs(*r[0].Value-1200) > 1e-9 || r[1].Text != "10.0" || r[2].Text != "3" || r[3].Text != "–" {
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
