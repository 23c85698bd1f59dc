package method

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"flourcast/dataset/trait"
)

// TestBuiltin holds the embedded methods to what their sources say. Profiles:
// AACC 76-21 and ICC 162, from memory. Weigh-in, strength, speed of the noodle
// and cake methods: common practice, no source.
func TestBuiltin(t *testing.T) {
	profile13 := []Point{{0, 50}, {60, 50}, {4*60 + 42, 95}, {7*60 + 12, 95}, {11 * 60, 50}, {13 * 60, 50}}
	profile23 := []Point{{0, 50}, {60, 50}, {8*60 + 30, 95}, {13*60 + 30, 95}, {21 * 60, 50}, {23 * 60, 50}}
	table := []struct {
		id, product, basis   string
		solvent              trait.Solvent
		strength             string
		solids, volume, fill float64
		programme            []Point
		caution              string
	}{
		{"general-13min", "", "14 %", trait.Water, "", 3.5, 25, 28.5, profile13, "let the can cool"},
		{"general-23min", "", "14 %", trait.Water, "", 3.5, 25, 28.5, profile23, "let the can cool"},
		{"noodle-water", "noodle", "dry", trait.Water, "", 4, 25, 29, profile13, "Amylase"},
		{"noodle-inhibited", "noodle", "dry", trait.Inhibitor, "silver nitrate 12 mmol/L", 4, 25, 29, profile13, "as silver waste"},
		{"cake-water", "cake", "dry", trait.Water, "", 3.5, 25, 28.5, profile13, "Chlorinated"},
		{"cake-sucrose50", "cake", "dry", trait.Sucrose, "sucrose 50 %", 3.5, 25, 0, nil, "Hot sucrose"},
		{"stirring-number", "", "14 %", trait.Water, "", 4, 25, 29, []Point{{0, 95}, {180, 95}}, "95 °C from the start"},
	}
	for _, want := range table {
		m, ok := Lookup(want.id)
		if !ok {
			t.Errorf("%s is not built in", want.id)
			continue
		}
		if m.Product != want.product || m.SolidsBasis != want.basis || m.Solvent != want.solvent || m.SolventStrength != want.strength ||
			m.SolidsG != want.solids || m.SolventML != want.volume || m.TotalFillG != want.fill {
			t.Errorf("%s: %+v", want.id, m)
		}
		if m.StirRPM != 960 || m.StirS != 10 || m.TestRPM != 160 || m.Onset != DefaultOnset() {
			t.Errorf("%s: speeds or onset %+v", want.id, m)
		}
		if want.programme != nil && !slices.Equal(m.Programme, want.programme) {
			t.Errorf("%s: programme %v", want.id, m.Programme)
		}
		var cautions []string
		for _, c := range m.Cautions() {
			cautions = append(cautions, c.Text)
		}
		if m.Source == "" || !strings.Contains(strings.Join(cautions, "\n"), want.caution) || m.Example != (want.id == "cake-sucrose50" || want.id == "stirring-number") {
			t.Errorf("%s: source %q, cautions %q, example %v", want.id, m.Source, cautions, m.Example)
		}
		if m.Product != "" {
			if _, known := trait.LookupProduct(m.Product); !known {
				t.Errorf("%s: product %s is not in the glossary", want.id, m.Product)
			}
		}
		if SolventOf(want.id) != want.solvent {
			t.Errorf("%s: solvent %q", want.id, SolventOf(want.id))
		}
	}
	if SolventOf("rice-general") != trait.UnknownSolvent {
		t.Error("a method that is not built in has a solvent")
	}
	if n := len(Builtin()); n != len(table) {
		t.Errorf("%d built-in methods, %d in the table above", n, len(table))
	}
	Builtin()[0].Programme[0].TemperatureC = -1
	if m, _ := Lookup("general-13min"); m.Programme[0].TemperatureC != 50 {
		t.Error("a caller changed a built-in method")
	}
}

