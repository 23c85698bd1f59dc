package blend

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"flourcast/forecast/mixing"

	"pgregory.net/rapid"
)

func ptr(v float64) *float64 { return &v }

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %.12g, want %.12g ± %g", what, got, want, tol)
	}
}

// threeFlours: by hand the cheapest holds the lower limit of the property: 1800 a + 2900 b
// = 2300 with a + b = 1 gives 6/11 and 5/11; the third flour would cost 330 > 3600/11.
// The limit one higher moves 1/1100 from 300 to 360.
func threeFlours() Problem {
	return Problem{Flours: []string{"a", "b", "c"}, Prices: []float64{300, 360, 330}, Properties: []Property{
		{Name: "peak_mPas", Values: []float64{1800, 2900, 2300}, Low: ptr(2300), High: ptr(2500)},
		{Name: "protein_pct", Values: []float64{9, 11.5, 9.5}, Low: ptr(9.8)},
	}}
}

func limit(t *testing.T, a *Answer, property, side string) Limit {
	t.Helper()
	k := slices.IndexFunc(a.Limits, func(l Limit) bool { return l.Property == property && l.Side == side })
	if k < 0 {
		t.Fatalf("no %s limit of %s in %+v", side, property, a.Limits)
	}
	return a.Limits[k]
}

func TestThreeFloursByHand(t *testing.T) {
	a, err := Solve(threeFlours())
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{6. / 11, 5. / 11, 0} {
		near(t, "share", a.Shares[i], want, 1e-9)
	}
	near(t, "cost", a.Cost, 3600./11, 1e-7)
	low, high, protein := limit(t, a, "peak_mPas", Low), limit(t, a, "peak_mPas", High), limit(t, a, "protein_pct", Low)
	if !low.Binds || high.Binds || protein.Binds || high.Saves != 0 || protein.Saves != 0 || a.Several {
		t.Errorf("%+v", a)
	}
	near(t, "shadow price", low.Saves, 60./1100, 1e-9)
	near(t, "protein", protein.Value, 9*6./11+11.5*5/11, 1e-9)
}

// By hand: ln 2300 = a ln 1800 + b ln 2900, and d cost/d limit = 60/(ln(2900/1800)·2300).
func TestLogarithmsByHand(t *testing.T) {
	p := Problem{Flours: []string{"a", "b"}, Prices: []float64{300, 360}, Properties: []Property{{Name: "peak_mPas", Rule: mixing.Log, Values: []float64{1800, 2900}, Low: ptr(2300)}}}
	a, err := Solve(p)
	if err != nil {
		t.Fatal(err)
	}
	b := math.Log(2300./1800) / math.Log(2900./1800)
	near(t, "share", a.Shares[1], b, 1e-9)
	near(t, "shadow price", limit(t, a, "peak_mPas", Low).Saves, 60/(math.Log(2900./1800)*2300), 1e-9)
}

// 60 % of 400 s with 40 % of 200 s: liquefaction numbers 17.142857 and 40 make 26.285714,
// a falling number of 278.26 s (by hand). The other way round: the cheap flour of 200 s
// may be 40 % where 278.26 s is asked for.
func TestFallingNumbersMixByLiquefaction(t *testing.T) {
	got, err := mixing.Liquefaction.Mix([]float64{400, 200}, []float64{0.6, 0.4})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "falling number", got, 278.2608695652, 1e-9)
	p := Problem{Flours: []string{"dear", "cheap"}, Prices: []float64{300, 200}, Properties: []Property{{Name: "falling_number_s", Values: []float64{400, 200}, Rule: mixing.Liquefaction, Low: ptr(got)}}}
	a, err := Solve(p)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "share", a.Shares[1], 0.4, 1e-9)
	// d share/d FN = (6000/(FN−50)²)/(40 − 17.142857), times 100 a tonne.
	near(t, "shadow price", limit(t, a, "falling_number_s", Low).Saves, 100*6000/((got-50)*(got-50))/(40-6000./350), 1e-9)
	if _, err := mixing.Liquefaction.Mix([]float64{50, 200}, []float64{0.5, 0.5}); err == nil {
		t.Error("a falling number of 50 s has a liquefaction number")
	}
}

