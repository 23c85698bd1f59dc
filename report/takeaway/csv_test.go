package takeaway_test

import (
	"bytes"
	"encoding/csv"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"flourcast/eval/domain"
	"flourcast/report/document"
	reporttakeaway "flourcast/report/takeaway"
	"flourcast/study/card"
)

// tidy is the table as a script would hold it: value by part, item, index, feature.
type tidy struct {
	value    map[[4]string]float64
	text     map[[2]string]string
	features []string
}

func readTidy(t *testing.T, c *card.Card) tidy {
	t.Helper()
	data, err := reporttakeaway.CSV(export(t, c, nil))
	if err != nil {
		t.Fatal(err)
	}
	records, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := tidy{map[[4]string]float64{}, map[[2]string]string{}, nil}
	if want := []string{"verdict", c.Verdict.Standing}; !slices.Equal(records[1][:2], want) || records[1][6] != c.Verdict.Sentence {
		t.Errorf("the first row is %q", records[1])
	}
	for _, r := range records[1:] {
		if r[4] == "" {
			out.text[[2]string{r[0], r[1]}] = r[6]
			continue
		}
		v, err := strconv.ParseFloat(r[4], 64)
		if err != nil {
			t.Fatal(err)
		}
		key := [4]string{r[0], r[1], r[2], r[3]}
		if _, twice := out.value[key]; twice {
			t.Errorf("%v stands twice", key)
		}
		out.value[key] = v
		if r[1] == "coefficient" {
			out.features = append(out.features, r[3])
		}
	}
	return out
}

func (d tidy) of(part, item, feature string) float64 {
	return d.value[[4]string{part, item, "", feature}]
}

// several are the figures of an item with index 1, 2, 3 … for a feature.
func (d tidy) several(part, item, feature string) []float64 {
	var out []float64
	for k := 1; ; k++ {
		v, ok := d.value[[4]string{part, item, strconv.Itoa(k), feature}]
		if !ok {
			return out
		}
		out = append(out, v)
	}
}

// score is docs/export.md in code.
func (d tidy) score(x []float64) (value, low, high, t2 float64, outside bool) {
	mu, rest := d.of("equation", "intercept", ""), make([]float64, len(x))
	for j, name := range d.features {
		mu += d.of("equation", "coefficient", name) * x[j]
		if sd := d.of("domain", "SD", name); sd > 0 {
			rest[j] = (x[j] - d.of("domain", "mean", name)) / sd
		}
		outside = outside || x[j] < d.of("domain", "outside below", name) || x[j] > d.of("domain", "outside above", name)
	}
	back := func(v float64) float64 { return v }
	value = mu
	if smearing, log := d.value[[4]string{"equation", "smearing factor", "", ""}]; log {
		back, value = math.Exp, math.Exp(mu)*smearing
	}
	z, q := slices.Clone(rest), 0.0
	for a, variance := range d.several("domain", "variance", "") {
		t := 0.0
		for j, name := range d.features {
			t += z[j] * d.several("domain", "loading", name)[a]
		}
		for j, name := range d.features {
			rest[j] -= t * d.several("domain", "loading", name)[a]
		}
		t2 += t * t / variance
	}
	for _, v := range rest {
		q += v * v
	}
	outside = outside || t2 > d.of("domain", "T2 outside", "") || q > d.of("domain", "Q outside", "")
	folds := d.several("interval", "fold intercept", "")
	if len(folds) == 0 {
		h := 1/d.of("domain", "lots", "") + t2/(d.of("domain", "lots", "")-1)
		if base, own := d.value[[4]string{"interval", "leverage base", "", ""}]; own {
			h = base
			for k := range d.several("interval", "leverage root", d.features[0]) {
				v := 0.0
				for j, name := range d.features {
					v += d.several("interval", "leverage root", name)[k] * (x[j] - d.of("interval", "leverage centre", name))
				}
				h += v * v
			}
		}
		half := d.of("interval", "Student's t", "") * math.Sqrt(d.of("interval", "MSECV", "")*(1+h))
		return value, value - half, value + half, t2, outside
	}
	type atom struct{ at, weight float64 }
	var lows, highs []atom
	for j, name := range d.features {
		for k, b := range d.several("interval", "fold coefficient", name) {
			folds[k] += b * x[j]
		}
	}
	sizes, weights := d.several("interval", "error size", ""), d.several("interval", "error weight", "")
	for i, k := range d.several("interval", "error fold", "") {
		lows, highs = append(lows, atom{-(folds[int(k)-1] - sizes[i]), weights[i]}), append(highs, atom{folds[int(k)-1] + sizes[i], weights[i]})
	}
	end := func(atoms []atom) float64 {
		slices.SortFunc(atoms, func(a, b atom) int { return map[bool]int{true: -1, false: 1}[a.at < b.at] })
		sum := 0.0
		for _, a := range atoms {
			if sum += a.weight; sum >= d.of("interval", "rank", "")-1e-9 {
				return a.at
			}
		}
		return math.NaN()
	}
	return value, back(-end(lows)), back(end(highs)), t2, outside
}

// Every kind of model, scored from its table by a script's steps, gives what the
// program gives.
func TestTidyCSVScoresAsForecastDoes(t *testing.T) {
	for name, c := range models(t) {
		d := readTidy(t, c)
		if !slices.Equal(d.features, c.Features) || d.text[[2]string{"model", "model file SHA-256"}] != c.SHA256 {
			t.Errorf("%s: features %q, hash %q", name, d.features, d.text[[2]string{"model", "model file SHA-256"}])
		}
		x := lotsFor(c, 6)
		for i, f := range asked(t, c, x, nil) {
			value, low, high, t2, outside := d.score(x[i])
			if !close9(value, *f.Value) || !close9(low, *f.Low) || !close9(high, *f.High) || !close9(t2, c.Domain.Place(x[i]).T2) || outside != (f.Domain == domain.Outside) {
				t.Errorf("%s, lot %d: %v (%v to %v), outside %v; the program has %v (%v to %v), %s", name, i, value, low, high, outside, *f.Value, *f.Low, *f.High, f.Domain)
			}
		}
	}
}

// The document names the files, the verdict and what the files do not do.
func TestDocument(t *testing.T) {
	r := export(t, stored(t, "mean"), nil)
	r.Wrote("csv", "m.csv", []byte("x"))
	var all strings.Builder
	if err := document.Text(&all, reporttakeaway.Document(r)); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"m.csv", "tidy CSV", "not fit for use", "run-not-checked", "releases nothing", "2d711642b726"} {
		if !strings.Contains(all.String(), want) {
			t.Errorf("the document lacks %q:\n%s", want, all.String())
		}
	}
}
