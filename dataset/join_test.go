package dataset

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"flourcast/dataset/method"
	"flourcast/dataset/trait"
	"flourcast/finding"
)

// mill writes files by name and joins those that it has: lots.csv, runs.csv …
func mill(t *testing.T, opt JoinOptions, files map[string]string) *Joined {
	t.Helper()
	dir := t.TempDir()
	at := func(kind string) (out []string) {
		for _, name := range []string{kind + ".csv", kind + "-2.csv"} {
			if text, ok := files[name]; ok {
				path := filepath.Join(dir, name)
				if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
					t.Fatal(err)
				}
				out = append(out, path)
			}
		}
		return out
	}
	own := method.Unknown("ours")
	own.Solvent = trait.Water
	j, err := Join(context.Background(), Files{Lots: at("lots"), Runs: at("runs"), Curves: at("curves"), Pasting: at("pasting"), Texture: at("texture"), Bakes: at("bakes"),
		Methods: []method.Method{own}}, opt)
	if err != nil {
		t.Fatal(err)
	}
	checkCounts(t, j)
	return j
}

type failer interface{ Fatalf(string, ...any) }

func checkCounts(t failer, j *Joined) {
	var sum Counts
	for _, k := range j.Kinds {
		if k.Read != k.Accepted+k.Waiting+k.Refused || k.Accepted < 0 || k.Waiting < 0 || k.Refused < 0 {
			t.Fatalf("%s: %+v", k.Kind, k.Counts)
		}
		sum = sum.Plus(k.Counts)
	}
	if len(j.Kinds) != 6 || sum != j.Counts {
		t.Fatalf("%v do not add up to %+v", j.Kinds, j.Counts)
	}
}

const pastingHead = "lot,method,replicate,peak_mPas,trough_mPas,final_mPas\n"

func number(t *testing.T, tab *Table, row int, column string, want float64) {
	t.Helper()
	if got, ok := tab.Number(column, row); !ok || math.Abs(got-want) > 1e-9*math.Abs(want) {
		t.Errorf("row %d: %s = %v %v, want %v", row, column, got, ok, want)
	}
}

func TestJoinReplicates(t *testing.T) {
	j := mill(t, JoinOptions{}, map[string]string{
		"lots.csv":    "lot,product,crop_year,supplier,protein_pct,protein_basis,whose\n0012,white-salted-noodle,2023+2024,Mill A,9,14 %,own\n0012,white-salted-noodle,,,12,14 %,supplier\n0013,white-salted-noodle,2024,Mill B,10,14 %,own\n",
		"pasting.csv": pastingHead + "0012,ours,1,2000,1200,2500\n0012,ours,2,2100,1300,2600\n0013,ours,1,3000,2000,3500\n",
		"texture.csv": "lot,protocol,replicate,hardness_N\n0012,two-bite,1,3\n0012,two-bite,2,4\n0012,two-bite,3,5\n",
	})
	tab := j.Table
	want := []string{"lot", "product", "method", "crop_year", "supplier", "protocol", "protein_basis", "protein_pct", "protein_pct_claimed"}
	if got := tab.Columns(); !slices.Equal(got[:len(want)], want) {
		t.Errorf("columns %v, want %v first", got, want)
	}
	at := func(c string) int { return slices.Index(tab.Columns(), c) }
	if i := at("peak_mPas"); i < 0 || at("peak_mPas_n") != i+1 || at("peak_mPas_sd") != i+2 || at("peak_mPas_se") != i+3 || at("hardness_N") < i {
		t.Errorf("columns %v", tab.Columns())
	}
	number(t, tab, 0, "peak_mPas", 2050)
	number(t, tab, 0, "peak_mPas_n", 2)
	number(t, tab, 0, "peak_mPas_sd", math.Sqrt(5000))
	number(t, tab, 0, "peak_mPas_se", 50)
	number(t, tab, 0, "hardness_N", 4)
	number(t, tab, 0, "hardness_N_se", 1/math.Sqrt(3))
	number(t, tab, 0, "protein_pct", 9)
	number(t, tab, 0, "protein_pct_claimed", 12)
	if _, ok := tab.Number("peak_mPas_sd", 1); ok {
		t.Error("an SD of one run")
	}
	if len(j.Unpaired) != 1 || j.Unpaired[0] != (Unpaired{"0013", "pasting", "texture", "no result of it was accepted"}) {
		t.Errorf("unpaired %+v", j.Unpaired)
	}
	if !j.Findings.Has("claim-differs") || !slices.ContainsFunc(j.Runs, func(r Run) bool { return r.Pooled && r.Values }) {
		t.Errorf("%v", j.Findings)
	}
}

