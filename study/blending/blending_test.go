package blending

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"flourcast/finding"
	"flourcast/forecast"
	"flourcast/study/blendrun"
	"flourcast/study/job"
	"flourcast/study/stock"

	"pgregory.net/rapid"
)

func file(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func limits(t *testing.T, texts ...string) (out []forecast.Spec) {
	t.Helper()
	for _, s := range texts {
		l, err := forecast.ParseSpec(s)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, l)
	}
	return out
}

func blended(t *testing.T, q Request) *Result {
	t.Helper()
	res, err := Blend(context.Background(), job.Env{}, q)
	if err != nil {
		t.Fatal(err)
	}
	if res.RowsAccepted+res.RowsRefused != res.RowsRead {
		t.Fatalf("%d accepted, %d refused, %d read", res.RowsAccepted, res.RowsRefused, res.RowsRead)
	}
	return res
}

const three = "flour,price,currency,stock_t,peak_mPas,protein_pct\nA,300.00,EUR,50,1800,9.0\nB,360.00,EUR,50,2900,11.5\nC,330.00,EUR,50,2300,9.5\n"

// By hand: 30 t of 6/11 and 5/11 are 16.364 and 13.636 t, 4909.20 and 4908.96.
func TestMoneyIsAddedInDecimals(t *testing.T) {
	res := blended(t, Request{Stock: file(t, "stock.csv", three), Limits: limits(t, "peak_mPas=2300..2500", "protein_pct=9.8.."), Tonnes: 30})
	if res.Total.String() != "9818.16" || res.Recipe[0].Cost.String() != "4909.2" || res.Cost.Round(4).String() != "327.2727" || res.Currency != "EUR" {
		t.Errorf("total %s, first %s, cost %s", res.Total, res.Recipe[0].Cost, res.Cost)
	}
	if math.Abs(*res.MostT-50*11./6) > 1e-6 || !slices.Equal(res.Binding, []string{"peak_mPas"}) {
		t.Errorf("most %v, binding %v", *res.MostT, res.Binding)
	}
	// 100 t ask for more of A than there is: 50 t of A, and C fills up: 0.5 A, b, c with
	// 900 + 2900 b + 2300 (0.5 − b) = 2300 gives b = 5/12.
	res = blended(t, Request{Stock: file(t, "stock.csv", three), Limits: limits(t, "peak_mPas=2300..2500", "protein_pct=9.8.."), Tonnes: 100})
	if math.Abs(res.Shares["B"]-5./12) > 1e-9 || !slices.Contains(res.Binding, "stock_t: A") || res.ShadowPrices["stock_t: A"] <= 0 {
		t.Errorf("%v, binding %v, %v", res.Shares, res.Binding, res.ShadowPrices)
	}
	// One more tonne of A saves what the shadow price says.
	more := blended(t, Request{Stock: file(t, "stock.csv", strings.Replace(three, "EUR,50,1800", "EUR,51,1800", 1)), Limits: limits(t, "peak_mPas=2300..2500", "protein_pct=9.8.."), Tonnes: 100})
	if saved := 100 * res.Cost.Minus(*more.Cost).Float(); math.Abs(saved-res.ShadowPrices["stock_t: A"]) > 1e-5 {
		t.Errorf("one tonne saves %v, shadow price %v", saved, res.ShadowPrices["stock_t: A"])
	}
}

// Falling number by the liquefaction number, 278.26 s by hand.
func TestFallingNumberOfAStatedBlend(t *testing.T) {
	in := file(t, "stock.csv", "flour,price,falling_number_s\nA,300,400\nB,200,200\n")
	res := blended(t, Request{Stock: in, Shares: map[string]float64{"A": 0.6, "B": 0.4}})
	if e := res.Expected[0]; math.Abs(e.Value-278.2608695652) > 1e-9 || !e.Exact || res.Cost.String() != "260" {
		t.Errorf("%+v, cost %s", e, res.Cost)
	}
	res = blended(t, Request{Stock: in, Shares: map[string]float64{"A": 0.6, "B": 0.4}, Limits: limits(t, "falling_number_s=300..")})
	if res.Feasible || !slices.Equal(res.Binding, []string{"falling_number_s"}) {
		t.Errorf("278 s is said to keep 300 s: %+v", res.Limits)
	}
}

