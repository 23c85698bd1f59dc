package table

import (
	"errors"
	"strings"
	"testing"

	"flourcast/dataset/column"
	"flourcast/finding"
)

const treated = "lot,treatment,site,peak_mPas,volume_mL\nA,none,north,1000,900\nB,unbleached,north,1100,910\nC,chlorinated pH 4.7,south,1200,1000\nD,chlorinated pH 4.9,south,1300,1010\nE,,north,1400,950\n"

// TestWhere: rows of one treatment whatever its wording, other columns by their
// text; what was pooled is doubted by name and what is chlorinated gets its caution.
func TestWhere(t *testing.T) {
	tab, _, err := Parse("t.csv", []byte(treated), "lot")
	if err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]struct{ lots, treatment, codes string }{
		"":                                     {"A B C D E", "", "chlorinated-flour pooled-differs"},
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
			c, err := column.ParseCondition(w)
			if err != nil {
				t.Fatal(err)
			}
			s.Where = append(s.Where, c)
		}
		m, a, fl, err := tab.Assemble(s)
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
	for _, c := range []column.Condition{{Column: "treatmnt", Value: "none"}, {Column: "treatment", Value: "heat"}, {Column: "site", Value: "North"}} {
		var bad *ColumnError
		if _, _, _, err := tab.Assemble(Selection{Response: "volume_mL", Where: []column.Condition{c}}); !errors.As(err, &bad) || bad.Column != c.Column {
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
