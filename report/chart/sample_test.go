package chart

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// samples are figures of every kind that reports use. All numbers are invented.
func samples() []Figure {
	r := rand.New(rand.NewPCG(1, 2))
	limit := func(v float64) *float64 { return &v }

	curve := func(scale, shift float64) (t, temperature, viscosity []float64) {
		for i := 0; i <= 780; i += 4 {
			s := float64(i)
			c := 50.0
			switch {
			case s > 60 && s <= 282:
				c = 50 + (s-60)*45/222
			case s > 282 && s <= 432:
				c = 95
			case s > 432 && s <= 660:
				c = 95 - (s-432)*45/228
			}
			rise := 1 / (1 + math.Exp(-(s-255-shift)/14))
			thin := 1 - 0.42/(1+math.Exp(-(s-345-shift)/28))
			set := 1 + 0.75/(1+math.Exp(-(s-560)/42))
			t = append(t, s/60)
			temperature = append(temperature, c)
			viscosity = append(viscosity, 30+scale*2500*rise*thin*set)
		}
		return
	}
	t, temperature, viscosity := curve(1, 0)
	pasting := Figure{ID: "curve", Title: "Pasting curve of lot A-0231", ShareX: true,
		Description: "Viscosity rises to a peak, falls while the paste is held hot, and rises again on cooling.",
		Panels: []Panel{{
			X: Axis{Label: "time", Unit: "min"}, Y: Axis{Label: "viscosity", Unit: "mPa·s", Min: limit(0)},
			Series: []Series{{Name: "lot A-0231, mean of two runs", Style: StyleLine, X: t, Y: viscosity}},
			Marks: []Mark{{t[60], viscosity[60], "onset 74.2 °C"}, {t[78], viscosity[78], "peak 2463 mPa·s"},
				{t[112], viscosity[112], "trough 1530 mPa·s"}, {t[195], viscosity[195], "final 2610 mPa·s"}},
			VLines: []Line{{At: 1, Label: "heating"}, {At: 4.7, Label: "holding"}, {At: 7.2, Label: "cooling"}, {At: 11, Label: "end hold"}},
		}, {
			X: Axis{Label: "time", Unit: "min"}, Y: Axis{Label: "temperature", Unit: "°C"}, Height: 80,
			Series: []Series{{Name: "temperature", Style: StyleLine, X: t, Y: temperature, Ink: 1}},
			VLines: []Line{{At: 1}, {At: 4.7}, {At: 7.2}, {At: 11}},
		}}}

	many := Figure{ID: "curves", Title: "Pasting curves of 50 lots", ShareX: true,
		Description: "Fifty curves in the background, the new lot in front: its peak lies above most of them.",
		Panels: []Panel{{X: Axis{Label: "time", Unit: "min"}, Y: Axis{Label: "viscosity", Unit: "mPa·s", Min: limit(0)}},
			{X: Axis{Label: "time", Unit: "min"}, Y: Axis{Label: "temperature", Unit: "°C"}, Height: 80,
				Series: []Series{{Style: StyleLine, X: t, Y: temperature, Ink: 4}}}}}
	for i := range 50 {
		t, _, v := curve(1+0.12*r.NormFloat64(), 6*r.NormFloat64())
		many.Panels[0].Series = append(many.Panels[0].Series,
			Series{Name: "50 lots of the calibration", Style: StyleLine, X: t, Y: v, Ink: 3, Faint: true, Labels: nil})
		if i == 49 {
			t, _, v = curve(1.22, 2)
			many.Panels[0].Series = append(many.Panels[0].Series, Series{Name: "new lot", Style: StyleLine, X: t, Y: v})
			t, _, v = curve(0.7, -6)
			many.Panels[0].Series = append(many.Panels[0].Series, Series{Name: "sprouted lot", Style: StyleLine, X: t, Y: v, Ink: 1})
		}
	}

	scatter := func(id string, n int, slope float64) Panel {
		p := Panel{X: Axis{Label: "peak viscosity", Unit: "mPa·s"}, Y: Axis{Label: "hardness", Unit: "N"},
			HLines: []Line{{At: 4.0, Label: "spec 4.0"}, {At: 3.2, Label: "spec 3.2"}}}
		for year, ink := range []int{0, 1, 2} {
			s := Series{Name: fmt.Sprintf("crop year %d", 2023+year), Style: StylePoints, Ink: ink}
			for range n / 3 {
				x := 2400 + 250*r.NormFloat64()
				y := 3.6 + slope*(x-2400) + 0.18*r.NormFloat64()
				s.X, s.Y = append(s.X, x), append(s.Y, y)
				s.Low, s.High = append(s.Low, y-0.12), append(s.High, y+0.12)
				s.Labels = append(s.Labels, fmt.Sprintf("lot %s-%d: %.0f mPa·s, %.2f N", id, len(s.X), x, y))
			}
			p.Series = append(p.Series, s)
		}
		b := Band{Name: "95 % interval of the mean", Ink: 3}
		l := Series{Name: "least squares", Style: StyleLine, Ink: 3}
		for x := 1800.0; x <= 3000; x += 25 {
			m, h := 3.6+slope*(x-2400), 0.05+2.4e-7*(x-2400)*(x-2400)
			b.X, b.Low, b.High = append(b.X, x), append(b.Low, m-h), append(b.High, m+h)
			l.X, l.Y = append(l.X, x), append(l.Y, m)
		}
		p.Bands, p.Series = []Band{b}, append(p.Series, l)
		return p
	}
	one := Figure{ID: "scatter", Title: "Hardness against peak viscosity", Description: "Hardness falls as the peak rises.",
		Panels: []Panel{scatter("A", 60, -0.0011)}}
	grid := Figure{ID: "leading", Title: "Hardness against the leading features", Description: "Four scatters.", Columns: 2}
	for _, s := range []float64{-0.0011, 0.0004, 0, 0.0008} {
		p := scatter("B", 24, s)
		p.Title = fmt.Sprintf("r = %.2f", s*500)
		p.HLines = nil
		grid.Panels = append(grid.Panels, p)
	}

	predicted := Figure{ID: "predicted", Title: "Measured against predicted", Description: "Points lie about the line of equality.",
		Panels: []Panel{{X: Axis{Label: "predicted hardness, cross-validated", Unit: "N"}, Y: Axis{Label: "measured hardness", Unit: "N"}, Identity: true,
			Series: []Series{{Name: "60 lots", Style: StylePoints}}}}}
	s := &predicted.Panels[0].Series[0]
	for range 60 {
		x := 3.6 + 0.4*r.NormFloat64()
		s.X, s.Y = append(s.X, x), append(s.Y, x+0.15*r.NormFloat64())
	}
	e := Band{Name: "± RMSECV", X: []float64{2.6, 4.6}, Low: []float64{2.45, 4.45}, High: []float64{2.75, 4.75}, Ink: 1}
	predicted.Panels[0].Bands = []Band{e}

	coefficients := Figure{ID: "coefficients", Title: "Standardised coefficients", Description: "Peak and breakdown pull down.",
		Panels: []Panel{{X: Axis{Label: "coefficient, per standard deviation", Unit: "N"},
			Y: Axis{Label: "feature", Ticks: []string{"pasting temperature", "peak viscosity", "trough viscosity", "breakdown", "final viscosity", "setback from trough", "peak time", "protein"}},
			Series: []Series{{Name: "coefficient with 95 % interval", Style: StylePoints,
				X:   []float64{0.02, -0.21, 0.05, -0.18, 0.04, 0.11, -0.03, 0.16},
				Y:   []float64{0, 1, 2, 3, 4, 5, 6, 7},
				Low: []float64{-0.07, -0.30, -0.06, -0.27, -0.05, 0.01, -0.12, 0.05}, High: []float64{0.11, -0.12, 0.16, -0.09, 0.13, 0.21, 0.06, 0.27}}}}}}
	vip := Figure{ID: "vip", Title: "Importance", Description: "Bars over categories.",
		Panels: []Panel{{X: Axis{Label: "VIP", Unit: "no unit"}, Y: Axis{Label: "feature", Ticks: []string{"peak viscosity", "breakdown", "protein"}},
			Series: []Series{{Style: StyleBars, X: []float64{1.7, 1.4, 0.6}, Y: []float64{0, 1, 2}}}, VLines: []Line{{At: 1, Label: "1 = average"}}}}}

	control := Figure{ID: "control", Title: "Control flour", Description: "One day lies beyond the action limit.",
		Panels: []Panel{{X: Axis{Label: "test day", Unit: "number"}, Y: Axis{Label: "peak of the control flour", Unit: "mPa·s"}, Height: 170,
			Series: []Series{{Name: "control run", Style: StyleLine}, {Name: "control run", Style: StylePoints}},
			HLines: []Line{{At: 2500, Label: "mean 2500", Strong: true}, {At: 2575, Label: "+3 s"}, {At: 2550, Label: "+2 s"}, {At: 2450, Label: "−2 s"}, {At: 2425, Label: "−3 s"}},
		}}}
	c := &control.Panels[0]
	for i := range 30 {
		y := 2500 + 25*r.NormFloat64()
		if i == 21 {
			y = 2604
			c.Marks = []Mark{{22, y, "beyond the action limit"}}
		}
		for k := range c.Series {
			c.Series[k].X, c.Series[k].Y = append(c.Series[k].X, float64(i+1)), append(c.Series[k].Y, y)
		}
	}

	bars := Figure{ID: "histogram", Title: "Permuted Q²", Description: "The observed Q² lies beyond all permuted ones.",
		Panels: []Panel{{X: Axis{Label: "Q² after permutation", Unit: "no unit"}, Y: Axis{Label: "permutations", Unit: "count"}, Height: 200,
			Series: []Series{{Name: "999 permutations", Style: StyleBars, Width: 0.05, Ink: 3}}, VLines: []Line{{At: 0.71, Label: "observed 0.71", Strong: true}}}}}
	for i := range 14 {
		x := -0.55 + 0.05*float64(i)
		bars.Panels[0].Series[0].X = append(bars.Panels[0].Series[0].X, x)
		bars.Panels[0].Series[0].Y = append(bars.Panels[0].Series[0].Y, math.Round(230*math.Exp(-(x+0.2)*(x+0.2)/0.025)))
	}

	all := Figure{ID: "inks", Title: "All inks", Description: "Every ink as line, points and bars."}
	p := Panel{X: Axis{Label: "x", Unit: "no unit"}, Y: Axis{Label: "y", Unit: "no unit"}}
	for i := range 8 {
		l := Series{Name: fmt.Sprintf("line %d", i), Style: StyleLine, Ink: i}
		g := Series{Name: fmt.Sprintf("points %d", i), Style: StylePoints, Ink: i}
		for x := range 10 {
			l.X, l.Y = append(l.X, float64(x)), append(l.Y, float64(i)+0.4*math.Sin(float64(x)))
			g.X, g.Y = append(g.X, float64(x)), append(g.Y, float64(i)+0.25+0.4*math.Sin(float64(x)))
		}
		p.Series = append(p.Series, l, g)
	}
	q := Panel{X: Axis{Label: "year", Ticks: []string{"2023", "2024", "2025"}}, Y: Axis{Label: "lots", Unit: "count"}, Height: 160}
	for i := range 6 {
		q.Series = append(q.Series, Series{Name: fmt.Sprintf("bars %d", i), Style: StyleBars, Ink: i, X: []float64{0, 1, 2}, Y: []float64{float64(9 - i), 4, float64(3 + i)}})
	}
	all.Panels = []Panel{p, q}
	return []Figure{pasting, many, one, grid, predicted, coefficients, vip, control, bars, all}
}
