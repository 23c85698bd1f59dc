package assembly_test

import (
	"errors"
	. "flourcast/dataset/assembly"
	"math"
	"strings"
	"testing"

	"flourcast/dataset/column"
	"flourcast/dataset/table"
	"flourcast/dataset/tablefile"
	"flourcast/dataset/treatment"
	"flourcast/finding"
)

const treated = "lot,treatment,site,peak_mPas,volume_mL\nA,none,north,1000,900\nB,unbleached,north,1100,910\nC,chlorinated pH 4.7,south,1200,1000\nD,chlorinated pH 4.9,south,1300,1010\nE,,north,1400,950\n"

// TestWhere: rows of one treatment whatever its wording, other columns by their
// text; what was pooled is doubted by name and what is chlorinated gets its caution.
func TestWhere(t *testing.T) {
	tab, _, err := tablefile.Parse("t.csv", []byte(treated), "lot")
	if err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]struct{ lots, treatment, codes string }{
		"pooled":                               {"A B C D E", "", "chlorinated-flour pooled-differs"},
		"treatment=none":                       {"A B", "none", ""},
		"treatment=Untreated":                  {"A B", "none", ""},
		"treatment=chlorinated":                {"C D", "chlorinated", "chlorinated-flour"},
		"site=north":                           {"A B E", "", "pooled-differs"},
		"site=north treatment=none":            {"A B", "none", ""},
		"volume_mL=910":                        {"B", "none", ""},
		"treatment=chlorinated volume_mL=1000": {"C", "chlorinated", "chlorinated-flour"},
	} {
		s := Selection{Response: "volume_mL", Features: []string{"peak_mPas"}}
		for _, w := range strings.Fields(text) {
			if w == "pooled" {
				s.Treatment = treatment.Pooled
				continue
			}
			c, err := column.ParseCondition(w)
			if err != nil {
				t.Fatal(err)
			}
			s.Where = append(s.Where, c)
		}
		m, a, fl, err := Make(tab, s)
		if err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		var codes []string
		for _, f := range fl {
			if f.At.Column == "treatment" {
				codes = append(codes, f.Code)
			}
		}
		if strings.Join(m.Lots(), " ") != want.lots || a.Treatment != want.treatment || strings.Join(codes, " ") != want.codes {
			t.Errorf("%s: lots %v, treatment %q, %v", text, m.Lots(), a.Treatment, fl)
		}
		for _, f := range fl {
			if f.Code == "pooled-differs" && (f.Severity != finding.Doubt || !strings.Contains(f.Do, "--where treatment=")) {
				t.Errorf("%+v", f)
			}
		}
	}
	// Several that are stated are refused, counted, unless somebody says how to take them.
	for _, use := range []treatment.Use{"", treatment.Within} {
		var several *TreatmentsError
		if _, _, _, err := Make(tab, Selection{Response: "volume_mL", Features: []string{"peak_mPas"}, Treatment: use}); !errors.As(err, &several) || !strings.Contains(err.Error(), "none (2), chlorinated (2), not stated (1)") {
			t.Errorf("%q: %v", use, err)
		}
	}
	for _, c := range []column.Condition{{Column: "treatmnt", Value: "none"}, {Column: "treatment", Value: "heat"}, {Column: "site", Value: "North"}} {
		var bad *table.ColumnError
		if _, _, _, err := Make(tab, Selection{Response: "volume_mL", Where: []column.Condition{c}}); !errors.As(err, &bad) || bad.Column != c.Column {
			t.Errorf("%v: %v", c, err)
		}
	}
	for _, text := range []string{"", "treatment", "=none", "treatment=", " = "} {
		if _, err := column.ParseCondition(text); err == nil {
			t.Errorf("%q was read", text)
		}
	}
	if c, err := column.ParseCondition(" method = a=b "); err != nil || c != (column.Condition{Column: "method", Value: "a=b"}) {
		t.Errorf("%+v %v", c, err)
	}
}

// TestWeightsBySE: weights are 1/SE² scaled to a mean of 1, from NAME_se, or from the
// replicates' pooled SD over √n where a row has none of its own. By hand: SE 1, 2, 2
// and, for D, SD pooled of 2, 4, 4 (3 df each: √12)/√4 = √3; E has neither.
func TestWeightsBySE(t *testing.T) {
	text := "lot,peak_mPas,volume_mL,volume_mL_n,volume_mL_sd,volume_mL_se\nA,1,900,4,2,1\nB,2,910,4,4,2\nC,3,1000,4,4,2\nD,4,1010,4,,\nE,5,950,,,\n"
	tab, _, err := tablefile.Parse("t.csv", []byte(text), "lot")
	if err != nil {
		t.Fatal(err)
	}
	s := Selection{Response: "volume_mL", Features: []string{"peak_mPas"}, Weights: BySE}
	m, a, fl, err := Make(tab, s)
	if err != nil {
		t.Fatal(err)
	}
	raw := []float64{1, 0.25, 0.25, 1.0 / 3}
	sum := raw[0] + raw[1] + raw[2] + raw[3]
	for i, w := range m.Weights() {
		if want := raw[i] * 4 / sum; math.Abs(w-want) > 1e-12 {
			t.Errorf("weight of %s: %g, want %g", m.Lots()[i], w, want)
		}
	}
	if m.N() != 4 || math.Abs(m.SE()[3]-math.Sqrt(3)) > 1e-12 || a.Weighting.Own != 3 || a.Weighting.Pooled != 1 || !fl.Has("rows-without-error") || len(a.Left) != 1 || a.Left[0].Lot != "E" {
		t.Errorf("%d rows, SE %v, %+v, %v", m.N(), m.SE(), a.Weighting, fl)
	}
	if want := sum * sum / (1 + 0.125 + 1.0/9); math.Abs(a.Weighting.Effective-want) > 1e-12 || fl.Has("weights-uneven") {
		t.Errorf("effective rows %g, want %g", a.Weighting.Effective, want)
	}
	lucky, _, err := tablefile.Parse("t.csv", []byte(strings.Replace(text, "4,2,1\n", "4,0.2,0.1\n", 1)), "lot")
	if err != nil {
		t.Fatal(err)
	}
	if _, _, fl, err := Make(lucky, s); err != nil || !fl.Has("weights-uneven") {
		t.Errorf("one lot of 3 decides: %v %v", fl, err)
	}
	s.Weights = "n"
	var bad *table.ColumnError
	if _, _, _, err := Make(tab, s); !errors.As(err, &bad) {
		t.Errorf("weights by n: %v", err)
	}
}
