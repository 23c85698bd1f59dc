package campaign

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flourcast/dataset"
	"flourcast/study"
)

func env() study.Env {
	return study.Env{Clock: func() time.Time { return time.Date(2026, 1, 15, 9, 0, 0, 0, time.UTC) }, Version: "test", Seed: 1}
}

// files are 20 lots whose hardness falls by 1 N for 1,000 mPa·s of peak, and one new lot.
func files(t *testing.T) (dir string, q Request) {
	dir = t.TempDir()
	lots, pasting, texture := "lot,product\n", "lot,method,replicate,peak_mPas\n", "lot,protocol,replicate,hardness_N\n"
	for i := range 20 {
		lots += fmt.Sprintf("L%02d,white-salted-noodle\n", i)
		pasting += fmt.Sprintf("L%02d,noodle-water,1,%d\n", i, 2000+20*i)
		texture += fmt.Sprintf("L%02d,noodle-two-bite,1,%.3f\n", i, 5-0.02*float64(i)+0.01*float64(i%3))
	}
	put := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	q = Request{Dir: dir, Title: "t", Fit: study.FitRequest{Repeats: 1, Permutations: 19},
		Files: dataset.Files{Lots: []string{put("lots.csv", lots)}, Pasting: []string{put("pasting.csv", pasting)}, Texture: []string{put("texture.csv", texture)}}}
	fresh := put("new.csv", "lot,method,replicate,peak_mPas\nNEW,noodle-water,1,2210\nBAD,noodle-water,1,-4\n")
	q.Models = []Model{{File: "models/hard.json", Product: "white-salted-noodle", Response: "hardness_N", Kind: "ols", Method: "noodle-water", Features: []string{"peak_mPas"}, New: &study.ForecastRequest{Paths: []string{fresh}}}}
	return dir, q
}

// TestRun: the table, the model file and the forecasts are there; nothing in the result
// names the folder it was made in.
func TestRun(t *testing.T) {
	dir, q := files(t)
	res, err := Run(context.Background(), env(), q)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"table.csv", "models/hard.json"} {
		if _, err := os.Stat(filepath.Join(dir, name)); err != nil {
			t.Error(err)
		}
	}
	m := res.Models[0]
	if res.Join.Rows != 20 || m.Fit.Lots != 20 || len(m.Forecasts.Forecasts) != 2 {
		t.Fatalf("%d rows, %d lots, %d forecasts", res.Join.Rows, m.Fit.Lots, len(m.Forecasts.Forecasts))
	}
	// 5 − (2210 − 2000)/1000 = 4.79, and 0.01 on average of the figures that were added.
	if v := m.Forecasts.Forecasts[0].Value; v == nil || *v < 4.78 || *v > 4.82 {
		t.Errorf("forecast %v", v)
	}
	for _, f := range m.Forecasts.Findings {
		if strings.Contains(f.At.File+f.Found+f.Do, dir) {
			t.Errorf("%v names its folder", f)
		}
	}
	if len(m.Forecasts.Findings) == 0 {
		t.Error("a peak below nought was taken without a word")
	}
}

// TestRunRefuses: a job that refuses ends the campaign, and says of which model.
func TestRunRefuses(t *testing.T) {
	_, q := files(t)
	q.Models[0].Response = "springiness"
	if _, err := Run(context.Background(), env(), q); err == nil || !strings.Contains(err.Error(), "springiness of white-salted-noodle") {
		t.Errorf("%v", err)
	}
	_, q = files(t)
	q.Files.Lots = []string{filepath.Join(q.Dir, "none.csv")}
	if _, err := Run(context.Background(), env(), q); err == nil {
		t.Error("a file that is not there")
	}
}
