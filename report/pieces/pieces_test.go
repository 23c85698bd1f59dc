package pieces

import (
	"bytes"
	"strings"
	"testing"

	"flourcast/dataset/thickness"
	"flourcast/finding"
	"flourcast/report/document"
	"flourcast/study/pieces"
)

func result(runs int) *pieces.Result {
	at := 2.5
	r := &pieces.Result{Thickness: []thickness.Slope{{Product: "noodle", Response: "hardness_N", PerMM: 2, Low: 1.5, High: 2.5, Lots: 4, Readings: 20, Corrected: true, AtMM: &at}}}
	for range runs {
		trace := pieces.Trace{TimeS: []float64{0, 1, 2, 3, 4}, ForceN: []float64{0, 5, -0.2, 0, 0}}
		r.Runs = append(r.Runs, pieces.Run{Lot: "A<b>", Replicate: "1", Readings: map[string]float64{"hardness_N": 5, "springiness": 0.9}, Trace: trace,
			Conventions: pieces.Conventions{Test: "two-bite", Cohesiveness: "down-stroke", Springiness: "distance", Adhesiveness: "negative"},
			Parts: []pieces.Part{{Name: "first stroke", Trace: pieces.Trace{TimeS: []float64{0, 1}, ForceN: []float64{0, 5}}, AtS: 1, AtN: 5},
				{Name: "adhesion", Trace: pieces.Trace{TimeS: []float64{1.9, 2, 3}, ForceN: []float64{0.01, -0.2, 0}}, AtS: 2, AtN: -0.2}}})
	}
	r.Runs = append(r.Runs, pieces.Run{Lot: "refused", Findings: finding.List{{Code: "saturated", Severity: finding.Refused, Found: "180 equal readings"}}})
	return r
}

// TestTexture: the page has the curves with words on them, the readings that any
// piece has and no others, and says what they mean.
func TestTexture(t *testing.T) {
	var page, text bytes.Buffer
	d := Texture(result(drawn + 2))
	if err := document.HTML(&page, d); err != nil {
		t.Fatal(err)
	}
	if err := document.Text(&text, d); err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(page.String(), "<svg"); n != drawn {
		t.Errorf("%d pictures, want %d", n, drawn)
	}
	for _, words := range []string{"first stroke", "adhesion", "6 of 8 pieces are drawn", "A&lt;b&gt;"} {
		if !strings.Contains(page.String(), words) {
			t.Errorf("the page lacks %q", words)
		}
	}
	for _, words := range []string{"hardness", "springiness", "to 2.5 mm", "second down-stroke", "travel from contact", "negative figure", "180 equal readings"} {
		if !strings.Contains(strings.Join(strings.Fields(text.String()), " "), words) {
			t.Errorf("the text lacks %q", words)
		}
	}
	for _, words := range []string{"resilience", "firmness"} {
		if strings.Contains(text.String(), words) {
			t.Errorf("the text has %q, which no piece has", words)
		}
	}
}
