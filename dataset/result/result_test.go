package result

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/dataset/protocol"
	"flourcast/dataset/replicate"
	"flourcast/dataset/texture"
	"flourcast/finding"
)

func file(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// cut is a force curve of one cut: 2 s up to h, 1 s down, 1 s of nothing.
func cut(head string, h float64) string {
	var b strings.Builder
	for k := range 401 {
		t := float64(k) / 100
		fmt.Fprintf(&b, "%s,%.2f,%.5f\n", head, t, h*max(0, min(t/2, 3-t)))
	}
	return b.String()
}

// TestReadTexture: files of readings and of force curves side by side; rows are
// accounted for.
func TestReadTexture(t *testing.T) {
	readings := file(t, "readings.csv", "lot,hardness_N,thickness_mm,remarks\nA,4.1,2.2,\nB,,2.2,\n,3,2.2,\n")
	curves := file(t, "curves.csv", "lot,protocol,thickness_mm,time_s,force_N\n"+cut("A,pasta-cutting,2.4", 5)+cut("C,pasta-cutting,2.4", 0)+",pasta-cutting,2.4,0,1\n")
	got, c, fl, err := ReadTexture(context.Background(), []string{curves, readings}, Options{})
	if err != nil || len(got) != 4 {
		t.Fatal(got, fl, err)
	}
	for _, r := range got {
		c = c.Plus(r.Count())
	}
	if c.Read != 3+2*401+1 || c.Refused != 2+401+1 || c.Accepted != 1+401 {
		t.Errorf("%+v", c)
	}
	if a := got[2]; a.Lot != "A" || a.Protocol != "pasta-cutting" || math.Abs(a.Values[texture.Firmness]-5) > 1e-6 || a.Values[texture.Thickness] != 2.4 || a.Rows != 401 {
		t.Errorf("%+v", a)
	}
	if !got[1].Refused || !got[3].Refused || got[0].Refused {
		t.Errorf("%+v", got)
	}
}

func results(protocols ...string) (out []Result) {
	for i, p := range protocols {
		out = append(out, Result{Lot: fmt.Sprint("L", i%3), Product: "noodle", Protocol: p, Values: map[string]float64{texture.Hardness: 4 + float64(i)/10}, Rows: 1})
	}
	return out
}

func own(t *testing.T, id string, strain float64) protocol.Protocol {
	t.Helper()
	p, err := protocol.Parse(id, fmt.Appendf(nil, "id = %q\ntest = \"two-bite\"\nstrain_pct = %g\n", id, strain))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// TestPool: results under the same rules are pooled whatever the name; others are
// left out, and the rules named.
func TestPool(t *testing.T) {
	for name, c := range map[string]struct {
		protocols []string
		own       []protocol.Protocol
		all       bool
		n         int
		found     string
	}{
		"one":              {[]string{"a", "a", "a", "a"}, nil, false, 4, ""},
		"unknown":          {[]string{"a", "a", "b", "a"}, nil, false, 3, `1 texture readings by protocol "b" are not pooled with the 3 by "a"`},
		"meant":            {[]string{"a", "a", "b", "a"}, nil, true, 4, ""},
		"same rules":       {[]string{"a", "b", "b", "a"}, []protocol.Protocol{own(t, "a", 70), own(t, "b", 70)}, false, 4, ""},
		"rules differ":     {[]string{"a", "b", "a", "a"}, []protocol.Protocol{own(t, "a", 70), own(t, "b", 75)}, false, 3, "they differ in strain_pct"},
		"one of three":     {[]string{"a", "b", "c", "b"}, []protocol.Protocol{own(t, "a", 70), own(t, "b", 75), own(t, "c", 75)}, false, 3, "they differ in strain_pct"},
		"not stated":       {[]string{"", "", "a", ""}, []protocol.Protocol{own(t, "a", 70)}, false, 3, `1 texture readings by protocol "a" are not pooled`},
		"one is not known": {[]string{"a", "b", "b", "b"}, []protocol.Protocol{own(t, "a", 70)}, false, 3, `left out`},
	} {
		into := map[[2]string][]replicate.Set{}
		fl := Pool(results(c.protocols...), Pooling{Kind: "texture", AllProtocols: c.all, Protocols: c.own}, into)
		n := 0
		for _, sets := range into {
			for _, s := range sets {
				hardness, _ := s.Of(texture.Hardness)
				n += hardness.N
			}
		}
		if n != c.n || (c.found == "") != (len(fl) == 0) || len(fl) > 0 && !strings.Contains(fl[0].Found, c.found) {
			t.Errorf("%s: %d pooled, want %d; %v", name, n, c.n, fl)
		}
	}
}

// TestPoolLeavesOut: what waits or is refused does not count.
func TestPoolLeavesOut(t *testing.T) {
	r := results("a", "a", "a")
	r[0].Waiting, r[1].Refused = true, true
	into := map[[2]string][]replicate.Set{}
	if fl := Pool(r, Pooling{Kind: "texture"}, into); len(into) != 1 || len(fl) > 0 {
		t.Error(into, fl)
	}
	if slopes, fl := Correct(r, nil); len(slopes)+len(fl) > 0 {
		t.Error(slopes, fl)
	}
	at := 2.0
	if _, fl := Correct(r, &at); fl.Count(finding.Doubt) != 1 {
		t.Error(fl)
	}
}
