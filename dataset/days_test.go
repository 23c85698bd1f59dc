package dataset

import (
	"context"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/dataset/dayshift"
)

// TestJoinTakesDaysOut: A is cooked on a day 1 N harder by the control than B's day.
// The control is in no lots file: its rows are accepted and belong to no lot.
func TestJoinTakesDaysOut(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	f := Files{
		Lots:    []string{write("lots.csv", "lot,product\nA,noodle\nB,noodle\n")},
		Pasting: []string{write("pasting.csv", "lot,method,peak_mPas\nA,noodle-water,2000\nB,noodle-water,2100\n")},
		Texture: []string{write("texture.csv", "lot,product,date,replicate,hardness_N,texture_score\nCTRL,noodle,2026-03-02,1,5,\nCTRL,noodle,2026-03-02,2,5.2,\nA,noodle,2026-03-02,1,6,7\n"+
			"CTRL,noodle,2026-03-03,1,4,\nCTRL,noodle,2026-03-03,2,4.2,\nB,noodle,2026-03-03,1,5,6\nB,noodle,2026-03-04,2,5,6\n")},
	}
	for how, want := range map[dayshift.How][2]float64{"": {6, 5}, dayshift.Difference: {5.5, 5.25}, dayshift.Ratio: {6 * 4.6 / 5.1, (5*4.6/4.1 + 5) / 2}} {
		opt := JoinOptions{Cores: 1}
		if how != "" {
			opt.DayControl = DayControl{"CTRL", how}
		}
		j, err := Join(context.Background(), f, opt)
		if err != nil {
			t.Fatal(err)
		}
		for row, lot := range []string{"A", "B"} {
			v, ok := j.Table.Number("hardness_N", row)
			score, _ := j.Table.Number("texture_score", row)
			if j.Table.Lot(row) != lot || !ok || math.Abs(v-want[row]) > 1e-12 || score != []float64{7, 6}[row] {
				t.Errorf("%q, lot %s: hardness %g, want %g; score %g", how, lot, v, want[row], score)
			}
		}
		if c := j.Counts; c.Read != c.Accepted+c.Waiting+c.Refused || (how == "") != (c.Waiting == 4) || j.Table.Len() != 2 {
			t.Errorf("%q: %+v, %d rows", how, c, j.Table.Len())
		}
		told := 0
		for _, x := range j.Findings {
			if x.Code == "day-shifted" || x.Code == "day-without-control" {
				told++
			}
		}
		if how != "" && (told != 3 || len(j.DayShifts) != 2 || math.Abs(j.DayShifts[0].Usual-4.6) > 1e-12) || how == "" && told+len(j.DayShifts) > 0 {
			t.Errorf("%q: %+v %v", how, j.DayShifts, j.Findings)
		}
	}
	var missing *DayControlError
	if _, err := Join(context.Background(), f, JoinOptions{DayControl: DayControl{"CTRI", dayshift.Ratio}}); !errors.As(err, &missing) || !strings.Contains(err.Error(), "CTRL") {
		t.Errorf("%v", err)
	}
}
