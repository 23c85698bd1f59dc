package weighing

import (
	"bytes"
	"strings"
	"testing"

	"flourcast/report/document"
	"flourcast/study/job"
	"flourcast/study/weighing"
)

func text(t *testing.T, q weighing.Request) (string, *weighing.Result) {
	t.Helper()
	r, err := weighing.Weigh(t.Context(), job.Env{}, q)
	if err != nil {
		t.Fatal(err)
	}
	var plain, page bytes.Buffer
	if err := document.Text(&plain, Document(r)); err != nil {
		t.Fatal(err)
	}
	if err := document.HTML(&page, Document(r)); err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(plain.String()) {
		if n := len([]rune(strings.TrimRight(line, "\n"))); n > 100 {
			t.Errorf("a line of %d columns: %s", n, line)
		}
	}
	return plain.String(), r
}

// TestDocument: what is needed at the balance comes first, what is touched is
// cautioned about, and what was not asked for is not there.
func TestDocument(t *testing.T) {
	at := func(v float64) *float64 { return &v }
	for _, c := range []struct {
		q         weighing.Request
		has, lack []string
	}{
		{weighing.Request{Method: "noodle-water", MoisturePct: at(12)},
			[]string{"4.545 g flour and 24.455 g water, 29.000 g in all", "method:\n", "13.79", "13.54", "stays below boiling", "Never taste"},
			[]string{"!!", "Silver", "As weighed", "can mean", "sucrose raises"}},
		{weighing.Request{Method: "noodle-inhibited", MoisturePct: at(16.009), MoistureBasis: weighing.Dry},
			[]string{"!! Read the cautions", "(16.01 % of the dry matter)", "2.0385 g in a litre", "inhibitor in the solvent, g", "never the drain", "Safety data sheets, local rules and qualified people"}, nil},
		{weighing.Request{Method: "cake-sucrose50", MoisturePct: at(13.8), AltitudeM: at(2000), Cap: true, FlourG: at(3.9), SolventG: at(30.741)},
			[]string{"not stated by the method, taken", "As weighed", "−3.9", "repeat the run", "What a total fill of 31.1 g would mean", "25.1", "sucrose raises it by 1.7 °C", "Held at 94.0 °C", "Hot sucrose"}, []string{"Silver"}},
	} {
		got, _ := text(t, c.q)
		for _, part := range c.has {
			if !strings.Contains(got, part) {
				t.Errorf("%s: no %q in\n%s", c.q.Method, part, got)
			}
		}
		for _, part := range c.lack {
			if strings.Contains(got, part) {
				t.Errorf("%s: %q stands in\n%s", c.q.Method, part, got)
			}
		}
	}
}

func TestSigned(t *testing.T) {
	for v, want := range map[float64]string{-0.04: "0.0", 0.04: "0.0", -1.25: "−1.2", 3.1: "+3.1"} {
		if got := signed(v); got.Text != want || *got.Value != v {
			t.Errorf("%g is %q, want %q", v, got.Text, want)
		}
	}
}
