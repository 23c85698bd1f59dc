package entry_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/dataset/labbook"
	"flourcast/study/book"
	"flourcast/study/bookkeeping"
	"flourcast/study/entry"
	"flourcast/study/job"

	"pgregory.net/rapid"
)

const (
	lotsCSV    = "lot,product,protein_pct,protein_basis\nA,soft-bite-noodle,9.1,14 %\nB,soft-bite-noodle,9.4,14 %\n"
	textureCSV = "lot,protocol,replicate,hardness (gf),springiness\nA,p,1,400,0.9\nA,p,2,420,0.91\nC,p,1,380,0.88\n"
	valuesCSV  = "lot,method,replicate,peak_mPas,trough_mPas,final_mPas\nA,noodle-water,1,2800,2000,3700\n"
)

func file(t testing.TB, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

func add(t testing.TB, q entry.AddRequest) *entry.AddResult {
	t.Helper()
	res, err := entry.Add(context.Background(), env, q)
	if err != nil {
		t.Fatal(err)
	}
	if res.Read != res.Accepted+res.Waiting+res.Refused {
		t.Errorf("read %d, but accepted %d + waiting %d + refused %d", res.Read, res.Accepted, res.Waiting, res.Refused)
	}
	return res
}

func verify(t testing.TB, dir string) *bookkeeping.VerifyResult {
	t.Helper()
	res, err := bookkeeping.Verify(context.Background(), env, dir, "")
	if err != nil {
		t.Fatal(err)
	}
	return res
}

func logOf(t testing.TB, dir string) []bookkeeping.LogLine {
	t.Helper()
	res, err := bookkeeping.Log(context.Background(), bookkeeping.LogRequest{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	return res.Lines
}

func TestAddTwiceAddsNothing(t *testing.T) {
	dir := newBook(t)
	q := entry.AddRequest{Dir: dir, Operator: "op", Paths: []string{file(t, "lots.csv", lotsCSV), file(t, "texture.csv", textureCSV), file(t, "values.csv", valuesCSV)}}
	q.DryRun = true
	dry := add(t, q)
	if dry.Written || len(logOf(t, dir)) != 0 {
		t.Error("a dry run wrote")
	}
	q.DryRun = false
	first := add(t, q)
	if first.Added != dry.Added || first.Added != (entry.Added{Lots: 2, Runs: 1, Readings: 3}) || !first.Written {
		t.Errorf("added %+v, dry run %+v", first.Added, dry.Added)
	}
	if first.Waiting != 1 || first.Refused != 0 {
		t.Errorf("waiting %d, refused %d, want 1 (lot C) and 0", first.Waiting, first.Refused)
	}
	rows := len(logOf(t, dir))
	again := add(t, q)
	if again.Added != (entry.Added{}) || again.Written || again.Known != 6 || !again.Findings.Has("file-known") {
		t.Errorf("again: added %+v, known %d, findings %v", again.Added, again.Known, again.Findings)
	}
	// A longer export with the same rows adds what is new, under any name and in any
	// order of columns.
	longer := file(t, "all-texture.csv", "replicate,lot,protocol,springiness,hardness (gf)\n1,A,p,0.9,400\n2,A,p,0.91,420\n3,A,p,0.92,410\n")
	more := add(t, entry.AddRequest{Dir: dir, Paths: []string{longer}})
	if more.Added != (entry.Added{Readings: 1}) || more.Known != 2 {
		t.Errorf("longer export: added %+v, known %d", more.Added, more.Known)
	}
	if n := len(logOf(t, dir)); n != rows+2 {
		t.Errorf("%d rows, want %d: an original and a reading more", n, rows+2)
	}
	if v := verify(t, dir); !v.OK {
		t.Errorf("differences %+v", v.Differences)
	}
}

// A row waits until its lot comes, and counts then by itself.
func TestWaitingRowsCountWhenTheirLotComes(t *testing.T) {
	ctx := context.Background()
	dir := newBook(t)
	add(t, entry.AddRequest{Dir: dir, Paths: []string{file(t, "lots.csv", lotsCSV), file(t, "texture.csv", textureCSV)}})
	lots := func() (known, waiting []string) {
		res, err := bookkeeping.Lots(ctx, dir)
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range res.Lots {
			known = append(known, fmt.Sprint(l.Lot, l.Readings))
		}
		for _, l := range res.Waiting {
			waiting = append(waiting, fmt.Sprint(l.Lot, l.Readings))
		}
		return known, waiting
	}
	if k, w := lots(); fmt.Sprint(k, w) != "[A2 B0] [C1]" {
		t.Errorf("lots %v, waiting %v", k, w)
	}
	table := func() string {
		b, err := book.Open(ctx, dir)
		if err != nil {
			t.Fatal(err)
		}
		defer b.Close()
		out, err := b.Outcomes(ctx, book.Filter{Response: "hardness_N"}, job0)
		if err != nil {
			t.Fatal(err)
		}
		var s []string
		for _, o := range out {
			s = append(s, fmt.Sprintf("%s %.3f n=%d rows=%v", o.Lot, o.Value, o.N, o.Rows))
		}
		return strings.Join(s, "; ")
	}
	// 410 gf and 380 gf by 1 gf = 0.00980665 N (the standard acceleration of free fall).
	if got := table(); got != "A 4.021 n=2 rows=[5 6]" {
		t.Errorf("outcomes %s", got)
	}
	add(t, entry.AddRequest{Dir: dir, Paths: []string{file(t, "late.csv", "lot,product\nC,soft-bite-noodle\n")}})
	if k, w := lots(); fmt.Sprint(k, w) != "[A2 B0 C1] []" {
		t.Errorf("lots %v, waiting %v", k, w)
	}
	if got := table(); got != "A 4.021 n=2 rows=[5 6]; C 3.727 n=1 rows=[7]" {
		t.Errorf("outcomes %s", got)
	}
}

func TestStrictWritesNothing(t *testing.T) {
	dir := newBook(t)
	q := entry.AddRequest{Dir: dir, Paths: []string{file(t, "lots.csv", lotsCSV+",soft-bite-noodle,9,14 %\n")}, Strict: true}
	if res := add(t, q); res.Refused != 1 || res.Written || res.Added != (entry.Added{}) || len(logOf(t, dir)) != 0 {
		t.Errorf("strict: %+v", res)
	}
	q.Strict = false
	if res := add(t, q); res.Refused != 1 || res.Added.Lots != 2 {
		t.Errorf("not strict: %+v", res)
	}
	var nothing *job.NothingUsableError
	_, err := entry.Add(context.Background(), env, entry.AddRequest{Dir: dir, Paths: []string{file(t, "poem.csv", "a,b\nc,d\n")}})
	if !errors.As(err, &nothing) || !strings.Contains(err.Error(), "file-not-recognised") {
		t.Errorf("a file of nothing: %v", err)
	}
}

func TestCorrectionsNeedAReasonAndKeepTheOldRow(t *testing.T) {
	ctx := context.Background()
	dir := newBook(t)
	add(t, entry.AddRequest{Dir: dir, Paths: []string{file(t, "lots.csv", lotsCSV), file(t, "texture.csv", textureCSV)}})
	changed := file(t, "texture.csv", "lot,protocol,replicate,hardness (gf),springiness\nA,p,2,402,0.91\n")
	_, err := entry.Add(ctx, env, entry.AddRequest{Dir: dir, Paths: []string{changed}})
	if err == nil || !strings.Contains(err.Error(), "row-differs") {
		t.Errorf("adding what differs: %v", err)
	}
	res := add(t, entry.AddRequest{Dir: dir, Paths: []string{changed}, Reason: "typed 420 for 402", Operator: "eva"})
	if res.Corrected != 1 || res.Added != (entry.Added{}) {
		t.Errorf("correction: %+v", res)
	}
	// Lot C was lot B under another name: one row stands in for another's.
	res = add(t, entry.AddRequest{Dir: dir, Paths: []string{file(t, "b.csv", "lot,protocol,replicate,hardness (gf),springiness\nB,p,1,380,0.88\n")}, Reason: "label read wrongly", Replaces: 7})
	if res.Corrected != 1 || res.Waiting != 0 {
		t.Errorf("correction of a name: %+v", res)
	}
	if _, err := entry.Withdraw(ctx, env, entry.WithdrawRequest{Dir: dir, Row: 5, Reason: "strand torn"}); err != nil {
		t.Fatal(err)
	}
	var trail []string
	for _, l := range logOf(t, dir)[6:] {
		trail = append(trail, fmt.Sprint(l.Row, " ", l.Kind, " ", l.Lot, " ", l.Corrects, " ", l.Reason))
	}
	want := "7 reading C 0 |8 original  0 |9 reading A 6 typed 420 for 402|10 original  0 |11 reading B 7 label read wrongly|12 reading A 5 strand torn"
	if got := strings.Join(trail, "|"); got != want {
		t.Errorf("trail\n%s\nwant\n%s", got, want)
	}
	b, err := book.Open(ctx, dir)
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	out, err := b.Outcomes(ctx, book.Filter{Response: "hardness_N"}, job0)
	if err != nil {
		t.Fatal(err)
	}
	if got := fmt.Sprintf("%s %.4f %d, %s %.4f %d", out[0].Lot, out[0].Value, out[0].N, out[1].Lot, out[1].Value, out[1].N); got != "A 3.9423 1, B 3.7265 1" {
		t.Errorf("outcomes %s", got)
	}
	if v := verify(t, dir); !v.OK {
		t.Errorf("differences %+v", v.Differences)
	}
	var corrected *labbook.CorrectedError
	if _, err := entry.Withdraw(ctx, env, entry.WithdrawRequest{Dir: dir, Row: 5, Reason: "again"}); !errors.As(err, &corrected) {
		t.Errorf("a second withdrawal: %v", err)
	}
}

// drawFile draws a file of some kind with cells of all sorts.
func drawFile(r *rapid.T) string {
	cell := rapid.SampledFrom([]string{"A", "B", "", "1", "2", "400", "0.9", "x", "-", "1,5", `"`, "é"})
	header := rapid.SampledFrom([]string{"lot,product,protein_pct", "lot,protocol,replicate,hardness_N", "run,lot,method,flour_g", "lot,method,time_s,viscosity_mPas", "lot,method,replicate,peak_mPas"}).Draw(r, "header")
	text := header + "\n"
	for range rapid.IntRange(0, 6).Draw(r, "rows") {
		var cells []string
		for range strings.Count(header, ",") + 1 {
			cells = append(cells, cell.Draw(r, "cell"))
		}
		text += strings.Join(cells, ",") + "\n"
	}
	return text
}

// Whatever the rows are, read = accepted + waiting + refused.
func TestRowsAddUp(t *testing.T) {
	dir := newBook(t)
	rapid.Check(t, func(r *rapid.T) {
		text := drawFile(r)
		res, err := entry.Add(context.Background(), env, entry.AddRequest{Dir: dir, Paths: []string{file(t, "f.csv", text)}, DryRun: true})
		var nothing *job.NothingUsableError
		if errors.As(err, &nothing) {
			return
		}
		if err != nil {
			r.Fatal(err)
		}
		if res.Read != res.Accepted+res.Waiting+res.Refused {
			r.Fatalf("read %d, accepted %d, waiting %d, refused %d of\n%s", res.Read, res.Accepted, res.Waiting, res.Refused, text)
		}
	})
}

// Whatever was added, adding it again adds nothing, and the book verifies. The files
// go into one book, so that many of their rows differ from what it has.
func TestAddingAgainAddsNothing(t *testing.T) {
	dir := newBook(t)
	gen := rapid.Custom(drawFile)
	for seed := range 25 {
		path := file(t, "f.csv", gen.Example(seed))
		for again := range 2 {
			res, err := entry.Add(context.Background(), env, entry.AddRequest{Dir: dir, Paths: []string{path}})
			var nothing *job.NothingUsableError
			if err != nil && !errors.As(err, &nothing) {
				t.Fatal(err)
			}
			if err == nil && again == 1 && res.Written {
				t.Errorf("added twice:\n%s", gen.Example(seed))
			}
		}
	}
	if v := verify(t, dir); !v.OK || v.Rows < 10 {
		t.Errorf("%d rows, differences %+v", v.Rows, v.Differences)
	}
}