// Protein at 14 % moisture mixes by dry matter: 60 % of a flour of 10 % at 15 % moisture
// with 40 % of one of 14 % at 9 %: (0.6·0.85·10 + 0.4·0.91·14)/(0.6·0.85 + 0.4·0.91).
func TestDryMatterWeights(t *testing.T) {
	q := Property{Name: "protein_pct", Values: []float64{10, 14}, Weights: []float64{0.85, 0.91}}
	got, err := q.Of([]float64{0.6, 0.4})
	if err != nil {
		t.Fatal(err)
	}
	want := (0.6*0.85*10 + 0.4*0.91*14) / (0.6*0.85 + 0.4*0.91)
	near(t, "protein", got, want, 1e-12)
	q.Low = &want
	a, err := Solve(Problem{Flours: []string{"a", "b"}, Prices: []float64{200, 300}, Properties: []Property{q}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "share", a.Shares[1], 0.4, 1e-9)
	h := 1e-4
	q.Low = ptr(want - h)
	b, err := Solve(Problem{Flours: []string{"a", "b"}, Prices: []float64{200, 300}, Properties: []Property{q}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "shadow price by perturbation", a.Limits[0].Saves, (a.Cost-b.Cost)/h, 1e-3)
}

func TestInfeasible(t *testing.T) {
	p := threeFlours()
	p.Properties[1].Low = ptr(11) // needs 80 % of b: a peak of 2680, above 2500
	_, err := Solve(p)
	var no *InfeasibleError
	if !errors.As(err, &no) {
		t.Fatal(err)
	}
	if len(no.Conflict) != 2 || no.Conflict[0].Property != "peak_mPas" || no.Conflict[0].Side != High || no.Conflict[1].Property != "protein_pct" {
		t.Errorf("conflict %+v", no.Conflict)
	}
	if len(no.Nearest) == 0 || !strings.Contains(err.Error(), "peak_mPas at most 2500 and protein_pct at least 11") {
		t.Errorf("%v", err)
	}
	for _, r := range no.Nearest { // the change that is named makes it feasible
		for k := range p.Properties {
			if p.Properties[k].Name == r.Property && r.Side == Low {
				p.Properties[k].Low = ptr(r.Needed - 1e-6)
			} else if p.Properties[k].Name == r.Property {
				p.Properties[k].High = ptr(r.Needed + 1e-6)
			}
		}
	}
	if _, err := Solve(p); err != nil {
		t.Errorf("with the least change: %v", err)
	}
	one := threeFlours()
	one.Properties[1].Low = ptr(12) // no flour has it
	if _, err := Solve(one); !errors.As(err, &no) || len(no.Conflict) != 1 || no.Conflict[0].Property != "protein_pct" {
		t.Errorf("%v", err)
	}
	near(t, "protein of the nearest", no.Conflict[0].Needed, 11.5, 3)
	short := threeFlours()
	short.Most = []float64{0.2, 0.3, 0.1}
	if _, err := Solve(short); !errors.As(err, &no) || len(no.Conflict) != 3 || no.Conflict[0].Flour != "a" {
		t.Errorf("%v", err)
	}
	count := threeFlours()
	count.MaxFlours = 1
	count.Properties[1].Low = ptr(9.6)
	if _, err := Solve(count); !errors.As(err, &no) || !no.Counted || no.Needs != 2 {
		t.Errorf("%v", err)
	}
}

// stock draws a problem whose limits lie round a random blend, so that it is feasible
// unless count, stock or least share say otherwise.
func stock(t *rapid.T) Problem {
	n := rapid.IntRange(1, 5).Draw(t, "flours")
	p := Problem{Flours: []string{"a", "b", "c", "d", "e"}[:n]}
	mix, sum := make([]float64, n), 0.0
	for i := range n {
		p.Prices = append(p.Prices, float64(rapid.IntRange(200, 500).Draw(t, "price")))
		mix[i] = float64(rapid.IntRange(0, 10).Draw(t, "mix"))
		sum += mix[i]
	}
	if sum == 0 {
		mix[0], sum = 1, 1
	}
	for i := range mix {
		mix[i] /= sum
	}
	for k := range rapid.IntRange(0, 3).Draw(t, "properties") {
		q := Property{Name: string(rune('x' + k)), Rule: []mixing.Rule{mixing.Mass, mixing.Log, mixing.Liquefaction, mixing.Power(0.4)}[rapid.IntRange(0, 3).Draw(t, "rule")]}
		for range n {
			q.Values = append(q.Values, float64(rapid.IntRange(60, 400).Draw(t, "value")))
		}
		v, err := q.Of(mix)
		if err != nil {
			t.Fatal(err)
		}
		if rapid.Bool().Draw(t, "low") {
			q.Low = ptr(math.Max(55, v-rapid.Float64Range(0.5, 60).Draw(t, "below")))
		}
		if q.Low == nil || rapid.Bool().Draw(t, "high") {
			q.High = ptr(v + rapid.Float64Range(0.5, 60).Draw(t, "above"))
		}
		p.Properties = append(p.Properties, q)
	}
	return p
}

// vertices are all blends in which as many conditions hold with equality as there are
// flours: the least cost of a linear programme is that of the cheapest of them. Found
// here by elimination over every choice of conditions.
func vertices(p Problem) (best float64, found bool) {
	n := len(p.Flours)
	rows := p.rows()
	for i := range n {
		r := row{a: make([]float64, n), scale: 1}
		r.a[i] = 1
		rows = append(rows, r)
	}
	choose := make([]int, 0, n-1)
	var try func(from int)
	try = func(from int) {
		if len(choose) == n-1 {
			m := make([][]float64, n)
			for k, at := range choose {
				m[k] = append(slices.Clone(rows[at].a), rows[at].b)
			}
			m[n-1] = append(slices.Repeat([]float64{1}, n), 1)
			x, ok := eliminate(m)
			if !ok || slices.ContainsFunc(rows, func(r row) bool { return r.room(x) < -1e-9 }) {
				return
			}
			cost := 0.0
			for i, v := range x {
				cost += v * p.Prices[i]
			}
			if !found || cost < best {
				best, found = cost, true
			}
			return
		}
		for k := from; k < len(rows); k++ {
			choose = append(choose, k)
			try(k + 1)
			choose = choose[:len(choose)-1]
		}
	}
	try(0)
	return best, found
}

func eliminate(m [][]float64) ([]float64, bool) {
	n := len(m)
	for c := range n {
		at := c
		for r := c; r < n; r++ {
			if math.Abs(m[r][c]) > math.Abs(m[at][c]) {
				at = r
			}
		}
		if math.Abs(m[at][c]) < 1e-9 {
			return nil, false
		}
		m[c], m[at] = m[at], m[c]
		for r := range n {
			if r == c {
				continue
			}
			f := m[r][c] / m[c][c]
			for k := c; k <= n; k++ {
				m[r][k] -= f * m[c][k]
			}
		}
	}
	x := make([]float64, n)
	for i := range n {
		x[i] = m[i][n] / m[i][i]
	}
	return x, true
}

// Shares are shares, limits are held, and no vertex is cheaper.
func TestTheCheapestVertex(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := stock(t)
		a, err := Solve(p)
		if err != nil {
			t.Fatal(err)
		}
		sum := 0.0
		for _, x := range a.Shares {
			if x < 0 {
				t.Fatalf("shares %v", a.Shares)
			}
			sum += x
		}
		if math.Abs(sum-1) > 1e-12 {
			t.Fatalf("shares add up to %v", sum)
		}
		for _, q := range p.Properties {
			v, err := q.Of(a.Shares)
			if err != nil {
				t.Fatal(err)
			}
			if q.Low != nil && v < *q.Low-1e-4 || q.High != nil && v > *q.High+1e-4 {
				t.Fatalf("%s %v", q.Name, v)
			}
		}
		best, ok := vertices(p)
		if !ok || math.Abs(best-a.Cost) > 1e-5*best {
			t.Fatalf("cost %v, cheapest vertex %v (%v)", a.Cost, best, ok)
		}
	})
}

