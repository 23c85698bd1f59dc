package card

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestShow(t *testing.T) {
	c := sample(t)
	c.Training = append(c.Training, c.Training[0]) // a second row of lot A
	c.Training[12].Measured += 2
	c.Intervals = []Coefficient{{Feature: "protein_pct", Value: 1, Low: 0.5, High: 1.5}}
	path := filepath.Join(t.TempDir(), "m.json")
	if err := Write(path, c); err != nil {
		t.Fatal(err)
	}
	got, err := Show(path)
	if err != nil {
		t.Fatal(err)
	}
	if got.Schema != "flourcast.show/1" || got.File.Schema != Schema || !got.File.HashMatches || got.File.PayloadVersion != 1 || got.Interval != "parametric" || got.ResponseUnit != "N" {
		t.Errorf("got %+v", got)
	}
	if len(got.Features) != 2 || got.Features[0].Unit != "mPa·s" || got.Features[0].Low != nil || got.Features[0].Least != 2000 || got.Features[0].Most != 3100 ||
		got.Features[0].Coefficient != c.Coefficients["peak_mPas"] || got.Features[1].Low == nil || *got.Features[1].High != 1.5 {
		t.Errorf("features: %+v", got.Features)
	}
	if got.Rows != 13 || len(got.Lots) != 12 || got.Lots[0].Rows != 2 || math.Abs(got.Lots[0].Measured-c.Training[0].Measured-1) > 1e-12 {
		t.Errorf("lots: %+v", got.Lots)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for change, says := range map[string][2]string{"hash": {`"lot": "A"`, `"lot": "Z"`}, "schema": {Schema, "flourcast.model/2"}} {
		if err := os.WriteFile(path, []byte(strings.Replace(string(data), says[0], says[1], 1)), 0o600); err != nil {
			t.Fatal(err)
		}
		_, err := Show(path)
		var file *FileError
		if !errors.As(err, &file) || !strings.Contains(err.Error(), path) {
			t.Errorf("changed %s: %v", change, err)
		}
	}
}
