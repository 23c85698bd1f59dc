package curve

import (
	"bytes"
	"strings"
	"testing"

	"flourcast/dataset/method"
	"flourcast/dataset/pasting"
	"flourcast/dataset/pasting/conformity"
	"flourcast/dataset/pasting/trace"
	"flourcast/finding"
	"flourcast/report/chart"
	"flourcast/report/document"
	"flourcast/study/curve"
)

// runOf is a run of lot L by the 13-minute profile, spoiled by hand.
func runOf(t *testing.T, lot string, spoil func(c *pasting.Curve)) curve.RunFeatures {
	t.Helper()
	m, ok := method.Lookup("general-13min")
	if !ok {
		t.Fatal("no general-13min")
	}
	var c pasting.Curve
	for s := 0.0; s <= 780; s += 4 {
		c.TimeS, c.TemperatureC = append(c.TimeS, s), append(c.TemperatureC, m.TemperatureAt(s))
		c.ViscosityMPas = append(c.ViscosityMPas, 60+14*max(0, min(s, 372)-192)-8*max(0, min(s, 480)-372)+5*max(0, s-480))
	}
	spoil(&c)
	run := curve.RunFeatures{Lot: lot, Method: m.ID, Replicate: "1", Features: map[string]float64{}, Places: map[string]curve.Place{}, Curve: &c, Programme: m.Programme}
	tr, faults := trace.Read(c, m)
	report, fl := conformity.Check(tr, faults, conformity.Policy{})
	run.Conformity, run.Findings = &report, fl
	if tr == nil {
		return run
	}
	f, _ := pasting.FromTrace(tr)
	for _, v := range f.Values() {
		run.Features[v.ID] = v.Value
		if at, ok := f.TimeOf(v.ID); ok {
			run.Places[v.ID] = curve.Place{TimeS: at, ViscosityMPas: v.Value}
		}
	}
	s, _ := f.Stages()
	run.Stages = &s
	return run
}

func labels(marks []chart.Mark) string {
	var out []string
	for _, m := range marks {
		out = append(out, m.Label)
	}
	return strings.Join(out, " ")
}

// TestPictureOfOne: the picture of a single run has its stages, its features, its
// deviations where they are, and the programme beside the measured temperature.
func TestPictureOfOne(t *testing.T) {
	run := runOf(t, "L", func(c *pasting.Curve) { c.ViscosityMPas[100] += 4000 })
	fig, ok := alone(run, "run-1")
	if !ok || len(fig.Panels) != 2 {
		t.Fatalf("%v, %d panels", ok, len(fig.Panels))
	}
	viscosity, temperature := fig.Panels[0], fig.Panels[1]
	if got := labels(viscosity.Marks); got != "tangent onset peak trough final spike" {
		t.Errorf("marks %s", got)
	}
	if spike := viscosity.Marks[5]; spike.X != 400./60 || spike.Y < 4000 {
		t.Errorf("the spike is marked at %g min, %g mPa·s", spike.X, spike.Y)
	}
	if len(viscosity.VLines) != 4 || viscosity.VLines[1].Label != "hot hold" || viscosity.VLines[1].At < 4.6 || viscosity.VLines[1].At > 4.8 {
		t.Errorf("stages %+v", viscosity.VLines)
	}
	if len(temperature.Series) != 2 || temperature.Series[0].Name != "programme" || temperature.Series[1].Name != "measured" || len(temperature.Series[0].X) != len(run.Programme) {
		t.Errorf("temperature %+v", temperature.Series)
	}
	if _, err := chart.SVG(fig); err != nil {
		t.Error(err)
	}
}

// TestPictureOfMany: many curves are faint and without a legend, the strip has
// one temperature a method, and runs without a curve are not drawn.
func TestPictureOfMany(t *testing.T) {
	one := runOf(t, "L", func(*pasting.Curve) {})
	runs := []curve.RunFeatures{{Lot: "no curve"}}
	for range manyRuns {
		runs = append(runs, one)
	}
	fig, drawn := together(runs, "curves")
	if drawn != manyRuns || !fig.Panels[0].Series[0].Faint || fig.Panels[0].Series[0].Name != "" || len(fig.Panels[1].Series) != 1 {
		t.Errorf("%d drawn, %+v", drawn, fig.Panels[1].Series)
	}
	if s := Section([]curve.RunFeatures{{Lot: "no curve"}, {Lot: "nor here"}}, "Curves"); len(s.Blocks) != 1 {
		t.Errorf("%+v", s)
	}
}

