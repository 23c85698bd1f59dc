// Package booktest makes small lab books for tests: files in, by the front door.
package booktest

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"flourcast/study/bookkeeping"
	"flourcast/study/entry"
	"flourcast/study/job"
)

// Env is the environment of such tests: always the same day.
func Env(day time.Time) job.Env {
	return job.Env{Clock: func() time.Time { return day }, Version: "test", Cores: 2}
}

// Of makes a lab book that holds the files, by name and text, and returns its folder. It
// is removed with the test. Whatever goes wrong fails the test.
func Of(t testing.TB, env job.Env, files map[string]string) (dir string) {
	t.Helper()
	ctx, folder := context.Background(), t.TempDir()
	dir = filepath.Join(folder, "book")
	if _, err := bookkeeping.Init(ctx, dir); err != nil {
		t.Fatal(err)
	}
	q := entry.AddRequest{Dir: dir, Operator: "op"}
	for name, text := range files {
		q.Paths = append(q.Paths, filepath.Join(folder, name))
		if err := os.WriteFile(filepath.Join(folder, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	slices.Sort(q.Paths)
	if _, err := entry.Add(ctx, env, q); err != nil {
		t.Fatal(err)
	}
	return dir
}