func TestJoinWaitsAndProposes(t *testing.T) {
	j := mill(t, JoinOptions{}, map[string]string{
		"lots.csv":    "lot,product\nL-0012,cake\n",
		"runs.csv":    "run,lot,method\nR1,L-0099,ours\nR2,L-0012,ours\n",
		"pasting.csv": "run," + pastingHead + "R2,L-0012,ours,1,2000,1200,2500\nR7,L-0012,ours,1,2000,1200,2500\n,L-0O12,ours,1,2000,1200,2500\n",
		"texture.csv": "lot,hardness_N\nL-0O12,3\n",
	})
	if j.Counts != (Counts{Read: 7, Accepted: 3, Waiting: 4}) {
		t.Errorf("%+v: %v", j.Kinds, j.Findings)
	}
	var said []string
	for _, f := range j.Findings {
		if f.Code == "lot-unknown" {
			said = append(said, f.String())
		}
	}
	if len(said) != 2 || !strings.Contains(said[1], "did you mean L-0012?") || !strings.Contains(said[1], "2 rows of pasting, texture") {
		t.Errorf("%v", said)
	}
	if n := len(j.Unpaired); n != 3 || j.Unpaired[2].Lot != "L-0O12" || !strings.Contains(j.Unpaired[2].Reason, "L-0012") {
		t.Errorf("unpaired %+v", j.Unpaired)
	}
	if j.Table.Len() != 1 {
		t.Errorf("%d rows: a name was guessed", j.Table.Len())
	}
}

func TestJoinMethodsNeverShareAColumn(t *testing.T) {
	j := mill(t, JoinOptions{}, map[string]string{
		"lots.csv":    "lot,product\nA,cake\nB,cake\n",
		"pasting.csv": pastingHead + "A,ours,1,2000,1200,2500\nA,noodle-water,1,3000,2200,3500\nA,noodle-water,2,3200,2200,3500\nB,ours,1,1000,800,1500\n",
	})
	if j.Table.Has("peak_mPas") || j.Table.Has("method") {
		t.Errorf("columns %v", j.Table.Columns())
	}
	number(t, j.Table, 0, "peak_mPas@ours", 2000)
	number(t, j.Table, 0, "peak_mPas@noodle-water", 3100)
	number(t, j.Table, 0, "peak_mPas@noodle-water_n", 2)
	if _, ok := j.Table.Number("peak_mPas@noodle-water", 1); ok {
		t.Error("lot B has a figure by a method that it was not run by")
	}
}

func TestJoinProducts(t *testing.T) {
	j := mill(t, JoinOptions{}, map[string]string{
		"lots.csv":    "lot,product\nA,white-salted-noodle\nA,layer-cake\nB,alkaline-noodle\nC,sponge-cake\nD,\n",
		"pasting.csv": pastingHead + "A,ours,1,2000,1200,2500\nC,ours,1,2000,1200,2500\nD,ours,1,2000,1200,2500\n",
		"texture.csv": "lot,product,hardness_N\nA,,3\nB,firm-bite-noodle,4\n",
		"bakes.csv":   "lot,product,volume_mL\nA,layer-cake,900\nC,,800\n",
	})
	var rows []string
	for i := range j.Table.Len() {
		p, _ := j.Table.Text("product", i)
		rows = append(rows, j.Table.Lot(i)+" "+p)
	}
	if want := []string{"A white-salted-noodle", "A layer-cake", "B firm-bite-noodle", "C sponge-cake", "D "}; !slices.Equal(rows, want) {
		t.Errorf("rows %v, want %v", rows, want)
	}
	number(t, j.Table, 0, "peak_mPas", 2000)
	number(t, j.Table, 1, "peak_mPas", 2000)
	if !j.Findings.Has("product-not-stated") {
		t.Errorf("%v", j.Findings)
	}
}

func TestJoinProtocolsAreNotPooled(t *testing.T) {
	files := map[string]string{
		"lots.csv":    "lot,product\nA,cake\nB,cake\n",
		"texture.csv": "lot,protocol,hardness_N\nA,p70,3\nA,p50,9\nB,p70,5\n",
	}
	j := mill(t, JoinOptions{}, files)
	number(t, j.Table, 0, "hardness_N", 3)
	if !slices.ContainsFunc(j.Findings, func(f finding.Finding) bool { return f.Code == "pooled-differs" && f.At.Column == "protocol" }) {
		t.Errorf("%v", j.Findings)
	}
	j = mill(t, JoinOptions{Pool: []string{"protocol"}}, files)
	number(t, j.Table, 0, "hardness_N", 6)
	if j.Findings.Has("pooled-differs") {
		t.Errorf("pooling is meant: %v", j.Findings)
	}
}