// TestDocuments: the terminal and the page say what deviates and what was read,
// a refused run says why, and all forms can be written.
func TestDocuments(t *testing.T) {
	good := runOf(t, "GOOD", func(*pasting.Curve) {})
	warm := runOf(t, "WARM", func(c *pasting.Curve) {
		for i, s := range c.TimeS {
			if s > 290 && s < 430 {
				c.TemperatureC[i] += 3
			}
		}
	})
	refused := runOf(t, "BACK", func(c *pasting.Curve) { c.TimeS[50] = 0 })
	several := &curve.FeaturesResult{Runs: []curve.RunFeatures{good, warm, refused}, Findings: finding.List{}}
	for name, c := range map[string]struct {
		document document.Document
		want     []string
	}{
		"good":  {Document(&curve.FeaturesResult{Runs: []curve.RunFeatures{good}}), []string{"Nothing deviates", "pasting_temp_tangent_C", "heating 50 to 95 °C"}},
		"warm":  {Document(&curve.FeaturesResult{Runs: []curve.RunFeatures{warm}}), []string{"temperature-offset", "+3.0 °C off", "breakdown"}},
		"three": {Document(several), []string{"temperature-offset", "WARM", "time-backwards"}},
		"page":  {Page(several), []string{"GOOD, general-13min", "BACK, general-13min", "time-backwards", "Nothing deviates"}},
		"kept":  {document.Document{Sections: []document.Section{Conformity(several.Runs)}}, []string{"nothing", "temperature offset", "3 °C", "refused"}},
		"laid":  {Laid(&curve.LayResult{Method: "m", On: "temperature", Step: 1, By: "lot", Rows: 2, Columns: 3, First: "v_heat_51C", Last: "v_final_0120s", Runs: []curve.LaidRun{{Lot: "A", Absent: 2}, {Lot: "B"}}}), []string{"every 1 °C", "v_heat_51C", "Absent cells"}},
	} {
		var text, html bytes.Buffer
		if err := document.Text(&text, c.document); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if err := document.HTML(&html, c.document); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		plain := strings.Join(strings.Fields(text.String()), " ")
		for _, want := range c.want {
			if !strings.Contains(plain, want) {
				t.Errorf("%s lacks %q: %s", name, want, text.String())
			}
		}
	}
}

// TestOverlay: the lot's own curves are named, others faint, and the span of reference
// lots is a band that says how many they are.
func TestOverlay(t *testing.T) {
	own, other := runOf(t, "L", func(*pasting.Curve) {}), runOf(t, "M", func(*pasting.Curve) {})
	span := &Span{Lots: 24, Of: "met their limits", TimeS: []float64{0, 60}, Low: []float64{10, 20}, High: []float64{30, 40}}
	fig, ok := Overlay([]curve.RunFeatures{own}, []curve.RunFeatures{other, {Lot: "no curve"}}, span, "curves")
	if !ok || len(fig.Panels[0].Series) != 2 || fig.Panels[0].Series[0].Faint || !fig.Panels[0].Series[1].Faint || fig.Panels[0].Series[1].Name != "M, general-13min" {
		t.Fatalf("found %v, %+v", ok, fig.Panels)
	}
	if b := fig.Panels[0].Bands; len(b) != 1 || b[0].Name != "from the lowest to the highest curve of 24 lots that met their limits" || b[0].X[1] != 1 {
		t.Errorf("bands: found %+v", b)
	}
	if len(fig.Panels[0].Marks) == 0 || len(fig.Panels[0].VLines) != 4 {
		t.Errorf("found %d marks and %d stages, expected those of the lot's run", len(fig.Panels[0].Marks), len(fig.Panels[0].VLines))
	}
	if _, err := chart.SVG(fig); err != nil {
		t.Error(err)
	}
	if fig, _ = Overlay([]curve.RunFeatures{own}, nil, nil, "curves"); len(fig.Panels[0].Bands) != 0 {
		t.Error("a band without reference lots")
	}
	if _, ok = Overlay([]curve.RunFeatures{{Lot: "no curve"}}, nil, span, "curves"); ok {
		t.Error("a lot without a curve was drawn")
	}
}
