// Package servertest starts a real PostgreSQL for tests.
//
//  1. URL gives a new, empty schema of a database on a server that the first call
//     starts: in a temporary folder, on a socket there, without a port.
//  2. Stop ends the server; a package's TestMain calls it last.
//
// Without the server's programs a test is left out, and says so; with FLOURCAST_LONG
// it fails. A server refuses to run for root: then it runs for the user postgres, or
// nobody. Its fsync is off, since it is programs of ours that are killed, not the
// server.
package servertest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

var (
	mu      sync.Mutex
	running *cluster
	count   int
)

type cluster struct {
	dir    string
	server *exec.Cmd
	said   bytes.Buffer
}

// programs is the folder with initdb and postgres; "" without, and on Windows, where
// a server has no socket in a folder.
func programs() string {
	if runtime.GOOS == "windows" {
		return ""
	}
	found, err := filepath.Glob("/usr/lib/postgresql/*/bin/initdb")
	if err != nil || len(found) == 0 {
		if path, err := exec.LookPath("initdb"); err == nil {
			return filepath.Dir(path)
		}
		return ""
	}
	return filepath.Dir(slices.Max(found))
}

// URL is the connection string of a new, empty schema.
func URL(t testing.TB) string {
	t.Helper()
	mu.Lock()
	defer mu.Unlock()
	bin := programs()
	if bin == "" {
		const left = "the test against a real PostgreSQL is left out: no server programs in /usr/lib/postgresql/*/bin; install postgresql ('make long' does, for root)"
		if os.Getenv("FLOURCAST_LONG") != "" {
			t.Fatal(left)
		}
		t.Skip(left)
	}
	if running == nil {
		c, err := start(bin)
		if err != nil {
			t.Fatal(err)
		}
		running = c
	}
	count++
	name := fmt.Sprintf("book%d", count)
	if err := running.do("CREATE SCHEMA " + name); err != nil {
		t.Fatal(err)
	}
	return running.url(name)
}

// Stop ends the server that URL started.
func Stop() {
	mu.Lock()
	defer mu.Unlock()
	if running == nil {
		return
	}
	if err := running.stop(); err != nil {
		fmt.Fprintln(os.Stderr, "stopping PostgreSQL:", err)
	}
	running = nil
}

func (c *cluster) url(schema string) string {
	q := url.Values{"host": {c.dir}, "search_path": {schema}}
	return (&url.URL{Scheme: "postgres", User: url.User("flourcast"), Path: "/postgres", RawQuery: q.Encode()}).String()
}

func (c *cluster) do(statement string) error {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	conn, err := pgx.Connect(ctx, c.url("public"))
	if err != nil {
		return err
	}
	_, err = conn.Exec(ctx, statement)
	return errors.Join(err, conn.Close(ctx))
}

func start(bin string) (c *cluster, err error) {
	dir, err := os.MkdirTemp("", "fcpg-") // short: the name of a socket has 107 bytes
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.RemoveAll(dir))
		}
	}()
	as, uid, err := other()
	if err != nil {
		return nil, err
	}
	if uid >= 0 {
		if err := os.Chown(dir, uid, -1); err != nil {
			return nil, err
		}
	}
	data := filepath.Join(dir, "data")
	init := exec.Command(filepath.Join(bin, "initdb"), "-D", data, "-U", "flourcast", "-A", "trust", "-E", "UTF8", "--locale=C", "-N")
	init.Dir, init.SysProcAttr = dir, as
	if out, err := init.CombinedOutput(); err != nil {
		return nil, fmt.Errorf("initdb: %w\n%s", err, out)
	}
	c = &cluster{dir: dir}
	c.server = exec.Command(filepath.Join(bin, "postgres"), "-D", data, "-k", dir, "-c", "listen_addresses=", "-c", "fsync=off", "-c", "max_connections=60")
	c.server.Dir, c.server.SysProcAttr, c.server.Stderr = dir, as, &c.said
	if err := c.server.Start(); err != nil {
		return nil, err
	}
	for range 600 {
		if err = c.do("SELECT 1"); err == nil {
			return c, nil
		}
		time.Sleep(100 * time.Millisecond)
	}
	stopped := c.stop()
	return nil, errors.Join(fmt.Errorf("PostgreSQL does not answer: %w\n%s", err, c.said.String()), stopped)
}

// stop asks the server to end its connections and stop.
func (c *cluster) stop() error {
	err := c.server.Process.Signal(syscall.SIGINT)
	if err == nil {
		err = c.server.Wait()
	}
	return errors.Join(err, os.RemoveAll(c.dir))
}
