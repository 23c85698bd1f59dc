package lotcard

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flourcast/dataset"
	"flourcast/forecast"
	"flourcast/report/document"
	"flourcast/study/book"
	"flourcast/study/following"
	"flourcast/study/forecasts"
	"flourcast/study/measurement"
)

// table is a joined table of one lot for two products and another lot.
func table(t *testing.T) *dataset.Table {
	t.Helper()
	path := filepath.Join(t.TempDir(), "table.csv")
	text := "lot,product,protein_pct,peak_mPas@noodle-water,peak_mPas@noodle-water_n,peak_mPas@noodle-water_sd,hardness_N\n" +
		"A,soft-bite-noodle,9.1,2410,2,31,3.21\nA,layer-cake,9.1,2410,2,31,\nB,soft-bite-noodle,8.8,2200,1,,\n"
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	out, _, err := dataset.ReadTable(path)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func text(t *testing.T, sections ...document.Section) string {
	t.Helper()
	var b strings.Builder
	if err := document.Text(&b, document.Document{Sections: sections}); err != nil {
		t.Fatal(err)
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

func TestAbout(t *testing.T) {
	d := About("A", table(t))
	var headings []string
	for _, s := range d.Sections {
		headings = append(headings, s.Heading)
	}
	if got := strings.Join(headings, ", "); got != "Results, Flour, What it is, Flour, What it is" {
		t.Errorf("sections: found %s, expected a set for each product, results where there are any", got)
	}
	got := text(t, d.Sections...)
	for _, want := range []string{"hardness 3.21 N", "protein 9.1 %"} {
		if !strings.Contains(got, want) {
			t.Errorf("no %q in\n%s", want, got)
		}
	}
	if strings.Contains(got, "2410") {
		t.Errorf("features stand with their runs: found %s", got)
	}
	if d := About("C", table(t)); len(d.Sections) != 0 {
		t.Errorf("a lot that is not there: found %d sections", len(d.Sections))
	}
}

// made is a forecast of 3.5 N (3.1 to 3.9) against at most 3.9 N and its outcome, 0 for
// none.
func made(decision string, measured float64) following.Scored {
	v, low, high := 3.5, 3.1, 3.9
	f := forecast.Forecast{Lot: "A", Response: "hardness_N", Value: &v, Low: &low, High: &high, Spec: "hardness_N=..3.9", Decision: decision, Domain: "inside"}
	s := following.Scored{Of: book.Forecast{Made: time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC), Of: f}, Why: following.NotMeasured}
	if measured > 0 {
		l := following.Score(forecasts.Record{Response: f.Response, Value: &v, Low: &low, High: &high, Spec: f.Spec, Decision: decision}, measured)
		s.Outcome, s.Why = &l, ""
	}
	return s
}

func TestForecasts(t *testing.T) {
	for name, c := range map[string]struct {
		made []following.Scored
		kind document.Kind
		want []string
	}{
		"waiting":  {[]following.Scored{made("accept", 0)}, document.Notice, []string{"Hardness 3.50 N (3.10 to 3.90) was forecast: accept", "Specification: at most 3.9 N. Not measured yet."}},
		"right":    {[]following.Scored{made("accept", 3.62)}, document.Notice, []string{"Measured 3.62 N, inside the interval. The decision was right.", "inside right"}},
		"wrong":    {[]following.Scored{made("accept", 4.2)}, document.Caution, []string{"Measured 4.20 N, above the interval. The decision was wrong.", "above wrong"}},
		"low":      {[]following.Scored{made("accept", 3)}, document.Caution, []string{"below the interval. The decision was right."}},
		"held":     {[]following.Scored{made("hold", 3.62)}, document.Notice, []string{"open, it meets"}},
		"the last": {[]following.Scored{made("reject", 4), made("accept", 3.62)}, document.Notice, []string{"was forecast: accept", "above right"}},
	} {
		s := Forecasts(c.made)
		if box, ok := s.Blocks[0].(document.Callout); !ok || box.Kind != c.kind {
			t.Errorf("%s: found the box %+v, expected one of kind %s", name, s.Blocks[0], c.kind)
		}
		got := text(t, s)
		for _, want := range c.want {
			if !strings.Contains(got, want) {
				t.Errorf("%s: no %q in\n%s", name, want, got)
			}
		}
		if len(s.Blocks) != 2 {
			t.Errorf("%s: found %d blocks, expected a box for the one response, and the table", name, len(s.Blocks))
		}
	}
	if got := text(t, Forecasts(nil)); !strings.Contains(got, "Nothing was forecast") {
		t.Errorf("none: found %s", got)
	}
}

func TestFeatures(t *testing.T) {
	num := func(v float64) *float64 { return &v }
	no := false
	s := measurement.SessionOfLot{Method: "noodle-water", Instrument: "V1", Day: "2026-03-14", Runs: []string{"R1", "R2"}, Features: []measurement.FeatureOfLot{
		{Feature: "peak_mPas", Values: []*float64{num(2400), num(2520)}, Mean: 2460, N: 2, Spread: num(120), RepeatSD: num(32.8), Limit: num(91.8), Agrees: &no},
		{Feature: "area_hot_mPas_s", Values: []*float64{num(441559), nil}, Mean: 441559, N: 1},
	}}
	aside := []measurement.AsideOfLot{{Run: "R3", Method: "noodle-water", Day: "2026-03-15", Why: "retest"}}
	got := text(t, Features([]measurement.SessionOfLot{s}, aside, false)...)
	for _, want := range []string{"The runs differ in one feature", "Peak viscosity by 120, at most 92 mPa·s", "2400 2520 2460 120 92 no 32.8", "instrument V1, 2026-03-14", "R3 noodle-water 2026-03-15 retest"} {
		if !strings.Contains(got, want) {
			t.Errorf("no %q in\n%s", want, got)
		}
	}
	if strings.Contains(got, "441559") {
		t.Error("a feature beside the ten stands among them")
	}
	if got := text(t, Features([]measurement.SessionOfLot{s}, nil, true)...); !strings.Contains(got, "441559 – 441559 – – – –") {
		t.Errorf("all: no feature beside the ten, with dashes for what is not known, in\n%s", got)
	}
	s.Features = append(s.Features, measurement.FeatureOfLot{Feature: "trough_mPas", Values: []*float64{num(1), num(2)}, N: 2, Spread: num(1), Limit: num(0.5), Agrees: &no})
	if got := text(t, Features([]measurement.SessionOfLot{s}, nil, false)...); !strings.Contains(got, "usually do") {
		t.Errorf("two features apart: no caution in\n%s", got)
	}
	s.Runs, s.Features = s.Runs[:1], []measurement.FeatureOfLot{{Feature: "peak_mPas", Values: []*float64{num(2400)}, Mean: 2400, N: 1, RepeatSD: num(32.8)}}
	if got := text(t, Features([]measurement.SessionOfLot{s}, nil, false)...); strings.Contains(got, "agree") || !strings.Contains(got, "2400 32.8") {
		t.Errorf("one run: found %s", got)
	}
}
