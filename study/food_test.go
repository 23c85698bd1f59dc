package study

import (
	"context"
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"flourcast/dataset/column"
	"flourcast/dataset/table"
	"flourcast/dataset/tablefile"
	"flourcast/eval/verdict"
	"flourcast/finding"
	"flourcast/model"
)

// chocolateCakes are the breakage angles of 45 batches of six cakes (Cook 1938, MSc
// thesis, Iowa State College; stat/components/testdata/SOURCE.md says more). A lot is
// a batch: its six cakes were one batter.
func chocolateCakes(t *testing.T, lotOf func(row int, batch string) string) *table.Table {
	t.Helper()
	f, err := os.Open("../stat/components/testdata/cake.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) != 271 {
		t.Fatalf("%d lines, %v; want a header and 270 cakes", len(rows), err)
	}
	var lots []string
	var b, c, temp, angle []float64
	known := make([]bool, 270)
	for i, row := range rows[1:] {
		known[i] = true
		lots = append(lots, lotOf(i, row[1]+row[0]))
		is := map[bool]float64{true: 1}
		b, c = append(b, is[row[1] == "B"]), append(c, is[row[1] == "C"])
		temp, angle = append(temp, number(t, row[2])), append(angle, number(t, row[3]))
	}
	tab, err := table.New("batch", column.Text("batch", lots), column.Numbers("recipe_B", b, known), column.Numbers("recipe_C", c, known),
		column.Numbers("oven_temp", temp, known), column.Numbers("angle", angle, known))
	if err != nil {
		t.Fatal(err)
	}
	return tab
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// Real cakes, each batch left out whole. RMSECV and Q² of lm() in R 4.2.2, fitted
// anew for each of 45 batches; with single cakes left out, whose batch stays in, lm()
// has RMSECV 7.82565863202: the batches' own level is what grouped folds do not see.
func TestChocolateCakesByBatch(t *testing.T) {
	fit := func(tab *table.Table) *FitResult {
		res, err := Fit(context.Background(), testEnv(), FitRequest{Table: tab, Response: "angle", Kind: "ols", Folds: "loo"})
		if err != nil {
			t.Fatal(err)
		}
		return res
	}
	whole := fit(chocolateCakes(t, func(_ int, batch string) string { return batch }))
	if math.Abs(whole.CV.RMSECV-8.11258299483) > 1e-9 || math.Abs(whole.CV.Q2-0.0483892771386) > 1e-9 || whole.Lots != 45 || whole.N != 270 {
		t.Errorf("RMSECV %.11g, Q² %.11g of %d cakes in %d batches; want 8.11258299483, 0.0483892771386 of 270 in 45", whole.CV.RMSECV, whole.CV.Q2, whole.N, whole.Lots)
	}
	if whole.Verdict.Standing == verdict.FitForUse {
		t.Error("fit for use although no rule covers breakage angle")
	}
	single := fit(chocolateCakes(t, func(row int, batch string) string { return batch + " " + strconv.Itoa(row) }))
	if math.Abs(single.CV.RMSECV-7.82565863202) > 1e-9 {
		t.Errorf("single cakes left out: RMSECV %.11g, want 7.82565863202", single.CV.RMSECV)
	}
}

// Real chemistry and a real panel: sixteen olive oils, each left out in turn. RMSECV of
// lm() and of pls 2.8-1 (1 to 4 components, X scaled within the training oils) in R 4.2.2.
func TestOliveOilsOfAPanel(t *testing.T) {
	tab, found, err := tablefile.Read("testdata/oliveoil.csv", "")
	if err != nil || found.Count(finding.Refused) != 0 {
		t.Fatal(err, found)
	}
	features := []string{"Acidity", "Peroxide", "K232", "K270", "DK"}
	for response, want := range map[string]struct {
		ols float64
		pls []float64
	}{
		"yellow": {21.7254326505, []float64{15.965587848, 17.7896968878, 19.1227149082, 21.8819777059}},
		"green":  {28.3831734632, []float64{20.4851424082, 22.480811292, 24.445427928, 27.4574359405}},
		"brown":  {4.53337665049, []float64{4.27808787469, 3.74001035731, 3.71397730363, 4.08096086123}},
		"glossy": {6.98628463508, []float64{5.02829562247, 5.6491263919, 6.5437560918, 6.82753956647}},
		"transp": {9.36812704621, []float64{6.98608338289, 8.45975962328, 8.80427910013, 8.85755459573}},
		"syrup":  {3.06626359087, []float64{2.43675269465, 2.59393876476, 2.80014998147, 2.78500883947}},
	} {
		request := FitRequest{Table: tab, Response: response, Features: features, Kind: "ols", Folds: "loo", Scaling: model.ScaleUnit}
		res, err := Fit(context.Background(), testEnv(), request)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(res.CV.RMSECV/want.ols-1) > 1e-9 {
			t.Errorf("%s, least squares: RMSECV %.12g, want %.12g", response, res.CV.RMSECV, want.ols)
		}
		for a, rmse := range want.pls {
			request.Kind, request.Components = "pls", a+1
			res, err := Fit(context.Background(), testEnv(), request)
			if err != nil {
				t.Fatal(err)
			}
			if got := res.CV.Path[a].RMSECV; math.Abs(got/rmse-1) > 1e-8 {
				t.Errorf("%s, %d components: RMSECV %.12g, want %.12g", response, a+1, got, rmse)
			}
			if res.Verdict.Standing == verdict.FitForUse {
				t.Errorf("%s: sixteen oils, fit for use", response)
			}
		}
	}
}
