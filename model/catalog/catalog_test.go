package catalog_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"flourcast/model"
	"flourcast/model/baseline"
	"flourcast/model/catalog"
	"flourcast/model/design"
	"flourcast/model/linear"
	"flourcast/model/pls"
	"flourcast/model/ridge"
	"flourcast/work"
)

func TestNew(t *testing.T) {
	lambda, zero, nan := 2.5, 0.0, math.NaN()
	cases := []struct {
		kind string
		o    catalog.Options
		want model.Fitter
	}{
		{"mean", catalog.Options{}, baseline.Mean{}},
		{"ols", catalog.Options{Scaling: model.ScaleNone}, linear.OLS{Scaling: model.ScaleNone}},
		{"ridge", catalog.Options{}, ridge.Ridge{}},
		{"ridge", catalog.Options{Lambda: &lambda}, ridge.Ridge{Lambdas: []float64{2.5}}},
		{"pls", catalog.Options{Scaling: model.ScaleUnit}, pls.PLS{Scaling: model.ScaleUnit}},
		{"pls", catalog.Options{Components: 3}, pls.PLS{Components: 3, Exactly: true}},
	}
	var kinds []string
	for _, c := range cases {
		if !slices.Contains(kinds, c.kind) {
			kinds = append(kinds, c.kind)
		}
		got, err := catalog.New(c.kind, c.o)
		if err != nil || !reflect.DeepEqual(got, c.want) || got.Kind() != c.kind {
			t.Errorf("%s %+v: %+v, %v", c.kind, c.o, got, err)
		}
	}
	if got := catalog.Kinds(); !slices.Equal(got, kinds) {
		t.Errorf("kinds %v, the table above has %v", got, kinds)
	}
	for _, kind := range []string{"mean", "ols", "ridge", "pls"} { // a thousand permutations of these are seconds
		got, err := catalog.New(kind, catalog.Options{})
		if _, ok := got.(model.MomentFitter); err != nil || !ok {
			t.Errorf("%s does not work from cross-products (%v)", kind, err)
		}
	}
	var kind *catalog.KindError
	var set *model.SettingError
	if _, err := catalog.New("forest", catalog.Options{}); !errors.As(err, &kind) || !strings.Contains(err.Error(), "pls") {
		t.Errorf("unknown kind: %v", err)
	}
	for _, o := range []catalog.Options{{Lambda: &zero}, {Lambda: &nan}, {Scaling: "odd"}} {
		if _, err := catalog.New("ridge", o); !errors.As(err, &set) {
			t.Errorf("%+v: %v", o, err)
		}
	}
	if _, err := catalog.New("pls", catalog.Options{Components: -2}); !errors.As(err, &set) {
		t.Errorf("negative components: %v", err)
	}
}

// fitted is one model of each kind on the biomass set.
func fitted(t testing.TB) []model.Fitted {
	t.Helper()
	m, _ := load(t, "biomass")
	var out []model.Fitted
	for _, kind := range catalog.Kinds() {
		f, err := catalog.New(kind, catalog.Options{})
		if err != nil {
			t.Fatal(err)
		}
		path, err := f.Fit(m)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, path.At(path.Len()/2))
	}
	return out
}

// TestRoundTrip: what is read back predicts the same bits and writes the same
// bytes.
func TestRoundTrip(t *testing.T) {
	m, _ := load(t, "biomass")
	for _, f := range fitted(t) {
		data, err := catalog.Encode(f)
		if err != nil {
			t.Fatal(err)
		}
		back, err := catalog.Decode(data)
		if err != nil {
			t.Fatal(f.Kind(), err)
		}
		for i := range m.N() {
			if got, want := back.Predict(m.Row(i)), f.Predict(m.Row(i)); math.Float64bits(got) != math.Float64bits(want) {
				t.Fatalf("%s row %d: %v, expected %v", f.Kind(), i, got, want)
			}
		}
		if reflect.TypeOf(back) != reflect.TypeOf(f) || !reflect.DeepEqual(back.Linear(), f.Linear()) || back.DF() != f.DF() || back.Complexity() != f.Complexity() {
			t.Errorf("%s came back as something else", f.Kind())
		}
		again, err := catalog.Encode(back)
		if err != nil || !bytes.Equal(again, data) {
			t.Errorf("%s: written again it differs (%v)", f.Kind(), err)
		}
		switch b := back.(type) {
		case *pls.Model:
			if !reflect.DeepEqual(b.VIP(), f.(*pls.Model).VIP()) || b.LeverageAt(m.Row(0)) != f.(*pls.Model).LeverageAt(m.Row(0)) {
				t.Error("pls lost figures")
			}
		case *linear.OLSModel:
			was, se := f.(*linear.OLSModel).StandardErrors()
			if now, again := b.StandardErrors(); now != was || !reflect.DeepEqual(again, se) || b.R2() != f.(*linear.OLSModel).R2() {
				t.Error("ols lost figures")
			}
		}
	}
}

