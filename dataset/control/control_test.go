package control

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flourcast/finding"
)

// checks are control runs of batch C1 on V1, a day each from 2025-01-01, with peak
// and final about the given centre (SD 1 %).
func checks(n int, peak float64, seed uint64) []Check {
	r := rand.New(rand.NewPCG(seed, 1))
	out := make([]Check, n)
	for i := range out {
		day := time.Date(2025, 1, 1+i, 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
		common := 1 + 0.01*clamp(r.NormFloat64())
		out[i] = Check{Batch: "C1", Method: "m", Instrument: "V1", Run: fmt.Sprint("R", i), TestedAt: day + " 08:00:00",
			Values: map[string]float64{"peak_mPas": peak * common, "final_mPas": 1.5 * peak * (common + 0.002*clamp(r.NormFloat64()))}}
	}
	return out
}

// clamp keeps the tests' flours free of chance alarms.
func clamp(z float64) float64 { return max(-1.5, min(1.5, z)) }

func scale(c *Check, f float64) {
	for id := range c.Values {
		c.Values[id] *= f
	}
}

func standing(j Judgement, day string) Standing {
	for _, d := range j.Days {
		if d.Day == day {
			return d.Standing
		}
	}
	return "no such day"
}

func TestADayThatIsOffIsFound(t *testing.T) {
	c := checks(30, 2500, 1)
	scale(&c[20], 0.86)
	j := Judge(c, nil, nil, Options{})
	for i, d := range j.Days {
		want := InControl
		if i == 20 {
			want = OutControl
		}
		if d.Standing != want {
			t.Errorf("%s: %s, want %s", d.Day, d.Standing, want)
		}
	}
	if len(j.Charts) != 2 || j.Charts[0].Feature != "peak_mPas" || !j.Charts[0].Points[20].SetAside || j.Charts[0].Limits.Runs != 29 {
		t.Fatalf("charts %+v", j.Charts)
	}
	for _, s := range j.Days[20].Signals {
		if s.Run != "R20" || s.Side != "below" || s.SDs > -3 {
			t.Errorf("signal %+v", s)
		}
	}
	if got := j.Vouch("V1", "2025-01-21 13:00:00"); got != OutControl {
		t.Errorf("a run of the day: %s", got)
	}
	for what, at := range map[string][2]string{"another day": {"V1", "2025-01-22 13:00:00"}, "no day": {"V1", ""}, "another instrument": {"V2", "2025-01-21"}, "no control": {"V1", "2025-06-01"}} {
		if got := j.Vouch(at[0], at[1]); got == OutControl {
			t.Errorf("%s: %s", what, got)
		}
	}
}

// Nothing is accepted until the control is repeated: before the repeat no, after
// it yes.
func TestRepeatedControl(t *testing.T) {
	c := checks(30, 2500, 2)
	scale(&c[20], 0.86)
	again := checks(30, 2500, 3)[20]
	again.Run, again.TestedAt = "again", "2025-01-21 11:00:00"
	j := Judge(append(slices.Clone(c), again), nil, nil, Options{})
	if got := standing(j, "2025-01-21"); got != Repeated {
		t.Fatalf("the day: %s", got)
	}
	for at, want := range map[string]Standing{"2025-01-21 07:00:00": OutControl, "2025-01-21 10:59:00": OutControl, "2025-01-21 11:00:00": InControl, "2025-01-21 17:00:00": InControl, "2025-01-21": InControl} {
		if got := j.Vouch("V1", at); got != want {
			t.Errorf("a run at %s: %s, want %s", at, got, want)
		}
	}
	// Without times of day the order in the file counts, and the last run decides.
	for i := range c {
		c[i].TestedAt = c[i].TestedAt[:10]
	}
	again.TestedAt = again.TestedAt[:10]
	j = Judge(append(slices.Clone(c), again), nil, nil, Options{})
	if got := standing(j, "2025-01-21"); got != Repeated {
		t.Errorf("without times: %s", got)
	}
	// A repeat with another batch does not clear the first.
	again.Batch = "C2"
	j = Judge(append(slices.Clone(c), again), nil, nil, Options{})
	if got := standing(j, "2025-01-21"); got != OutControl {
		t.Errorf("repeated with another batch: %s", got)
	}
}

// A level that creeps by one SD of a run is seen by the moving average, and an event
// lets it begin again.
func TestDriftIsGathered(t *testing.T) {
	c := checks(60, 2500, 4)
	for i := 40; i < 60; i++ {
		scale(&c[i], 1.01)
	}
	opt := Options{Features: []string{"peak_mPas"}, Base: 40}
	j := Judge(c, nil, nil, opt)
	gathered := func(j Judgement) (n int) {
		for _, p := range j.Charts[0].Points {
			if p.Gathered != "" {
				n++
			}
		}
		return n
	}
	if gathered(j) < 5 {
		t.Errorf("%d signals of the moving average", gathered(j))
	}
	many := make([]Event, 0, 20)
	for i := 40; i < 60; i++ {
		many = append(many, Event{TestedAt: c[i].TestedAt[:10], Instrument: "V1", Kind: "service"})
	}
	if k := Judge(c, nil, many, opt); gathered(k) != 0 {
		t.Errorf("%d signals though it began again each day", gathered(k))
	}
	many[0].Instrument = "V2"
	if k := Judge(c, nil, many[:1], opt); gathered(k) != gathered(j) {
		t.Error("an event of another instrument changed the chart")
	}
}

func TestAssignedFigureIsTheCentre(t *testing.T) {
	c := checks(30, 2500, 5)
	b := []Batch{{Lot: "C1", ExpiresOn: "2025-01-20", Assigned: map[string]float64{"peak_mPas": 2800}}}
	j := Judge(c, b, nil, Options{Features: []string{"peak_mPas"}})
	for _, ch := range j.Charts {
		if ch.Feature == "peak_mPas" && (ch.Limits.Centre != 2800 || ch.Mean > 2600) {
			t.Errorf("%+v", ch.Limits)
		}
	}
	for _, d := range j.Days {
		if d.Standing != OutControl {
			t.Errorf("%s: %s, though every run is 11 %% below the assigned figure", d.Day, d.Standing)
		}
	}
	if !j.Findings.Has("control-expired") {
		t.Error("expiry not told")
	}
	if k := Judge(c, []Batch{{Lot: "C9"}}, nil, Options{}); !k.Findings.Has("control-batch-unknown") {
		t.Error("unknown batch not told")
	}
}

func TestOverlap(t *testing.T) {
	old := checks(20, 2500, 6)
	next := checks(25, 2600, 7)
	for i := range next {
		next[i].Batch = "C2"
	}
	j := Judge(append(slices.Clone(old), next[17:]...), nil, nil, Options{Features: []string{"peak_mPas"}})
	if len(j.Overlaps) != 1 {
		t.Fatalf("overlaps %+v", j.Overlaps)
	}
	want := 0.0
	for i := 17; i < 20; i++ {
		want += (next[i].Values["peak_mPas"] - old[i].Values["peak_mPas"]) / 3
	}
	o := j.Overlaps[0]
	if o.Batch != "C1" || o.Next != "C2" || o.Days != 3 || o.SE == nil || o.Difference < want-1e-9 || o.Difference > want+1e-9 {
		t.Errorf("%+v, want difference %v", o, want)
	}
}

func TestHostileControls(t *testing.T) {
	if j := Judge(nil, nil, nil, Options{}); len(j.Days)+len(j.Charts) != 0 {
		t.Errorf("of nothing: %+v", j)
	}
	one := Judge(checks(1, 2500, 8), nil, nil, Options{})
	if len(one.Days) != 1 || one.Days[0].Standing != NotJudged || !one.Findings.Has("control-limits") {
		t.Errorf("one control: %+v", one)
	}
	same := checks(20, 2500, 9)
	for i := range same {
		same[i].Values = map[string]float64{"peak_mPas": 2500, "trough_mPas": 1800, "final_mPas": 3500}
	}
	constant := Judge(same, nil, nil, Options{})
	if constant.Days[3].Standing != NotJudged || len(constant.Findings) != 1 || !strings.Contains(constant.Findings[0].Found, "all equal") {
		t.Errorf("constant control: %v, %v", constant.Days[3].Standing, constant.Findings)
	}
	undated := checks(12, 2500, 10)
	undated[3].TestedAt, undated[4].TestedAt = "", "sometime in May"
	j := Judge(undated, nil, nil, Options{})
	if len(j.Days) != 10 || !j.Findings.Has("control-undated") {
		t.Errorf("%d days, %v", len(j.Days), j.Findings)
	}
	none := checks(12, 2500, 11)
	for i := range none {
		none[i].Values = nil
	}
	if j := Judge(none, nil, nil, Options{}); j.Days[0].Standing != NotJudged {
		t.Errorf("controls without features: %s", j.Days[0].Standing)
	}
}

// Every check is one of a day, every day has a standing, and the order of the rows
// does not matter where each has its own moment.
func TestJudgeKeepsTheBooks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 40).Draw(t, "n")
		c := checks(n, 2500, rapid.Uint64().Draw(t, "seed"))
		for range rapid.IntRange(0, 4).Draw(t, "off") {
			scale(&c[rapid.IntRange(0, n-1).Draw(t, "which")], rapid.Float64Range(0.5, 1.5).Draw(t, "by"))
		}
		j := Judge(c, nil, nil, Options{Base: rapid.IntRange(0, 30).Draw(t, "base")})
		total := 0
		for _, d := range j.Days {
			total += d.Controls
			if (d.Standing == OutControl) != (len(d.Signals) > 0) || d.Standing == "" {
				t.Fatalf("%+v", d)
			}
		}
		if total != n {
			t.Fatalf("%d checks, %d in days", n, total)
		}
		k := Judge(rapid.Permutation(c).Draw(t, "order"), nil, nil, Options{})
		l := Judge(c, nil, nil, Options{})
		if fmt.Sprint(k.Days) == "" || len(k.Days) != len(l.Days) {
			t.Fatal("order of the rows changed the days")
		}
		for i := range k.Days {
			if k.Days[i].Standing != l.Days[i].Standing {
				t.Fatal("order of the rows changed a standing")
			}
		}
	})
}

