package labbook

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"time"

	"flourcast/dataset/labbook/server/servertest"
	"flourcast/work"
)

// childEnv makes the test program a writer in the book that it names: it writes until
// it is killed, and says after each transaction which rows are in.
const childEnv = "FLOURCAST_TEST_WRITER"

// perWrite is how many rows the writer adds at once.
const perWrite = 7

func TestMain(m *testing.M) {
	if dir := os.Getenv(childEnv); dir != "" {
		os.Exit(writer(dir))
	}
	code := m.Run()
	servertest.Stop()
	os.Exit(code)
}

func writer(dir string) int {
	s, err := Open(context.Background(), dir)
	if err != nil {
		fmt.Println("failed", err)
		return 1
	}
	for n := 0; ; n++ {
		var last int64
		err := s.Write(context.Background(), func(tx *Tx) error {
			sum, err := s.Keep(context.Background(), []byte(fmt.Sprintf("%d of process %d", n, os.Getpid())))
			if err != nil {
				return err
			}
			for i := range perWrite {
				r := Row{Kind: Reading, Key: fmt.Sprint(n, " ", i), Lot: "A", Made: day, Source: sum, Payload: make([]byte, 3000)}
				if i == 0 {
					r.Kind = Original
				}
				kept, err := tx.Add(r)
				if err != nil {
					return err
				}
				last = kept.ID
			}
			return nil
		})
		if err != nil {
			fmt.Println("failed", err)
			return 1
		}
		fmt.Println("done", last)
	}
}

// rounds is how often a writer is killed: 10 times, 200 with FLOURCAST_LONG=1.
func rounds() int {
	if os.Getenv("FLOURCAST_LONG") != "" {
		return 200
	}
	return 10
}

// A writer that is killed at any moment loses nothing that it reported, leaves
// nothing half-written, and the next one goes on.
func TestKilledWritersLoseNothing(t *testing.T) { onBoth(t, killedWritersLoseNothing) }

func killedWritersLoseNothing(t *testing.T, place string) {
	s := newStore(t, place)
	random := work.Rand(1, "kill")
	before := int64(0)
	for round := range rounds() {
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), childEnv+"="+place)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		lines := bufio.NewScanner(out)
		reported := int64(0)
		began := make(chan bool)
		ended := make(chan bool)
		go func() {
			defer close(ended)
			for first := true; lines.Scan(); first = false {
				word, rest, _ := strings.Cut(lines.Text(), " ")
				if word != "done" {
					t.Errorf("the writer says: %s", lines.Text())
					break
				}
				if reported, err = strconv.ParseInt(rest, 10, 64); err != nil {
					t.Error(err)
				}
				if first {
					close(began)
				}
			}
		}()
		select { // killed somewhere in its first or later transactions
		case <-began:
			time.Sleep(time.Duration(random.IntN(30_000)) * time.Microsecond)
		case <-ended:
			t.Fatal("the writer ended by itself")
		}
		if err := cmd.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		<-ended
		cmd.Wait() // its error is that it was killed
		rows, _, found, err := s.Check(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		if len(found) > 0 {
			t.Fatalf("round %d: differences %+v", round, found)
		}
		if int64(rows) < reported || reported <= before {
			t.Fatalf("round %d: %d rows in the book, %d reported, %d before", round, rows, reported, before)
		}
		if rows%perWrite != 0 {
			t.Fatalf("round %d: %d rows, no multiple of the %d of a transaction", round, rows, perWrite)
		}
		before = int64(rows)
	}
	checkOriginals(t, s, int(before)/perWrite)
}

// checkOriginals expects at least so many originals that can be read.
func checkOriginals(t *testing.T, s *Store, want int) {
	t.Helper()
	got := 0
	for _, r := range all(t, s, Filter{Kinds: []Kind{Original}, Bare: true}) {
		if _, err := s.Original(context.Background(), r.Source); err != nil {
			t.Error(err)
		}
		got++
	}
	if got != want {
		t.Errorf("%d originals, want %d", got, want)
	}
}