// What relaxing a limit saves is what the programme with the limit relaxed saves,
// wherever one blend is cheapest without ties.
func TestShadowPricesAreWhatRelaxingSaves(t *testing.T) {
	compared := 0
	rapid.Check(t, func(t *rapid.T) {
		p := stock(t)
		a, err := Solve(p)
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range a.Limits {
			if l.Property == "" {
				continue
			}
			const h = 1e-3
			moved := func(by float64) float64 {
				q := p
				q.Properties = slices.Clone(p.Properties)
				for k := range q.Properties {
					switch {
					case q.Properties[k].Name != l.Property:
					case l.Side == Low:
						q.Properties[k].Low = ptr(l.At - by)
					default:
						q.Properties[k].High = ptr(l.At + by)
					}
				}
				b, err := Solve(q)
				if err != nil {
					return math.NaN()
				}
				return (a.Cost - b.Cost) / by
			}
			relaxed, tightened := moved(h), moved(-h)
			if l.Saves < 0 || !l.Binds && l.Saves != 0 {
				t.Fatalf("%+v", l)
			}
			if !(math.Abs(relaxed-tightened) <= 1e-3*(1+math.Abs(relaxed))) {
				continue // a corner: the two differ, or tightening is infeasible
			}
			compared++
			if math.Abs(relaxed-l.Saves) > 2e-3*(1+math.Abs(relaxed)) {
				t.Fatalf("%+v saves %v when relaxed", l, relaxed)
			}
		}
	})
	if compared < 50 {
		t.Errorf("only %d limits were compared", compared)
	}
}

