package labbook

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"flourcast/dataset/labbook/server/servertest"
)

// fill writes until an error comes.
func fill(s *Store) (written int, err error) {
	for n := 0; n < 10_000; n++ {
		err := s.Write(context.Background(), func(tx *Tx) error {
			sum, err := s.Keep(context.Background(), []byte(strings.Repeat(fmt.Sprint(n), 2000)))
			if err != nil {
				return err
			}
			for i := range 3 {
				r := lotRow(fmt.Sprint(n, " ", i), strings.Repeat("x", 8000))
				r.Source = sum
				if _, err := tx.Add(r); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			return n, err
		}
	}
	return 10_000, nil
}

// checkFull expects an error that says what to do, and whole transactions only.
func checkFull(t *testing.T, s *Store) {
	t.Helper()
	n, err := fill(s)
	if err == nil || !strings.Contains(err.Error(), "disk is full: nothing was written; make room") {
		t.Fatalf("after %d transactions: %v, want a full disk", n, err)
	}
	rows, _, found, err := s.Check(context.Background())
	if err != nil || len(found) > 0 || rows != 3*n {
		t.Errorf("%d rows after %d transactions of 3, differences %+v, %v", rows, n, found, err)
	}
	if n < 3 {
		t.Errorf("full after %d transactions: nothing was tried", n)
	}
}

func TestDatabaseThatMayNotGrow(t *testing.T) {
	s := newStore(t, inFolder(t))
	write(t, s, lotRow("A", "1"))
	err := s.Write(context.Background(), func(tx *Tx) error { // the one connection of writers
		_, err := tx.tx.Exec("PRAGMA max_page_count = 40")
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	n, err := fill(s)
	if err == nil || !strings.Contains(err.Error(), "the disk is full") {
		t.Fatalf("after %d transactions: %v, want a full disk", n, err)
	}
	rows, _, found, err := s.Check(context.Background())
	if err != nil || len(found) > 0 || rows != 3*n+1 {
		t.Errorf("%d rows after %d transactions of 3, differences %+v, %v", rows, n, found, err)
	}
}

// A real disk of 1 MB, where the machine lets us make one.
func TestFullDisk(t *testing.T) {
	disk := t.TempDir()
	if err := syscall.Mount("tmpfs", disk, "tmpfs", 0, "size=1m"); err != nil {
		t.Skipf("no small disk can be mounted here (%v); TestDatabaseThatMayNotGrow stands in", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(disk, 0); err != nil {
			t.Error(err)
		}
	})
	dir := filepath.Join(disk, "book")
	if err := Create(context.Background(), dir); err != nil {
		t.Fatal(err)
	}
	s, err := Open(context.Background(), dir)
	if err != nil {
		t.Fatal(err)
	}
	checkFull(t, s)
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}

// A server whose disk has 1 MB for the book, where the machine lets us make one: the
// book's tables are in a tablespace on it.
func TestFullServer(t *testing.T) {
	place := servertest.URL(t)
	u, err := url.Parse(place)
	if err != nil {
		t.Fatal(err)
	}
	socket, err := os.Stat(u.Query().Get("host")) // of the user who runs the server
	if err != nil {
		t.Fatal(err)
	}
	disk, err := os.MkdirTemp("", "flourcast-full-*")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(disk); err != nil {
			t.Error(err)
		}
	})
	owner := socket.Sys().(*syscall.Stat_t).Uid
	if err := syscall.Mount("tmpfs", disk, "tmpfs", 0, fmt.Sprintf("size=1m,mode=0700,uid=%d", owner)); err != nil {
		t.Skipf("no small disk can be mounted here: %v", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(disk, syscall.MNT_DETACH); err != nil { // a process of the server may still hold a file
			t.Error(err)
		}
	})
	tamper(t, place, fmt.Sprintf("CREATE TABLESPACE full_disk LOCATION '%s'", disk))
	t.Cleanup(func() {
		tamper(t, place, "DROP SCHEMA "+u.Query().Get("search_path")+" CASCADE")
		tamper(t, place, "DROP TABLESPACE full_disk")
	})
	q := u.Query()
	q.Set("default_tablespace", "full_disk")
	u.RawQuery = q.Encode()
	if err := Create(context.Background(), u.String()); err != nil {
		t.Fatal(err)
	}
	s, err := Open(context.Background(), u.String())
	if err != nil {
		t.Fatal(err)
	}
	checkFull(t, s)
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}

// readerEnv makes the test program read the book that it names and try to write.
const readerEnv = "FLOURCAST_TEST_READER"

func TestReadOnlyChild(t *testing.T) {
	dir := os.Getenv(readerEnv)
	if dir == "" {
		return // it is for TestReadOnlyFolder only
	}
	s, err := Open(context.Background(), dir)
	if err != nil {
		t.Fatal(err)
	}
	if got := keys(all(t, s, Filter{})); got != "1:A" {
		t.Errorf("rows %s, want 1:A", got)
	}
	err = s.Write(context.Background(), func(tx *Tx) error { _, err := tx.Add(lotRow("B", "2")); return err })
	if err == nil || !strings.Contains(err.Error(), "cannot be written to") {
		t.Errorf("writing: %v, want that the folder cannot be written to", err)
	}
	if err := Create(context.Background(), filepath.Join(dir, "book")); err == nil {
		t.Error("a book was made in a folder that cannot be written to")
	}
}

// A book in a folder that may not be written to is read, and says clearly that
// nothing can be added. Root may write everywhere, so the child is nobody.
func TestReadOnlyFolder(t *testing.T) {
	s := newStore(t, inFolder(t))
	write(t, s, lotRow("A", "1"))
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	public, err := os.MkdirTemp("", "flourcast-readonly-*")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		err := filepath.Walk(public, func(path string, info os.FileInfo, err error) error {
			if err == nil && info.IsDir() {
				err = os.Chmod(path, 0o755)
			}
			return err
		})
		if err := errors.Join(err, os.RemoveAll(public)); err != nil {
			t.Error(err)
		}
	})
	dir, program := filepath.Join(public, "book"), filepath.Join(public, "program")
	if err := os.CopyFS(dir, os.DirFS(s.Place())); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(os.Args[0])
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(program, data, 0o755); err != nil {
		t.Fatal(err)
	}
	for path, mode := range map[string]os.FileMode{public: 0o755, filepath.Join(dir, fileName): 0o444, filepath.Join(dir, originals): 0o555, dir: 0o555} {
		if err := os.Chmod(path, mode); err != nil {
			t.Fatal(err)
		}
	}
	cmd := exec.Command(program, "-test.run", "^TestReadOnlyChild$", "-test.v")
	cmd.Dir = public
	cmd.Env = []string{readerEnv + "=" + dir, "TMPDIR=" + public}
	if os.Getuid() == 0 {
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
	}
	out, err := cmd.CombinedOutput()
	if err != nil || !strings.Contains(string(out), "--- PASS: TestReadOnlyChild") {
		t.Errorf("%v\n%s", err, out)
	}
}