// TestReadingFromTime: temperature at 3.0 min of a ramp of 45 °C in 3.8 min from
// 1 min is 73.68 °C (Bao 2008, Rice Science 15:69-72); with the 3.7 min ramp of
// the general profile 74.32 °C (worked out by hand).
func TestReadingFromTime(t *testing.T) {
	m, _ := Lookup("general-13min")
	if got := m.TemperatureAt(180); math.Abs(got-74.32) > 0.005 {
		t.Errorf("%g", got)
	}
	m.Programme = []Point{{0, 50}, {60, 50}, {288, 95}, {438, 95}, {666, 50}, {750, 50}}
	for at, want := range map[float64]float64{-5: 50, 0: 50, 60: 50, 180: 73.68, 288: 95, 400: 95, 552: 72.5, 750: 50, 1e9: 50} {
		if got := m.TemperatureAt(at); math.Abs(got-want) > 0.005 {
			t.Errorf("at %g s: %g, want %g", at, got, want)
		}
	}
	if d := m.DurationS(); d != 750 {
		t.Errorf("duration %g", d)
	}
}

func TestUnknownMethod(t *testing.T) {
	m := Unknown("ours")
	if m.HasProgramme() || m.DurationS() != 0 || m.Solvent != trait.UnknownSolvent || m.Onset != DefaultOnset() {
		t.Errorf("%+v", m)
	}
	defer func() {
		if s, ok := recover().(string); !ok || !strings.HasPrefix(s, "method:") {
			t.Error("TemperatureAt without a programme did not panic as documented")
		}
	}()
	m.TemperatureAt(0)
}

const own = `id = "ours"
solids_g = 3.0
solids_basis = "12 %"
solvent = "inhibitor"
solvent_strength = "silver nitrate 1 mmol/L"
solvent_mL = 25
programme = [
  { time_s = 0, temperature_C = 50 },
  { time_s = 60, temperature_C = 50 },
  { time_s = 288, temperature_C = 95 },
]
`

func TestParseOwn(t *testing.T) {
	m, err := Parse("ours.toml", []byte(own))
	if err != nil {
		t.Fatal(err)
	}
	if m.ID != "ours" || m.Label != "ours" || m.Family != Pasting || m.SolidsG != 3 || m.StirS != DefaultStirS || m.ToleranceC != DefaultToleranceC ||
		m.Onset != DefaultOnset() || m.TotalFillG != 0 || m.TestRPM != 0 || len(m.Programme) != 3 {
		t.Errorf("%+v", m)
	}
	if got, want := m.String(), "ours: 3 g (12 % basis), 25 mL silver nitrate 1 mmol/L, 4.8 min"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	m, err = Parse("ours.toml", []byte(own+"[onset]\nrise_mPas = 12\n"))
	if want := (Onset{12, 6, "end"}); err != nil || m.Onset != want {
		t.Errorf("%+v %v", m.Onset, err)
	}
	file := filepath.Join(t.TempDir(), "ours.toml")
	if err := os.WriteFile(file, []byte(own), 0o600); err != nil {
		t.Fatal(err)
	}
	if m, err := Open(file); err != nil || m.ID != "ours" {
		t.Errorf("%+v %v", m, err)
	}
	if _, err := Open(file + ".gone"); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("%v", err)
	}
}

