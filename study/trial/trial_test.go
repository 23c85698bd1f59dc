package trial

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math"
	"os"
	"reflect"
	"strings"
	"testing"
	"time"

	"flourcast/dataset/column"
	"flourcast/dataset/table"
	"flourcast/stat/correlation"
	"flourcast/study/fitting"
	"flourcast/study/job"
	"flourcast/work"
)

var (
	mills = flag.Int("mills", 2, "mills of each row in TestWholeTable")
	write = flag.Bool("write", false, "write the counts of TestWholeTable into the manual")
)

func testEnv() job.Env {
	return job.Env{Clock: func() time.Time { return time.Unix(0, 0) }, Version: "test", Seed: 1}
}

const (
	manual = "../../docs/verdict.md"
	begin  = "<!-- the trial's table, written by: make trial-long -->\n"
	end    = "<!-- end of the trial's table -->\n"
)

// TestWholeTable puts the checks on trial: a few mills of each row in every run of the
// tests, 10 in `make check`, 200 in `make long`, which writes the manual's table.
func TestWholeTable(t *testing.T) {
	res, err := Run(context.Background(), testEnv(), Request{Mills: *mills})
	if err != nil {
		t.Fatal(err)
	}
	for _, o := range res.Rows {
		if !o.Holds {
			t.Errorf("%s: %d fit for use, %d provisional, %d not fit of %d, %s seen; expected %s", o.Name, o.FitForUse, o.Provisional, o.NotFit, res.Mills, seen(o), o.Expected)
		}
	}
	data, err := os.ReadFile(manual)
	if err != nil {
		t.Fatal(err)
	}
	before, rest, ok := strings.Cut(string(data), begin)
	table, after, ok2 := strings.Cut(rest, end)
	if !ok || !ok2 {
		t.Fatalf("%s has lost the marks of the trial's table", manual)
	}
	if *write {
		if err := os.WriteFile(manual, []byte(before+begin+markdown(res)+end+after), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	for _, o := range res.Rows {
		if !strings.Contains(table, "| "+o.Name+" | "+o.Truth+" | ") || !strings.Contains(table, " | "+o.Expected+" |") {
			t.Errorf("%s: the manual's table is of another row %q", manual, o.Name)
		}
	}
}

func seen(o Outcome) string {
	if o.Seen == nil {
		return "–"
	}
	return fmt.Sprint(*o.Seen)
}

func markdown(r *Result) string {
	var b strings.Builder
	fmt.Fprintf(&b, "\n%d mills a row, seed %d, %s, %d repeats of the folds, %d permutations. Counts are mills.\n\n", r.Mills, r.Seed, strings.ToUpper(r.Kind), r.Repeats, r.Permutations)
	b.WriteString("| mill | truth | lots | fit for use | provisional | not fit | seen | expected |\n| --- | --- | ---: | ---: | ---: | ---: | ---: | --- |\n")
	for _, o := range r.Rows {
		fmt.Fprintf(&b, "| %s | %s | %d | %d | %d | %d | %s | %s |\n", o.Name, o.Truth, o.Lots, o.FitForUse, o.Provisional, o.NotFit, seen(o), o.Expected)
	}
	b.WriteString("\n")
	return b.String()
}

// The mills are what they are said to be.
func TestTruth(t *testing.T) {
	tables := map[string]*table.Table{} // of each row, drawn once
	r := func(name string, feature string, n int) float64 {
		for _, row := range rows() {
			if row.name != name {
				continue
			}
			tab := tables[name]
			if tab == nil {
				var err error
				if tab, err = row.draw(work.Rand(7, name), n).table(); err != nil {
					t.Fatal(err)
				}
				tables[name] = tab
			}
			var x, y []float64
			for i := range tab.Len() {
				a, _ := tab.Number(feature, i)
				b, _ := tab.Number("hardness_N", i)
				x, y = append(x, a), append(y, b)
			}
			v, _ := correlation.Pearson(x, y, nil)
			return v
		}
		t.Fatalf("no row %s", name)
		return 0
	}
	const n = 20000
	for _, c := range []struct {
		row, feature string
		want         float64
	}{
		{"worthless", "peak_mPas", 0}, {"strong", "peak_mPas", -0.75}, {"strong", "breakdown_mPas", -0.75}, {"moderate", "peak_mPas", -0.5}, {"moderate", "breakdown_mPas", -0.5},
		{"reversed", "peak_mPas", 0.75}, {"protein", "peak_mPas", -0.64}, {"narrow", "peak_mPas", -0.75}, {"strong", "pasting_temp_C", 0},
	} {
		if got := r(c.row, c.feature, n); math.Abs(got-c.want) > 0.02 {
			t.Errorf("%s: r of %s %.3f, want %.2f", c.row, c.feature, got, c.want)
		}
	}
}

// Mills do not depend on what else is run, nor on cores.
func TestSameMills(t *testing.T) {
	q := Request{Mills: 2, Rows: []string{"worthless", "leak"}, Repeats: 1, Permutations: 19}
	env := testEnv()
	env.Cores = 1
	one, err := Run(context.Background(), env, q)
	env.Cores = 2
	two, err2 := Run(context.Background(), env, q)
	if err != nil || err2 != nil || !reflect.DeepEqual(one, two) || len(one.Rows) != 2 {
		t.Errorf("one core and two differ (%v, %v)", err, err2)
	}
	q.Rows = []string{"leak"}
	alone, err := Run(context.Background(), env, q)
	if err != nil || !reflect.DeepEqual(alone.Rows[0], one.Rows[1]) {
		t.Errorf("the row alone is another (%v)", err)
	}
}

func TestBadRequest(t *testing.T) {
	for _, q := range []Request{{}, {Mills: 1, Rows: []string{"perfect"}}} {
		var wrong *job.RequestError
		if _, err := Run(context.Background(), testEnv(), q); !errors.As(err, &wrong) {
			t.Errorf("%+v: %v", q, err)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Run(ctx, testEnv(), Request{Mills: 1, Rows: []string{"worthless"}}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// A share is judged plainly from 100 mills on, and with fewer by what chance allows.
func TestShares(t *testing.T) {
	for _, c := range []struct {
		k, n  int
		most  float64
		holds bool
	}{
		{8, 200, 0.04, true}, {9, 200, 0.04, false}, {0, 200, 0, true}, {1, 200, 0, false}, {1, 3, 0, false},
		{2, 10, 0.04, true}, {4, 10, 0.04, false}, // P(X ≥ 2) = 0.058, P(X ≥ 4) = 0.0004
		{10, 10, 1, true}, {0, 1, 0.5, true},
	} {
		if atMost(c.k, c.n, c.most) != c.holds {
			t.Errorf("%d of %d at most %v: want %v", c.k, c.n, c.most, c.holds)
		}
	}
	if !atLeast(180, 200, 0.9) || atLeast(179, 200, 0.9) || !atLeast(10, 10, 1) || atLeast(9, 10, 1) || atLeast(3, 10, 0.9) {
		t.Error("shares from below")
	}
}

// BenchmarkVerdict: one fit and verdict as by default (10 repeats, 999 permutations)
// of 80 lots × 5 features, 70 × 700 and 1,200 × 4.
func BenchmarkVerdict(b *testing.B) {
	for _, c := range []struct{ n, p int }{{80, 5}, {70, 700}, {1200, 4}} {
		l := related(work.Rand(1, "bench"), c.n, -0.75)
		tab, err := l.table()
		if err != nil {
			b.Fatal(err)
		}
		features := []string{"peak_mPas", "breakdown_mPas", "setback_trough_mPas", "peak_time_s", "pasting_temp_C"}
		features = features[:min(c.p, 5)]
		if c.p > 5 {
			features = nil
			var more []column.Column
			known := make([]bool, c.n)
			for i := range known {
				known[i] = true
			}
			for k := range c.p {
				v := make([]float64, c.n)
				at := float64(k+1) / float64(c.p+1)
				for i := range v {
					v[i] = 100 + (2600+350*l.peak[i])*math.Sin(math.Pi*at) + 160*l.own[i].breakdown*math.Sin(2*math.Pi*at) + 5*math.Sin(float64(i*k))
				}
				name := fmt.Sprintf("v_%04ds", k)
				features, more = append(features, name), append(more, column.Numbers(name, v, known))
			}
			if tab, err = tab.With(more...); err != nil {
				b.Fatal(err)
			}
		}
		b.Run(fmt.Sprintf("%dx%d", c.n, c.p), func(b *testing.B) {
			for b.Loop() {
				if _, err := fitting.Fit(context.Background(), testEnv(), fitting.Request{Table: tab, Response: "hardness_N", Features: features, Kind: kind, Repeats: 10, Permutations: 999}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