func TestJoinFamiliesVoidsAndOwnColumns(t *testing.T) {
	j := mill(t, JoinOptions{}, map[string]string{
		"lots.csv":    "lot,product,parent_lot,share,silo,code\nA1,cake,S1,,7,01\nA2,cake,S1 + T1,60 + 40,8,02\nA3,cake,,,,03\n",
		"runs.csv":    "lot,method,kind,status,reason\nA1,ours,first,void,spilled\nA2,ours,first,,\nK0,ours,control,,\n",
		"pasting.csv": pastingHead + "A1,ours,1,2000,1200,2500\nA2,ours,1,2000,1200,2500\nA3,ours,1,2000,1200,2500\nK0,ours,1,2000,1200,2500\n",
	})
	if j.Table.Len() != 2 || j.Counts.Accepted != 10 {
		t.Fatalf("%d rows, %+v %v", j.Table.Len(), j.Kinds, j.Findings)
	}
	if f, _ := j.Table.Text("family", 0); f != "S1" {
		t.Errorf("family %q", f)
	}
	if !j.Table.IsNumber("silo") || j.Table.IsNumber("code") {
		t.Error("own columns are not typed by their cells")
	}
	if u := j.Unpaired[0]; u.Lot != "A1" || u.Reason != "its runs do not count: void; no result of it was accepted" {
		t.Errorf("%+v", j.Unpaired)
	}
	if !j.Findings.Has("controls-not-pooled") || !j.Findings.Has("run-void") {
		t.Errorf("%v", j.Findings)
	}
}

func TestJoinWithoutLotsFile(t *testing.T) {
	j := mill(t, JoinOptions{}, map[string]string{"pasting.csv": pastingHead + "A,ours,1,2000,1200,2500\n"})
	if j.Table.Len() != 1 || j.Counts.Accepted != 1 || !j.Findings.Has("lots-not-given") {
		t.Errorf("%d rows, %+v, %v", j.Table.Len(), j.Counts, j.Findings)
	}
	empty := mill(t, JoinOptions{}, map[string]string{"lots.csv": "lot,product\nA1,cake\n"})
	if empty.Table.Len() != 0 || len(empty.Unpaired) != 1 || empty.Unpaired[0].Has != "nothing measured" {
		t.Errorf("%d rows, %+v", empty.Table.Len(), empty.Unpaired)
	}
	if _, err := Join(context.Background(), Files{Lots: []string{filepath.Join(t.TempDir(), "nowhere.csv")}}, JoinOptions{}); err == nil {
		t.Error("a file that is not there: no error")
	}
}

func TestJoinDoubtfulReadings(t *testing.T) {
	j := mill(t, JoinOptions{}, map[string]string{
		"lots.csv":    "lot,product\nA1,cake\n",
		"texture.csv": "lot,replicate,hardness (gf),gumminess (gf)\nA1,1,-300,\nA1,2,,\nA1,3,300,9000\n",
	})
	if j.Counts.Refused != 2 || j.Counts.Accepted != 2 {
		t.Fatalf("%+v %v", j.Kinds, j.Findings)
	}
	if !slices.ContainsFunc(j.Findings, func(f finding.Finding) bool {
		return f.Severity == finding.Refused && f.At.Column == "hardness (gf)" && f.At.Row == 2 && strings.Contains(f.Found, "written -300 gf")
	}) {
		t.Errorf("the finding does not stand at its cell: %v", j.Findings)
	}
	if !j.Findings.Has("no-readings") {
		t.Errorf("%v", j.Findings)
	}
}

// broken draws a file: columns left out or doubled, cells left out, spoilt or
// exchanged, rows cut short. It returns the rows that are not blank.
func broken(rt *rapid.T, kind string, columns []string, cells map[string]*rapid.Generator[string]) (text string, rows int) {
	header := slices.DeleteFunc(slices.Clone(columns), func(string) bool { return rapid.IntRange(0, 9).Draw(rt, kind+" without") == 0 })
	if len(header) == 0 || rapid.IntRange(0, 9).Draw(rt, kind+" more") == 0 {
		header = append(header, rapid.SampledFrom(append(columns, "mine", "")).Draw(rt, kind+" column"))
	}
	lines := []string{strings.Join(header, ",")}
	if header[len(header)-1] == "" {
		lines[0] += "x"
	}
	spoilt := rapid.SampledFrom([]string{"", "?", "-1", "1e400", "NaN", "12;5", "00", "999999999"})
	for range rapid.IntRange(0, 12).Draw(rt, kind+" rows") {
		var row []string
		for _, c := range header {
			g := cells[c]
			if g == nil || rapid.IntRange(0, 14).Draw(rt, "spoil") == 0 {
				g = spoilt
			}
			row = append(row, g.Draw(rt, c))
		}
		if rapid.IntRange(0, 14).Draw(rt, "cut") == 0 {
			row = row[:rapid.IntRange(1, len(row)).Draw(rt, "cells")]
		}
		line := strings.Join(row, ",")
		lines = append(lines, line)
		if strings.Trim(line, ",") != "" {
			rows++
		}
	}
	return strings.Join(lines, "\n") + "\n", rows
}