// TestParseErrors changes one line of a good file and expects the error to name
// that line and key.
func TestParseErrors(t *testing.T) {
	for name, c := range map[string]struct {
		old, new string
		line     int
		key      string
		part     string
	}{
		"unknown key":        {`solvent_mL = 25`, `solvent_vol = 25`, 6, "solvent_vol", "solvent_mL"},
		"unknown key nested": {`time_s = 60`, `time_min = 1`, 9, "time_min", "time_s"},
		"broken":             {`id = "ours"`, `id = "ours`, 1, "", "TOML"},
		"text for a number":  {`solids_g = 3.0`, `solids_g = "3.0"`, 2, "solids_g", "TOML"},
		"no id":              {`id = "ours"`, ``, 0, "id", "small letters"},
		"blank in id":        {`id = "ours"`, `id = "our method"`, 1, "id", "small letters"},
		"wrong family":       {`id = "ours"`, "id = \"ours\"\nfamily = \"texture\"", 2, "family", "pasting"},
		"no solids":          {`solids_g = 3.0`, ``, 0, "solids_g", "never pooled"},
		"negative solids":    {`solids_g = 3.0`, `solids_g = -3.0`, 2, "solids_g", "between"},
		"not a number":       {`solids_g = 3.0`, `solids_g = nan`, 2, "solids_g", "between"},
		"infinite":           {`solvent_mL = 25`, `solvent_mL = inf`, 6, "solvent_mL", "between"},
		"no basis":           {`solids_basis = "12 %"`, ``, 0, "solids_basis", "as is"},
		"odd basis":          {`solids_basis = "12 %"`, `solids_basis = "112 %"`, 3, "solids_basis", "as is"},
		"no solvent":         {`solvent = "inhibitor"`, ``, 0, "solvent", "water"},
		"unknown solvent":    {`solvent = "inhibitor"`, `solvent = "beer"`, 4, "solvent", "water"},
		"no strength":        {`solvent_strength = "silver nitrate 1 mmol/L"`, ``, 0, "solvent_strength", "two methods"},
		"strength twice":     {`solvent_mL = 25`, "solvent_mL = 25\nsubstance = \"silver nitrate\"\nstrength = 1\nstrength_unit = \"mmol/L\"", 5, "solvent_strength", "one of the two"},
		"strength in %":      {`solvent_strength = "silver nitrate 1 mmol/L"`, "substance = \"silver nitrate\"\nstrength = 1\nstrength_unit = \"%\"", 7, "strength_unit", "mmol/L"},
		"strength negative":  {`solvent_strength = "silver nitrate 1 mmol/L"`, "substance = \"silver nitrate\"\nstrength = -1\nstrength_unit = \"mmol/L\"", 6, "strength", "between"},
		"no substance":       {`solvent_strength = "silver nitrate 1 mmol/L"`, "strength = 1\nstrength_unit = \"mmol/L\"", 0, "substance", "silver nitrate"},
		"sucrose inhibits":   {`solvent_strength = "silver nitrate 1 mmol/L"`, "substance = \"sucrose\"\nstrength = 1\nstrength_unit = \"mmol/L\"", 5, "substance", "for an inhibitor"},
		"strong water":       {"solvent = \"inhibitor\"\n", "solvent = \"water\"\nstrength = 1\n", 5, "strength", "leave it out"},
		"too much sucrose":   {"solvent = \"inhibitor\"\nsolvent_strength = \"silver nitrate 1 mmol/L\"", "solvent = \"sucrose\"\nstrength = 95\nstrength_unit = \"% w/w\"", 5, "strength", "70"},
		"volume and mass":    {`solvent_mL = 25`, "solvent_mL = 25\nsolvent_g = 25", 7, "solvent_g", "one of the two"},
		"odd convention":     {`solvent_mL = 25`, "solvent_mL = 25\nconstant = \"water\"", 7, "constant", "total fill"},
		"hot solvent":        {`solvent_mL = 25`, "solvent_mL = 25\nsolvent_temperature_C = 70", 7, "solvent_temperature_C", "between"},
		"refuses too soon":   {`solvent_mL = 25`, "solvent_mL = 25\ntolerance_solids_pct = 2\nrefuse_solids_pct = 1", 8, "refuse_solids_pct", "at least"},
		"quoted fill of 2 g": {`solvent_mL = 25`, "solvent_mL = 25\nquoted_fill_g = 2", 7, "quoted_fill_g", "together"},
		"read at 62 °C":      {`solvent_mL = 25`, "solvent_mL = 25\nviscosity_at_C = [65, 62]", 7, "viscosity_at_C", "60, 65"},
		"read at 65 twice":   {`solvent_mL = 25`, "solvent_mL = 25\nviscosity_at_C = [65, 65]", 7, "viscosity_at_C", "once"},
		"rate within 0 %":    {`solvent_mL = 25`, "solvent_mL = 25\ntolerance_rate_pct = 0", 7, "tolerance_rate_pct", "between"},
		"zero fill":          {`solvent_mL = 25`, "solvent_mL = 25\ntotal_fill_g = 0", 7, "total_fill_g", "between"},
		"fill below solids":  {`solvent_mL = 25`, "solvent_mL = 25\ntotal_fill_g = 2", 7, "total_fill_g", "together"},
		"time not rising":    {`time_s = 288`, `time_s = 60`, 7, "programme", "later"},
		"Fahrenheit":         {`temperature_C = 95`, `temperature_C = 203`, 7, "programme", "°C"},
		"infinite time":      {`time_s = 288`, `time_s = inf`, 7, "programme", "later"},
		"odd onset":          {"]\n", "]\n[onset]\nat = \"begin\"\n", 13, "onset.at", "middle"},
		"onset in 0 s":       {"]\n", "]\n[onset]\nwithin_s = 0\n", 13, "onset.within_s", "between"},
	} {
		t.Run(name, func(t *testing.T) {
			text := strings.Replace(own, c.old, c.new, 1)
			if text == own {
				t.Fatal("nothing was changed")
			}
			_, err := Parse("ours.toml", []byte(text))
			var p *ParseError
			if !errors.As(err, &p) {
				t.Fatalf("got %v", err)
			}
			if p.Line != c.line || p.Key != c.key || !strings.Contains(p.Error(), c.part) || !strings.HasPrefix(p.Error(), "ours.toml") {
				t.Errorf("line %d, key %q: %v", p.Line, p.Key, p)
			}
		})
	}
	short := own[:strings.Index(own, "programme")]
	if _, err := Parse("ours.toml", []byte(short)); err == nil || !strings.Contains(err.Error(), "at least 2 points") {
		t.Errorf("without a programme: %v", err)
	}
}

