package suitability

import (
	"strings"
	"testing"
	"time"

	"flourcast/dataset/treatment"
	"flourcast/eval/direction"
	"flourcast/eval/verdict"
	"flourcast/forecast"
	"flourcast/report/document"
	"flourcast/report/onepage"
	"flourcast/report/wording"
	"flourcast/study/comparison"
	"flourcast/study/enduse"
	"flourcast/study/suitability"
)

func v(x float64) *float64 { return &x }

// full is a sheet with all that can be said of a lot, one of several products beside it.
func full() *suitability.Result {
	spec, err := forecast.ParseSpec("hardness_N=2.6..3.4")
	if err != nil {
		panic(err)
	}
	m := suitability.Model{Row: 7, Product: "soft-bite-noodle", Response: "hardness_N", Made: time.Date(2026, 1, 2, 0, 0, 0, 0, time.UTC), Standing: verdict.FitForUse, Grade: verdict.RanksLots, Lots: 48, Years: 3}
	notFit := m
	notFit.Standing, notFit.Grade, notFit.Lots = verdict.NotFitForUse, "", 1
	provisional := m
	provisional.Standing, provisional.Grade = verdict.Provisional, verdict.ControlsQuality
	all := []string{suitability.TroubleOutside, suitability.TroubleEdge, suitability.TroubleRun, suitability.TroubleYear, suitability.TroubleNoValue, suitability.TroubleNotFit, suitability.TroubleKnown, suitability.TroubleOverridden}
	one := suitability.Sheet{Lot: "L1", Present: "P1", Products: []string{"soft-bite-noodle"}, NotFit: true, ChosenBy: suitability.ByRequest, References: []string{"RAAAAAA", "RBBBBBB"},
		Curves: []comparison.Curve{{Role: comparison.This, Lots: 1, TimeS: []float64{0, 60}, MPas: []float64{1, 2}}},
		Expected: []suitability.Expected{
			{Response: "hardness_N", Value: v(3.0), Low: v(2.7), High: v(3.3), Level: 0.918, Limits: &spec, Probability: v(0.995), Decision: forecast.Accept, Measured: v(3.1), Present: v(2.9), PresentForecast: true, Trouble: []string{suitability.TroubleEdge, suitability.TroubleKnown, suitability.TroubleYear, suitability.TroubleOverridden}, Model: m},
			{Response: "springiness", Level: 0.9, Trouble: all, Model: notFit},
			{Response: "cohesiveness", Value: v(0.6), Level: 1, Model: provisional},
			{Response: "firmness_N", Value: v(1.6), Level: 0.9, Present: v(1.5), Probability: v(0.001), Limits: &spec, Decision: forecast.Reject, Model: m},
		},
		Windows: []enduse.Fit{{Product: "soft-bite-noodle", By: "window", Origin: enduse.Production, Limits: []string{"peak_mPas=2000..2600"}, Class: enduse.Decided, Decision: forecast.Accept},
			{Product: "soft-bite-noodle", By: "window", Origin: enduse.Production, Limits: []string{"peak_mPas=..2600"}, Class: enduse.Decided, Decision: forecast.Reject}},
		Treatment: string(treatment.Chlorinated),
	}
	for _, code := range []string{suitability.UncheckedSafety, suitability.UncheckedProcess, suitability.UncheckedMade, suitability.UncheckedDestination, suitability.UncheckedTreatment, suitability.UncheckedSprouting, suitability.UncheckedPresent, suitability.UncheckedReferences} {
		one.Unchecked = append(one.Unchecked, suitability.Unchecked{Code: code})
	}
	one.Unchecked = append(one.Unchecked, suitability.Unchecked{Code: suitability.UncheckedResponses, Columns: []string{"volume_mL", "springiness"}})
	for _, sign := range []string{direction.Rises, direction.Falls, direction.None, direction.Optimum} {
		for i, standing := range []string{direction.Established, direction.Contextual, direction.Contested} {
			one.Features = append(one.Features, comparison.Feature{Feature: "peak_mPas@noodle-water", Value: 2600, Present: v(2500), Low: 2000, High: 3000, Of: comparison.Reference, Sign: sign, Standing: standing,
				Own: []string{direction.Confirmed, direction.Contradicted, direction.CannotTell}[i], Points: []string{comparison.PointsHigher, comparison.PointsLower, comparison.PointsSame}[i], Than: []string{comparison.Present, comparison.Reference}[i%2], Disagree: i == 2, Source: "Somebody 1999"})
		}
	}
	one.Features = append(one.Features, comparison.Feature{Feature: "ash_pct", Value: 0.4, Low: 0.3, High: 0.5, Of: "model"})
	several := suitability.Sheet{Lot: "L2", Products: []string{"a", "b"}, NotFit: true, Models: []suitability.Model{m, notFit, provisional}, ChosenBy: comparison.ByLimits, References: []string{"RAAAAAA"}}
	for _, f := range []enduse.Fit{
		{By: "model", Response: "hardness_N", Value: v(3), Low: v(2.5), High: v(3.5), Limits: []string{"hardness_N=..3.4"}, Probability: v(0.5), Class: enduse.Decided, Standing: verdict.FitForUse},
		{By: "model", Response: "hardness_N", Value: v(3), Limits: []string{"hardness_N=2.."}, Probability: v(0.5), Class: enduse.Doubted, Domain: "outside"},
		{By: "model", Response: "hardness_N", Value: v(3), Limits: []string{"hardness_N=2.."}, Class: enduse.Doubted},
		{By: "model", Response: "hardness_N", Value: v(3), Class: enduse.Unknown},
		{By: "model", Response: "hardness_N", Class: enduse.Unknown},
		{By: "model", Response: "hardness_N", Value: v(3), Standing: verdict.NotFitForUse},
		{By: "window", Limits: []string{"peak_mPas=..2600"}, Class: enduse.Unknown},
		{By: "window", Limits: []string{"peak_mPas=..2600"}, Class: enduse.Decided, Decision: forecast.Accept},
		{By: "window", Limits: []string{"peak_mPas=..2600"}, Class: enduse.Decided, Decision: forecast.Reject, Probability: v(0.01)},
	} {
		f.Product, f.Reasons = "sponge-cake", []string{"run R0030 of instrument V1, nearest lot N23-001"}
		several.Fits = append(several.Fits, f)
	}
	return &suitability.Result{Made: m.Made, Customer: "C & Co", Sheets: []suitability.Sheet{one, several}, Codes: []suitability.Coded{{Lot: "N1", Code: "RAAAAAA"}}}
}

