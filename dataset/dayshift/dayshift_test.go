package dayshift

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"flourcast/finding"
	"flourcast/work"
)

func row(lot, day string, hardness float64) Row {
	return Row{Lot: lot, Protocol: "two-bite", Day: day, Values: map[string]float64{"hardness_N": hardness}}
}

func codes(fl finding.List) string {
	var out []string
	for _, f := range fl {
		out = append(out, f.Code)
	}
	return strings.Join(out, " ")
}

// TestCorrect by hand: control 4 and 4.2 on Monday (4.1), 4.5 and 4.7 on Tuesday
// (4.6), usual 4.35: differences +0.25 and −0.25, ratios 4.35/4.1 and 4.35/4.6.
func TestCorrect(t *testing.T) {
	for how, want := range map[How][3]float64{Difference: {3.25, 2.75, 3}, Ratio: {3 * 4.35 / 4.1, 3 * 4.35 / 4.6, 3}} {
		rows := []Row{row("C", "2026-03-02", 4), row("C", "2026-03-02 14:30:00", 4.2), row("C", "2026-03-03", 4.5), row("C", "2026-03-03", 4.7),
			row("A", "2026-03-02", 3), row("B", "2026-03-03", 3), row("A", "2026-03-04", 3), row("A", "", 3)}
		shifts, fl := Correct(rows, "C", how)
		if len(shifts) != 2 || shifts[0].Controls != 2 || shifts[0].Readings != 3 || math.Abs(shifts[1].Usual-4.35) > 1e-12 {
			t.Fatalf("%s: %+v", how, shifts)
		}
		for i, v := range []float64{rows[4].Values["hardness_N"], rows[5].Values["hardness_N"], rows[6].Values["hardness_N"]} {
			if math.Abs(v-want[i]) > 1e-12 {
				t.Errorf("%s, %d: %g, want %g", how, i, v, want[i])
			}
		}
		if codes(fl) != "day-shifted day-shifted day-without-control" || !strings.Contains(fl[0].Found, "2026-03-02") || !strings.Contains(fl[2].Found, "2 readings") ||
			!strings.Contains(fl[2].Found, "no day stated") {
			t.Errorf("%s: %v", how, fl)
		}
		if by := map[How]string{Difference: "hardness +0.25 N", Ratio: "hardness × 1.061"}[how]; !strings.Contains(fl[0].Found, by) {
			t.Errorf("%s: %s", how, fl[0].Found)
		}
	}
}

func TestLeftAlone(t *testing.T) {
	for name, c := range map[string]struct {
		rows  []Row
		how   How
		codes string
	}{
		"no control": {[]Row{row("A", "2026-03-02", 3)}, Difference, ""},
		"one day":    {[]Row{row("C", "2026-03-02", 4), row("A", "2026-03-02", 3)}, Difference, "day-control-few"},
		"no date":    {[]Row{row("C", "", 4), row("C", "", 4), row("A", "", 3)}, Difference, ""},
		"scores": {[]Row{{Lot: "C", Day: "2026-03-02", Values: map[string]float64{"texture_score": 7}}, {Lot: "C", Day: "2026-03-03", Values: map[string]float64{"texture_score": 5}}}, Difference,
			""},
		"around zero": {[]Row{{Lot: "C", Day: "2026-03-02", Values: map[string]float64{"symmetry_index_mm": 2}}, {Lot: "C", Day: "2026-03-03", Values: map[string]float64{"symmetry_index_mm": -1}}}, Ratio,
			""},
		"thickness is no response": {[]Row{{Lot: "C", Day: "2026-03-02", Values: map[string]float64{"thickness_mm": 2}}, {Lot: "C", Day: "2026-03-03", Values: map[string]float64{"thickness_mm": 3}}}, Difference,
			""},
	} {
		before := fmt.Sprint(c.rows)
		shifts, fl := Correct(c.rows, "C", c.how)
		if len(shifts) > 0 || codes(fl) != c.codes || fmt.Sprint(c.rows) != before {
			t.Errorf("%s: %+v %v %v", name, shifts, fl, c.rows)
		}
	}
	// A reading is not shifted below zero; the others of the day are.
	rows := []Row{row("C", "2026-03-02", 9), row("C", "2026-03-03", 1), row("A", "2026-03-02", 3), row("B", "2026-03-02", 6)}
	if _, fl := Correct(rows, "C", Difference); rows[2].Values["hardness_N"] != 3 || rows[3].Values["hardness_N"] != 2 || !strings.Contains(codes(fl), "day-not-shifted") {
		t.Errorf("%v %v", rows, fl)
	}
	defer func() {
		if s, ok := recover().(string); !ok || !strings.HasPrefix(s, "dayshift:") {
			t.Error("no panic on an unknown way")
		}
	}()
	Correct(nil, "C", "median")
}

// TestNoise: a control whose days differ by no more than its own scatter is doubted,
// one that moves with the days is not.
func TestNoise(t *testing.T) {
	rng := work.Rand(5, "days")
	for _, c := range []struct {
		days float64
		want bool
	}{{0, true}, {1, false}} {
		var rows []Row
		for d := range 20 {
			off := c.days * rng.NormFloat64()
			for range 3 {
				rows = append(rows, row("C", fmt.Sprintf("2026-03-%02d", d+1), 5+off+0.2*rng.NormFloat64()))
			}
		}
		_, fl := Correct(rows, "C", Difference)
		if got := strings.Contains(codes(fl), "day-shift-noise"); got != c.want {
			t.Errorf("days of SD %g: doubted %v; %v", c.days, got, fl[0])
		}
	}
}

// TestDayEffectsComeOut: whatever common effect a day has, readings shifted by the
// same kind of effect come back as they were up to one constant (or factor) for all.
func TestDayEffectsComeOut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		how := rapid.SampledFrom([]How{Difference, Ratio}).Draw(t, "how")
		days := rapid.IntRange(2, 6).Draw(t, "days")
		var rows []Row
		var truth []float64
		for d := range days {
			off := rapid.Float64Range(0.5, 2).Draw(t, "off")
			for k := range rapid.IntRange(1, 4).Draw(t, "readings") + 1 {
				lot, y := fmt.Sprint("L", k), rapid.Float64Range(10, 20).Draw(t, "y")
				if k == 0 {
					lot, y = "C", 15
				}
				truth = append(truth, y)
				if how == Difference {
					y += off
				} else {
					y *= off
				}
				rows = append(rows, row(lot, fmt.Sprintf("2026-03-%02d", d+1), y))
			}
		}
		shifts, _ := Correct(rows, "C", how)
		if len(shifts) != days {
			t.Fatalf("%d shifts of %d days", len(shifts), days)
		}
		first := rows[0].Values["hardness_N"]
		for i, r := range rows {
			want := truth[i] + first - truth[0]
			if how == Ratio {
				want = truth[i] * first / truth[0]
			}
			if got := r.Values["hardness_N"]; math.Abs(got-want) > 1e-9*want {
				t.Fatalf("%s, row %d: %g, want %g", how, i, got, want)
			}
		}
	})
}