func TestFloursThatDoNotMix(t *testing.T) {
	in := file(t, "stock.csv", "flour,price,stock_t,peak_mPas,falling_number_s,amylose_pct,treatment\nA,300,50,1800,350,24,none\nwet,200,50,2400,120,24,none\nglue,210,50,2400,350,1,none\nB,360,50,2900,380,25,heat\n")
	q := Request{Stock: in, Limits: limits(t, "peak_mPas=2300..2500")}
	res := blended(t, q)
	if res.RowsRefused != 2 || !res.Findings.Has("sprouted-not-additive") || !res.Findings.Has("waxy-not-additive") || !res.Findings.Has("treatments-differ") || len(res.Shares) != 2 {
		t.Errorf("%d refused, shares %v, %v", res.RowsRefused, res.Shares, res.Findings)
	}
	q.Allow = []string{stock.Waxy, stock.Sprouted}
	res = blended(t, q)
	if res.RowsRefused != 0 || res.Shares["wet"] != 1 || res.Findings.Count(finding.Doubt) < 3 {
		t.Errorf("allowed: %v, %v", res.Shares, res.Findings)
	}
	// Without a limit on the paste all may be blended.
	if res := blended(t, Request{Stock: in, Limits: limits(t, "falling_number_s=250..")}); res.RowsRefused != 0 || res.Shares["wet"] == 0 {
		t.Errorf("no paste: %v", res.Shares)
	}
}

// ownBlendsFile has n blends of A and B whose peak is by the log rule plus a known error,
// alternating.
func ownBlendsFile(n int, off float64) string {
	var b strings.Builder
	b.WriteString("lot,parent_lot,share,peak_mPas\n")
	for i := range n {
		x := 0.2 + 0.6*float64(i)/float64(max(1, n-1))
		peak := math.Exp(x*math.Log(1800)+(1-x)*math.Log(2900)) + off*float64(1-2*(i%2))
		fmt.Fprintf(&b, "M%d,A + B,%.4f + %.4f,%.2f\n", i, 100*x, 100*(1-x), peak)
	}
	return b.String()
}

func TestOwnBlendsSayHowTheyMix(t *testing.T) {
	q := Request{Stock: file(t, "stock.csv", three), Limits: limits(t, "peak_mPas=2300..2500"), Mixing: Measured, Blends: file(t, "own.csv", ownBlendsFile(12, 5))}
	res := blended(t, q)
	e := res.Expected[0]
	if e.Rule != "log" || e.OwnBlends != 12 || math.Abs(*e.SD-5) > 0.3 || res.Limits[0].Probability == nil {
		t.Errorf("%+v", e)
	}
	if p := *res.Limits[0].Probability; math.Abs(p-0.5) > 1e-6 {
		t.Errorf("at the limit the probability is %v", p)
	}
	// Drawn in by t(0.95, 12)·5 = 8.9 (t of 12 degrees of freedom: 1.7823, any table).
	q.Confidence = 0.95
	in := blended(t, q)
	if l := in.Limits[0]; math.Abs(l.Held-(2300+1.7823**e.SD)) > 0.05 || l.Limit != 2300 || math.Abs(*l.Probability-0.95) > 1e-3 {
		t.Errorf("%+v, probability %v", l, *l.Probability)
	}
	// Limits narrower than the deviations leave no room: said, with the column.
	narrow := q
	narrow.Limits = limits(t, "peak_mPas=2300..2305")
	var nothing *job.NothingUsableError
	if res, err := Blend(context.Background(), job.Env{}, narrow); !errors.As(err, &nothing) || res == nil || res.Feasible || !slices.Equal(res.Binding, []string{"peak_mPas"}) {
		t.Errorf("no room: %v, %+v", err, res)
	}
	q.Blends, q.Confidence = file(t, "own.csv", ownBlendsFile(5, 5)), 0
	var bad *job.RequestError
	if _, err := Blend(context.Background(), job.Env{}, q); !errors.As(err, &bad) || !strings.Contains(bad.Found, "5 own blends") {
		t.Errorf("%v", err)
	}
	// A stated rule with own blends has its deviations from them.
	res = blended(t, Request{Stock: q.Stock, Limits: q.Limits, Mixing: Linear, Blends: file(t, "own.csv", ownBlendsFile(12, 5))})
	if e := res.Expected[0]; e.Rule != "mass" || e.OwnBlends != 12 || *e.SD < 30 || *e.Bias > -30 {
		t.Errorf("%+v", e)
	}
	// Blends without their parents are named.
	res = blended(t, Request{Stock: q.Stock, Limits: q.Limits, Blends: file(t, "own.csv", strings.ReplaceAll(ownBlendsFile(7, 5), "A + B", "A + Z"))})
	if !res.Findings.Has("own-blend-left-out") || res.Expected[0].OwnBlends != 0 {
		t.Errorf("%v", res.Findings)
	}
	// A blend of which a part is not told is left out too.
	res = blended(t, Request{Stock: q.Stock, Limits: q.Limits, Blends: file(t, "own.csv", ownBlendsFile(7, 5)+"M8,A + B,40 + 30,2300\n")})
	if !res.Findings.Has("own-blend-left-out") || res.Expected[0].OwnBlends != 7 {
		t.Errorf("%d own blends, %v", res.Expected[0].OwnBlends, res.Findings)
	}
}

