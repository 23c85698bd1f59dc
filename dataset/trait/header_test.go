package trait

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestParseHeader(t *testing.T) {
	tests := []struct {
		written, unitRow string
		id, unit         string
		of1              float64 // what a figure of 1 becomes in the trait's unit
	}{
		// canonical ids
		{"peak_mPas", "", "peak_mPas", "mPa·s", 1},
		{"peak_mPas", "cP", "peak_mPas", "mPa·s", 1},
		{"peak_mPas", "-", "peak_mPas", "mPa·s", 1},
		{" peak_mPas@noodle-water ", "", "peak_mPas", "mPa·s", 1},
		{"lot", "", "lot", "", 1},
		// unit in brackets, after a comma, an underscore, a slash, a blank
		{"Hardness (gf)", "", "hardness_N", "gf", 0.00980665},
		{"Hardness [g]", "", "hardness_N", "gf", 0.00980665},
		{"hardness_gf", "", "hardness_N", "gf", 0.00980665},
		{"Hardness, kgf", "", "hardness_N", "kgf", 9.80665},
		{"Hardness / mN", "", "hardness_N", "mN", 0.001},
		{"peak [cP]", "", "peak_mPas", "cP", 1},
		{"Peak viscosity mPa s", "", "peak_mPas", "mPa·s", 1},
		{"peak_time_min", "", "peak_time_s", "min", 60},
		{"adhesiveness_gf_s", "", "adhesiveness_Ns", "gf·s", 0.00980665},
		{"rise_rate_cP_per_min", "", "rise_rate_mPas_per_s", "mPa·s/min", 1.0 / 60},
		{"specific volume (cc/g)", "", "specific_volume_mL_per_g", "mL/g", 1},
		{"temperature_F", "", "temperature_C", "°F", (1 - 32) * 5.0 / 9},
		{"Height left (cm)", "", "height_b_mm", "cm", 10},
		{"Height (left) cm", "", "height_b_mm", "cm", 10},
		{"Cohesiveness (%)", "", "cohesiveness", "%", 0.01},
		{"protein (g/kg)", "", "protein_pct", "g/kg", 0.1},
		{"Price (EUR/t)", "", "price", "EUR/t", 1},
		{"Texture score (0-100)", "", "texture_score", "", 1},
		// unit in a second row
		{"Peak", "mPa.s", "peak_mPas", "mPa·s", 1},
		{"t", "min", "time_s", "min", 60},
		{"T", "° C", "temperature_C", "°C", 1},
		{"Lot", "", "lot", "", 1},
		// names of the trade
		{"PV (cP)", "", "peak_mPas", "cP", 1},
		{"Peak Viscosity (PV) [cP]", "", "peak_mPas", "cP", 1},
		{"Hot paste viscosity (Pa·s)", "", "trough_mPas", "Pa·s", 1000},
		{"Holding strength [P]", "", "trough_mPas", "P", 100},
		{"Cold paste viscosity, cP", "", "final_mPas", "cP", 1},
		{"Final viscosity_mPa*s", "", "final_mPas", "mPa·s", 1},
		{"Falling number", "", "falling_number_s", "s", 1},
		{"Cake volume (ml)", "", "volume_mL", "mL", 1},
		// a unit settles which of two traits is meant
		{"PT (°C)", "", "pasting_temp_C", "°C", 1},
		{"PT", "min", "peak_time_s", "min", 60},
		// both setbacks and the flipped one, when the name says which
		{"setback_trough_cP", "", "setback_trough_mPas", "cP", 1},
		{"Setback (from trough) [cP]", "", "setback_trough_mPas", "cP", 1},
		{"Setback from peak, mPa·s", "", "setback_peak_mPas", "mPa·s", 1},
		{"peak − final (cP)", "", "", "", 0},
		{"peak minus final (cP)", "", "setback_peak_mPas", "cP", -1},
		{"PV-FV (Pa.s)", "", "setback_peak_mPas", "Pa·s", -1000},
	}
	for _, tt := range tests {
		h, err := ParseHeader(tt.written, tt.unitRow)
		if tt.id == "" {
			if err == nil {
				t.Errorf("ParseHeader(%q, %q) = %s, want an error", tt.written, tt.unitRow, h.Trait.ID)
			}
			continue
		}
		if err != nil {
			t.Errorf("ParseHeader(%q, %q): %v", tt.written, tt.unitRow, err)
			continue
		}
		if h.Trait.ID != tt.id || h.Unit.Symbol != tt.unit || h.UnitMissing {
			t.Errorf("ParseHeader(%q, %q) = %s in %q (unit missing: %v), want %s in %q", tt.written, tt.unitRow, h.Trait.ID, h.Unit.Symbol, h.UnitMissing, tt.id, tt.unit)
		}
		if got := h.Convert(1); math.Abs(got-tt.of1) > 1e-12*math.Abs(tt.of1) {
			t.Errorf("%q: 1 becomes %v, want %v", tt.written, got, tt.of1)
		}
		if h.AsWritten != tt.written {
			t.Errorf("%q: as written %q", tt.written, h.AsWritten)
		}
	}
}

