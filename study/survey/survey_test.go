package survey

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"flourcast/dataset/column"
	"flourcast/dataset/pasting/whole"
	"flourcast/dataset/table"
	"flourcast/forecast"
	"flourcast/study/job"
)

func env() job.Env {
	return job.Env{Clock: func() time.Time { return time.Unix(0, 0) }, Version: "test", Seed: 1}
}

// figures is a column of numbers that all rows have.
func figures(name string, v []float64) column.Column {
	present := make([]bool, len(v))
	for i := range present {
		present[i] = true
	}
	return column.Numbers(name, v, present)
}

// mill is a table of n white-salted-noodle lots of three crop years. Hardness falls
// with peak by b, and rises with protein by c.
func mill(t testing.TB, n int, b, c float64, seed uint64, more ...column.Column) *table.Table {
	t.Helper()
	rng := rand.New(rand.NewPCG(seed, 11))
	var lot, product, method, year []string
	var protein, peak, trough, breakdown, hard []float64
	for i := range n {
		p, z, w := rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()
		lot, product, method, year = append(lot, fmt.Sprintf("L%03d", i)), append(product, "white-salted-noodle"), append(method, "noodle-water"), append(year, fmt.Sprint(2022+i%3))
		protein = append(protein, 10+0.5*p)
		peak = append(peak, 2500+300*(z-0.6*p))
		breakdown = append(breakdown, 800+80*(0.8*z-0.6*p+0.6*w))
		trough = append(trough, peak[i]-breakdown[i])
		hard = append(hard, 4+b*(peak[i]-2500)/300+c*p+0.5*rng.NormFloat64())
	}
	columns := []column.Column{column.Text("lot", lot), column.Text("product", product), column.Text("method", method), column.Text("crop_year", year),
		figures("protein_pct", protein), figures("peak_mPas", peak), figures("trough_mPas", trough), figures("breakdown_mPas", breakdown),
		figures("hardness_N", hard)}
	tab, err := table.New("lot", append(columns, more...)...)
	if err != nil {
		t.Fatal(err)
	}
	return tab
}

func request(tab *table.Table) Request {
	return Request{Table: tab, File: "t.csv", Response: "hardness_N", Kind: "pls", Repeats: 2}
}

// Relate, Compare and Plan look at the rows that the conditions choose, and say so.
func TestWhere(t *testing.T) {
	treated := make([]string, 60)
	for i := range treated {
		treated[i] = []string{"none", "unbleached", "heat 120 °C"}[i%3]
	}
	q := request(mill(t, 60, -0.7, 0, 1, column.Text("treatment", treated)))
	q.Where = []column.Condition{{Column: "treatment", Value: "none"}}
	related, err := Relate(context.Background(), env(), q)
	if err != nil || related.Lots != 40 || related.Relations[1].N != 40 || !slices.Equal(related.Where, q.Where) {
		t.Errorf("relate: %d lots, where %v, %v; want the 40 untreated", related.Lots, related.Where, err)
	}
	compared, err := Compare(context.Background(), env(), q)
	if err != nil || compared.Lots != 40 || !slices.Equal(compared.Where, q.Where) {
		t.Errorf("compare: %d lots, %v", compared.Lots, err)
	}
	planned, err := Plan(context.Background(), env(), q, nil)
	if err != nil || planned.Lots != 40 || !slices.Equal(planned.Where, q.Where) {
		t.Errorf("plan: %d lots, %v", planned.Lots, err)
	}
	q.Where[0].Value = "chlorinated"
	var wrong *job.RequestError
	if _, err := Relate(context.Background(), env(), q); !errors.As(err, &wrong) {
		t.Errorf("a condition that no row meets: %v", err)
	}
	q.Where[0].Column = "bleach"
	if _, err := Relate(context.Background(), env(), q); !errors.As(err, &wrong) {
		t.Errorf("a condition on a column that is not there: %v", err)
	}
}