func TestARunIsSetAgainstThePlan(t *testing.T) {
	q := Request{Stock: file(t, "stock.csv", three), Limits: limits(t, "peak_mPas=2300..2500"), Shares: map[string]float64{"A": 0.5, "B": 0.5}, Method: "noodle-water",
		Run: []string{file(t, "run.csv", "lot,replicate,peak_mPas,trough_mPas\nBL1,1,2290,1700\nBL1,2,2310,1720\n")}}
	res := blended(t, q)
	if len(res.Compared) != 1 {
		t.Fatalf("%+v", res.Compared)
	}
	// 2350 linear, 2284.7 log: 2300 lies between.
	c := res.Compared[0]
	if c.Predicted != 2350 || c.Measured != 2300 || c.Difference != -50 || c.Runs != 2 || c.Against != blendrun.AgainstSpan || !*c.Within || !*c.Meets || math.Abs(*c.Low-math.Sqrt(1800*2900)) > 1e-6 {
		t.Errorf("%+v", c)
	}
	q.Blends = file(t, "own.csv", ownBlendsFile(12, 5))
	q.Mixing = Log
	res = blended(t, q)
	if c := res.Compared[0]; c.Against != blendrun.AgainstOwn || *c.Within || math.Abs(c.Difference-(2300-math.Sqrt(1800*2900))) > 1e-6 {
		t.Errorf("%+v", c) // 15 off, 95 % is 2.179·5 = 10.9
	}
	q.Run = []string{file(t, "run.csv", "lot,replicate,peak_mPas\nX,1,2290\nY,1,2310\n")}
	var bad *job.RequestError
	if _, err := Blend(context.Background(), job.Env{}, q); !errors.As(err, &bad) {
		t.Errorf("two lots in the run: %v", err)
	}
}

func TestWhatIsRefused(t *testing.T) {
	good := file(t, "stock.csv", three)
	for name, q := range map[string]Request{
		"texture":        {Stock: file(t, "s.csv", "flour,price,hardness_N\nA,300,3\n"), Limits: limits(t, "hardness_N=..4")},
		"log of a fall":  {Stock: file(t, "s.csv", "flour,price,breakdown_mPas\nA,300,900\n"), Limits: limits(t, "breakdown_mPas=..800"), Mixing: Log},
		"no column":      {Stock: good, Limits: limits(t, "ash_pct=..0.5")},
		"rule":           {Stock: good, Limits: limits(t, "peak_mPas=..2500"), Mixing: "cubic"},
		"measured":       {Stock: good, Limits: limits(t, "peak_mPas=..2500"), Mixing: Measured},
		"no limits":      {Stock: good},
		"twice":          {Stock: good, Limits: limits(t, "peak_mPas=..2500", "peak_mPas=2000..")},
		"confidence":     {Stock: good, Limits: limits(t, "peak_mPas=..2500"), Confidence: 0.95},
		"allow":          {Stock: good, Limits: limits(t, "peak_mPas=..2500"), Allow: []string{"all"}},
		"unknown share":  {Stock: good, Shares: map[string]float64{"Z": 1}},
		"half a blend":   {Stock: good, Shares: map[string]float64{"A": 0.5}},
		"falling number": {Stock: file(t, "s.csv", "flour,price,falling_number_s\nA,300,50\nB,300,300\n"), Limits: limits(t, "falling_number_s=200..")},
	} {
		var bad *job.RequestError
		if res, err := Blend(context.Background(), job.Env{}, q); !errors.As(err, &bad) {
			t.Errorf("%s: %v, %+v", name, err, res)
		}
	}
	rows := file(t, "s.csv", "flour,price,currency,stock_t,protein_pct\nA,300,EUR,5,9\nA,310,EUR,5,9\n,300,EUR,5,9\nB,,EUR,5,9\nC,1e3,EUR,5,9\nD,300,USD,5,9\nE,300,EUR,0,9\nF,300,EUR,,9\nG,300,EUR,5,\nH,300,EUR,5,much\n")
	res := blended(t, Request{Stock: rows, Limits: limits(t, "protein_pct=8..")})
	if res.RowsRead != 10 || res.RowsAccepted != 1 || res.Findings.Count(finding.Refused) != 9 {
		t.Errorf("%d accepted of %d, %v", res.RowsAccepted, res.RowsRead, res.Findings)
	}
	var nothing *job.NothingUsableError
	res, err := Blend(context.Background(), job.Env{}, Request{Stock: good, Limits: limits(t, "peak_mPas=2300..2500", "protein_pct=11..")})
	if !errors.As(err, &nothing) || res == nil || res.Feasible || !slices.Equal(res.Binding, []string{"peak_mPas", "protein_pct"}) || len(res.Nearest) == 0 {
		t.Errorf("infeasible: %v, %+v", err, res)
	}
}