func TestHeaderBasis(t *testing.T) {
	for written, want := range map[string]string{
		"Protein, % (14% mb)":            "14 %",
		"protein (13,5 % m.b.)":          "13.5 %",
		"Protein 14% moisture basis (%)": "14 %",
		"Protein (% db)":                 "dry",
		"Ash, % on dry basis":            "dry",
		"Wet gluten (as is)":             "as is",
		"Protein (%)":                    "",
	} {
		h, err := ParseHeader(written, "")
		if err != nil || h.Basis != want || h.Unit.Symbol != "%" {
			t.Errorf("%q: basis %q in %q, %v; want %q in %%", written, h.Basis, h.Unit.Symbol, err, want)
		}
	}
	if h, err := ParseHeader("Protein", "% (14 % mb)"); err != nil || h.Basis != "14 %" {
		t.Errorf("basis in the unit row: %q, %v", h.Basis, err)
	}
	// Dry gluten is another measurement, not wet gluten on a dry basis.
	if h, err := ParseHeader("dry gluten (%)", ""); err == nil {
		t.Errorf("dry gluten was read as %s", h.Trait.ID)
	}
}

func TestHeaderUnitMissing(t *testing.T) {
	for written, missing := range map[string]bool{"peak": true, "Hardness": true, "temperature": true, "time": true,
		"springiness": false, "protein": false, "falling number": false, "pH": false, "lot": false, "peak_mPas": false} {
		h, err := ParseHeader(written, "")
		if err != nil || h.UnitMissing != missing {
			t.Errorf("%q: unit missing %v, %v; want %v", written, h.UnitMissing, err, missing)
		}
	}
}

func TestHeaderRefusesUnits(t *testing.T) {
	tests := []struct{ written, unitRow, reason, says string }{
		{"PV (BU)", "", UnitArbitrary, "no fixed conversion to mPa·s"},
		{"peak_AU", "", UnitArbitrary, "no fixed conversion to mPa·s"},
		{"Peak", "instrument units", UnitArbitrary, "no fixed conversion to mPa·s"},
		{"Viscosity, units", "", UnitArbitrary, "no fixed conversion to mPa·s"},
		{"Hardness (units)", "", UnitArbitrary, "no fixed conversion to N; expected N, mN"},
		{"setback (BU)", "", UnitArbitrary, "no fixed conversion to mPa·s"},
		{"Viscosity (furlong)", "", UnitUnknown, "expected mPa·s, cP, Pa·s or P"},
		{"Viscosity (MPa·s)", "", UnitUnknown, "expected mPa·s"},
		{"Peak MPa.s", "", UnitUnknown, "expected mPa·s"},
		{"hardness_mm", "", UnitDimension, "expected N, mN"},
		{"springiness (mm)", "", UnitDimension, "expected %"},
		{"adhesiveness (N·mm)", "", UnitDimension, "expected N·s"},
		{"peak (s)", "", UnitDimension, "expected mPa·s"},
		{"peak_mPas", "Pa·s", UnitConflict, "under a header that says"},
		{"Hardness (N)", "gf", UnitConflict, "under a header that says"},
	}
	for _, tt := range tests {
		_, err := ParseHeader(tt.written, tt.unitRow)
		var ue *UnitError
		if !errors.As(err, &ue) || ue.Reason != tt.reason || !strings.Contains(err.Error(), tt.says) {
			t.Errorf("ParseHeader(%q, %q): %v, want reason %s and %q", tt.written, tt.unitRow, err, tt.reason, tt.says)
		}
	}
}

