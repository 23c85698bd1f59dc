package card

import (
	"encoding/json"
	"math"
	"os"
	"testing"
)

// TestOldFilesAreRead: files that an earlier version wrote load and predict what
// their coefficients say (testdata/SOURCE.md).
func TestOldFilesAreRead(t *testing.T) {
	data, err := os.ReadFile("testdata/schema1/predictions.json")
	if err != nil {
		t.Fatal(err)
	}
	var want map[string][]float64
	if err := json.Unmarshal(data, &want); err != nil {
		t.Fatal(err)
	}
	for _, kind := range []string{"mean", "ols", "ridge", "pls"} {
		c, err := Read("testdata/schema1/" + kind + ".json")
		if err != nil {
			t.Error(kind, err)
			continue
		}
		f, err := c.Fitted()
		if err != nil {
			t.Error(kind, err)
			continue
		}
		if len(want[kind]) != 16 || len(c.Training) != 16 || c.Kind != kind {
			t.Fatalf("%s: %d rows, %d predictions, kind %s", kind, len(c.Training), len(want[kind]), c.Kind)
		}
		for i, r := range c.Training {
			if got := f.Predict(r.X); !(math.Abs(got-want[kind][i]) <= 1e-9*want[kind][i]) {
				t.Errorf("%s, lot %s: %v, as written %v", kind, r.Lot, got, want[kind][i])
			}
		}
	}
}
