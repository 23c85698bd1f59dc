package run

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"flourcast/dataset/method"
	"flourcast/dataset/pasting/conformity"
	"flourcast/finding"
)

// points is a run of lot L by the 13-minute profile, a point each step seconds,
// written by line.
func points(step float64, line func(t, celsius, mPas float64) string) []string {
	m, _ := method.Lookup("general-13min")
	rows := []string{"lot,method,time_s,temperature_C,viscosity_mPas"}
	for k := 0; float64(k)*step <= 780; k++ {
		t := float64(k) * step
		v := 60 + 14*max(0, min(t, 372)-192) - 8*max(0, min(t, 480)-372) + 5*max(0, t-480)
		rows = append(rows, "L,general-13min,"+line(t, m.TemperatureAt(t), v))
	}
	return rows
}

func plain(t, celsius, mPas float64) string { return fmt.Sprintf("%g,%.1f,%.1f", t, celsius, mPas) }

// TestBadFiles reads what laboratories' files suffer from, by the front door:
// each gives its finding, with the file and a cure, every row is accounted for,
// and nothing panics.
func TestBadFiles(t *testing.T) {
	good := points(2, plain)
	change := func(f func(rows []string) []string) []string { return f(slices.Clone(good)) }
	for name, c := range map[string]struct {
		rows    []string
		code    string
		refused bool // the run
	}{
		"as it should be":       {good, "", false},
		"truncated in a row":    {change(func(r []string) []string { r = r[:250]; r[249] = r[249][:25]; return r }), "record-short", false},
		"truncated early":       {good[:150], "no-peak", true},
		"shuffled":              {change(func(r []string) []string { slices.Reverse(r[1:200]); return r }), "time-backwards", true},
		"NaN":                   {change(func(r []string) []string { r[100] = "L,general-13min,198,78,NaN"; return r }), "number-not-read", false},
		"negative throughout":   {points(2, func(t, c, v float64) string { return plain(t, c, -v) }), "viscosity-negative", true},
		"zero drifted":          {points(2, func(t, c, v float64) string { return plain(t, c, v-63) }), "viscosity-negative", false},
		"no rows":               {good[:1], "rows-missing", true},
		"constant":              {points(2, func(t, c, v float64) string { return plain(t, c, 300) }), "no-paste", true},
		"two runs glued":        {append(slices.Clone(good), good[1:]...), "time-backwards", true},
		"glued, the clock on":   {append(slices.Clone(good), points(2, func(t, c, v float64) string { return plain(t+782, c, v) })[1:]...), "two-runs", true},
		"1,234 read as 1.234":   {points(2, func(t, c, v float64) string { return fmt.Sprintf("%g,%.1f,%s", t, c, grouped(v)) }), "thousandfold", true},
		"in Pa·s, unsaid":       {points(2, func(t, c, v float64) string { return fmt.Sprintf("%g,%.1f,%.4f", t, c, v/1000) }), "viscosity-low", true},
		"a thousand times more": {points(2, func(t, c, v float64) string { return plain(t, c, 1000*v) }), "viscosity-high", false},
		"°F, unsaid":            {points(2, func(t, c, v float64) string { return plain(t, c*9/5+32, v) }), "temperature-implausible", true},
		"300,000 rows":          {points(780./3e5, plain), "curve-dense", false},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "curve.csv")
			if err := os.WriteFile(path, []byte(strings.Join(c.rows, "\n")+"\n"), 0o644); err != nil {
				t.Fatal(err)
			}
			runs, n, fl, err := ReadCurves(context.Background(), []string{path}, Options{Cores: 1})
			if err != nil {
				t.Fatal(err)
			}
			if n.Read != len(c.rows)-1 || n.Accepted+n.Waiting+n.Refused != n.Read {
				t.Errorf("%+v of %d rows", n, len(c.rows)-1)
			}
			i := slices.IndexFunc(fl, func(f finding.Finding) bool { return f.Code == c.code })
			if c.code != "" && (i < 0 || fl[i].At.File != path || (fl[i].Severity != finding.Note && fl[i].Do == "")) {
				t.Errorf("no %s with file and cure among %v", c.code, fl)
			}
			if c.code == "" && len(fl) > 0 {
				t.Errorf("findings %v", fl)
			}
			usable := len(runs) == 1 && runs[0].Fate == Accepted && runs[0].Features.OK()
			if usable == c.refused {
				t.Errorf("runs %d, refused %v: %v", len(runs), c.refused, fl)
			}
		})
	}
}

