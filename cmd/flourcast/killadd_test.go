package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flourcast/dataset/labbook"
	"flourcast/dataset/labbook/server/servertest"
	"flourcast/study"
	"flourcast/study/bookkeeping"
	"flourcast/work"
)

// addEnv makes the test program flourcast itself, with these arguments.
const addEnv = "FLOURCAST_TEST_ARGS"

// addKills is how often `flourcast add` is killed on each kind of book: 3 times, 100
// with FLOURCAST_LONG.
func addKills() int {
	if os.Getenv("FLOURCAST_LONG") != "" {
		return 100
	}
	return 3
}

// perAdd is how many lots, and as many readings, one call adds.
const perAdd = 150

// `flourcast add` killed at any moment leaves all of its call in the book or nothing,
// and whatever it reported; the same call again completes it.
func TestWholeAddKilledLosesNothing(t *testing.T) {
	t.Run("folder", func(t *testing.T) { addKilled(t, filepath.Join(t.TempDir(), "book")) })
	t.Run("server", func(t *testing.T) { addKilled(t, servertest.URL(t)) })
}

func addKilled(t *testing.T, book string) {
	if _, errs, code := call(t, "init", book); code != 0 {
		t.Fatal(errs)
	}
	dir := t.TempDir()
	random := work.Rand(3, "kill", "add")
	files := func(round int) (lots, texture string) {
		var l, x strings.Builder
		l.WriteString("lot,product\n")
		x.WriteString("lot,protocol,replicate,hardness_N\n")
		for i := range perAdd {
			fmt.Fprintf(&l, "R%d-%d,soft-bite-noodle\n", round, i)
			fmt.Fprintf(&x, "R%d-%d,strand,1,3.5\n", round, i)
		}
		return put(t, dir, fmt.Sprintf("lots%d.csv", round), l.String()), put(t, dir, fmt.Sprintf("texture%d.csv", round), x.String())
	}
	add := func(round int) (*exec.Cmd, *bytes.Buffer) {
		lots, texture := files(round)
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), addEnv+"="+strings.Join([]string{"add", lots, texture, "--book", book}, "\n"))
		out := &bytes.Buffer{}
		cmd.Stdout, cmd.Stderr = out, out
		return cmd, out
	}
	whole, killed, reported := 0, 0, 0
	full := time.Now()
	if cmd, out := add(0); cmd.Run() != nil || !strings.Contains(out.String(), "All of it is on disk") {
		t.Fatalf("not killed at all: %s", out)
	}
	took := time.Since(full)
	for round := 1; round <= addKills(); round++ {
		before := rowsOf(t, book)
		cmd, out := add(round)
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Duration(random.Int64N(int64(took) * 5 / 4)))
		if err := cmd.Process.Kill(); err == nil {
			killed++
		}
		cmd.Wait() // its error is that it was killed
		after := rowsOf(t, book)
		switch after - before {
		case 0:
			if strings.Contains(out.String(), "All of it is on disk") {
				t.Fatalf("round %d: reported, and not in the book: %s", round, out)
			}
		case 2*perAdd + 2:
			whole++
		default:
			t.Fatalf("round %d: %d rows were added, expected none or %d", round, after-before, 2*perAdd+2)
		}
		if strings.Contains(out.String(), "All of it is on disk") {
			reported++
		}
		if again, out := add(round); again.Run() != nil {
			t.Fatalf("round %d again: %s", round, out)
		}
		if n := rowsOf(t, book) - before; n != 2*perAdd+2 {
			t.Fatalf("round %d again: %d rows in all, expected %d", round, n, 2*perAdd+2)
		}
	}
	if killed == 0 {
		t.Error("nothing was killed")
	}
	t.Logf("%d killed, %d had been written whole, %d of these reported", killed, whole, reported)
	if v, err := bookkeeping.Verify(context.Background(), study.Env{Cores: 2, Version: "test"}, book, ""); err != nil || !v.OK {
		t.Errorf("verify: %+v, %v", v, err)
	}
}

// rowsOf checks the chain and the originals, and counts the rows.
func rowsOf(t *testing.T, book string) int {
	t.Helper()
	s, err := labbook.Open(context.Background(), book)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	rows, _, differences, err := s.Check(context.Background())
	if err != nil || len(differences) > 0 {
		t.Fatalf("differences %+v, %v", differences, err)
	}
	return rows
}
