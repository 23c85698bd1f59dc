package rule

import (
	"encoding/json"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"flourcast/dataset/trait"
	"flourcast/finding"
	"flourcast/stat/correlation"
)

func TestBuiltinRules(t *testing.T) {
	rules := Builtin()
	established := map[string]bool{}
	for _, r := range rules {
		if tr, ok := trait.Lookup(r.Response); !ok || tr.Role != trait.RoleResponse || tr.Kind != r.Kind {
			t.Errorf("%s: response %s (%s) is not a response of that kind in the glossary", r.ID, r.Response, r.Kind)
		}
		if tr, ok := trait.Lookup(r.Feature); !ok || (tr.Role != trait.RoleFeature && tr.Role != trait.RoleComposition) {
			t.Errorf("%s: feature %s is no feature of the glossary", r.ID, r.Feature)
		} else if (tr.Role == trait.RoleFeature) == (r.Solvent == Any) {
			t.Errorf("%s: %s with solvent %s: a pasting feature has its solvent, a flour trait any", r.ID, r.Feature, r.Solvent)
		}
		if _, ok := trait.LookupProduct(r.Product); !ok {
			t.Errorf("%s: product %s is not in the glossary", r.ID, r.Product)
		}
		if strings.HasPrefix(r.Source, "as ") {
			t.Errorf("%s: source %q does not stand by itself", r.ID, r.Source)
		}
		if (r.Evidence == CommonPractice) != (r.Source == "common practice, no source") {
			t.Errorf("%s: evidence %s with source %q", r.ID, r.Evidence, r.Source)
		}
		if r.CILow != nil { // ours, from r and n: to the two decimals that are written
			low, high, _ := correlation.Fisher(*r.R, *r.N, 0)
			if math.Abs(low-*r.CILow) > 0.0051 || math.Abs(high-*r.CIHigh) > 0.0051 {
				t.Errorf("%s: interval %v to %v, Fisher's is %.4f to %.4f", r.ID, *r.CILow, *r.CIHigh, low, high)
			}
		}
		if strings.HasPrefix(r.Feature, "trough") {
			t.Errorf("%s: trough is no rule of its own", r.ID)
		}
		if r.Standing == Established {
			established[strings.Join([]string{r.Product, r.Feature, string(r.Solvent), r.Response, r.Sign}, " ")] = true
		}
	}
	want := []string{
		"white-salted-noodle peak_mPas water hardness_N -", "white-salted-noodle peak_mPas inhibitor hardness_N -",
		"white-salted-noodle breakdown_mPas water hardness_N -", "white-salted-noodle breakdown_mPas inhibitor hardness_N -",
	}
	for _, w := range want {
		if !established[w] {
			t.Errorf("not established: %s", w)
		}
	}
	if len(established) != len(want) {
		t.Errorf("established %v, want only %v", established, want)
	}
	rules[0].ID = "changed"
	if Builtin()[0].ID == "changed" {
		t.Error("a caller can change the embedded rules")
	}
}

func TestNeeded(t *testing.T) {
	r, n, low, high := 0.6, 30, 0.45, 0.7
	small, across := 0.1, -0.3
	tests := []struct {
		name string
		rule Rule
		want int
	}{
		// 1.4·[(2.8/atanh 0.5)² + 3] = 1.4·[(2.8/0.549306)² + 3] = 40.58
		{"nothing published: r 0.5", Rule{}, 41},
		// atanh 0.305842 = 0.315948; 1.4·[(2.8/0.315948)² + 3] = 114.2
		{"r and n: lower Fisher limit", Rule{R: &r, N: &n}, 115},
		// atanh 0.45 = 0.484700; 1.4·[(2.8/0.484700)² + 3] = 50.9
		{"interval as written", Rule{R: &r, CILow: &low, CIHigh: &high}, 51},
		{"r without n: r 0.5", Rule{R: &r}, 41},
		{"an interval across zero: r 0.5", Rule{R: &small, CILow: &across, CIHigh: &low}, 41},
	}
	for _, c := range tests {
		if got := c.rule.Needed(); got != c.want {
			t.Errorf("%s: %d lots, want %d", c.name, got, c.want)
		}
	}
}

const head = "id,product,feature,solvent,response,kind,sign,standing,r,n,ci_low,ci_high,when,conditions,evidence,source,remark\n"

