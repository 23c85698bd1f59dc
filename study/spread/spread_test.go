package spread

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/study/job"
)

// strands are 2 lots × 2 days × 2 batches × 2 strands with figures that are easy
// to split by hand.
func strands(t *testing.T, more string) string {
	t.Helper()
	var b strings.Builder
	b.WriteString("lot,day,batch,hardness_N\n")
	v := map[[3]int][2]float64{
		{1, 1, 1}: {10, 12}, {1, 1, 2}: {14, 16}, {1, 2, 1}: {18, 20}, {1, 2, 2}: {22, 24},
		{2, 1, 1}: {30, 32}, {2, 1, 2}: {34, 36}, {2, 2, 1}: {38, 40}, {2, 2, 2}: {42, 44},
	}
	for l := 1; l <= 2; l++ {
		for d := 1; d <= 2; d++ {
			for k := 1; k <= 2; k++ {
				for _, x := range v[[3]int{l, d, k}] {
					fmt.Fprintf(&b, "N%d,%d,%d,%g\n", l, d, k, x)
				}
			}
		}
	}
	path := filepath.Join(t.TempDir(), "strands.csv")
	if err := os.WriteFile(path, []byte(b.String()+more), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func variance(q Request) (*Result, error) { return Variance(context.Background(), job.Env{}, q) }

// TestVariance: by hand. Strands: each pair differs by 2, MS 2. Batch means 11,
// 15 …: each pair differs by 4, MS = 2·8 = 16, (16 − 2)/2 = 7. Day means 13, 21:
// MS = 4·32 = 128, (128 − 16)/4 = 28. Lot means 17, 37: MS = 8·200 = 1600,
// (1600 − 128)/8 = 184. Sum 221.
func TestVariance(t *testing.T) {
	res, err := variance(Request{File: strands(t, ""), Response: "hardness_N", By: []string{"lot", "day", "batch"}, WantSE: 4})
	if err != nil {
		t.Fatal(err)
	}
	want := []Component{{Name: "lot", Variance: 184, DF: 1}, {Name: "day", Variance: 28, DF: 2}, {Name: "batch", Variance: 7, DF: 4}, {Name: "residual", Variance: 2, DF: 8}}
	if len(res.Components) != len(want) {
		t.Fatalf("%+v", res.Components)
	}
	for i, w := range want {
		c := res.Components[i]
		if c.Name != w.Name || math.Abs(c.Variance-w.Variance) > 1e-9 || c.DF != w.DF || math.Abs(c.Share-w.Variance/221) > 1e-12 {
			t.Errorf("%+v, want %+v", c, w)
		}
	}
	codes := map[string]int{}
	for _, f := range res.Findings {
		codes[f.Code]++
	}
	if codes["labels-counted-anew"] != 2 || codes["component-few-levels"] != 3 {
		t.Errorf("findings %v", res.Findings)
	}
	// 28/2 + 7/2 + 2/2 = 18.5 is above 16; three days, one batch, one strand: 12.33.
	if w := res.Plan.Ways[0]; w.N["day"] != 3 || w.N["batch"] != 1 || w.N["residual"] != 1 || w.Tests != 3 || math.Abs(w.SE-math.Sqrt(37.0/3)) > 1e-9 {
		t.Errorf("%+v", w)
	}
	if len(res.Means) != 1 || res.Means[0].Levels[1].Mean != 37 {
		t.Errorf("means %+v", res.Means)
	}
}

// TestNothingIsLost: rows used, left out and refused add up, each with a finding.
func TestNothingIsLost(t *testing.T) {
	file := strands(t, "N2,2,2,\nN2,,2,44\n,1,1,9\nN2,2,2,hard\n")
	res, err := variance(Request{File: file, Response: "hardness_N", By: []string{"lot", "day", "batch"}})
	if err != nil {
		t.Fatal(err)
	}
	if res.N != 16 || res.LeftOut != 3 {
		t.Errorf("%d used, %d left out", res.N, res.LeftOut)
	}
	codes := map[string]int{}
	for _, f := range res.Findings {
		codes[f.Code]++
	}
	if codes["rows-incomplete"] != 2 || codes["lot-missing"] != 1 {
		t.Errorf("%v", res.Findings)
	}
	if res.Plan.WantSE != nil || len(res.Plan.Ways) != 0 || len(res.Plan.Rows) == 0 {
		t.Errorf("plan without a want: %+v", res.Plan)
	}
}

func TestRefusals(t *testing.T) {
	file := strands(t, "")
	empty := filepath.Join(t.TempDir(), "none.csv")
	if err := os.WriteFile(empty, []byte("lot,day,hardness_N\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	words := filepath.Join(t.TempDir(), "words.csv")
	if err := os.WriteFile(words, []byte("lot,day,hardness_N\na,1,\nb,2,\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	var request *job.RequestError
	var nothing *job.NothingUsableError
	for name, c := range map[string]struct {
		q    Request
		kind any
		part string
	}{
		"response":        {Request{File: file, Response: "hardnes_N", By: []string{"lot"}}, &request, "hardness_N"},
		"first factor":    {Request{File: file, Response: "hardness_N", By: []string{"lotto"}}, &request, "lot"},
		"factor":          {Request{File: file, Response: "hardness_N", By: []string{"lot", "cook"}}, &request, "cook"},
		"no factor":       {Request{File: file, Response: "hardness_N"}, &request, "lot,day,batch"},
		"words":           {Request{File: file, Response: "lot", By: []string{"day"}}, &request, "numbers"},
		"both":            {Request{File: file, Response: "day", By: []string{"lot", "day"}}, &request, "two columns"},
		"twice":           {Request{File: file, Response: "hardness_N", By: []string{"lot", "lot"}}, &request, "of its own"},
		"unknown crossed": {Request{File: file, Response: "hardness_N", By: []string{"lot"}, Crossed: []string{"day"}}, &request, "day"},
		"want":            {Request{File: file, Response: "hardness_N", By: []string{"lot"}, WantSE: -1}, &request, "above 0"},
		"want NaN":        {Request{File: file, Response: "hardness_N", By: []string{"lot"}, WantSE: math.NaN()}, &request, "above 0"},
		"no rows":         {Request{File: empty, Response: "hardness_N", By: []string{"lot"}}, &nothing, "no usable row"},
		"no figures":      {Request{File: words, Response: "hardness_N", By: []string{"lot"}}, &nothing, "no row with"},
	} {
		_, err := variance(c.q)
		if err == nil || !errors.As(err, c.kind) || !strings.Contains(err.Error(), c.part) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
