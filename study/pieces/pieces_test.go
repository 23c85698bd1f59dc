package pieces

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flourcast/study/job"
)

func env(cores int) job.Env {
	return job.Env{Clock: func() time.Time { return time.Unix(0, 0) }, Cores: cores}
}

// twoBites writes a two-bite record of straight lines, 100 points a second: h up in
// 2 s, down in 1 s, 0.04 h below zero, 0.9 h up in 1.8 s, down in 0.8 s.
func twoBites(head string, h float64) string {
	var b strings.Builder
	corners := [][2]float64{{0, 0}, {2, 1}, {3, 0}, {3.25, -0.04}, {3.5, 0}, {6, 0}, {7.8, 0.9}, {8.6, 0}, {9, 0}}
	for k := range 901 {
		t := float64(k) / 100
		i := 1
		for i < len(corners)-1 && corners[i][0] < t {
			i++
		}
		p, q := corners[i-1], corners[i]
		fmt.Fprintf(&b, "%s%.2f,%.6f\n", head, t, h*(p[1]+(q[1]-p[1])*(t-p[0])/(q[0]-p[0])))
	}
	return b.String()
}

func file(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestTexture(t *testing.T) {
	long := file(t, "long.csv", "lot,replicate,thickness_mm,time_s,force_N\n"+twoBites("A,1,2.2,", 10)+twoBites("A,2,2.3,", 12)+twoBites("B,1,2.2,", 5))
	nameless := file(t, "one.csv", "time_s,Force (gf)\n"+twoBites("", 1200))
	res, err := Texture(context.Background(), env(2), Request{Paths: []string{long, nameless}})
	if err != nil || len(res.Runs) != 4 {
		t.Fatal(res, err)
	}
	if c := res.Counts; c.Read != 4*901 || c.Accepted != 3*901 || c.Waiting != 901 || c.Refused != 0 {
		t.Errorf("%+v", c)
	}
	near := func(what string, got, want float64) {
		if math.Abs(got-want) > 2e-3*want {
			t.Errorf("%s %g, want %g", what, got, want)
		}
	}
	a := res.Runs[0]
	near("hardness", a.Readings["hardness_N"], 10)
	near("chewiness", a.Readings["chewiness_N"], 7.02)
	near("gf", res.Runs[3].Readings["hardness_N"], 11.768) // 1200 gf, as a handbook's noodle
	if a.Conventions != (Conventions{"two-bite", "whole", "time", "positive"}) || res.Runs[3].Findings[0].Code != "lot-missing" {
		t.Errorf("%+v %v", a.Conventions, res.Runs[3].Findings)
	}
	l := res.Lots[0]
	near("mean", l.Readings["hardness_N"].Mean, 11)
	near("SD", *l.Readings["hardness_N"].SD, math.Sqrt2)
	if len(res.Lots) != 2 || l.Pieces != 2 || res.Lots[1].Readings["hardness_N"].SD != nil {
		t.Errorf("%+v", res.Lots)
	}
	if len(a.Parts) != 5 || a.Parts[0].Name != "first stroke" || a.Parts[0].AtN != 10 || a.Parts[2].AtN > -0.39 || len(a.Trace.TimeS) > most+1 {
		t.Errorf("%d points, %+v", len(a.Trace.TimeS), a.Parts)
	}

	res, err = Texture(context.Background(), env(1), Request{Paths: []string{nameless}, Lot: "C"})
	if err != nil || res.Runs[0].Lot != "C" || res.Counts.Waiting != 0 {
		t.Errorf("%+v %v", res, err)
	}
}

func TestNothingUsable(t *testing.T) {
	for _, text := range []string{"lot,time_s,force_N\nA,0,1\n", "lot,hardness_N\nA,3\n", "x"} {
		var nothing *job.NothingUsableError
		if _, err := Texture(context.Background(), env(1), Request{Paths: []string{file(t, "f.csv", text)}}); !errors.As(err, &nothing) {
			t.Errorf("%q: %v", text, err)
		}
	}
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if _, err := Texture(ctx, env(1), Request{Paths: []string{file(t, "f.csv", "x")}}); !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
}
