package dataset

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/dataset/run"
	"flourcast/finding"
)

// laboratory writes 24 days, each with a control run at 8 and two lots at 10 and 14
// o'clock. The control of day 12 is off by 15 %; after is what happens then.
func laboratory(t *testing.T, after string) Files {
	t.Helper()
	runs, values := "run,lot,method,tested_at,instrument,kind,status,reason\n", "run,peak_mPas,trough_mPas,final_mPas\n"
	add := func(id, lot, at, kind, rest string, peak float64) {
		runs += fmt.Sprintf("%s,%s,general-13min,%s,V1,%s,%s\n", id, lot, at, kind, rest)
		values += fmt.Sprintf("%s,%.1f,%.1f,%.1f\n", id, peak, 0.7*peak+float64(len(values)%7), 1.4*peak-float64(len(values)%5))
	}
	lots := "lot\n"
	for d := 1; d <= 24; d++ {
		day := fmt.Sprintf("2025-03-%02d", d)
		peak := 2500 + 12*float64((d*7)%11-5)
		if d == 12 {
			peak *= 0.85
		}
		add(fmt.Sprint("C", d), "CONTROL", day+" 08:00", "control", ",", peak)
		for k, hour := range []string{"10:00", "14:00"} {
			lot := fmt.Sprintf("L%d-%d", d, k)
			lots += lot + "\n"
			add(lot, lot, day+" "+hour, "first", ",", 2000+10*float64(d))
		}
	}
	switch after {
	case "repeated":
		add("C12b", "CONTROL", "2025-03-12 12:00", "control", ",", 2500)
	case "void":
		runs = strings.Replace(runs, "C12,CONTROL,general-13min,2025-03-12 08:00,V1,control,,", "C12,CONTROL,general-13min,2025-03-12 08:00,V1,control,void,spilt", 1)
	}
	dir := t.TempDir()
	path := func(name, text string) []string {
		p := filepath.Join(dir, name)
		if err := os.WriteFile(p, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return []string{p}
	}
	// Values name their run; lot and method come from the runs file.
	return Files{Lots: path("lots.csv", lots), Runs: path("runs.csv", runs), Pasting: path("values.csv", values)}
}

func marked(j *Joined) (lots []string) {
	for _, r := range j.Runs {
		if r.Findings.Has("control-out") {
			lots = append(lots, r.Lot)
		}
	}
	return lots
}

func TestRunsOfADayOutOfControl(t *testing.T) {
	cases := []struct {
		after, policy, marked string
		refused               int
	}{
		{"", "", "[L12-0 L12-1]", 0},
		{"", ControlWarn, "[L12-0 L12-1]", 0},
		{"", ControlRefuse, "[L12-0 L12-1]", 2},
		{"repeated", ControlRefuse, "[L12-0]", 1}, // the run after the repeat is in order
		{"void", ControlRefuse, "[]", 0},          // no control vouches, and none is against
	}
	for _, c := range cases {
		j, err := Join(context.Background(), laboratory(t, c.after), JoinOptions{ControlPolicy: c.policy})
		if err != nil {
			t.Fatal(err)
		}
		if got := fmt.Sprint(marked(j)); got != c.marked || j.Counts.Refused != c.refused {
			t.Errorf("%s, %s: marked %s, %d refused; want %s, %d", c.after, c.policy, got, j.Counts.Refused, c.marked, c.refused)
		}
		if j.Counts.Read != j.Counts.Accepted+j.Counts.Waiting+j.Counts.Refused {
			t.Errorf("%+v does not add up", j.Counts)
		}
		if inTable := len(j.Table.Values("lot")); inTable != 48-c.refused {
			t.Errorf("%s, %s: %d lots in the table, %d refused", c.after, c.policy, inTable, c.refused)
		}
		for _, r := range j.Runs {
			if (r.Fate == run.Refused) != (r.Findings.Count(finding.Refused) > 0) {
				t.Errorf("%s is %s with %v", r.Lot, r.Fate, r.Findings)
			}
		}
	}
}

func TestReadRunsJudgesAsJoinDoes(t *testing.T) {
	f := laboratory(t, "repeated")
	whole, err := Join(context.Background(), f, JoinOptions{})
	if err != nil {
		t.Fatal(err)
	}
	runs, err := ReadRuns(context.Background(), f, JoinOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if runs.Table != nil || fmt.Sprint(runs.Control.Days) == "[]" || len(runs.Control.Days) != len(whole.Control.Days) || fmt.Sprint(marked(runs)) != fmt.Sprint(marked(whole)) {
		t.Errorf("%d days and %v, the join has %d and %v", len(runs.Control.Days), marked(runs), len(whole.Control.Days), marked(whole))
	}
}
