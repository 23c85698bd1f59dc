package finding

import (
	"encoding/json"
	"testing"
)

func TestStringSaysPlaceFoundWantAndDo(t *testing.T) {
	f := Finding{"unit-unknown", Refused, Place{"june.csv", 14, "Hardness"}, `"12 kgf/s"`, "N or gf", "fix the header unit"}
	want := `june.csv, row 14, column Hardness: "12 kgf/s"; expected N or gf; fix the header unit [unit-unknown]`
	if got := f.String(); got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	if got := (Finding{Code: "read-as", Severity: Note, Found: "decimal comma"}).String(); got != "decimal comma [read-as]" {
		t.Errorf("without a place: %s", got)
	}
}

func TestJSONIsFlatAndComesBack(t *testing.T) {
	f := Finding{"unit-unknown", Refused, Place{"june.csv", 14, "Hardness"}, "12", "N", "fix it"}
	data, err := json.Marshal(List{f})
	if err != nil {
		t.Fatal(err)
	}
	want := `[{"code":"unit-unknown","severity":"refused","file":"june.csv","row":14,"column":"Hardness","found":"12","want":"N","do":"fix it"}]`
	if string(data) != want {
		t.Errorf("got  %s\nwant %s", data, want)
	}
	var back List
	if err := json.Unmarshal(data, &back); err != nil || len(back) != 1 || back[0] != f {
		t.Errorf("came back as %v, %v", back, err)
	}
	if empty, _ := json.Marshal(List(nil)); string(empty) != "[]" {
		t.Errorf("a nil list is %s, want []", empty)
	}
}

func TestListCountsBySeverity(t *testing.T) {
	var l List
	l.Add(Finding{Code: "a", Severity: Refused})
	l.Add(Finding{Code: "b", Severity: Doubt})
	l.Add(Finding{Code: "c", Severity: Refused})
	if l.Count(Refused) != 2 || l.Count(Doubt) != 1 || l.Count(Note) != 0 {
		t.Errorf("counts %d %d %d", l.Count(Refused), l.Count(Doubt), l.Count(Note))
	}
	if !l.Has("b") || l.Has("d") {
		t.Error("Has is wrong")
	}
	if r := l.With(Refused); len(r) != 2 || r[0].Code != "a" || r[1].Code != "c" {
		t.Errorf("With kept %v", r)
	}
}
