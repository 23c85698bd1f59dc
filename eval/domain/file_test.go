package domain

import (
	"encoding/json"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
)

func TestJSON(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 9))
	d := build(t, flours(t, rng, 30))
	data, err := json.Marshal(d)
	if err != nil {
		t.Fatal(err)
	}
	var back Domain
	if err := json.Unmarshal(data, &back); err != nil {
		t.Fatal(err)
	}
	for range 20 {
		if x := flour(rng); !reflect.DeepEqual(d.Place(x), back.Place(x)) {
			t.Fatal("the domain read back places a lot elsewhere")
		}
	}
	again, _ := json.Marshal(&back)
	if string(again) != string(data) {
		t.Error("written, read and written again differs")
	}
	for _, c := range []struct{ name, old, new string }{
		{"unknown field", `{"features"`, `{"extra":1,"features"`},
		{"lots", `"lots":30`, `"lots":2`},
		{"fewer lots than components need", `"lots":30`, `"lots":3`},
		{"feature twice", `"peak_mPas"`, `"trough_mPas"`},
		{"missing feature", `"peak_mPas",`, ``},
		{"overflow", `"t2_limits":[`, `"t2_limits":[1e999,`},
		{"limits reversed", `"t2_limits":[`, `"t2_limits":[1e9,`},
		{"loading changed", `"loadings":[[`, `"loadings":[[1`},
		{"eigenvalue of rounding size", `"eigenvalues":[`, `"eigenvalues":[1e-300`},
		{"a lot too few", `"lot_names":["L0",`, `"lot_names":[`},
		{"a score too many", `"scores":[[`, `"scores":[[0,`},
		{"negative spacing", `"spacing":`, `"spacing":-`},
		{"negative SD", `"sd":[0`, `"sd":[-0`},
	} {
		bad := strings.Replace(string(data), c.old, c.new, 1)
		if bad == string(data) {
			t.Fatalf("%s: nothing was changed", c.name)
		}
		var kept Domain
		if err := json.Unmarshal([]byte(bad), &kept); err == nil {
			t.Errorf("%s: read without an error", c.name)
		}
	}
}

func FuzzJSON(f *testing.F) {
	d, err := Build(matrix(f, []string{"a", "b"}, [][]float64{{1, 2}, {2, 1}, {3, 5}, {4, 4}}))
	if err != nil {
		f.Fatal(err)
	}
	data, _ := json.Marshal(d)
	f.Add(data)
	f.Add([]byte(`{"features":[],"lots":3,"mean":[],"sd":[],"low":[],"high":[],"loadings":[],"eigenvalues":[],"t2_limits":[0,0],"q_limits":[0,0],"lot_names":["a","b","c"],"scores":[[],[],[]],"spacing":0}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		var d Domain
		if json.Unmarshal(data, &d) != nil {
			return
		}
		if _, err := json.Marshal(d.Place(make([]float64, len(d.Features())))); err != nil {
			t.Fatalf("%s was read, but places a lot with %v", data, err)
		}
	})
}