func TestHeaderAmbiguous(t *testing.T) {
	for _, written := range []string{"setback", "Setback (cP)", "SB_mPas", "set back viscosity, mPa·s"} {
		_, err := ParseHeader(written, "")
		var ae *AmbiguousError
		if !errors.As(err, &ae) || !strings.Contains(err.Error(), "declare setback_trough or setback_peak") {
			t.Errorf("%q: %v, want an ambiguity that names both setbacks", written, err)
		}
	}
	if _, err := ParseHeader("PT", ""); err == nil {
		t.Error("PT without a unit was guessed")
	}
}

func TestHeaderProposesNeverGuesses(t *testing.T) {
	for written, near := range map[string]string{
		"hardnes (N)": "hardness_N", "protien_pct": "protein_pct", "peek viscosity": "peak_mPas", "volme": "volume_mL",
		"hardness_sd": "hardness_N", "cohesivness": "cohesiveness", "lto": "lot",
	} {
		_, err := ParseHeader(written, "")
		var ue *UnknownError
		if !errors.As(err, &ue) || !slices.Contains(ue.Near, near) {
			t.Errorf("%q: %v, want an unknown name with %s proposed", written, err, near)
		}
	}
	if _, err := ParseHeader(strings.Repeat("peak (", 1<<20), ""); err == nil || len(err.Error()) > 300 {
		t.Error("a header of megabytes was not cut short")
	}
	for _, written := range []string{"", "  ", "x", "wheel barrow", "()", "((", "@", "_", ",,", "é_°C"} {
		_, err := ParseHeader(written, "")
		var ue *UnknownError
		if !errors.As(err, &ue) || len(ue.Near) > 0 {
			t.Errorf("%q: %v, want an unknown name without proposals", written, err)
		}
	}
}

func TestIn(t *testing.T) {
	peak, _ := Lookup("peak_mPas")
	if h, err := peak.In("Pa s"); err != nil || h.Convert(2.5) != 2500 || h.UnitMissing {
		t.Errorf("peak in Pa s: %v, %v", h.Convert(2.5), err)
	}
	if h, err := peak.In(""); err != nil || h.Convert(2.5) != 2.5 || h.UnitMissing {
		t.Errorf("peak in its own unit: %v, %v", h, err)
	}
	if _, err := peak.In("BU"); err == nil {
		t.Error("peak in BU was accepted")
	}
}

// Every id, base, label and name of the glossary is read back as its own trait,
// or as one of several when the trade uses the name for both.
func TestEveryNameIsRead(t *testing.T) {
	b := glossary()
	for key, namings := range b.names {
		written := key
		if strings.Contains("abcde", key) { // the stations of a cake: a bare letter needs its unit
			if _, err := ParseHeader(key, ""); err == nil {
				t.Errorf("%q without a unit was read", key)
			}
			written += "_mm"
		}
		h, err := ParseHeader(written, "")
		var ae *AmbiguousError
		switch {
		case len(namings) == 1 && (err != nil || h.Trait.ID != b.traits[namings[0].trait].ID):
			t.Errorf("name %q: %s, %v", key, h.Trait.ID, err)
		case len(namings) > 1 && !errors.As(err, &ae):
			t.Errorf("name %q stands for %d traits and gave %v", key, len(namings), err)
		}
	}
	for _, tr := range All() {
		h, err := ParseHeader(tr.ID, "")
		if err != nil || h.Trait != tr || h.UnitMissing || h.Convert(3) != 3 {
			t.Errorf("%s: %v, %v", tr.ID, h, err)
		}
	}
}

// Any text at all gives a header or one of the three errors, and a header's
// figures convert to finite numbers.
func TestParseHeaderAnyText(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		written, unit := rapid.String().Draw(t, "written"), rapid.String().Draw(t, "unit")
		if rapid.Bool().Draw(t, "known name") {
			written = rapid.SampledFrom(glossary().aliases).Draw(t, "name") + written
		}
		h, err := ParseHeader(written, unit)
		var a *UnitError
		var b *UnknownError
		var c *AmbiguousError
		if err != nil {
			if !errors.As(err, &a) && !errors.As(err, &b) && !errors.As(err, &c) {
				t.Fatalf("%T: %v", err, err)
			}
			return
		}
		if v := h.Convert(1); math.IsNaN(v) || math.IsInf(v, 0) || h.Trait.ID == "" {
			t.Fatalf("%q %q: %v in %v", written, unit, v, h.Trait.ID)
		}
	})
}