func file(t testing.TB, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestReadBatches(t *testing.T) {
	path := file(t, "controls.csv", "lot,method,expires_on,peak (Pa·s),final_mPas\nC1,m,2026-05-31,2.5,3500\nC1,m,,2.6,\n,m,,2,\nC2,,31/05/26,much,3400\n")
	out, c, fl, err := ReadBatches([]string{path}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if c.Read != 4 || c.Accepted != 2 || c.Refused != 2 || !fl.Has("control-batch-twice") || !fl.Has("control-batch-missing") || !fl.Has("date-not-read") || !fl.Has("number-not-read") {
		t.Errorf("%+v %v", c, fl)
	}
	if out[0].Assigned["peak_mPas"] != 2500 || out[0].ExpiresOn != "2026-05-31" || out[1].ExpiresOn != "" || len(out[1].Assigned) != 1 {
		t.Errorf("%+v", out)
	}
	for _, f := range fl {
		if f.Severity != finding.Note && (f.Want == "" || f.Do == "" || f.At.Row == 0) {
			t.Errorf("a finding without place or cure: %v", f)
		}
	}
}

func TestReadEvents(t *testing.T) {
	path := file(t, "events.csv", "date,instrument,kind,note\n2025-03-02,V1,Service,yearly\n2025-01-02,,paddle,\n,V1,service,\nsoon,V1,service,\n2025-01-03,V1,party,cake\n")
	out, c, fl, err := ReadEvents([]string{path}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if c.Read != 5 || c.Accepted != 2 || c.Refused != 3 || !fl.Has("event-undated") || !fl.Has("date-not-read") || !fl.Has("event-kind-unknown") {
		t.Errorf("%+v %v", c, fl)
	}
	if len(out) != 2 || out[0].TestedAt != "2025-01-02" || out[1].Kind != "service" || out[1].Note != "yearly" {
		t.Errorf("%+v", out)
	}
	if _, _, _, err := ReadEvents([]string{"no-such-file.csv"}, nil); err == nil {
		t.Error("a file that is not there gives no error")
	}
}

// FuzzNotes: whatever the file holds, every row read is accepted or refused, and what
// was accepted can be judged with.
func FuzzNotes(f *testing.F) {
	f.Add("lot,method,expires_on,peak_mPas\nC1,m,2026-05-31,2500\n")
	f.Add("date,instrument,kind,note\n2025-03-02,V1,service,yearly\n")
	f.Add("date;kind;lot\n3/4/2025;service;C1\n;;\n")
	f.Add("lot,expires_on\nC1,9999-12-31\nC1\n\"")
	f.Fuzz(func(t *testing.T, text string) {
		path := file(t, "f.csv", text)
		batches, a, _, err := ReadBatches([]string{path}, nil)
		events, b, _, err2 := ReadEvents([]string{path}, nil)
		if err != nil || err2 != nil {
			t.Fatal(err, err2)
		}
		if a.Read != a.Accepted+a.Refused || b.Read != b.Accepted+b.Refused || len(batches) != a.Accepted || len(events) != b.Accepted {
			t.Fatalf("%+v %+v", a, b)
		}
		Judge(checks(10, 2500, 1), batches, events, Options{})
	})
}