// grouped writes 1,234 mPa·s with a point between the thousands.
func grouped(v float64) string {
	whole := int(math.Round(v))
	if whole < 1000 {
		return fmt.Sprint(whole)
	}
	return fmt.Sprintf("%d.%03d", whole/1000, whole%1000)
}

// TestPolicy: a deviation leaves a run in use with a doubt, or refuses it and all
// its rows, as the policy says; a run at another speed than its method's, or by
// another programme, is refused without one, so that it is never pooled.
func TestPolicy(t *testing.T) {
	m, _ := method.Lookup("general-13min")
	line := func(rpm float64, warm float64) func(t, c, v float64) string {
		return func(t, c, v float64) string {
			if t > 290 && t < 430 {
				c += warm
			}
			return fmt.Sprintf("%s,%g", plain(t, c, v), map[bool]float64{true: m.StirRPM, false: rpm}[t < m.StirS])
		}
	}
	refuse := conformity.Policy{Of: map[string]conformity.Action{"temperature-offset": conformity.Refuse}}
	long, _ := method.Lookup("general-23min")
	for name, c := range map[string]struct {
		rows   []string
		policy conformity.Policy
		code   string
		fate   Fate
	}{
		"warm, warn":        {points(2, line(160, 3)), conformity.Policy{}, "temperature-offset", Accepted},
		"warm, refuse":      {points(2, line(160, 3)), refuse, "temperature-offset", Refused},
		"fast, warn":        {points(2, line(165, 0)), refuse, "speed-off", Accepted},
		"another speed":     {points(2, line(75, 0)), conformity.Policy{}, "speed-differs", Refused},
		"another programme": {points(2, func(t, c, v float64) string { return plain(t*1380/780, long.TemperatureAt(t*1380/780), v) + ",160" }), conformity.Policy{}, "programme-differs", Refused},
		"as it should be":   {points(2, line(160, 0)), conformity.Policy{All: conformity.Refuse}, "", Accepted},
	} {
		c.rows[0] += ",speed_rpm"
		path := filepath.Join(t.TempDir(), "curve.csv")
		if err := os.WriteFile(path, []byte(strings.Join(c.rows, "\n")), 0o644); err != nil {
			t.Fatal(err)
		}
		runs, n, fl, err := ReadCurves(context.Background(), []string{path}, Options{Policy: c.policy, Cores: 1})
		if err != nil || len(runs) != 1 {
			t.Fatal(err, len(runs))
		}
		if runs[0].Fate != c.fate || (c.code != "" && !fl.Has(c.code)) || (c.fate == Refused) != (n.Refused == n.Read) || runs[0].Conformity == nil {
			t.Errorf("%s: %s, %+v, %v", name, runs[0].Fate, n, fl)
		}
		if pooled := Pool(runs, nil); (len(pooled.By) == 1) != (c.fate == Accepted) {
			t.Errorf("%s: pooled %v", name, pooled.By)
		}
	}
}

// TestSpeedsIncomplete: a point without a speed keeps its place in the curve.
func TestSpeedsIncomplete(t *testing.T) {
	rows := points(2, func(t, c, v float64) string { return plain(t, c, v) + ",160" })
	rows[0] += ",speed_rpm"
	rows[77] = strings.TrimSuffix(rows[77], "160")
	path := filepath.Join(t.TempDir(), "curve.csv")
	if err := os.WriteFile(path, []byte(strings.Join(rows, "\n")), 0o644); err != nil {
		t.Fatal(err)
	}
	runs, n, fl, err := ReadCurves(context.Background(), []string{path}, Options{Keep: true, Cores: 1})
	if err != nil || n.Accepted != 391 || !fl.Has("speed-incomplete") || runs[0].Curve.SpeedRPM != nil {
		t.Errorf("%v, %+v, %v", err, n, fl)
	}
}