// text is all that a document says, in order.
func text(d document.Document) string {
	out := []string{d.Title, d.Subtitle, d.Notice}
	for _, m := range d.Meta {
		out = append(out, m.Name, m.Value)
	}
	for _, s := range d.Sections {
		out = append(out, s.Heading)
		for _, block := range s.Blocks {
			switch k := block.(type) {
			case document.Paragraph:
				out = append(out, string(k))
			case document.Callout:
				out = append(out, k.Title, k.Text)
			case document.Picture:
				out = append(out, k.Caption)
			case *document.Table:
				for _, row := range k.Rows {
					for _, c := range row {
						out = append(out, c.Text)
					}
				}
			}
		}
	}
	return strings.Join(out, " ")
}

// Everything that can be said is said in words: no key is missing, no place unfilled
// (Say would panic), and each sentence stands where it should.
func TestEverythingHasWords(t *testing.T) {
	for destination, want := range map[string]string{"": "We do not know where this flour goes", "Germany": "This flour may not be allowed in Germany.", "Atlantis": "Ask whether this flour is allowed in Atlantis."} {
		r := full()
		r.Destination = destination
		if destination != "" {
			r.Sheets[0].Permission = string(treatment.Abroad(treatment.Chlorinated, destination))
		}
		docs := Sheets(r, wording.English())
		if len(docs) != 2 {
			t.Fatalf("%d documents, want 2", len(docs))
		}
		got := text(docs[0])
		for _, s := range []string{want, "Do not rely on the forecast below.", "between 2.70 and 3.30 N for 91 of 100 such lots", "more than 99 in 100", "less than 1 in 100", "enough to accept", "refused", "2.90 N expected", "1.50 N measured",
			"Springiness (how far it comes back after a bite): no forecast.", "no limits can be given", "2 other lots are too few for a band", "publications disagree (contested)", "Volume, springiness: no forecast of ours passed its checks.", "1 lot and made on"} {
			if !strings.Contains(got, s) {
				t.Errorf("%q is missing in\n%s", s, got)
			}
		}
		if strings.Index(got, "Do not rely") > strings.Index(got, "What to expect") {
			t.Error("the warning does not come first")
		}
		got = text(docs[1])
		for _, s := range []string{"the chance follows from the forecast", "unlike those", "held until", "no limits are known", "was not measured", "do not rely on it", "lie within", "lies outside"} {
			if !strings.Contains(got, s) {
				t.Errorf("%q is missing in\n%s", s, got)
			}
		}
		if strings.Contains(got, "R0030") || strings.Contains(got, "N23-001") {
			t.Error("a reason of the study stands on the sheet")
		}
		if house := text(House(r, "x.html")); !strings.Contains(house, "N1") || !strings.Contains(house, "RAAAAAA") || !strings.Contains(house, "x.html") {
			t.Errorf("the house's screen lacks codes or file:\n%s", house)
		}
	}
}

// A chance is never said rounder than it is.
func TestChance(t *testing.T) {
	w := writer{Catalogue: wording.English()}
	for p, want := range map[float64]string{0.9951: "more than 99 in 100", 0.99: "about 99 in 100", 0.5: "about 50 in 100", 0.0099: "less than 1 in 100", 0.01: "about 1 in 100", 1: "more than 99 in 100", 0: "less than 1 in 100"} {
		if got := w.chance(p); got != want {
			t.Errorf("%g: %s, want %s", p, got, want)
		}
	}
	for level, want := range map[float64]string{0.9: "90", 0.918: "91", 0.95: "95", 0.999: "99"} {
		if got := percent(level); got != want {
			t.Errorf("%g: %s, want %s", level, got, want)
		}
	}
}

// The common sheet, with every warning that it may have at once, fits a page of either
// size; with a window besides in the smallest type.
func TestFitsAPage(t *testing.T) {
	r := full()
	r.Sheets[0].Features, r.Sheets[0].Expected = r.Sheets[0].Features[:5], r.Sheets[0].Expected[:2]
	window := r.Sheets[0].Windows[:1]
	for least, windows := range map[float64][]enduse.Fit{7.5: nil, 7: window} {
		r.Sheets[0].Windows = windows
		for _, d := range Sheets(r, wording.English()) {
			for _, paper := range []onepage.Paper{onepage.A4, onepage.Letter} {
				size, err := onepage.Size(d, paper)
				if err != nil || size < least {
					t.Errorf("%s on %s: %g points, %v", d.Title, paper.Name, size, err)
				}
			}
		}
	}
}