func TestRelate(t *testing.T) {
	res, err := Relate(context.Background(), env(), request(mill(t, 60, -0.7, 0, 1)))
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, r := range res.Relations {
		names = append(names, r.Feature)
	}
	if !slices.Equal(names, []string{"protein_pct", "peak_mPas", "trough_mPas", "breakdown_mPas"}) || res.Lots != 60 || res.Schema != "flourcast.relate/1" || res.Product != "white-salted-noodle" {
		t.Errorf("related %v over %d lots of %q", names, res.Lots, res.Product)
	}
	peak := res.Relations[1]
	if peak.R > -0.5 || peak.GivenProtein == nil || peak.WithinYear == nil || peak.WithinYear.Years != 3 || *peak.PAdjusted < *peak.P || len(peak.Points) != 60 {
		t.Errorf("peak: %+v", peak)
	}
	if res.Relations[0].GivenProtein != nil {
		t.Error("protein is held constant against itself")
	}
	if len(res.Years) != 3 || res.Years[0].Year != "2022" || res.Years[0].Rows != 20 || res.Years[0].SD == nil {
		t.Errorf("by year: %+v", res.Years)
	}
	mean := 0.0
	for i := range 60 {
		if y, _ := request(mill(t, 60, -0.7, 0, 1)).Table.Number("hardness_N", i); i%3 == 0 {
			mean += y / 20
		}
	}
	if math.Abs(res.Years[0].Mean-mean) > 1e-12 {
		t.Errorf("mean of 2022 is %v, want %v", res.Years[0].Mean, mean)
	}
	few := make([]bool, 60)
	few[3], few[4] = true, true
	q := request(mill(t, 60, -0.7, 0, 1, figures("ash_pct", make([]float64, 60)), column.Numbers("ph", make([]float64, 60), few), column.Numbers("amylose_pct", make([]float64, 60), make([]bool, 60))))
	if res, err = Relate(context.Background(), env(), q); err != nil || len(res.Skipped) != 3 || len(res.Relations) != 4 {
		t.Errorf("skipped %+v (%v)", res.Skipped, err)
	}
	var wrong *job.RequestError
	q.Response = "firmness_N"
	if _, err := Relate(context.Background(), env(), q); !errors.As(err, &wrong) {
		t.Errorf("no such response: %v", err)
	}
	q.Response, q.Features = "hardness_N", []string{"amylose_pct"}
	var nothing *job.NothingUsableError
	if _, err := Relate(context.Background(), env(), q); !errors.As(err, &nothing) {
		t.Errorf("a feature that no lot has: %v", err)
	}
}

func row(t *testing.T, res *CompareResult, name string) Candidate {
	t.Helper()
	for _, c := range res.Candidates {
		if c.Name == name {
			return c
		}
	}
	t.Fatalf("no candidate %q among %+v", name, res.Candidates)
	return Candidate{}
}

func TestCompare(t *testing.T) {
	res, err := Compare(context.Background(), env(), request(mill(t, 60, -0.7, 0, 2)))
	if err != nil {
		t.Fatal(err)
	}
	if g := res.BeyondProtein; g == nil || g.Low <= 0 {
		t.Errorf("pasting matters, protein does not: gain %+v", g)
	}
	ols := row(t, res, byOLS)
	if ols.Features != 3 || ols.Q2 == nil || *ols.Q2 < 0.3 || !res.Findings.Has("features-dependent") {
		t.Errorf("breakdown is peak less trough, so least squares has 3 of 4 columns: %+v", ols)
	}
	if mean := row(t, res, byMean); mean.Features != 0 || math.Abs(*mean.Q2) > 1e-12 || mean.OverProtein == nil {
		t.Errorf("the mean: %+v", mean)
	}
	total := 0
	for _, p := range res.Chosen.Picks {
		total += p.Times
	}
	if total != 20 || res.Chosen.Repeats != 2 || res.Chosen.Q2 < 0.3 || res.Chosen.Q2 > *row(t, res, res.Best).Q2+0.05 {
		t.Errorf("chosen %+v, best %s", res.Chosen, res.Best)
	}
	taken := 0
	for _, c := range res.Components {
		if c.Taken {
			taken++
		}
	}
	if len(res.Components) == 0 || taken != 1 {
		t.Errorf("components %+v", res.Components)
	}
	again, err := Compare(context.Background(), job.Env{Clock: env().Clock, Seed: 1, Cores: 1}, request(mill(t, 60, -0.7, 0, 2)))
	if err != nil || !reflect.DeepEqual(res, again) {
		t.Errorf("one core and several differ (%v)", err)
	}
}

// Where all goes through protein, pasting adds nothing and the line says so.
func TestNothingBeyondProtein(t *testing.T) {
	res, err := Compare(context.Background(), env(), request(mill(t, 60, 0, 0.8, 3)))
	if err != nil {
		t.Fatal(err)
	}
	if g := res.BeyondProtein; g == nil || g.Low > 0 || *row(t, res, byProtein).Q2 < 0.4 {
		t.Errorf("gain %+v beyond protein of Q² %v", g, *row(t, res, byProtein).Q2)
	}
}