// TestDiffers: what keeps two runs apart is named, a label is not.
func TestDiffers(t *testing.T) {
	water, _ := Lookup("noodle-water")
	silver, _ := Lookup("noodle-inhibited")
	cake, _ := Lookup("cake-water")
	slow, _ := Lookup("general-23min")
	general, _ := Lookup("general-13min")
	other := water
	other.ID, other.Label, other.Source = "ours", "our own sheet", ""
	weak, thin := silver, water
	weak.Strength.Value, weak.SolventStrength = 1, "silver nitrate 1 mmol/L"
	thin.Constant = KeepsSolvent
	for _, c := range []struct {
		a, b Method
		want []string
	}{
		{water, water, nil},
		{water, other, nil},
		{water, silver, []string{"solvent", "solvent_strength"}},
		{water, cake, []string{"solids_g", "total_fill_g"}},
		{general, slow, []string{"programme"}},
		{general, cake, []string{"solids_basis"}},
		{silver, weak, []string{"solvent_strength"}},
		{water, thin, []string{"constant"}},
	} {
		if got := c.a.Differs(c.b); !slices.Equal(got, c.want) || !slices.Equal(c.b.Differs(c.a), c.want) {
			t.Errorf("%s and %s: %v, want %v", c.a.ID, c.b.ID, got, c.want)
		}
	}
}

// TestTemperatureStaysWithin: between two points the temperature lies between theirs.
func TestTemperatureStaysWithin(t *testing.T) {
	methods := Builtin()
	rapid.Check(t, func(t *rapid.T) {
		m := rapid.SampledFrom(methods).Draw(t, "method")
		i := rapid.IntRange(1, len(m.Programme)-1).Draw(t, "i")
		a, b := m.Programme[i-1], m.Programme[i]
		share := rapid.Float64Range(0, 1).Draw(t, "share")
		got := m.TemperatureAt(a.TimeS + share*(b.TimeS-a.TimeS))
		if want := a.TemperatureC + share*(b.TemperatureC-a.TemperatureC); math.Abs(got-want) > 1e-9 {
			t.Fatalf("%g, want %g", got, want)
		}
	})
}

