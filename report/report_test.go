package report_test

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flourcast/dataset"
	"flourcast/forecast"
	"flourcast/report"
	"flourcast/study"
	"flourcast/work"
)

var update = flag.Bool("update", false, "rewrite the goldens; the run still fails where one changed")

func env() study.Env {
	return study.Env{Clock: func() time.Time { return time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC) }, Version: "test", Seed: 1}
}

// laboratory writes small made-up files into the working folder: 36 lots with
// feature values and hardness, one lot without noodles, one faulty reading.
func laboratory(t *testing.T) dataset.Files {
	t.Helper()
	lots := "lot,product,crop_year,protein_pct,protein_basis\n"
	pasting := "lot,method,peak_mPas,trough_mPas,final_mPas,pasting_temp_C\n"
	texture := "lot,protocol,replicate,hardness_N\n"
	for i := range 37 {
		lot := fmt.Sprintf("T%02d", i+1)
		peak := 2000 + float64((i*37)%41)*40
		trough := 0.62*peak + float64((i*13)%11)*8
		final := trough + 0.55*peak + float64((i*7)%5)*15
		protein := 8.4 + float64((i*11)%9)*0.2
		lots += fmt.Sprintf("%s,white-salted-noodle,%d,%.1f,14 %%\n", lot, 2023+i%3, protein)
		pasting += fmt.Sprintf("%s,noodle-water,%.0f,%.0f,%.0f,%.1f\n", lot, peak, trough, final, 66+float64(i%4)*0.3)
		if i == 36 {
			continue // screened, never cooked
		}
		odd := work.Rand(5, "lot", lot).NormFloat64() // what no curve sees
		for r := 1; r <= 2; r++ {
			h := 5.2 - 0.0007*peak + 0.15*protein + 0.25*odd + 0.05*float64((i*5+r*3)%7-3)
			texture += fmt.Sprintf("%s,two-bite,%d,%.2f\n", lot, r, h)
		}
	}
	texture += "T01,two-bite,3,soft\n"
	for name, text := range map[string]string{"lots.csv": lots, "pasting.csv": pasting, "texture.csv": texture} {
		if err := os.WriteFile(name, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return dataset.Files{Lots: []string{"lots.csv"}, Pasting: []string{"pasting.csv"}, Texture: []string{"texture.csv"}}
}

// TestGoldens holds the text of each job's document. Goldens are looked at by a
// person before they are committed.
func TestGoldens(t *testing.T) {
	golden, err := filepath.Abs("testdata")
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir())
	files := laboratory(t)
	ctx := context.Background()
	joined, err := study.Join(ctx, env(), study.JoinRequest{Files: files, Out: "table.csv"})
	if err != nil {
		t.Fatal(err)
	}
	fit, err := study.Fit(ctx, env(), study.FitRequest{Table: joined.Joined.Table, File: "table.csv", Response: "hardness_N", Kind: "pls", Repeats: 2, Permutations: 99,
		Features: []string{"peak_mPas", "breakdown_mPas", "final_mPas", "protein_pct"}, Out: "hardness.json"})
	if err != nil {
		t.Fatal(err)
	}
	judged := study.VerdictOf("hardness.json", fit.Card)
	low, high := 4.4, 5.2
	forecasts, err := study.Forecast(ctx, env(), study.ForecastRequest{Model: "hardness.json", Paths: []string{"pasting.csv"}, Lots: "lots.csv", Spec: &forecast.Spec{Response: "hardness_N", Low: &low, High: &high}})
	if err != nil {
		t.Fatal(err)
	}
	whole, err := study.Report(ctx, env(), study.ReportRequest{Model: "hardness.json"})
	if err != nil {
		t.Fatal(err)
	}
	documents := map[string]report.Document{"join": report.Join(joined), "fit": report.Fit(fit), "verdict": report.Verdict(judged),
		"forecast": report.Forecast(forecasts), "report": report.Model(whole)}
	for name, d := range documents {
		var text, page bytes.Buffer
		if err := report.Text(&text, d); err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if err := report.HTML(&page, d); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		path := filepath.Join(golden, name+".golden")
		want, err := os.ReadFile(path)
		if err != nil && !os.IsNotExist(err) {
			t.Fatal(err)
		}
		if bytes.Equal(want, text.Bytes()) {
			continue
		}
		t.Errorf("%s differs from testdata/%s.golden; see the .got file beside it", name, name)
		if err := os.WriteFile(path+".got", text.Bytes(), 0o644); err != nil {
			t.Error(err)
		}
		if *update {
			if err := os.WriteFile(path, text.Bytes(), 0o644); err != nil {
				t.Error(err)
			}
		}
	}
}

// TestUnfitModelIsSaidFirst: a verdict against a model stands before any figure.
func TestUnfitModelIsSaidFirst(t *testing.T) {
	t.Chdir(t.TempDir())
	joined, err := study.Join(context.Background(), env(), study.JoinRequest{Files: laboratory(t)})
	if err != nil {
		t.Fatal(err)
	}
	fit, err := study.Fit(context.Background(), env(), study.FitRequest{Table: joined.Joined.Table, Response: "hardness_N", Kind: "pls", Repeats: 2, Permutations: 99,
		Features: []string{"pasting_temp_C"}})
	if err != nil {
		t.Fatal(err)
	}
	var text bytes.Buffer
	if err := report.Text(&text, report.Fit(fit)); err != nil {
		t.Fatal(err)
	}
	verdict, figures := strings.Index(text.String(), "Not fit for use"), strings.Index(text.String(), "RMSECV")
	if verdict < 0 || figures < 0 || verdict > figures {
		t.Errorf("the verdict stands at %d, the first error at %d", verdict, figures)
	}
}
