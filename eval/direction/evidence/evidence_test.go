package evidence

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"flourcast/eval/direction/rule"
)

// flours are three lots, the first in two rows.
func flours() Evidence {
	return Evidence{Product: "noodle", Response: "hardness_N", Lots: []string{"A", "B", "A", "C"}, Y: []float64{3, 5, 4, 6},
		Year: []string{"2023", "2024", "2024", ""}, Labels: map[string][]string{"treatment": {"heat", " Heat ", "none", ""}},
		Features: []FeatureColumn{
			{ID: "peak_mPas@noodle-water", X: []float64{2000, 2500, 2100, 2600}},
			{ID: "falling_number_s", X: []float64{200, 250, 260, 90}, Present: []bool{true, true, true, false}},
			{ID: "amylose_pct", X: []float64{0, 20, 0, 10}, Present: []bool{false, true, false, true}},
		},
		Protein: &FeatureColumn{ID: "protein_pct", X: []float64{8, 9, 10, 0}, Present: []bool{true, true, true, false}}}
}

// TestGather: rows of a lot are averaged over those that have the figure; two crop
// years in a lot are none, and its first row tells its labels.
func TestGather(t *testing.T) {
	l, err := Gather(flours())
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(l.Y, []float64{3.5, 5, 6}) || !slices.Equal(l.Year, []string{"", "2024", ""}) {
		t.Errorf("%v, years %q", l.Y, l.Year)
	}
	if f := l.Features[1]; !slices.Equal(f.X[:2], []float64{230, 250}) || !slices.Equal(f.Known, []bool{true, true, false}) {
		t.Errorf("falling number %+v", f)
	}
	if p := l.Protein; p.X[0] != 9 || p.Known[2] {
		t.Errorf("protein %+v", p)
	}
	// 230 s is low (below 250), 250 s is not, and an unknown one is not held against a lot.
	if got := l.Sprouted(); !slices.Equal(got, []bool{true, false, false}) {
		t.Errorf("sprouted %v", got)
	}
}

func TestAmong(t *testing.T) {
	l, err := Gather(flours())
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		conditions []rule.Condition
		in         []bool
		groups     int
	}{
		"none":                            {nil, []bool{true, true, true}, 1},
		"at least, unknown stays":         {[]rule.Condition{{Column: "amylose_pct", Op: rule.AtLeast, Limit: 12}}, []bool{true, true, false}, 1},
		"at most":                         {[]rule.Condition{{Column: "amylose_pct", Op: rule.AtMost, Limit: 12}}, []bool{true, false, true}, 1},
		"a feature whatever its method":   {[]rule.Condition{{Column: "peak_mPas", Op: rule.AtMost, Limit: 2300}}, []bool{true, false, false}, 1},
		"protein":                         {[]rule.Condition{{Column: "protein_pct", Op: rule.AtLeast, Limit: 9}}, []bool{true, true, true}, 1},
		"is, in any case and spacing":     {[]rule.Condition{{Column: "treatment", Op: rule.Is, Text: "HEAT"}}, []bool{true, true, false}, 1},
		"is not, unknown stays":           {[]rule.Condition{{Column: "treatment", Op: rule.IsNot, Text: "heat"}}, []bool{false, false, true}, 1},
		"is, of a column nobody has":      {[]rule.Condition{{Column: "blend", Op: rule.Is, Text: "waxy"}}, []bool{false, false, false}, 1},
		"is not, of a column nobody has":  {[]rule.Condition{{Column: "blend", Op: rule.IsNot, Text: "waxy"}}, []bool{true, true, true}, 1},
		"within, in any case and spacing": {[]rule.Condition{{Column: "treatment", Op: rule.Within}}, []bool{true, true, true}, 2},
		"two":                             {[]rule.Condition{{Column: "amylose_pct", Op: rule.AtLeast, Limit: 12}, {Column: "treatment", Op: rule.Is, Text: "heat"}}, []bool{true, true, false}, 1},
	} {
		a := l.Among(c.conditions)
		out := 0
		for _, in := range a.In {
			if !in {
				out++
			}
		}
		if !slices.Equal(a.In, c.in) || a.Out != out || a.Groups != c.groups {
			t.Errorf("%s: %+v, want %v in %d groups", name, a, c.in, c.groups)
		}
	}
}

func TestGatherRefuses(t *testing.T) {
	for name, spoil := range map[string]func(e *Evidence){
		"lots":                 func(e *Evidence) { e.Lots = e.Lots[1:] },
		"year":                 func(e *Evidence) { e.Year = e.Year[1:] },
		"treatment":            func(e *Evidence) { e.Labels["treatment"] = nil },
		"amylose_pct":          func(e *Evidence) { e.Features[2].X = nil },
		"falling_number_s":     func(e *Evidence) { e.Features[1].Present = []bool{true} },
		"protein_pct":          func(e *Evidence) { e.Protein.X = append(e.Protein.X, 1) },
		"hardness_N of lot B":  func(e *Evidence) { e.Y[1] = math.NaN() },
		"protein_pct of lot A": func(e *Evidence) { e.Protein.X[2] = math.Inf(1) },
	} {
		e := flours()
		spoil(&e)
		var shape *ShapeError
		if _, err := Gather(e); !errors.As(err, &shape) || !strings.HasPrefix(shape.Part, name) || shape.Want == "" {
			t.Errorf("%s: %v", name, err)
		}
	}
	// A figure that is marked absent may be anything.
	e := flours()
	e.Features[1].X[3] = math.NaN()
	if l, err := Gather(e); err != nil || math.IsNaN(l.Features[1].X[2]) {
		t.Errorf("%v: NaN of an absent figure got through", err)
	}
	if l, err := Gather(Evidence{}); err != nil || len(l.Y) != 0 || l.Among(nil).Groups != 1 {
		t.Errorf("no rows: %v", err)
	}
}

// TestWithout: what is left is the evidence of the other lots, to the same bits, and
// the evidence itself is as it was.
func TestWithout(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 20).Draw(t, "rows")
		var e Evidence
		x := FeatureColumn{ID: "peak_mPas"}
		for range n {
			e.Lots = append(e.Lots, rapid.SampledFrom([]string{"A", "B", "C", "D"}).Draw(t, "lot"))
			e.Y = append(e.Y, rapid.Float64Range(-9, 9).Draw(t, "y"))
			x.X, x.Present = append(x.X, rapid.Float64Range(-9, 9).Draw(t, "x")), append(x.Present, rapid.Bool().Draw(t, "present"))
		}
		e.Features = []FeatureColumn{x}
		before, err := Gather(e)
		if err != nil {
			t.Fatal(err)
		}
		rest, err := Gather(e.Without("B"))
		if err != nil {
			t.Fatal(err)
		}
		names, k := map[string]bool{}, 0
		at := 0
		for _, lot := range e.Lots {
			if names[lot] {
				continue
			}
			names[lot] = true
			if lot != "B" {
				if rest.Y[at] != before.Y[k] || rest.Features[0].Known[at] != before.Features[0].Known[k] || rest.Features[0].X[at] != before.Features[0].X[k] {
					t.Fatalf("lot %s: %v, was %v", lot, rest.Y[at], before.Y[k])
				}
				at++
			}
			k++
		}
		if at != len(rest.Y) || len(e.Y) != n {
			t.Fatalf("%d lots left, want %d", len(rest.Y), at)
		}
	})
}
