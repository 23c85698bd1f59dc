package worth

import (
	"math"
	"slices"
	"testing"

	"flourcast/forecast/money"

	"pgregory.net/rapid"
)

func amount(t testing.TB, text string) money.Amount {
	t.Helper()
	a, err := money.Parse(text, '.')
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func water(t testing.TB, text string) *money.Amount {
	a := amount(t, text)
	return &a
}

// By hand: sure 330/1; likely (300 + 50·0.2 + 8)/0.8 = 397.5 held; cheap (250 + 50·0.5)/0.5 =
// 550. The likely one ties with 330 at 330·0.8 − 18 = 246.
func TestCostOfAConformingTonneByHand(t *testing.T) {
	c := Costs{Hold: money.Whole(8), Reject: money.Whole(50)}
	list := []Candidate{{Name: "cheap", Price: money.Whole(250), Probability: 0.5}, {Name: "likely", Price: money.Whole(300), Probability: 0.8, Held: true}, {Name: "sure", Price: money.Whole(330), Probability: 1},
		{Name: "dear", Price: money.Whole(360), Probability: 0.9}}
	w, err := Rank(list, c, false)
	if err != nil {
		t.Fatal(err)
	}
	want := []struct {
		name, cost, ties string
		frontier         bool
	}{{"sure", "330", "397.5", true}, {"likely", "397.5", "246", true}, {"dear", "405.5555555556", "292", false}, {"cheap", "550", "140", true}}
	for i, x := range want {
		if w[i].Name != x.name || w[i].PerConforming.String() != x.cost || w[i].TiesAt.String() != x.ties || w[i].Frontier != x.frontier {
			t.Errorf("%d: %s %s ties at %s, frontier %v; want %+v", i, w[i].Name, w[i].PerConforming, w[i].TiesAt, w[i].Frontier, x)
		}
	}
	if w[2].Beaten != "sure" {
		t.Errorf("dear is beaten by %q", w[2].Beaten)
	}
	// A refund of all the price: (300·(1 − 0.2) + 18)/0.8 = 322.5.
	c.Refund = money.Whole(1)
	if w, err = Rank(list[1:2], c, false); err != nil || w[0].PerConforming.String() != "322.5" || w[0].TiesAt != nil {
		t.Errorf("%+v, %v", w, err)
	}
}

// By hand, p = 1: 300 with 50 % water at 2 a tonne: (300 + 1)/1.5 = 200.6667; 310 with 60 %:
// (310 + 1.2)/1.6 = 194.5. The thirstier flour wins though it is dearer, until 300 ties at
// 194.5·1.5 − 1 = 290.75.
func TestWaterByHand(t *testing.T) {
	list := []Candidate{{Name: "dry", Price: money.Whole(300), Probability: 1, WaterPct: water(t, "50")}, {Name: "thirsty", Price: money.Whole(310), Probability: 1, WaterPct: water(t, "60")}}
	w, err := Rank(list, Costs{Water: money.Whole(2)}, true)
	if err != nil {
		t.Fatal(err)
	}
	if w[0].Name != "thirsty" || w[0].PerDough.String() != "194.5" || w[1].PerDough.String() != "200.6666666667" || w[1].TiesAt.String() != "290.75" {
		t.Errorf("%+v", w)
	}
	list[1].WaterPct = nil
	if _, err := Rank(list, Costs{}, true); err == nil {
		t.Error("a cost of dough without water")
	}
}

// At the price at which it ties, a candidate costs what the best of the others costs;
// a cent below, it is first.
func TestTiesAtIsWhereTheRankingChanges(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var list []Candidate
		for i := range rapid.IntRange(2, 5).Draw(t, "n") {
			list = append(list, Candidate{Name: string(rune('a' + i)), Price: money.Whole(rapid.Int64Range(100, 600).Draw(t, "price")), Probability: rapid.Float64Range(0.05, 1).Draw(t, "p"), Held: rapid.Bool().Draw(t, "held")})
		}
		c := Costs{Hold: money.Whole(rapid.Int64Range(0, 30).Draw(t, "hold")), Reject: money.Whole(rapid.Int64Range(0, 200).Draw(t, "reject")), Refund: money.Of(rapid.SampledFrom([]float64{0, 0.5, 1}).Draw(t, "refund"))}
		w, err := Rank(list, c, false)
		if err != nil {
			t.Fatal(err)
		}
		if !slices.ContainsFunc(w, func(x Worth) bool { return x.Frontier }) {
			t.Fatal("nobody on the frontier")
		}
		for _, x := range w {
			k := slices.IndexFunc(list, func(k Candidate) bool { return k.Name == x.Name })
			at := list[k]
			at.Price = *x.TiesAt
			if at.Price.Sign() <= 0 {
				continue
			}
			other := w[0].PerConforming
			if x.Name == w[0].Name {
				other = w[1].PerConforming
			}
			if d := at.flour(c).Minus(other).Float(); math.Abs(d) > 1e-6 {
				t.Fatalf("%s at %s costs %s, the best of the others %s", x.Name, at.Price, at.flour(c), other)
			}
		}
	})
}

func TestWhatIsRefused(t *testing.T) {
	for _, k := range []Candidate{{Name: "never"}, {Name: "nan", Probability: math.NaN()}, {Name: "more", Probability: 1.1}, {Name: "negative", Price: money.Whole(-1), Probability: 1}, {Name: "hardly", Probability: 1e-20}} {
		if w, err := Rank([]Candidate{k}, Costs{}, false); err == nil {
			t.Errorf("%s: %+v", k.Name, w)
		}
	}
	if _, err := Rank(nil, Costs{Refund: money.Whole(2)}, false); err == nil {
		t.Error("twice the price comes back")
	}
	if w, err := Rank(nil, Costs{}, false); err != nil || len(w) != 0 {
		t.Error(w, err)
	}
}