func TestJoinAccountsForEveryRow(t *testing.T) {
	lots := rapid.SampledFrom([]string{"0012", "0013", "0014", "O012", "0099"})
	figure := rapid.Custom(func(t *rapid.T) string { return fmt.Sprint(rapid.IntRange(1, 4000).Draw(t, "figure")) })
	small := rapid.SampledFrom([]string{"0.4", "0.9", "13", "14"})
	cells := map[string]*rapid.Generator[string]{
		"lot": lots, "product": rapid.SampledFrom([]string{"2-cake", "4-noodle"}), "method": rapid.SampledFrom([]string{"ours", "noodle-water", ""}), "replicate": rapid.SampledFrom([]string{"1", "2", "3"}),
		"run": rapid.SampledFrom([]string{"1-R", "2-R", "3-R", ""}), "kind": rapid.SampledFrom([]string{"first", "duplicate", "retest", "control", ""}), "status": rapid.SampledFrom([]string{"", "ok", "void"}),
		"protein_pct": small, "protein_basis": rapid.SampledFrom([]string{"dry", "as is", "14 %", ""}), "moisture_pct": small, "parent_lot": lots, "whose": rapid.SampledFrom([]string{"own", "supplier"}),
		"time_s": figure, "temperature_C": small, "viscosity_mPas": figure, "peak_mPas": figure, "trough_mPas": figure, "final_mPas": figure, "flour_g": small,
		"hardness_N": small, "springiness": small, "protocol": rapid.SampledFrom([]string{"70 %", "50 %"}), "volume_mL": figure,
	}
	columns := [6][]string{
		{"lot", "product", "whose", "protein_pct", "protein_basis", "moisture_pct", "parent_lot"}, {"run", "lot", "method", "kind", "status", "flour_g", "moisture_pct"},
		{"lot", "run", "method", "replicate", "time_s", "temperature_C", "viscosity_mPas"}, {"lot", "run", "method", "replicate", "peak_mPas", "trough_mPas", "final_mPas"},
		{"lot", "product", "protocol", "replicate", "hardness_N", "springiness"}, {"lot", "product", "replicate", "volume_mL"},
	}
	dir := t.TempDir()
	rapid.Check(t, func(rt *rapid.T) {
		var paths [6][]string
		var rows [6]int
		for k, c := range columns {
			for n := range rapid.IntRange(0, 2).Draw(rt, "files") {
				text, more := broken(rt, fmt.Sprint("kind ", k), c, cells)
				path := filepath.Join(dir, fmt.Sprintf("%d-%d.csv", k, n))
				if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
					rt.Fatal(err)
				}
				paths[k], rows[k] = append(paths[k], path), rows[k]+more
			}
		}
		f := Files{Lots: paths[0], Runs: paths[1], Curves: paths[2], Pasting: paths[3], Texture: paths[4], Bakes: paths[5]}
		j, err := Join(context.Background(), f, JoinOptions{})
		if err != nil {
			rt.Fatal(err)
		}
		checkCounts(rt, j)
		for k, c := range j.Kinds {
			if c.Read != rows[k] {
				rt.Fatalf("%s: %d rows read of %d: %v", c.Kind, c.Read, rows[k], j.Findings)
			}
		}
		for _, c := range j.Table.Columns() {
			for i := range j.Table.Len() {
				if v, ok := j.Table.Number(c, i); ok && (math.IsNaN(v) || math.IsInf(v, 0)) {
					rt.Fatalf("%s row %d: %v", c, i, v)
				}
			}
		}
		var one, two bytes.Buffer
		again, err := Join(context.Background(), f, JoinOptions{Cores: 1})
		if err != nil || j.Table.WriteCSV(&one) != nil || again.Table.WriteCSV(&two) != nil || one.String() != two.String() || fmt.Sprint(j.Findings) != fmt.Sprint(again.Findings) {
			rt.Fatalf("one core and all cores differ: %v", err)
		}
	})
}