// A largest number of flours and a least share, against every choice of flours.
func TestCountsAgainstEveryChoice(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := stock(t)
		n := len(p.Flours)
		p.MaxFlours = rapid.IntRange(0, n).Draw(t, "max")
		p.MinShare = rapid.SampledFrom([]float64{0, 0.1, 0.25}).Draw(t, "min")
		if rapid.Bool().Draw(t, "stock") {
			for range n {
				p.Most = append(p.Most, float64(rapid.IntRange(0, 12).Draw(t, "most"))/10)
			}
		}
		best := math.Inf(1)
		for set := 1; set < 1<<n; set++ {
			out, rows, count := make([]bool, n), p.rows(), 0
			for i := range n {
				if out[i] = set&(1<<i) == 0; out[i] {
					continue
				}
				count++
				r := row{a: make([]float64, n), b: p.MinShare, scale: 1}
				r.a[i] = 1
				rows = append(rows, r)
			}
			if p.MaxFlours > 0 && count > p.MaxFlours {
				continue
			}
			if s, err := minimise(p.Prices, rows, out, n); err == nil {
				best = min(best, s.cost)
			}
		}
		a, err := Solve(p)
		var no *InfeasibleError
		switch {
		case errors.As(err, &no):
			if !math.IsInf(best, 1) {
				t.Fatalf("nothing found, and %v is there", best)
			}
			return
		case err != nil:
			t.Fatal(err)
		}
		if math.Abs(a.Cost-best) > 1e-6*best {
			t.Fatalf("cost %v, by every choice %v", a.Cost, best)
		}
		used := 0
		for i, x := range a.Shares {
			if x > 0 {
				used++
			}
			if x > 0 && x < p.MinShare-1e-7 || p.Most != nil && x > p.Most[i]+1e-7 {
				t.Fatalf("share %v of %s", x, p.Flours[i])
			}
		}
		if p.MaxFlours > 0 && used > p.MaxFlours {
			t.Fatalf("%d flours", used)
		}
	})
}

func TestProblemsThatCannotBePut(t *testing.T) {
	for name, change := range map[string]func(*Problem){
		"no flour":         func(p *Problem) { *p = Problem{} },
		"prices":           func(p *Problem) { p.Prices = p.Prices[:2] },
		"a negative price": func(p *Problem) { p.Prices[0] = -1 },
		"NaN price":        func(p *Problem) { p.Prices[0] = math.NaN() },
		"values":           func(p *Problem) { p.Properties[0].Values = nil },
		"no log":           func(p *Problem) { p.Properties[0].Rule, p.Properties[0].Values = mixing.Log, []float64{0, 1, 2} },
		"log limit":        func(p *Problem) { p.Properties[0].Rule, p.Properties[0].Low = mixing.Log, ptr(-1) },
		"upside down":      func(p *Problem) { p.Properties[0].Low = ptr(2600) },
		"weights":          func(p *Problem) { p.Properties[0].Weights = []float64{0, 1, 1} },
		"least share":      func(p *Problem) { p.MinShare = 1.2 },
		"count":            func(p *Problem) { p.MaxFlours = -1 },
		"most":             func(p *Problem) { p.Most = []float64{1, 1, -1} },
		"infinite value":   func(p *Problem) { p.Properties[0].Values = []float64{1, 2, math.Inf(1)} },
	} {
		p := threeFlours()
		change(&p)
		if a, err := Solve(p); err == nil {
			t.Errorf("%s: %+v", name, a)
		}
	}
}

// A stock of forty flours with at most four: the search stays small.
func TestALargerStock(t *testing.T) {
	p := Problem{MaxFlours: 3, MinShare: 0.3}
	peak := Property{Name: "peak", Rule: mixing.Log, Low: ptr(2300), High: ptr(2400)}
	protein := Property{Name: "protein", Low: ptr(10), High: ptr(10.2)}
	ash := Property{Name: "ash", High: ptr(0.48)}
	for i := range 40 {
		f := float64(i)
		p.Flours = append(p.Flours, string(rune('A'+i)))
		p.Prices = append(p.Prices, 300+40*math.Sin(1.7*f)+f)
		peak.Values = append(peak.Values, 2300+700*math.Sin(2.3*f))
		protein.Values = append(protein.Values, 10+2*math.Cos(3.1*f))
		ash.Values = append(ash.Values, 0.5+0.1*math.Sin(0.9*f))
	}
	p.Properties = []Property{peak, protein, ash}
	a, err := Solve(p)
	if err != nil {
		t.Fatal(err)
	}
	if a.Looked < 2 || a.Looked > 5000 {
		t.Errorf("%d programmes", a.Looked)
	}
	t.Logf("%d programmes, cost %.2f", a.Looked, a.Cost)
}
