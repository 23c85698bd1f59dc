package decisive

import (
	"context"
	"fmt"
	"math"
	"reflect"
	"testing"

	"flourcast/dataset/trait"
	"flourcast/eval"
	"flourcast/eval/direction"
	"flourcast/eval/domain"
	"flourcast/eval/fold"
	"flourcast/eval/verdict"
	"flourcast/model"
	"flourcast/model/catalog"
	"flourcast/model/design"
	"flourcast/work"
)

// judged makes a mill of n lots with hardness following peak at correlation r,
// breakdown going along with peak, and judges it; change may alter lots first.
func judged(t testing.TB, n int, r float64, seed uint64, change func(x [][]float64, y []float64)) Input {
	t.Helper()
	ctx := context.Background()
	rng := work.Rand(seed, "decisive")
	s := design.Spec{Features: []string{"peak_mPas", "breakdown_mPas"}, Response: "hardness_N"}
	for i := range n {
		a, b := rng.NormFloat64(), rng.NormFloat64()
		s.X = append(s.X, []float64{2600 + 300*a, 1000 + 150*(0.85*a+math.Sqrt(1-0.85*0.85)*b)})
		s.Y = append(s.Y, 12+r*a+math.Sqrt(1-r*r)*rng.NormFloat64())
		s.Lots = append(s.Lots, fmt.Sprint("L", i))
	}
	if change != nil {
		change(s.X, s.Y)
	}
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	f, err := catalog.New("pls", catalog.Options{Scaling: model.ScaleUnit})
	if err != nil {
		t.Fatal(err)
	}
	plan, err := fold.Parse("lot", m, 1, seed)
	if err != nil {
		t.Fatal(err)
	}
	honest, err := eval.Nested(ctx, f, m, plan, seed, 1)
	if err != nil {
		t.Fatal(err)
	}
	d, err := domain.Build(m)
	if err != nil {
		t.Fatal(err)
	}
	e := direction.Evidence{Product: "white-salted-noodle", Solvent: trait.Water, Response: "hardness_N", Kind: direction.Instrumental, Lots: s.Lots, Y: s.Y}
	for j, name := range s.Features {
		e.Features = append(e.Features, direction.FeatureColumn{ID: name, X: m.Column(j)})
	}
	answers, err := direction.Check(ctx, direction.Builtin(), e, seed, 1)
	if err != nil {
		t.Fatal(err)
	}
	p := 0.001
	v := verdict.Evidence{Response: "hardness_N", Lots: n, Q2: &honest.Q2, PermutationP: &p, Directions: answers, Data: &verdict.Data{}}
	return Input{Fitter: f, Matrix: m, Plan: plan, Domain: d, Evidence: e, Verdict: v, Seed: seed}
}

// A mill whose relation is weak, and one lot far out in peak and hardness alike
// that makes a model of it: it is named, first.
func TestOneLotMakesTheModel(t *testing.T) {
	in := judged(t, 40, -0.2, 2001, func(x [][]float64, y []float64) {
		x[17][0], x[17][1], y[17] = 2600+1800, 1000+800, 6
	})
	if *in.Verdict.Q2 <= 0 {
		t.Fatalf("the lot makes no model (Q² %.2f): nothing to find", *in.Verdict.Q2)
	}
	res, err := Find(context.Background(), in, 1)
	if err != nil {
		t.Fatal(err)
	}
	if len(res.Changes) == 0 || res.Changes[0].Lot != "L17" || res.Changes[0].Standing != verdict.NotFitForUse || res.LowestLot != "L17" || res.Tried != 40 {
		t.Fatalf("%+v", res)
	}
	two, err := Find(context.Background(), in, 2)
	if err != nil || !reflect.DeepEqual(res, two) {
		t.Errorf("two cores find something else (%v)", err)
	}
}

// In mills with a relation, one lot seldom decides.
func TestWholeSeldomWhereTheRelationIsReal(t *testing.T) {
	for _, c := range []struct {
		n    int
		r    float64
		most int
	}{{80, -0.75, 0}, {60, -0.5, 4}} {
		found := 0
		const mills = 20
		for k := range mills {
			res, err := Find(context.Background(), judged(t, c.n, c.r, uint64(100+k), nil), 0)
			if err != nil {
				t.Fatal(err)
			}
			if len(res.Changes) > 0 {
				found++
			}
		}
		t.Logf("n %d, r %v: a lot decides in %d of %d mills", c.n, c.r, found, mills)
		if found > c.most {
			t.Errorf("n %d, r %v: a lot decides in %d of %d mills, want at most %d", c.n, c.r, found, mills, c.most)
		}
	}
}

// A direction that rests on one lot turns without it.
func TestDirectionTurns(t *testing.T) {
	in := judged(t, 40, 0, 9, func(x [][]float64, y []float64) {
		x[3][0], x[3][1], y[3] = 2600-2000, 0, 20
		x[4][0], x[4][1], y[4] = 2600+1500, 1000+700, 7
	})
	confirmed := 0
	for i, a := range in.Verdict.Directions {
		if a.Applies && a.Rule.Standing == direction.Established && a.Outcome == direction.CannotTell {
			in.Verdict.Directions[i].Outcome = direction.Confirmed // as if the bootstrap had fallen so
			confirmed++
		}
	}
	if confirmed == 0 {
		t.Fatal("no rule to turn")
	}
	res, err := Find(context.Background(), in, 1)
	if err != nil {
		t.Fatal(err)
	}
	turned := 0
	for _, c := range res.Changes {
		turned += len(c.Directions)
		for _, d := range c.Directions {
			if d.From != direction.Confirmed || d.To == direction.Confirmed {
				t.Errorf("lot %s: %+v", c.Lot, d)
			}
		}
	}
	if turned == 0 {
		t.Errorf("nothing turns: %+v", res)
	}
}

func BenchmarkFind(b *testing.B) {
	in := judged(b, 80, -0.75, 1, nil)
	for b.Loop() {
		if _, err := Find(context.Background(), in, 1); err != nil {
			b.Fatal(err)
		}
	}
}
