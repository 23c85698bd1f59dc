package entry_test

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"flourcast/dataset"
	"flourcast/demo"
	"flourcast/study/book"
	"flourcast/study/bookkeeping"
	"flourcast/study/entry"
	"flourcast/study/job"
)

// job0 is a join without options.
var job0 dataset.JoinOptions

var env = job.Env{Clock: func() time.Time { return time.Date(2026, 1, 15, 9, 0, 0, 0, time.UTC) }, Version: "test", Cores: 2}

// millFiles are the files of an invented mill.
func millFiles(t *testing.T) (f dataset.Files, paths []string) {
	t.Helper()
	dir := t.TempDir()
	mill, err := demo.Write(dir, 1)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "notes.csv"), []byte("lot,ran,trouble\nN23-001,well,\nN23-004,no,sheets tore\nN23-004,no,sheets tore\nN23-005,perhaps,\nX,yes,\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	in := func(files []string) (out []string) {
		for _, f := range files {
			out = append(out, filepath.Join(dir, filepath.FromSlash(f)))
		}
		paths = append(paths, out...)
		return out
	}
	return dataset.Files{Lots: in(mill.Lots), Runs: in(mill.Runs), Curves: in(mill.Curves), Pasting: in(mill.Pasting), Texture: in(mill.Texture), Bakes: in(mill.Bakes), Production: in([]string{"notes.csv"})}, paths
}

func newBook(t *testing.T) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "book")
	if _, err := bookkeeping.Init(context.Background(), dir); err != nil {
		t.Fatal(err)
	}
	return dir
}

func csvOf(t *testing.T, table *dataset.Table) string {
	t.Helper()
	var b bytes.Buffer
	if err := table.WriteCSV(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// What the join makes of the book is, to the byte, what it makes of the files.
func TestWholeBookJoinsAsItsFilesDo(t *testing.T) {
	ctx := context.Background()
	files, paths := millFiles(t)
	dir := newBook(t)
	res, err := entry.Add(ctx, env, entry.AddRequest{Dir: dir, Paths: paths, Operator: "op"})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("added %+v, read %d accepted %d waiting %d refused %d", res.Added, res.Read, res.Accepted, res.Waiting, res.Refused)
	for _, f := range res.Files {
		t.Logf("%+v", f)
	}
	want, err := dataset.Join(ctx, files, dataset.JoinOptions{Cores: 2})
	if err != nil {
		t.Fatal(err)
	}
	b, err := book.Open(ctx, dir)
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	got, err := b.Table(ctx, dataset.JoinOptions{Cores: 2})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range res.Findings {
		t.Log(f)
	}
	t.Logf("join: %+v; book: %+v", want.Kinds, got.Kinds)
	if g, w := csvOf(t, got.Table), csvOf(t, want.Table); g != w {
		t.Errorf("the book joins to\n%.2000s\nthe files to\n%.2000s", g, w)
	}
}
