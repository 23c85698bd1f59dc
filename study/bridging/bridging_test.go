package bridging

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flourcast/dataset/sheet"
	"flourcast/finding"
	"flourcast/study/job"

	"pgregory.net/rapid"
)

func env() job.Env {
	return job.Env{Clock: func() time.Time { return time.Unix(1767225600, 0) }, Version: "test"}
}

func pairs(n int, noise float64) string {
	r := rand.New(rand.NewPCG(5, 6))
	var b strings.Builder
	b.WriteString("lot,instrument,method,replicate,peak_mPas,final (cP),status\n")
	for i := range n {
		x := 2000 + 60*float64(i)
		for k := range 2 {
			fmt.Fprintf(&b, "L%d,A,noodle-water,%d,%.0f,%.0f,valid\n", i, k+1, x+8*r.NormFloat64(), 1.4*x+8*r.NormFloat64())
			fmt.Fprintf(&b, "L%d,B,noodle-water,%d,%.0f,%.0f,valid\n", i, k+1, 50+0.9*x+noise*r.NormFloat64(), 1.2*x+noise*r.NormFloat64())
		}
	}
	return b.String()
}

func file(t testing.TB, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "pairs.csv")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestMake(t *testing.T) {
	text := pairs(30, 10) + "X1,A,noodle-water,1,2500,3000,valid\nL1,C,noodle-water,1,9999,1,valid\nL2,A,noodle-water,3,1,1,void\n,A,noodle-water,1,2,2,valid\nL3,A,noodle-water,3,high,,valid\n"
	out := filepath.Join(t.TempDir(), "b.json")
	r, err := Make(env(), Request{File: file(t, text), From: "A", To: "B", Out: out})
	if err != nil {
		t.Fatal(err)
	}
	if r.Rows != (Rows{Read: 125, Used: 122, Other: 2, Refused: 1}) || r.Bridge.Lots != 30 || len(r.Bridge.Features) != 2 || len(r.LeftOut) != 1 || r.LeftOut[0].Lot != "X1" {
		t.Fatalf("%+v, %d lots, left out %v", r.Rows, r.Bridge.Lots, r.LeftOut)
	}
	f := r.Bridge.Features[0]
	if f.Name != "peak_mPas" || math.Abs(f.Slope.Value-0.9) > 0.02 || f.Assumed || f.Slope.Low > 0.9 || f.Slope.High < 0.9 {
		t.Errorf("%+v", f)
	}
	b, err := Read(out)
	if err != nil || b.From != "A" || b.To != "B" || b.Method != "noodle-water" || b.Lots != 30 {
		t.Errorf("%v, %+v", err, b)
	}
}

func TestRefusals(t *testing.T) {
	var request *job.RequestError
	var nothing *job.NothingUsableError
	good := file(t, pairs(12, 10))
	for name, q := range map[string]Request{
		"one instrument": {File: good, From: "A", To: "A"}, "no such column": {File: good, From: "A", To: "B", By: "site"},
		"no such feature": {File: good, From: "A", To: "B", Features: []string{"trough_mPas"}},
		"two methods":     {File: file(t, pairs(12, 10)+"L1,A,other,1,2000,2000,valid\n"), From: "A", To: "B"},
	} {
		if _, err := Make(env(), q); !errors.As(err, &request) {
			t.Errorf("%s: %v", name, err)
		}
	}
	for name, q := range map[string]Request{"few lots": {File: file(t, pairs(5, 10)), From: "A", To: "B"}, "no such instrument": {File: good, From: "A", To: "Z"}} {
		if _, err := Make(env(), q); !errors.As(err, &nothing) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Used + other + refused = read, whatever stands in the rows.
func TestRowsAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var b strings.Builder
		b.WriteString("lot,instrument,peak_mPas,status\n")
		n := rapid.IntRange(0, 20).Draw(t, "n")
		for range n {
			fmt.Fprintf(&b, "%s,%s,%s,%s\n", rapid.SampledFrom([]string{"", "L1", "L2"}).Draw(t, "lot"), rapid.SampledFrom([]string{"", "A", "B", "C"}).Draw(t, "who"), rapid.SampledFrom([]string{"", "x", "2000", "1e999"}).Draw(t, "peak"), rapid.SampledFrom([]string{"valid", "void"}).Draw(t, "status"))
		}
		s, err := sheet.Read("p.csv", []byte(b.String()), nil)
		if err != nil {
			t.Skip()
		}
		res := &Result{}
		if _, err := readSheet(s, Request{From: "A", To: "B", By: "instrument"}, res); err != nil {
			t.Fatal(err)
		}
		if res.Rows.Read != n || res.Rows.Read != res.Rows.Used+res.Rows.Other+res.Rows.Refused {
			t.Fatalf("%d rows: %+v\n%s", n, res.Rows, b.String())
		}
	})
}

func FuzzReadSheet(f *testing.F) {
	f.Add([]byte(pairs(3, 10)))
	f.Add([]byte("lot;instrument;peak (cP)\nL1;A;2.000,5\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := sheet.Read("p.csv", data, nil)
		if err != nil {
			return
		}
		res := &Result{Findings: finding.List{}}
		q := Request{From: "A", To: "B", By: "instrument"}
		p, err := readSheet(s, q, res)
		if err != nil {
			return
		}
		if res.Rows.Read != res.Rows.Used+res.Rows.Other+res.Rows.Refused {
			t.Fatalf("%+v", res.Rows)
		}
		for _, side := range []map[string]map[string][]float64{p.from, p.to} {
			for _, lot := range side {
				for _, runs := range lot {
					for _, v := range runs {
						if math.IsNaN(v) || math.IsInf(v, 0) {
							t.Fatal(v)
						}
					}
				}
			}
		}
	})
}
