package pasting

import (
	"flag"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"flourcast/dataset/method"
	"flourcast/dataset/trait"
	"flourcast/work"
)

var update = flag.Bool("update", false, "rewrite the tables of docs/features.md; the run still fails where something changed")

// The noise of a simulated run: that of a reading, SD in mPa·s and as share of
// the viscosity, and that of a temperature, °C; temperatures are then written to
// 0.1 °C as records write them.
const (
	noiseSD, noiseShare = 3, 0.005
	noiseC              = 0.1
	copies              = 300
)

// precise is the closed-form curves of the tables: one like wheat's, and one
// with a peak as steep and narrow as that of a waxy flour.
var precise = map[string]shape{
	"like wheat": wheat,
	"like waxy":  {base: 60, peak: 3200, trough: 1100, final: 1700, tOnset: 165, tPeak: 235, tTrough: 330, tEnd: 700},
}

// truth is what the formula of a curve says of each feature. Areas are those
// between the stages of the curve itself, read without noise.
func (s shape) truth(m method.Method) map[string]float64 {
	clean, _ := Extract(sample(s.at, m, 0.25, 780), m)
	st, _ := clean.Stages()
	onset := s.onsetEnd(m.Onset.RiseMPas, m.Onset.WithinS)
	at := func(celsius float64) float64 { return s.at(60 + (celsius-50)*222/45) }
	return map[string]float64{
		Initial: s.base, PastingTemp: m.TemperatureAt(onset), PastingTangent: m.TemperatureAt(s.tangentAt()), ViscosityAt(65): at(65), ViscosityAt(75): at(75), ViscosityAt(85): at(85),
		RiseRate: s.riseRate(), RiseRatePerC: s.riseRate() / (45. / 222), AreaHeating: s.area(st.Heating, st.Hot), OnsetToPeak: s.tPeak - onset,
		PeakTime: s.tPeak, PeakTemp: m.TemperatureAt(s.tPeak), Peak: s.peak, AreaHot: s.area(st.Hot, st.Cooling), Trough: s.trough, BreakdownDrop: s.peak - s.trough,
		RelativeBreakdown: 1 - s.trough/s.peak, Stability: s.trough / s.peak, AreaCooling: s.area(st.Cooling, st.Final),
		Final: s.final, SetbackFromTrough: s.final - s.trough, RelativeSetback: s.final/s.trough - 1, SetbackFromPeak: s.final - s.peak,
	}
}

// measured is bias and SD of a feature over the copies of a curve.
type measured struct{ bias, sd float64 }

// measure reads noisy copies of a curve, sampled every step seconds.
func measure(t *testing.T, name string, step float64) map[string]measured {
	t.Helper()
	m, s := general(), precise[name]
	truth := s.truth(m)
	sum, squares := map[string]float64{}, map[string]float64{}
	rng := work.Rand(1, "precision", name, fmt.Sprint(step))
	for range copies {
		c := noisy(sample(s.at, m, step, 780), rng, noiseSD, noiseShare)
		for i, x := range c.TemperatureC {
			c.TemperatureC[i] = math.Round(10*(x+noiseC*rng.NormFloat64())) / 10
		}
		f, fl := Extract(c, m)
		for id, exact := range truth {
			v, ok := f.Get(id)
			if !ok {
				t.Fatalf("%s every %g s: %s is absent: %v", name, step, id, fl)
			}
			sum[id] += v - exact
			squares[id] += (v - exact) * (v - exact)
		}
	}
	out := map[string]measured{}
	for id := range truth {
		bias := sum[id] / copies
		out[id] = measured{bias, math.Sqrt(max(0, squares[id]/copies-bias*bias) * copies / (copies - 1))}
	}
	return out
}

var steps = []float64{1, 2, 4, 8}

// table is the table of docs/features.md for one curve.
func table(t *testing.T, name string) string {
	truth := precise[name].truth(general())
	by := map[float64]map[string]measured{}
	for _, step := range steps {
		by[step] = measure(t, name, step)
	}
	var b strings.Builder
	fmt.Fprintln(&b, "| feature | exact | bias, a point every 1 s | 2 s | 4 s | 8 s | SD, a point every 1 s | 2 s | 4 s | 8 s |")
	fmt.Fprintln(&b, "| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |")
	for _, id := range IDs() {
		exact, ok := truth[id]
		if !ok {
			continue
		}
		fmt.Fprintf(&b, "| `%s` | %s |", id, trait.Format(id, exact))
		for _, step := range steps {
			fmt.Fprintf(&b, " %s |", digits(by[step][id].bias))
		}
		for _, step := range steps {
			fmt.Fprintf(&b, " %s |", digits(by[step][id].sd))
		}
		b.WriteString("\n")
	}
	return b.String()
}

// digits writes two significant digits, no exponent, a true minus.
func digits(v float64) string {
	text := fmt.Sprintf("%.2g", v)
	if strings.Contains(text, "e") {
		decimals := max(0, 1-int(math.Floor(math.Log10(math.Abs(v)))))
		unit := math.Pow(10, math.Floor(math.Log10(math.Abs(v)))-1)
		text = fmt.Sprintf("%.*f", decimals, math.Round(v/unit)*unit)
	}
	return strings.Replace(text, "-", "−", 1)
}

// TestPrecision measures bias and SD of every feature on closed-form curves with
// noise (seed fixed), at several sampling rates, and compares them with the
// tables of docs/features.md. -update writes these tables.
func TestPrecision(t *testing.T) {
	const path = "../../docs/features.md"
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	text := string(data)
	for name := range precise {
		head := "<!-- measured: " + name + " -->\n"
		_, rest, ok1 := strings.Cut(text, head)
		old, _, ok2 := strings.Cut(rest, "<!-- end -->")
		if !ok1 || !ok2 {
			t.Fatalf("%s has no place for the table %q", path, name)
		}
		is := table(t, name)
		if old == is {
			continue
		}
		t.Errorf("%s, table %q is no longer what is measured:\n%s", path, name, is)
		text = strings.Replace(text, head+old, head+is, 1)
	}
	if *update && text != string(data) {
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// TestDocumented: every feature is defined in docs/features.md.
func TestDocumented(t *testing.T) {
	data, err := os.ReadFile("../../docs/features.md")
	if err != nil {
		t.Fatal(err)
	}
	_, definitions, _ := strings.Cut(string(data), "## Definitions")
	definitions, _, _ = strings.Cut(definitions, "### ")
	for _, id := range IDs() {
		if strings.HasPrefix(id, "viscosity_at_") {
			id = ViscosityAt(60) // one row for all
		}
		if !strings.Contains(definitions, "`"+id+"`") {
			t.Errorf("%s is not defined in docs/features.md", id)
		}
	}
}