func TestParse(t *testing.T) {
	const good = "own1,rice,breakdown_mPas,water,adhesiveness_Ns,instrumental,+,established,0.41,106,,,,our lots,own data,laboratory notebook 7,\n"
	rules, fl, err := Parse("own.csv", []byte("\xef\xbb\xbf# ours\n"+head+good))
	if err != nil || len(rules) != 1 || fl.Count(finding.Refused) != 0 || !fl.Has("rules-own-name") {
		t.Fatalf("%d rules, findings %v; want one rule and a note on the product", len(rules), fl)
	}
	if r := rules[0]; r.Product != "rice" || *r.R != 0.41 || *r.N != 106 || r.CILow != nil || r.Solvent != trait.Water || r.Conditions != "our lots" {
		t.Errorf("read as %+v", r)
	}
	short := "source,evidence,standing,sign,kind,response,solvent,feature,product,id\r\nbook,read,contextual,−,preference,texture_score|own_score|texture_score,water|inhibitor,peak_mPas,noodle,x\r\n"
	rules, fl, _ = Parse("own.csv", []byte(short))
	if len(rules) != 4 || fl.Count(finding.Refused) != 0 || rules[3].Sign != Falls || rules[3].Response != "own_score" || rules[3].Solvent != trait.Inhibitor {
		t.Errorf("columns in another order, lists: %d rules, %v", len(rules), fl)
	}

	cell := func(column, value string) string {
		cells := strings.Split(strings.TrimSpace(good), ",")
		for i, c := range strings.Split(strings.TrimSpace(head), ",") {
			if c == column {
				cells[i] = value
			}
		}
		return strings.Join(cells, ",") + "\n"
	}
	for _, c := range []struct{ name, row, column, code string }{
		{"no id", cell("id", ""), "id", "rules-empty"},
		{"no source", cell("source", " "), "source", "rules-empty"},
		{"own solvent", cell("solvent", "milk"), "solvent", "rules-word"},
		{"solvent list with a gap", cell("solvent", "water|"), "solvent", "rules-word"},
		{"response list with a gap", cell("response", "|hardness_N"), "response", "rules-empty"},
		{"kind", cell("kind", "sensory"), "kind", "rules-word"},
		{"sign", cell("sign", "up"), "sign", "rules-word"},
		{"standing", cell("standing", "certain"), "standing", "rules-word"},
		{"evidence", cell("evidence", "hearsay"), "evidence", "rules-word"},
		{"r above 1", cell("r", "1.2"), "r", "rules-number"},
		{"r not a number", cell("r", "NaN"), "r", "rules-number"},
		{"r with a decimal comma", cell("r", `"0,41"`), "r", "rules-number"},
		{"a condition that is none", cell("when", "waxy"), "when", "rules-when"},
		{"a condition without a limit", cell("when", "amylose_pct>=x"), "when", "rules-when"},
		{"an empty condition", cell("when", "amylose_pct>=12;"), "when", "rules-when"},
		{"n of three", cell("n", "3"), "n", "rules-number"},
		{"n with decimals", cell("n", "10.5"), "n", "rules-number"},
		{"one limit", cell("ci_low", "0.2"), "ci_low", "rules-interval"},
		{"sign against r", cell("sign", "-"), "sign", "rules-sign"},
		{"a cell too many", strings.TrimSpace(good) + ",more\n", "", "rules-row"},
		{"open quotes", `own2,"rice` + "\n", "", "rules-row"},
		{"id twice", good, "id", "rules-twice"},
	} {
		rules, fl, _ := Parse("own.csv", []byte(head+good+c.row))
		bad := fl.With(finding.Refused)
		if len(rules) != 1 || len(bad) != 1 || bad[0].Code != c.code || bad[0].At.Column != c.column || bad[0].At.Row != 3 || bad[0].Want == "" || bad[0].Do == "" {
			t.Errorf("%s: %d rules, refused %v; want row 3, column %q, code %s", c.name, len(rules), bad, c.column, c.code)
		}
	}
	for name, text := range map[string]string{
		"empty": "", "no such column": "id,product,colour\n", "column twice": "id,id\n", "columns missing": "id,product\n",
		"semicolons": strings.ReplaceAll(head+good, ",", ";"), "UTF-16": "\xff\xfei\x00d\x00",
	} {
		var wrong *FileError
		if _, _, err := Parse("own.csv", []byte(text)); !errors.As(err, &wrong) || wrong.Do == "" {
			t.Errorf("%s: error %v, want a *FileError with a cure", name, err)
		}
	}
}

func TestConditions(t *testing.T) {
	got, err := ParseConditions(" amylose_pct>=12; falling_number_s <= 400;treatment = dry heat; within supplier; blend != waxy")
	want := []Condition{{Column: "amylose_pct", Op: AtLeast, Limit: 12}, {Column: "falling_number_s", Op: AtMost, Limit: 400}, {Column: "treatment", Op: Is, Text: "dry heat"}, {Column: "supplier", Op: Within}, {Column: "blend", Op: IsNot, Text: "waxy"}}
	if err != nil || !slices.Equal(got, want) {
		t.Errorf("%+v, %v", got, err)
	}
	if got, err := ParseConditions(" "); err != nil || got != nil {
		t.Errorf("no condition: %v, %v", got, err)
	}
	var wrong *ConditionError
	for _, bad := range []string{";", "a", ">=1", "a>=NaN", "a>=Inf", "a<=", "within ", "within a b", "a=", "=a", "a=b=c", "a b=c", "a>1", "a!=", "!=b", "a!=b=c", "a!b=c"} {
		if _, err := ParseConditions(bad); !errors.As(err, &wrong) {
			t.Errorf("%q: %v, want a *ConditionError", bad, err)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(head + "a,noodle,peak_mPas,water,hardness_N,instrumental,-,contested,-0.5,20,-0.8,-0.1,x>=1;within y,,read,b,\n"))
	f.Add([]byte("id,product\n\"\n"))
	f.Add(rulesCSV)
	f.Fuzz(func(t *testing.T, data []byte) {
		rules, fl, err := Parse("f.csv", data)
		if err != nil && len(rules)+len(fl) > 0 {
			t.Fatalf("an unreadable file gave %d rules and %d findings", len(rules), len(fl))
		}
		for _, r := range rules {
			if _, err := json.Marshal(r); err != nil || r.ID == "" || r.Source == "" || r.Needed() < 4 || (r.When == "") != (r.Needs() == nil) {
				t.Fatalf("%+v was read from %q (%v)", r, data, err)
			}
		}
		for _, x := range fl {
			if x.Code == "" || x.Found == "" {
				t.Fatalf("a finding without code or words: %+v", x)
			}
		}
	})
}
