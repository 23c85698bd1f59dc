package trait

import "testing"

// Columns of whole curves have no row in the glossary, and words all the same.
func TestPlacesOfACurve(t *testing.T) {
	for column, want := range map[string]string{
		"v_0096s":               "viscosity at 96 s, mPa·s",
		"v_000007.25s":          "viscosity at 7.25 s, mPa·s",
		"v_0096s@noodle-water":  "viscosity at 96 s, mPa·s (noodle-water)",
		"v_heat_52.5C":          "viscosity at 52.5 °C of heating, mPa·s",
		"v_cool_94C":            "viscosity at 94 °C of cooling, mPa·s",
		"v_hot_0010s":           "viscosity 10 s into the hot hold, mPa·s",
		"v_final_0120s":         "viscosity 120 s into the final hold, mPa·s",
		"v_":                    "v_",
		"v_12":                  "v_12",
		"v__12s":                "v__12s",
		"v_heat_52s":            "v_heat_52s",
		"v_hot_0010C":           "v_hot_0010C",
		"v_mixed_10s":           "v_mixed_10s",
		"v_NaNs":                "v_NaNs",
		"v_-4s":                 "v_-4s",
		"v_Infs@noodle-water":   "v_Infs@noodle-water",
		"peak_mPas@noodle-cold": "peak viscosity, mPa·s (noodle-cold)",
	} {
		if got := Label(column); got != want {
			t.Errorf("%s: %q, want %q", column, got, want)
		}
	}
	if got := Format("v_0096s@noodle-water", 25.31); got != "25" {
		t.Errorf("25.31 mPa·s of a curve is written %s", got)
	}
}