// TestTransformsRoundTrip: a logarithm around a derivative around a method.
func TestTransformsRoundTrip(t *testing.T) {
	r := work.Rand(5, "transforms")
	s := design.Spec{Response: "y"}
	for j := range 20 {
		s.Features = append(s.Features, fmt.Sprintf("v_%04ds", 4*j))
	}
	for i := range 40 {
		row := make([]float64, 20)
		for j := range row {
			row[j] = 100*math.Sin(float64(j)/5)*(2+r.NormFloat64()/4) + r.NormFloat64()
		}
		s.X, s.Y, s.Lots = append(s.X, row), append(s.Y, math.Exp(row[8]/200+0.1*r.NormFloat64())), append(s.Lots, fmt.Sprint(i))
	}
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		kind string
		o    catalog.Options
	}{{"pls", catalog.Options{Log: true}}, {"ridge", catalog.Options{Orders: []int{1}, Window: 5}}, {"pls", catalog.Options{Log: true, Orders: []int{0, 1, 2}}}, {"mean", catalog.Options{Log: true}}} {
		f, err := catalog.New(c.kind, c.o)
		if err != nil {
			t.Fatal(err)
		}
		path, err := f.Fit(m)
		if err != nil {
			t.Fatal(err)
		}
		for i := range path.Len() {
			fitted := path.At(i)
			data, err := catalog.Encode(fitted)
			if err != nil {
				t.Fatal(err)
			}
			back, err := catalog.Decode(data)
			if err != nil {
				t.Fatal(err)
			}
			if back.Kind() != c.kind || back.Predict(m.Row(3)) != fitted.Predict(m.Row(3)) || !reflect.DeepEqual(back.Linear(), fitted.Linear()) {
				t.Errorf("%s %+v step %d: other figures after reading", c.kind, c.o, i)
			}
		}
	}
	var set *model.SettingError
	if _, err := catalog.New("ols", catalog.Options{Log: true, Weighted: true}); !errors.As(err, &set) {
		t.Errorf("weights and a logarithm: %v", err)
	}
	inside := `{"kind":"log","version":1,"fitted":{"smearing":1,"inner":%s}}`
	if _, err := catalog.Decode(json.RawMessage(fmt.Sprintf(inside, fmt.Sprintf(inside, `{"kind":"mean","version":1,"fitted":{}}`)))); err == nil {
		t.Error("a logarithm of a logarithm was read")
	}
}

type stranger struct{ model.Fitted }

func (stranger) Kind() string { return "pls" }

func TestRefusals(t *testing.T) {
	var kind *catalog.KindError
	var bad *model.PayloadError
	if _, err := catalog.Encode(stranger{}); !errors.As(err, &kind) {
		t.Errorf("a stranger: %v", err)
	}
	if _, err := catalog.Encode(nil); !errors.As(err, &kind) {
		t.Errorf("nothing: %v", err)
	}
	for _, f := range fitted(t) {
		data, err := catalog.Encode(f)
		if err != nil {
			t.Fatal(err)
		}
		var e struct {
			Kind    string         `json:"kind"`
			Version int            `json:"version"`
			Fitted  map[string]any `json:"fitted"`
		}
		change := func(with func()) error {
			t.Helper()
			e.Fitted = nil
			if err := json.Unmarshal(data, &e); err != nil {
				t.Fatal(err)
			}
			with()
			changed, err := json.Marshal(e)
			if err != nil {
				t.Fatal(err)
			}
			_, err = catalog.Decode(changed)
			return err
		}
		if err := change(func() {}); err != nil {
			t.Errorf("%s unchanged: %v", f.Kind(), err)
		}
		if err := change(func() { e.Kind = "forest" }); !errors.As(err, &kind) {
			t.Errorf("%s, unknown kind: %v", f.Kind(), err)
		}
		if err := change(func() { e.Version = 2 }); !errors.As(err, &bad) {
			t.Errorf("%s, unknown version: %v", f.Kind(), err)
		}
		if err := change(func() { e.Fitted["mood"] = "good" }); !errors.As(err, &bad) {
			t.Errorf("%s, unknown field: %v", f.Kind(), err)
		}
		if err := change(func() { e.Fitted["rows"] = 0 }); !errors.As(err, &bad) {
			t.Errorf("%s, no rows: %v", f.Kind(), err)
		}
		for name, v := range e.Fitted {
			if list, ok := v.([]any); ok {
				if err := change(func() { e.Fitted[name] = list[1:] }); !errors.As(err, &bad) {
					t.Errorf("%s, %s cut short: %v", f.Kind(), name, err)
				}
			}
		}
	}
	for _, text := range []string{"", "null", "[]", "{}", `{"kind":"mean","version":1}`, `{"kind":"mean","version":1,"fitted":{"rows":1,"features":2,"mean":1e999}}`,
		`{"kind":"mean","version":1,"fitted":{"rows":1,"features":2,"mean":1}}x`} {
		if f, err := catalog.Decode(json.RawMessage(text)); err == nil {
			t.Errorf("%q was read as %+v", text, f)
		}
	}
}

// FuzzDecode: whatever is read predicts without a panic and is written and read
// again to the same bytes.
func FuzzDecode(f *testing.F) {
	for _, m := range fitted(f) {
		data, err := catalog.Encode(m)
		if err != nil {
			f.Fatal(err)
		}
		f.Add([]byte(data))
	}
	f.Add([]byte(`{"kind":"pls","version":1,"fitted":{"rows":9,"scaling":"unit","x_mean":[1],"scale":[0],"y_mean":0,"x_ss":1,"y_ss":1,"weights":[[1]],"loadings":[[1]],"rotations":[[1]],"y_loadings":[1],"score_ss":[1]}}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := catalog.Decode(data)
		if err != nil {
			return
		}
		m.Predict(make([]float64, len(m.Linear().Coefficients)))
		m.DF()
		m.Complexity()
		first, err := catalog.Encode(m)
		if err != nil {
			t.Fatal(err)
		}
		back, err := catalog.Decode(first)
		if err != nil {
			t.Fatalf("written %s, then refused: %v", first, err)
		}
		if second, err := catalog.Encode(back); err != nil || !bytes.Equal(first, second) {
			t.Fatalf("written %s, then %s", first, second)
		}
	})
}
