package forecasts

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"flourcast/finding"

	"pgregory.net/rapid"
)

const twoResults = `{"schema":"flourcast.forecast/1","product":"p","response":"hardness_N","made":"2026-03-01T08:00:00Z","model_sha256":"ab","forecasts":[
{"lot":"A","value":3.1,"low":2.6,"high":3.6,"level":0.9,"interval_level":0.92,"decision":"accept","domain":"inside"},{"lot":"B","value":null,"low":null,"high":null,"level":0.9,"decision":"hold"}]}
{"schema":"flourcast.forecast/1","response":"hardness_N","forecasts":[{"lot":"","value":1},{"lot":"C","value":2,"low":3,"high":1,"level":0.9}]}`

func TestSavedResults(t *testing.T) {
	var fl finding.List
	got, refused := parse("f.json", []byte(twoResults), nil, &fl)
	if len(got) != 2 || refused != 2 || len(fl) != 2 {
		t.Fatalf("%d records, %d refused, %v", len(got), refused, fl)
	}
	a := got[0]
	if a.Lot != "A" || *a.Value != 3.1 || a.Level != 0.92 || a.Model != "ab" || a.Response != "hardness_N" || a.Decision != "accept" || !a.Made.Equal(time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)) {
		t.Errorf("%+v", a)
	}
	if got[1].Value != nil {
		t.Errorf("a forecast without a value has one: %+v", got[1])
	}
	fl = nil
	if got, _ := parse("f.json", []byte(`{"schema":"flourcast.fit/1"} {`), nil, &fl); len(got) != 0 || len(fl) != 2 {
		t.Errorf("another schema and a torn file: %v, %v", got, fl)
	}
}

func TestSheet(t *testing.T) {
	var fl finding.List
	got, refused := parse("f.csv", []byte("lot,value,lower,upper,level,response,time,model,decision\nA,3.1,2.6,3.6,0.9,hardness_N,2026-03-01T08:00:00Z,ab,accept\nB,three,,,,hardness_N,,,\nC,3,2,4,,hardness_N,2026-03-02,,\nD,,,,,hardness_N,,,hold\n"), nil, &fl)
	if len(got) != 2 || refused != 2 {
		t.Fatalf("%+v, %d refused, %v", got, refused, fl)
	}
	if got[0].Lot != "A" || *got[0].High != 3.6 || got[1].Lot != "D" || got[1].Value != nil || got[0].Made.Hour() != 8 {
		t.Errorf("%+v", got)
	}
	fl = nil
	if got, refused := parse("f.csv", []byte("flour,guess\nA,3\n"), nil, &fl); len(got) != 0 || refused != 1 || len(fl) < 1 {
		t.Errorf("no lot column: %v, %d, %v", got, refused, fl)
	}
}

// Every row is a record or refused, and no record holds a figure that is not finite.
func TestRecordsAndRefusedAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cells := rapid.SampledFrom([]string{"", "1", "-2.5", "NaN", "Inf", "x", "1e400", "0.9", "n/a"})
		n := rapid.IntRange(0, 12).Draw(t, "rows")
		var b strings.Builder
		b.WriteString("lot,value,lower,upper,level\n")
		for i := range n {
			fmt.Fprintf(&b, "L%d", i)
			for range 4 {
				b.WriteString("," + cells.Draw(t, "cell"))
			}
			b.WriteString("\n")
		}
		var fl finding.List
		got, refused := parse("f.csv", []byte(b.String()), nil, &fl)
		if len(got)+refused != n {
			t.Fatalf("%d rows: %d records, %d refused\n%s", n, len(got), refused, b.String())
		}
		sound(t, got)
	})
}

func sound(t interface{ Fatalf(string, ...any) }, got []Record) {
	for _, r := range got {
		for _, v := range []*float64{r.Value, r.Low, r.High} {
			if v != nil && (math.IsNaN(*v) || math.IsInf(*v, 0)) {
				t.Fatalf("%+v", r)
			}
		}
		if r.Lot == "" || r.Low != nil && r.High != nil && *r.Low > *r.High {
			t.Fatalf("%+v", r)
		}
	}
}

func TestFirst(t *testing.T) {
	v := func(x float64) *float64 { return &x }
	day := func(d int) time.Time { return time.Date(2026, 1, d, 0, 0, 0, 0, time.UTC) }
	first, again := First([]Record{{Lot: "none", Value: v(9)}, {Lot: "A", Value: v(2), Made: day(3)}, {Lot: "A", Made: day(1)}, {Lot: "A", Value: v(3), Made: day(4)}, {Lot: "B", Value: v(5), Made: day(2)}})
	var got []string
	for _, r := range first {
		got = append(got, fmt.Sprint(r.Lot, *r.Value))
	}
	if strings.Join(got, " ") != "A2 B5 none9" || again["A"] != 1 || len(again) != 1 {
		t.Errorf("%v, again %v", got, again)
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(twoResults))
	f.Add([]byte("lot,value,lower,upper,level,response,time,model\nA,3.1,2.6,3.6,0.9,hardness_N,2026-03-01,ab\n"))
	f.Add([]byte(`{"schema":"flourcast.forecast/1","forecasts":null}`))
	f.Add([]byte("\ufeff{"))
	f.Fuzz(func(t *testing.T, data []byte) {
		var fl finding.List
		got, refused := parse("f", data, nil, &fl)
		if refused > 0 && len(fl) == 0 {
			t.Fatal("refused without a finding")
		}
		sound(t, got)
	})
}