// Protein on a stated basis mixes by dry matter; the figure is that at 14 % moisture.
func TestProteinOnABasis(t *testing.T) {
	in := file(t, "s.csv", "flour,price,protein_pct,protein_basis,moisture_pct\nA,300,10,14 %,15\nB,300,14,dry,9\n")
	res := blended(t, Request{Stock: in, Limits: limits(t, "protein_pct=8.."), Shares: map[string]float64{"A": 0.6, "B": 0.4}})
	want := (0.6*0.85*10 + 0.4*0.91*14*0.86) / (0.6*0.85 + 0.4*0.91)
	k := slices.IndexFunc(res.Expected, func(e Expected) bool { return e.Column == "protein_pct" })
	if k < 0 || math.Abs(res.Expected[k].Value-want) > 1e-9 {
		t.Errorf("%+v, want %v", res.Expected, want)
	}
}

// Any bytes for a stock file: rows add up, shares are shares, nothing panics.
func FuzzStock(f *testing.F) {
	f.Add(three)
	f.Add("flour;price;stock_t;peak_mPas\nA;300,50;5;1800\n")
	f.Add("lot,price,peak_mPas\nA,-1,2\n\"")
	f.Fuzz(func(t *testing.T, text string) {
		path := filepath.Join(t.TempDir(), "s.csv")
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		low := 2000.0
		res, err := Blend(context.Background(), job.Env{}, Request{Stock: path, Limits: []forecast.Spec{{Response: "peak_mPas", Low: &low}}, Mixing: Log})
		if err != nil {
			return
		}
		sum := 0.0
		for _, x := range res.Shares {
			sum += x
		}
		if math.Abs(sum-1) > 1e-9 || res.RowsAccepted+res.RowsRefused != res.RowsRead {
			t.Errorf("shares %v, rows %d of %d", res.Shares, res.RowsAccepted, res.RowsRead)
		}
	})
}

// Whatever stands in the rows, accepted and refused are the rows read.
func TestRowsAddUp(t *testing.T) {
	dir := t.TempDir()
	rapid.Check(t, func(t *rapid.T) {
		cell := rapid.SampledFrom([]string{"", "A", "B", "300", "-5", "x", "0", "2500", "9.5", "n/a", "NaN", "1e400"})
		var b strings.Builder
		b.WriteString("flour,price,stock_t,peak_mPas\n")
		n := rapid.IntRange(1, 6).Draw(t, "rows")
		for range n {
			b.WriteString(cell.Draw(t, "a") + "," + cell.Draw(t, "b") + "," + cell.Draw(t, "c") + "," + cell.Draw(t, "d") + "\n")
		}
		path := filepath.Join(dir, "s.csv")
		if err := os.WriteFile(path, []byte(b.String()), 0o600); err != nil {
			t.Fatal(err)
		}
		low := 1.0
		res, err := Blend(context.Background(), job.Env{}, Request{Stock: path, Limits: []forecast.Spec{{Response: "peak_mPas", Low: &low}}})
		if err == nil && res.RowsAccepted+res.RowsRefused != res.RowsRead {
			t.Fatalf("%d + %d of %d", res.RowsAccepted, res.RowsRefused, res.RowsRead)
		}
	})
}