// Whole curves beside the lots are a candidate; where a lot lacks one, they are
// none, and a note says so.
func TestCurvesTakenWhole(t *testing.T) {
	base := mill(t, 45, -0.8, 0, 4)
	var curves []column.Column
	for k := range 30 {
		v := make([]float64, 45)
		for i := range v {
			peak, _ := base.Number("peak_mPas", i)
			v[i] = peak * math.Sin(math.Pi*float64(k+1)/31)
		}
		curves = append(curves, figures(fmt.Sprintf("v_%04ds", 20*k), v))
	}
	res, err := Compare(context.Background(), env(), request(mill(t, 45, -0.8, 0, 4, curves...)))
	if err != nil {
		t.Fatal(err)
	}
	if c := row(t, res, byCurve); c.Features != 30 || c.Q2 == nil || *c.Q2 < 0.3 {
		t.Errorf("whole curves: %+v", c)
	}
	if slices.ContainsFunc(res.Features, whole.IsColumn) {
		t.Errorf("points of curves among the features: %v", res.Features)
	}
	gap := make([]bool, 45)
	for i := range 44 {
		gap[i] = true
	}
	curves[7] = column.Numbers("v_0140s", make([]float64, 45), gap)
	res, err = Compare(context.Background(), env(), request(mill(t, 45, -0.8, 0, 4, curves...)))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range res.Candidates {
		if c.Name == byCurve {
			t.Error("whole curves are a candidate although a lot has none")
		}
	}
	if !res.Findings.Has("curve-incomplete") {
		t.Errorf("findings %v", res.Findings)
	}
}

func TestPlan(t *testing.T) {
	v := func(x float64) *float64 { return &x }
	tab := mill(t, 60, -0.7, 0, 5)
	res, err := Plan(context.Background(), env(), request(tab), &forecast.Spec{Response: "hardness_N", Low: v(2), High: v(6)})
	if err != nil {
		t.Fatal(err)
	}
	if len(res.Curve) != 6 || len(res.Ahead) != 6 || *res.Floor < 0.3 || *res.Floor > 0.7 {
		t.Errorf("an error of 0.5 N by construction: curve %+v, floor %v", res.Curve, *res.Floor)
	}
	if f := res.ForSpec; f == nil || f.Lots == nil || *f.Lots > 60 || f.SpecWidth != 4 {
		t.Errorf("a width of 4 N is reached: %+v", f)
	}
	need := map[string]Need{}
	for _, n := range res.Needs {
		need[n.For] = n
	}
	if n := need["rule A13 with peak_mPas"]; n.Have != 60 || n.Need != 41 || n.More != 0 {
		t.Errorf("rule A13: %+v", n)
	}
	if n := need["a new harvest"]; n.Have != 3 || n.Need != 3 {
		t.Errorf("crop years: %+v", n)
	}
	res, err = Plan(context.Background(), env(), request(tab), &forecast.Spec{Response: "hardness_N", Low: v(3.9), High: v(4.1)})
	if err != nil || res.ForSpec.Lots != nil {
		t.Errorf("a width of 0.2 N is out of reach at an error of 0.5: %+v (%v)", res.ForSpec, err)
	}
	res, err = Plan(context.Background(), env(), request(mill(t, 12, -0.7, 0, 5)), nil)
	if err != nil || len(res.Curve) != 0 || !res.Findings.Has("no-learning-curve") || res.Needs[0].More != 3 {
		t.Errorf("twelve lots: %+v (%v)", res, err)
	}
	var wrong *job.RequestError
	for name, spec := range map[string]*forecast.Spec{"one limit": {Response: "hardness_N", Low: v(2)}, "another response": {Response: "firmness_N", Low: v(2), High: v(3)}} {
		if _, err := Plan(context.Background(), env(), request(tab), spec); !errors.As(err, &wrong) {
			t.Errorf("%s: %v", name, err)
		}
	}
	q := request(tab)
	q.Kind = "forest"
	if _, err := Plan(context.Background(), env(), q, nil); !errors.As(err, &wrong) || !strings.Contains(err.Error(), "forest") {
		t.Errorf("an unknown kind: %v", err)
	}
}

// The product of most results comes first, of equals the first; rows without the response
// do not count, however many.
func TestMostMeasured(t *testing.T) {
	y, all := []float64{1, 2, 3, 4, 0, 0, 0}, []bool{true, true, true, true, false, false, false}
	for _, c := range []struct {
		products []string
		want     string
	}{
		{[]string{"a", "b", "b", "b", "a", "a", "a"}, "b"},
		{[]string{"b", "a", "b", "a", "a", "a", "a"}, "b"},
		{[]string{"c", "c", "c", "c", "a", "a", "a"}, "c"},
	} {
		tab, err := table.New("lot", column.Text("lot", []string{"1", "2", "3", "4", "5", "6", "7"}), column.Text("product", c.products), column.Numbers("hardness_N", y, all))
		if err != nil {
			t.Fatal(err)
		}
		if got := MostMeasured(tab, "hardness_N"); got != c.want {
			t.Errorf("%v: found %q, expected %q", c.products, got, c.want)
		}
		if got := MostMeasured(tab, "springiness"); got != "" {
			t.Errorf("nothing measured: found %q", got)
		}
	}
}
