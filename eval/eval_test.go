package eval

import (
	"context"
	"fmt"
	"math"
	"reflect"
	"slices"
	"sync/atomic"
	"testing"

	"flourcast/eval/fold"
	"flourcast/model"
	"flourcast/model/design"
	"flourcast/model/linear"
	"flourcast/model/pls"
	"flourcast/model/ridge"
	"flourcast/work"
)

// lab is n lots with rows rows each and p features, of which the response
// follows the first two; strength 0 is noise.
func lab(t testing.TB, n, rows, p int, strength float64, seed uint64) *design.Matrix {
	t.Helper()
	random := work.Rand(seed, "lab")
	s := design.Spec{Response: "hardness", Groupings: map[string][]string{}}
	for j := range p {
		s.Features = append(s.Features, fmt.Sprint("x", j))
	}
	for l := range n {
		latent := random.NormFloat64()
		for range rows {
			x := make([]float64, p)
			for j := range x {
				x[j] = 100*float64(j) + latent*float64(j%2) + random.NormFloat64()
			}
			s.X = append(s.X, x)
			s.Y = append(s.Y, 5+strength*(x[0]+x[1]-100)+random.NormFloat64())
			s.Lots = append(s.Lots, fmt.Sprint("lot ", l))
			s.Groupings["crop_year"] = append(s.Groupings["crop_year"], fmt.Sprint(2020+l%3))
		}
	}
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func planOf(t testing.TB, spec string, m *design.Matrix, repeats int) fold.Plan {
	t.Helper()
	plan, err := fold.Parse(spec, m, repeats, 3)
	if err != nil {
		t.Fatal(err)
	}
	return plan
}

// TestCores: one core and two give the same bits, and so does a second run.
func TestCores(t *testing.T) {
	ctx := context.Background()
	m := lab(t, 45, 1, 8, 1, 1)
	plan := planOf(t, "lot", m, 3)
	for _, f := range []model.Fitter{pls.PLS{}, ridge.Ridge{}, linear.OLS{}, rowsOnly{pls.PLS{}}} {
		var cvs []*CV
		var nested []*Honest
		var perms []Permutation
		for _, cores := range []int{1, 2, 1} {
			cv, err := CrossValidate(ctx, f, m, plan, cores)
			if err != nil {
				t.Fatal(err)
			}
			h, err := Nested(ctx, f, m, plan, 9, cores)
			if err != nil {
				t.Fatal(err)
			}
			p, err := Permute(ctx, f, m, plan.First(1), 70, 9, cores, nil)
			if err != nil {
				t.Fatal(err)
			}
			cvs, nested, perms = append(cvs, cv), append(nested, h), append(perms, p)
		}
		for i := 1; i < 3; i++ {
			if !reflect.DeepEqual(cvs[0], cvs[i]) || !reflect.DeepEqual(nested[0], nested[i]) || !reflect.DeepEqual(perms[0], perms[i]) {
				t.Errorf("%s: run %d differs", f.Kind(), i)
			}
		}
		if want := nested[0]; len(want.Picks) != 3 || len(want.Picks[0]) != 10 {
			t.Errorf("%s: picks %v, expected 3 repeats of 10 folds", f.Kind(), want.Picks)
		}
	}
}

// rowsOnly hides that a fitter can work from cross-products.
type rowsOnly struct{ f model.Fitter }

func (r rowsOnly) Kind() string                             { return r.f.Kind() }
func (r rowsOnly) Fit(m *design.Matrix) (model.Path, error) { return r.f.Fit(m) }

// TestChooseExample: RMSECV 2.10, 1.60, 1.45, 1.40, 1.42 with a standard error of
// 0.12 at the least gives 3 components, 1.45 ≤ 1.52 (worked by hand; the rule is
// Breiman's, Elements of Statistical Learning §7.10, from memory).
func TestChooseExample(t *testing.T) {
	const n = 100
	means, se := []float64{2.10, 1.60, 1.45, 1.40, 1.42}, 0.12
	s := design.Spec{Features: []string{"x"}, Response: "y"}
	for i := range n {
		s.X, s.Y, s.Lots = append(s.X, []float64{float64(i)}), append(s.Y, float64(i%7)), append(s.Lots, fmt.Sprint(i))
	}
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	// Half the lots above, half below: sd = half·√(n/(n − 1)), se = sd/√n.
	half := se * math.Sqrt(n) * math.Sqrt(float64(n-1)/n)
	table := func(se float64) *CV {
		cv := &CV{PRESS: make([]float64, len(means))}
		for _, mean := range means {
			e2 := make([]float64, n)
			for i := range e2 {
				e2[i] = mean + half*se*float64(2*(i%2)-1)
			}
			cv.Squared = append(cv.Squared, e2)
		}
		return cv
	}
	for _, c := range []struct {
		share float64 // of the standard error 0.12
		want  int     // step, from 0
	}{{1, 2}, {0.5, 2}, {0.4, 3}, {2, 1}, {6, 0}} {
		if got := Choose(table(c.share), m); got != c.want {
			t.Errorf("standard error %.3f: chose %d components, expected %d", se*c.share, got+1, c.want+1)
		}
	}
	settled := table(1)
	settled.settled = true
	if got := Choose(settled, m); got != 4 {
		t.Errorf("a settled method keeps its last step, got %d", got)
	}
}

// TestLotsCountOnce: rows of one lot are averaged before anything else, so that a
// lot with many rows weighs no more than one with a single row.
func TestLotsCountOnce(t *testing.T) {
	one := lab(t, 25, 1, 4, 1, 4)
	var rows []int
	for l := range 25 {
		for range 1 + l%6 {
			rows = append(rows, l)
		}
	}
	many := one.Subset(rows)
	differ := 0
	for seed := range uint64(50) {
		random := work.Rand(seed, "lots")
		cv, big := &CV{PRESS: make([]float64, 4)}, &CV{PRESS: make([]float64, 4)}
		for a := range 4 {
			lots, all := make([]float64, 25), make([]float64, len(rows))
			for l := range lots {
				lots[l] = random.ExpFloat64() * (1 - 0.2*float64(a))
			}
			for i, l := range rows {
				all[i] = lots[l]
			}
			cv.Squared, big.Squared = append(cv.Squared, lots), append(big.Squared, all)
		}
		want := Choose(cv, one)
		if got := Choose(big, many); got != want {
			t.Errorf("chose step %d with one row a lot, %d with several", want, got)
		}
		if want > 0 {
			differ++
		}
	}
	if differ == 0 {
		t.Error("every choice was the first step: nothing was tested")
	}
}

// TestLeaveOneOutPRESS: leaving one row out equals the closed form e/(1 − h).
func TestLeaveOneOutPRESS(t *testing.T) {
	m := lab(t, 30, 1, 4, 1, 5)
	fit, err := linear.OLS{}.Regress(m)
	if err != nil {
		t.Fatal(err)
	}
	want, err := fit.Rows(m)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range []model.Fitter{linear.OLS{}, rowsOnly{linear.OLS{}}} {
		cv, err := CrossValidate(context.Background(), f, m, planOf(t, "loo", m, 1), 1)
		if err != nil {
			t.Fatal(err)
		}
		if d := math.Abs(cv.PRESS[0]/want.PRESS - 1); !(d <= 1e-11) {
			t.Errorf("PRESS differs by %.2g", d)
		}
	}
}

func TestSettledAndFixed(t *testing.T) {
	ctx := context.Background()
	m := lab(t, 40, 1, 6, 1, 6)
	plan := planOf(t, "lot", m, 2)
	f := pls.PLS{Components: 3, Exactly: true}
	cv, err := CrossValidate(ctx, f, m, plan, 1)
	if err != nil {
		t.Fatal(err)
	}
	h, err := Nested(ctx, f, m, plan, 1, 1)
	if err != nil {
		t.Fatal(err)
	}
	if len(cv.PRESS) != 3 || cv.Chosen != 2 || h.Picks[1][9] != 2 {
		t.Errorf("3 settled components: %d steps, chosen %d, picks %v", len(cv.PRESS), cv.Chosen, h.Picks)
	}
	fixed := Fixed(cv, m, 2)
	if fixed.PRESS != h.PRESS || fixed.MeanPRESS != h.MeanPRESS || !slices.Equal(fixed.Predicted, h.Predicted) {
		t.Error("a settled method's nested validation is its plain one")
	}
	if want := math.Sqrt(h.PRESS / 80); h.RMSECV != want || h.MSECV != h.PRESS/80 {
		t.Errorf("RMSECV %v, expected %v", h.RMSECV, want)
	}
}

// TestPermutation: a relation is found, noise is not; p counts itself; the
// progress adds up.
func TestPermutation(t *testing.T) {
	ctx := context.Background()
	real := lab(t, 40, 1, 5, 1, 7)
	var told counter
	p, err := Permute(ctx, pls.PLS{}, real, planOf(t, "lot", real, 1), 99, 5, 2, &told)
	if err != nil {
		t.Fatal(err)
	}
	if p.Better != 0 || p.P != 0.01 || p.Within != "crop_year" || len(p.Null) != 99 {
		t.Errorf("real relation: %d of %d better, p %v, within %q", p.Better, p.M, p.P, p.Within)
	}
	if told.total != int(told.steps.Load()) || told.total == 0 || !told.done {
		t.Errorf("progress: %d of %d", told.steps.Load(), told.total)
	}
	h, err := Nested(ctx, pls.PLS{}, real, planOf(t, "lot", real, 1), 5, 2)
	if err != nil {
		t.Fatal(err)
	}
	if d := math.Abs(p.Observed - h.Q2); d > 1e-12 {
		t.Errorf("observed Q² %v, nested gives %v", p.Observed, h.Q2)
	}
	// Under the null p is uniform: over 40 draws of noise its mean lies within
	// 0.5 ± 4·0.29/√40.
	sum := 0.0
	for i := range 40 {
		noise := lab(t, 24, 1, 3, 0, 100+uint64(i))
		p, err := Permute(ctx, pls.PLS{}, noise, planOf(t, "k=5", noise, 1), 39, 5, 2, nil)
		if err != nil {
			t.Fatal(err)
		}
		sum += p.P / 40
	}
	if math.Abs(sum-0.5) > 4*0.29/math.Sqrt(40) {
		t.Errorf("mean p of noise %.3f, expected about 0.5", sum)
	}
}

type counter struct {
	total int
	steps atomic.Int64
	done  bool
}

func (c *counter) Start(_ string, total int) { c.total = total }
func (c *counter) Step(n int)                { c.steps.Add(int64(n)) }
func (c *counter) Done()                     { c.done = true }

// TestShuffle: whole lots move, only within a crop year and a size.
func TestShuffle(t *testing.T) {
	m := lab(t, 30, 2, 2, 1, 8)
	s, err := fold.NewShuffle(m)
	if err != nil {
		t.Fatal(err)
	}
	years, _ := m.Grouping("crop_year")
	moved := 0
	for q := range 20 {
		order := s.Order(1, q)
		seen := slices.Sorted(slices.Values(order))
		for i := range seen {
			if seen[i] != i {
				t.Fatal("not a rearrangement of the rows")
			}
			if years[i] != years[order[i]] {
				t.Fatal("a lot left its crop year")
			}
			if i%2 == 0 && (order[i+1] != order[i]+1 || m.Lots()[order[i]] != m.Lots()[order[i+1]]) {
				t.Fatal("a lot was parted")
			}
			if order[i] != i {
				moved++
			}
		}
	}
	if moved < 20*30 {
		t.Errorf("only %d of 1200 rows moved", moved)
	}
}

// TestInputUnchanged: A, then B, then A again gives A's bits, and B wrote nothing.
func TestInputUnchanged(t *testing.T) {
	ctx := context.Background()
	a, b := lab(t, 30, 1, 5, 1, 11), lab(t, 26, 2, 5, 1, 12)
	x, y := slices.Clone(a.X()), slices.Clone(a.Y())
	run := func(m *design.Matrix) *Honest {
		h, err := Nested(ctx, pls.PLS{}, m, planOf(t, "lot", m, 1), 1, 2)
		if err != nil {
			t.Fatal(err)
		}
		return h
	}
	first := run(a)
	run(b)
	if second := run(a); !reflect.DeepEqual(first, second) {
		t.Error("the second run differs")
	}
	if !slices.Equal(x, a.X()) || !slices.Equal(y, a.Y()) {
		t.Error("the matrix was written to")
	}
}
