package card

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flourcast/eval/domain"
	"flourcast/eval/interval"
	"flourcast/model"
	"flourcast/model/catalog"
	"flourcast/model/design"
)

// sample is a small but whole card: least squares of 12 lots on two features.
func sample(t testing.TB) *Card {
	t.Helper()
	var spec design.Spec
	spec.Features, spec.Response = []string{"peak_mPas", "protein_pct"}, "hardness_N"
	for i := range 12 {
		x := []float64{2000 + 100*float64(i), 9 + 0.3*float64((i*5)%7)}
		spec.X, spec.Y = append(spec.X, x), append(spec.Y, 6-0.001*x[0]+0.2*x[1]+0.05*float64(i%3))
		spec.Lots = append(spec.Lots, string(rune('A'+i)))
	}
	m, err := design.New(spec)
	if err != nil {
		t.Fatal(err)
	}
	fitter, err := catalog.New("ols", catalog.Options{Scaling: model.ScaleUnit})
	if err != nil {
		t.Fatal(err)
	}
	path, err := fitter.Fit(m)
	if err != nil {
		t.Fatal(err)
	}
	fitted := path.At(0)
	payload, err := catalog.Encode(fitted)
	if err != nil {
		t.Fatal(err)
	}
	iv, err := interval.New(0.01, m.N(), fitted.DF())
	if err != nil {
		t.Fatal(err)
	}
	d, err := domain.Build(m)
	if err != nil {
		t.Fatal(err)
	}
	line := fitted.Linear()
	c := &Card{Schema: Schema, Program: "test", Made: time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC), Response: "hardness_N", Features: m.Features(), Kind: "ols",
		Scaling: model.ScaleUnit, Intercept: line.Intercept, Coefficients: map[string]float64{}, Model: payload, Interval: &iv, Domain: d}
	for j, name := range c.Features {
		c.Coefficients[name] = line.Coefficients[j]
	}
	for i, lot := range m.Lots() {
		c.Training = append(c.Training, Row{Lot: lot, X: m.Row(i), Measured: m.Y()[i], Predicted: fitted.Predict(m.Row(i))})
	}
	return c
}

func TestWriteAndReadBack(t *testing.T) {
	c := sample(t)
	path := filepath.Join(t.TempDir(), "m.json")
	if err := Write(path, c); err != nil {
		t.Fatal(err)
	}
	back, err := Read(path)
	if err != nil {
		t.Fatal(err)
	}
	if c.SHA256 != "" {
		t.Error("Write changed the card it was given")
	}
	f, err := back.Fitted()
	if err != nil {
		t.Fatal(err)
	}
	for i, r := range back.Training {
		if got := f.Predict(r.X); math.Float64bits(got) != math.Float64bits(c.Training[i].Predicted) {
			t.Errorf("lot %s: %v after reading, %v before", r.Lot, got, c.Training[i].Predicted)
		}
		// ŷ = b0 + x·b in original units.
		line := back.Intercept
		for j, name := range back.Features {
			line += back.Coefficients[name] * r.X[j]
		}
		if math.Abs(line-r.Predicted) > 1e-9*math.Abs(r.Predicted) {
			t.Errorf("lot %s: coefficients give %v, the model %v", r.Lot, line, r.Predicted)
		}
	}
	again, err := Encode(back)
	if err != nil {
		t.Fatal(err)
	}
	first, err := os.ReadFile(path)
	if err != nil || !bytes.Equal(first, again) {
		t.Errorf("writing what was read gives other bytes (%v)", err)
	}
	left, err := os.ReadDir(filepath.Dir(path))
	if err != nil || len(left) != 1 {
		t.Errorf("left in the folder: %v, %v", left, err)
	}
}

func TestDecodeRefuses(t *testing.T) {
	whole, err := Encode(sample(t))
	if err != nil {
		t.Fatal(err)
	}
	// restamp makes a change and stamps it anew, so that only the change is wrong.
	restamp := func(change func(*Card)) []byte {
		c := sample(t)
		change(c)
		data, err := Encode(c)
		if err != nil {
			t.Fatal(err)
		}
		return data
	}
	cases := map[string]struct {
		data []byte
		says string
	}{
		"no JSON":              {[]byte("lot,peak\n"), "no JSON"},
		"another schema":       {bytes.Replace(whole, []byte(Schema), []byte("flourcast.model/99"), 1), "schema"},
		"a changed figure":     {bytes.Replace(whole, []byte(`"lot": "A"`), []byte(`"lot": "B"`), 1), "SHA-256"},
		"an unknown field":     {bytes.Replace(whole, []byte(`"program"`), []byte(`"programme"`), 1), "unknown field"},
		"cut short":            {whole[:len(whole)/2], "no JSON"},
		"something behind":     {append(bytes.Clone(whole), '{', '}'), "no JSON"},
		"no response":          {restamp(func(c *Card) { c.Response = "" }), "no response"},
		"no domain":            {restamp(func(c *Card) { c.Domain = nil }), "no interval or no domain"},
		"no training rows":     {restamp(func(c *Card) { c.Training = nil }), "no training rows"},
		"a row too short":      {restamp(func(c *Card) { c.Training[3].X = c.Training[3].X[:1] }), "training row 4"},
		"a feature too many":   {restamp(func(c *Card) { c.Features = append(c.Features, "ash_pct") }), "coefficients"},
		"another coefficient":  {restamp(func(c *Card) { c.Coefficients["peak_mPas"] *= 1.001 }), "coefficient of peak_mPas"},
		"another intercept":    {restamp(func(c *Card) { c.Intercept++ }), "intercept"},
		"a model of no method": {restamp(func(c *Card) { c.Model = json.RawMessage(`{"kind":"forest","version":1,"fitted":{}}`) }), "forest"},
	}
	for name, c := range cases {
		_, err := Decode("m.json", c.data)
		var file *FileError
		if !errors.As(err, &file) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want %q in a *FileError", name, err, c.says)
		}
	}
}

func TestEncodeRefusesWhatIsNotFinite(t *testing.T) {
	c := sample(t)
	c.Training[0].Measured = math.NaN()
	if _, err := Encode(c); err == nil {
		t.Error("a NaN went into a model file")
	}
}

func FuzzDecode(f *testing.F) {
	whole, err := Encode(sample(f))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(whole)
	f.Add([]byte(`{"schema":"flourcast.model/1"}`))
	f.Add([]byte(`{"schema":"flourcast.model/1","training":null,"sha256":"x"}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := Decode("fuzz", data)
		if err != nil {
			return
		}
		// What is accepted can be used, and comes back as it is.
		fitted, err := c.Fitted()
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range c.Training {
			if v := fitted.Predict(r.X); math.IsNaN(v) {
				t.Fatalf("lot %s: NaN", r.Lot)
			}
		}
		if _, err := Encode(c); err != nil {
			t.Fatal(err)
		}
	})
}
