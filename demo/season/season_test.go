package season

import (
	"bytes"
	"math/rand/v2"
	"strings"
	"testing"

	"flourcast/demo/grain"
)

func mill(seed uint64) Mill {
	return Mill{Seed: seed, Product: "soft-bite-noodle", Suppliers: []string{"North", "South"}, Method: "noodle-water", Year: 2026,
		Grow: func(r *rand.Rand, _ string) grain.Flour {
			return grain.Draw(r, grain.Grist{LowAmylose: 0.5, Spread: 0.5, Own: 1, Protein: 9})
		}}
}

// The same seed gives the same bytes, another seed others; every lot has noodles, and
// every file says that it is invented.
func TestSeason(t *testing.T) {
	a, err := mill(1).Lots("s/")
	if err != nil {
		t.Fatal(err)
	}
	b, err := mill(1).Lots("s/")
	if err != nil {
		t.Fatal(err)
	}
	other, err := mill(2).Lots("s/")
	if err != nil {
		t.Fatal(err)
	}
	for i := range a {
		if !bytes.Equal(a[i].Data, b[i].Data) || bytes.Equal(a[i].Data, other[i].Data) {
			t.Errorf("%s: same seed, same bytes; another seed, others", a[i].Name)
		}
	}
	if n := strings.Count(string(a[2].Data), "N26-1"); n != 9*lots {
		t.Errorf("%d strands, want nine of each of %d lots", n, lots)
	}
	p, err := mill(1).Pairs("p.csv")
	if err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(string(p.Data), "invented"); n != 4*pairs {
		t.Errorf("%d rows that say invented, want %d", n, 4*pairs)
	}
	m := mill(1)
	m.Method = "nobody's"
	if _, err := m.Lots(""); err == nil {
		t.Error("an unknown method is taken")
	}
}