// TestNewKeys: what a weigh-in needs beyond the first keys, as data.
func TestNewKeys(t *testing.T) {
	text := strings.Replace(own, `solvent_strength = "silver nitrate 1 mmol/L"`, "substance = \"silver nitrate\"\nstrength = 1\nstrength_unit = \"mmol/L\"", 1)
	text = strings.Replace(text, "solvent_mL = 25", "solvent_g = 25\nsolvent_temperature_C = 25\ntotal_fill_g = 28\nquoted_fill_g = 28.5\nconstant = \"solvent\"\ntolerance_solids_pct = 4\ntolerance_fill_g = 0.2", 1)
	m, err := Parse("ours.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	if m.Strength != (Strength{SilverNitrate, 1, MillimolPerL}) || m.SolventStrength != "silver nitrate 1 mmol/L" || m.SolventWords() != m.SolventStrength {
		t.Errorf("strength %+v, %q", m.Strength, m.SolventStrength)
	}
	if m.SolventG != 25 || m.SolventML != 0 || m.SolventC != 25 || m.QuotedFillG != 28.5 || m.ToleranceFillG != 0.2 || m.ToleranceSolidsPct != 4 || m.RefuseSolidsPct != 4 {
		t.Errorf("%+v", m)
	}
	if c, stated := m.Keeps(); c != KeepsSolvent || !stated {
		t.Errorf("keeps %q, stated %v", c, stated)
	}
	m.Constant = ""
	if c, stated := m.Keeps(); c != KeepsTotalFill || stated {
		t.Errorf("with a total fill it keeps %q, stated %v", c, stated)
	}
	m.TotalFillG = 0
	if c, stated := m.Keeps(); c != KeepsSolvent || stated {
		t.Errorf("without one it keeps %q, stated %v", c, stated)
	}
	if !strings.Contains(m.String(), "25 g silver nitrate 1 mmol/L") {
		t.Error(m.String())
	}
	for basis, want := range map[string]float64{"dry": 0, "12 %": 12, "14%": 14, "as is": 13.8} {
		if m.SolidsBasis = basis; m.BasisMoisture(13.8) != want {
			t.Errorf("basis %s: %g", basis, m.BasisMoisture(13.8))
		}
	}
	if got := (Method{Solvent: trait.Inhibitor, Strength: Strength{"copper sulfate", 5, MillimolPerL}}).Cautions(); !strings.Contains(got[4].Text, "copper sulfate") || len(got) != 5 {
		t.Errorf("cautions of another inhibitor: %v", got)
	}
}

// FuzzParse: whatever stands in a file, it is read whole or refused by name.
func FuzzParse(f *testing.F) {
	f.Add([]byte(own))
	f.Add([]byte(strings.Replace(own, `solvent_strength = "silver nitrate 1 mmol/L"`, "substance = \"silver nitrate\"\nstrength = 1\nstrength_unit = \"mmol/L\"\nconstant = \"solvent\"\nquoted_fill_g = 28", 1)))
	f.Add([]byte("programme = 3"))
	f.Add([]byte("[onset]\nat = 1979-05-27"))
	f.Add([]byte{0xff, 0xfe, 'i', 0})
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := Parse("f.toml", data)
		if err != nil {
			var p *ParseError
			if !errors.As(err, &p) || p.Found == "" {
				t.Fatalf("untyped error %v", err)
			}
			return
		}
		if m.ID == "" || m.SolidsG <= 0 || (m.SolventML <= 0) == (m.SolventG <= 0) || m.RefuseSolidsPct < m.ToleranceSolidsPct ||
			(m.Solvent != trait.Water && m.SolventStrength == "") || m.Strength.Value < 0 || len(m.Cautions()) < 4 || m.Solvent == "" || !m.HasProgramme() || m.Onset.RiseMPas <= 0 || m.Onset.WithinS <= 0 {
			t.Fatalf("accepted %+v", m)
		}
		if c := m.TemperatureAt(m.DurationS() / 2); math.IsNaN(c) {
			t.Fatalf("temperature %g", c)
		}
	})
}

