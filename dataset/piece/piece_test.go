package piece

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/dataset/protocol"
	"flourcast/dataset/texture"
	"flourcast/finding"
)

// triangles writes the rows of a two-bite record of straight lines: 2 s up to h,
// 1 s down, 0.5 s below zero, 1.8 s up to 0.9 h, 0.8 s down. bites 1 leaves the
// second out. head stands before each row.
func triangles(b *strings.Builder, head string, h float64, bites int) {
	corners := [][2]float64{{0, 0}, {2, 1}, {3, 0}, {3.25, -0.04}, {3.5, 0}, {6, 0}, {7.8, 0.9}, {8.6, 0}, {9, 0}}
	for k := 0; k <= 900; k++ {
		t := float64(k) / 100
		i := 1
		for i < len(corners)-1 && corners[i][0] < t {
			i++
		}
		p, q := corners[i-1], corners[i]
		f := h * (p[1] + (q[1]-p[1])*(t-p[0])/(q[0]-p[0]))
		if bites == 1 && t > 6 {
			f = 0
		}
		fmt.Fprintf(b, "%s%.2f,%.6f\n", head, t, f)
	}
}

func file(t testing.TB, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func codes(fl finding.List) string {
	var out []string
	for _, f := range fl {
		out = append(out, f.Code)
	}
	return strings.Join(out, " ")
}

// TestRead: readings of the record worked out by hand (Bourne 1978, Food Technol
// 32(7):62): 0.78, 0.90, 0.50, 0.10 N·s, 7.8 and 7.02 N of 10 N.
func TestRead(t *testing.T) {
	var long strings.Builder
	long.WriteString("lot,replicate,batch,tested_at,thickness_mm,time_s,force_N\n")
	triangles(&long, "A,1,pot 1,2026-03-02,2.2,", 10, 2)
	triangles(&long, "A,2,pot 1,2026-03-02,2.3,", 8, 1)
	triangles(&long, "A,1,pot 1,2026-03-02,2.2,", 10, 2)
	triangles(&long, "A,1,pot 2,2026-03-02,,", 5, 2)
	pieces, c, fl, err := Read(context.Background(), []string{file(t, "long.csv", long.String())}, Options{Keep: true, Cores: 2})
	if err != nil || len(pieces) != 4 {
		t.Fatal(len(pieces), fl, err)
	}
	if c.Read != 4*901 || c.Accepted != 3*901 || c.Refused != 901 || c.Waiting != 0 {
		t.Errorf("%+v", c)
	}
	for id, want := range map[string]float64{texture.Hardness: 10, texture.Cohesiveness: 0.78, texture.Springiness: 0.9, texture.Resilience: 0.5, texture.Adhesiveness: 0.1,
		texture.Gumminess: 7.8, texture.Chewiness: 7.02, texture.Thickness: 2.2} {
		if got, ok := pieces[0].Readings.Get(id); !ok || math.Abs(got-want) > 2e-3*want {
			t.Errorf("%s %g, want %g", id, got, want)
		}
	}
	if trace, _ := pieces[0].Bites.Trace(); len(trace) != 901 || pieces[0].Batch != "pot 1" || pieces[0].TestedAt != "2026-03-02" {
		t.Errorf("%d points, %+v", len(trace), pieces[0])
	}
	// One bite among two-bite tests is a failed second, and no firmness.
	one := pieces[1]
	if _, ok := one.Readings.Get(texture.Firmness); ok || codes(one.Findings) != "second-bite-missing" || one.Refused {
		t.Errorf("one bite: %v %v", one.Readings.Values(), one.Findings)
	}
	if _, ok := one.Readings.Get(texture.Chewiness); ok {
		t.Error("chewiness without a second bite")
	}
	if codes(pieces[2].Findings) != "replicate-twice" || !pieces[2].Refused || pieces[2].Readings.OK() {
		t.Errorf("twice: %v", pieces[2].Findings)
	}
}

// TestOneBite: files of single bites alone are one-bite tests.
func TestOneBite(t *testing.T) {
	var a strings.Builder
	a.WriteString("lot,time_s,force_N\n")
	triangles(&a, "A,", 4, 1)
	path := file(t, "a.csv", a.String())
	pieces, _, _, err := Read(context.Background(), []string{path}, Options{})
	if err != nil || len(pieces) != 1 {
		t.Fatal(pieces, err)
	}
	if v, _ := pieces[0].Readings.Get(texture.Firmness); math.Abs(v-4) > 1e-6 || !strings.Contains(codes(pieces[0].Findings), "one-bite") {
		t.Errorf("%v %v", pieces[0].Readings.Values(), pieces[0].Findings)
	}
	pieces, _, _, _ = Read(context.Background(), []string{path}, Options{Protocol: "pasta-cutting", Lot: "not used: the file has a column"})
	if v, _ := pieces[0].Readings.Get(texture.FirmnessWork); math.Abs(v-0.17*6) > 1e-3 || len(pieces[0].Findings) > 0 || pieces[0].Lot != "A" {
		t.Errorf("%v %v", pieces[0].Readings.Values(), pieces[0].Findings)
	}
}

func TestProtocolIsKept(t *testing.T) {
	own, err := protocol.Parse("own.toml", []byte("id = \"own\"\ntest = \"two-bite\"\ncohesiveness = \"net\"\n[cook]\nrule = \"fixed time\"\ntime_s = 240\n[target]\nthickness_mm = 2\nthickness_tolerance_mm = 0.1\n"))
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	b.WriteString("lot,protocol,thickness_mm,cook_time_s,cooking_loss_pct,time_s,force_N\n")
	triangles(&b, "A,own,2.2,300,7.5,", 10, 2)
	triangles(&b, "B,own,0,240,7.5,", 10, 2)
	pieces, _, _, err := Read(context.Background(), []string{file(t, "b.csv", b.String())}, Options{Protocols: []protocol.Protocol{own}})
	if err != nil || len(pieces) != 2 {
		t.Fatal(err)
	}
	if v, _ := pieces[0].Readings.Get(texture.Cohesiveness); math.Abs(v-0.9) > 2e-3 {
		t.Errorf("cohesiveness %g", v)
	}
	if codes(pieces[0].Findings) != "thickness-off-target cook-time-off" {
		t.Error(pieces[0].Findings)
	}
	if codes(pieces[1].Findings) != "value-range" || !pieces[1].Refused || pieces[1].Findings[0].At.Column != "thickness_mm" {
		t.Error(pieces[1].Findings)
	}
}

// TestCoresDoNotMatter: the same pieces and findings on one core and on two.
func TestCoresDoNotMatter(t *testing.T) {
	var b strings.Builder
	b.WriteString("lot,replicate,time_s,force_N\n")
	for i := range 12 {
		triangles(&b, fmt.Sprintf("L%d,%d,", i%4, i/4), 3+float64(i), 2-i%5/4)
	}
	path := file(t, "many.csv", b.String())
	var seen []string
	for _, cores := range []int{1, 2} {
		pieces, c, fl, err := Read(context.Background(), []string{path}, Options{Cores: cores})
		if err != nil {
			t.Fatal(err)
		}
		text := fmt.Sprint(c, fl)
		for _, p := range pieces {
			text += fmt.Sprint(p.Lot, p.Readings.Values())
		}
		seen = append(seen, text)
	}
	if seen[0] != seen[1] {
		t.Errorf("%s\n%s", seen[0], seen[1])
	}
	if _, _, _, err := Read(context.Background(), []string{"not-there.csv"}, Options{}); err == nil {
		t.Error("a file that is not there")
	}
}

// FuzzRead: whatever the file, its rows are accounted for and readings are finite.
func FuzzRead(f *testing.F) {
	var b strings.Builder
	b.WriteString("lot,replicate,time_s,force_N\n")
	triangles(&b, "A,1,", 10, 2)
	f.Add([]byte(b.String()))
	f.Add([]byte("lot;time_s;Force (gf)\nA;0;1\nA;1;1e308\nA;2;-1e308\n"))
	f.Add([]byte("lot,time_s,force_N,thickness_mm\nA,0,0,x\nA,1,,2\n\"\n"))
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, data []byte) {
		path := filepath.Join(dir, "f.csv")
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		pieces, c, _, err := Read(context.Background(), []string{path}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if c.Read != c.Accepted+c.Refused || c.Waiting != 0 {
			t.Fatalf("%+v", c)
		}
		for _, p := range pieces {
			if p.Refused != (p.Findings.Count(finding.Refused) > 0) || p.Refused == p.Readings.OK() {
				t.Fatalf("refused %v with %v and %v", p.Refused, p.Findings, p.Readings.Values())
			}
			for _, v := range p.Readings.Values() {
				if math.IsNaN(v.Value) || math.IsInf(v.Value, 0) {
					t.Fatalf("%s %g", v.ID, v.Value)
				}
			}
		}
	})
}
