package newlots

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"

	"flourcast/dataset/method"
	"flourcast/study/card"
	"flourcast/study/job"
)

// rising is rows of a made-up run by general-13min whose viscosity is 50 and, from 192 s
// on, rises by a slope: every place of it is known.
func rising(labels string, slope float64) string {
	m, _ := method.Lookup("general-13min")
	var b strings.Builder
	for s := 0.0; s <= m.DurationS(); s += 4 {
		fmt.Fprintf(&b, "%s%g,%.1f,%.3f\n", labels, s, m.TemperatureAt(s), 50+slope*max(0, min(s, 372)-192))
	}
	return b.String()
}

// A model of whole curves finds a new lot's raw curve on its own grid: the mean of the
// lot's runs by the model's method, with the flour analysis beside it. A lot without
// such a run has no figure.
func TestCurvesOfNewLots(t *testing.T) {
	_, write := folder(t)
	const head = "lot,method,replicate,time_s,temperature_C,viscosity_mPas\n"
	paths := []string{
		write("a.csv", head+rising("A,general-13min,1,", 10)+rising("A,general-13min,2,", 12)),
		write("b.csv", head+rising("B,noodle-cold,1,", 10)),
		write("lots.csv", "lot,product,protein_pct\nA,soft-bite-noodle,9.1\nB,soft-bite-noodle,9.7\n"),
	}
	for _, by := range []string{"@general-13min", ""} {
		c := &card.Card{Product: "soft-bite-noodle", Method: "general-13min", Features: []string{"v_0100s" + by, "v_0292s" + by, "v_0300s" + by, "protein_pct"}}
		found, err := Read(context.Background(), job.Env{}, c, Files{Paths: paths})
		if err != nil {
			t.Fatal(err)
		}
		var read []string
		for _, l := range found.Lots {
			read = append(read, l.Name)
			for k, want := range []float64{50, 50 + 11*100, 50 + 11*108, map[string]float64{"A": 9.1, "B": 9.7}[l.Name]} {
				s, _, ok := l.Find(c.Features[k], c.Method)
				if wanted := l.Name == "A" || k == 3; ok != wanted || ok && math.Abs(s.Mean-want) > 1e-6 {
					t.Errorf("lot %s, %s: %+v (%v), want %g (%v)", l.Name, c.Features[k], s, ok, want, wanted)
				}
			}
		}
		if fmt.Sprint(read) != "[A B]" {
			t.Errorf("lots %v: a lots file is no table of lots for a model of curves", read)
		}
	}
}