// A strength in words is the same method as the same strength in numbers; what can
// be read two ways is refused with the cure, words without a number stay words.
func TestStrengthInWords(t *testing.T) {
	in := func(solvent, words string) (Method, error) {
		text := strings.Replace(own, `solvent_strength = "silver nitrate 1 mmol/L"`, fmt.Sprintf("solvent_strength = %q", words), 1)
		return Parse("own.toml", []byte(strings.Replace(text, `solvent = "inhibitor"`, fmt.Sprintf("solvent = %q", solvent), 1)))
	}
	for _, c := range []struct {
		solvent, words string
		want           Strength
	}{
		{"inhibitor", "silver nitrate 12 mmol/L", Strength{SilverNitrate, 12, MillimolPerL}},
		{"inhibitor", "Silver nitrate, 1 mM", Strength{SilverNitrate, 1, MillimolPerL}},
		{"inhibitor", "1 mM silver nitrate", Strength{SilverNitrate, 1, MillimolPerL}},
		{"inhibitor", "0.001 M silver nitrate", Strength{SilverNitrate, 1, MillimolPerL}},
		{"inhibitor", "silver nitrate 2,04 g/L", Strength{SilverNitrate, 2.04, GramPerL}},
		{"sucrose", "50 % w/w", Strength{Sucrose, 50, PctByMass}},
		{"sucrose", "sucrose 50% (w/w)", Strength{Sucrose, 50, PctByMass}},
		{"sucrose", "40 % w/v sucrose", Strength{Sucrose, 40, PctByVolume}},
		{"inhibitor", "silver nitrate as on the sheet", Strength{}},
	} {
		m, err := in(c.solvent, c.words)
		if err != nil || m.Strength != c.want {
			t.Errorf("%s: %+v, %v; want %+v", c.words, m.Strength, err, c.want)
		}
	}
	for _, c := range []struct{ solvent, words, cure string }{
		{"sucrose", "50 %", "ask which the method sheet means"},
		{"sucrose", "sucrose 50%", "% w/w (g in 100 g of solution) or % w/v"},
		{"sucrose", "1:1", "strength_unit"},
		{"inhibitor", "12", "mmol/L"},
		{"inhibitor", "silver nitrate 12 mm", "mmol/L"},
		{"inhibitor", "12 mmol/L", "what the solvent holds"},
		{"sucrose", "50 mmol/L", "% w/w"},
		{"sucrose", "90 % w/w", "70"},
	} {
		if _, err := in(c.solvent, c.words); err == nil || !strings.Contains(err.Error(), c.cure) {
			t.Errorf("%s: %v, want %q in it", c.words, err, c.cure)
		}
	}
}

// Temperatures of many times are those of each, to the bit, also before the programme
// begins, at its points and behind its end.
func TestTemperaturesAt(t *testing.T) {
	for _, m := range Builtin() {
		if !m.HasProgramme() {
			continue
		}
		rapid.Check(t, func(rt *rapid.T) {
			times := rapid.SliceOf(rapid.OneOf(rapid.Float64Range(-50, m.DurationS()+100), rapid.Map(rapid.SampledFrom(m.Programme), func(p Point) float64 { return p.TimeS }))).Draw(rt, "times")
			slices.Sort(times)
			for i, got := range m.TemperaturesAt(times) {
				if want := m.TemperatureAt(times[i]); got != want {
					rt.Fatalf("%s at %g s: %g, want %g", m.ID, times[i], got, want)
				}
			}
		})
	}
}
