package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/model"
	"flourcast/model/pls"
	"flourcast/work"
)

// tiny writes a set S of 24 rows and 4 features, with 15 columns of four folds and
// 6 permutations.
func tiny(t *testing.T) (dir string) {
	t.Helper()
	dir = t.TempDir()
	random := work.Rand(1, "tiny")
	var x, y, folds, perms strings.Builder
	x.WriteString("a,b,c,d\n")
	y.WriteString("y\n")
	for range 24 {
		v := []float64{10 + random.NormFloat64(), random.NormFloat64(), 3 * random.NormFloat64(), 0.1 * random.NormFloat64()}
		fmt.Fprintf(&x, "%.10g,%.10g,%.10g,%.10g\n", v[0], v[1], v[2], v[3])
		fmt.Fprintf(&y, "%.10g\n", v[0]-2*v[1]+0.3*random.NormFloat64())
	}
	table := func(b *strings.Builder, rows, columns int, value func(i, j int) int) {
		for i := -1; i < rows; i++ {
			for j := range columns {
				if j > 0 {
					b.WriteByte(',')
				}
				if i < 0 {
					fmt.Fprint(b, "c", j)
				} else {
					fmt.Fprint(b, value(i, j))
				}
			}
			b.WriteByte('\n')
		}
	}
	table(&folds, 24, 15, func(i, r int) int { return (i*(r+1) + i/7) % 4 })
	orders := make([][]int, 6)
	for q := range orders {
		orders[q] = random.Perm(24)
	}
	table(&perms, 6, 24, func(q, i int) int { return orders[q][i] })
	if err := os.Mkdir(filepath.Join(dir, "S"), 0o755); err != nil {
		t.Fatal(err)
	}
	for name, b := range map[string]*strings.Builder{"X": &x, "y": &y, "folds": &folds, "perms": &perms} {
		if err := os.WriteFile(filepath.Join(dir, "S", name+".csv"), []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// refit is PRESS by number of components (4 of them) of rows fitted one fold after
// the other, and the predictions.
func refit(t *testing.T, s *set, y []float64, rows, of []int, scaling model.Scaling) (press []float64, predicted [][]float64) {
	t.Helper()
	press, predicted = make([]float64, 4), make([][]float64, 4)
	for a := range predicted {
		predicted[a] = make([]float64, s.m.N())
	}
	m, err := s.m.WithResponse("y", y)
	if err != nil {
		t.Fatal(err)
	}
	for k := range 4 {
		var train, test []int
		for p, i := range rows {
			if of[p] == k {
				test = append(test, i)
			} else {
				train = append(train, i)
			}
		}
		path, err := (pls.PLS{Components: 4, Scaling: scaling}).FitRows(m.Subset(train))
		if err != nil {
			t.Fatal(err)
		}
		for a := range press {
			for _, i := range test {
				predicted[a][i] = path.At(a).Predict(m.Row(i))
				press[a] += (y[i] - predicted[a][i]) * (y[i] - predicted[a][i])
			}
		}
	}
	return press, predicted
}

func lines(t *testing.T, dir, jobs string) map[string]line {
	t.Helper()
	var out bytes.Buffer
	if err := run(context.Background(), []string{dir, jobs, "3"}, &out); err != nil {
		t.Fatal(err)
	}
	found := map[string]line{}
	for _, text := range strings.Split(strings.TrimSpace(out.String()), "\n") {
		var l line
		if err := json.Unmarshal([]byte(text), &l); err != nil {
			t.Fatal(err)
		}
		if l.Tool != "flourcast" || len(l.AllSeconds) != 3 || !(l.Seconds > 0) {
			t.Errorf("%+v", l)
		}
		found[l.Workload+" "+l.Variant] = l
	}
	return found
}

func near(t *testing.T, what string, got, want float64) {
	t.Helper()
	if !(math.Abs(got/want-1) <= 1e-9) {
		t.Errorf("%s: %v, refitting gives %v", what, got, want)
	}
}

// TestWorkloads against fitting the rows of every part anew.
func TestWorkloads(t *testing.T) {
	dir := tiny(t)
	s, err := load(dir, "S")
	if err != nil {
		t.Fatal(err)
	}
	found := lines(t, dir, "W1:S,W2:S,W2:S-centred,W3:S,W4:S,W5:S,W6:S")
	if len(found) != 7 {
		t.Fatalf("%d lines", len(found))
	}
	y, all := s.m.Y(), make([]int, 24)
	for i := range all {
		all[i] = i
	}
	for variant, scaling := range map[string]model.Scaling{"scaled": model.ScaleUnit, "centred": model.ScaleNone} {
		sum := make([]float64, 4)
		for _, of := range s.plan.Fold {
			press, _ := refit(t, s, y, all, of, scaling)
			for a, v := range press {
				sum[a] += v
			}
		}
		for a, v := range sum {
			near(t, "W2 "+variant, found["W2 "+variant].RMSECV[a], math.Sqrt(v/(24*15)))
		}
	}
	press, _ := refit(t, s, y, all, s.plan.Fold[0], model.ScaleUnit)
	for a, v := range press {
		near(t, "W6", found["W6 scaled"].RMSECV[a], math.Sqrt(v/24))
		near(t, "W5", found["W5 scaled"].RMSECV[a], math.Sqrt(v/24))
	}

	ss, picks := 0.0, 0
	for r := range nestedRepeats {
		for k := range 4 {
			var train, inner []int
			for i := range 24 {
				if s.plan.Fold[r][i] != k {
					train, inner = append(train, i), append(inner, s.plan.Fold[innerFrom+r][i])
				}
			}
			press, _ := refit(t, s, y, train, inner, model.ScaleUnit)
			best := 0
			for a, v := range press {
				if v < press[best] {
					best = a
				}
			}
			picks += best + 1
			_, predicted := refit(t, s, y, all, s.plan.Fold[r], model.ScaleUnit)
			for i := range 24 {
				if s.plan.Fold[r][i] == k {
					ss += (y[i] - predicted[best][i]) * (y[i] - predicted[best][i])
				}
			}
		}
	}
	near(t, "W4", found["W4 scaled"].RMSECV[0], math.Sqrt(ss/(24*nestedRepeats)))
	if *found["W4 scaled"].Picks != picks {
		t.Errorf("W4: %d components in all, refitting picks %d", *found["W4 scaled"].Picks, picks)
	}

	mean := 0.0
	for _, order := range s.perms {
		moved := make([]float64, 24)
		for i, k := range order {
			moved[i] = y[k]
		}
		press, _ := refit(t, s, moved, all, s.plan.Fold[0], model.ScaleUnit)
		mean += math.Sqrt(min(press[0], press[1], press[2], press[3])/24) / 6
	}
	near(t, "W5 permuted", *found["W5 scaled"].MinMean, mean)
	near(t, "W5 p", *found["W5 scaled"].P, 1.0/7)
}

// TestRefusals: what cannot be run is said.
func TestRefusals(t *testing.T) {
	dir := tiny(t)
	broken := filepath.Join(dir, "B")
	if err := os.Mkdir(broken, 0o755); err != nil {
		t.Fatal(err)
	}
	write := func(name, text string) {
		t.Helper()
		if err := os.WriteFile(filepath.Join(broken, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write("X.csv", "a,b\n1,2\n3\n")
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{dir}, "expected DATA_DIR WORKLOADS REPS"},
		{[]string{dir, "W1:S", "0"}, "repetitions"},
		{[]string{dir, "W9:S", "1"}, "expected W1:SET"},
		{[]string{dir, "W1:Z", "1"}, "no such file"},
		{[]string{dir, "W1:B", "1"}, "row 3: found 1 figures, expected 2"},
	} {
		if err := run(context.Background(), c.args, &bytes.Buffer{}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v: %v", c.args, err)
		}
	}
	write("X.csv", "a,b\n1,x\n")
	if _, err := load(dir, "B"); err == nil || !strings.Contains(err.Error(), `row 2 column 2: found "x"`) {
		t.Errorf("a word: %v", err)
	}
}
