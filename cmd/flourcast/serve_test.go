package main

import (
	"context"
	"io"
	"net/http"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestServe: the address is printed, the page is there, the server ends with its
// context, and that is no fault.
func TestServe(t *testing.T) {
	book := filepath.Join(t.TempDir(), "book")
	if _, errs, code := call(t, "init", book); code != 0 {
		t.Fatalf("init: %s", errs)
	}
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	out, in := io.Pipe()
	ended := make(chan int)
	go func() {
		ended <- run(ctx, []string{"serve", "--book", book}, nil, in, io.Discard)
		in.Close()
	}()
	line := make([]byte, 200)
	n, err := out.Read(line)
	if err != nil {
		t.Fatal(err)
	}
	url := regexp.MustCompile(`http://127\.0\.0\.1:\d+/`).FindString(string(line[:n]))
	if url == "" {
		t.Fatalf("found %q, expected an address on 127.0.0.1", line[:n])
	}
	r, err := http.Get(url + "add")
	if err != nil {
		t.Fatal(err)
	}
	page, err := io.ReadAll(r.Body)
	r.Body.Close()
	if err != nil || r.StatusCode != 200 || !strings.Contains(string(page), "<form") {
		t.Errorf("GET /add: found %d, %v, expected the form", r.StatusCode, err)
	}
	if r, err = http.Post(url+"add", "application/x-www-form-urlencoded", strings.NewReader("files=x")); err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	if r.StatusCode != 403 {
		t.Errorf("POST /add without a token: found %d, expected 403", r.StatusCode)
	}
	stop()
	if code := <-ended; code != 0 {
		t.Errorf("exit code after a stop: found %d, expected 0", code)
	}
}

func TestServeRefuses(t *testing.T) {
	book := filepath.Join(t.TempDir(), "book")
	for _, c := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{"serve"}, 2, "--demo and --book"},
		{[]string{"serve", "--demo", "--book", book}, 2, "--demo and --book"},
		{[]string{"serve", "--book", book}, 1, "book"},
		{[]string{"serve", "--demo", "--listen", "0.0.0.0:8080"}, 2, "of this machine only"},
		{[]string{"serve", "--demo", "--listen", ":8080"}, 2, "of this machine only"},
		{[]string{"serve", "--demo", "--listen", "mill.example:8080"}, 2, "of this machine only"},
		{[]string{"serve", "--demo", "--listen", "8080"}, 2, "of this machine only"},
		{[]string{"serve", "--demo", "--listen", "0.0.0.0:8080", "--tls-cert", "c.pem", "--tls-key", "k.pem", "--host", "bench.example"}, 2, "without --users;"},
		{[]string{"serve", "--demo", "--listen", "0.0.0.0:8080", "--tls-cert", "c.pem", "--tls-key", "k.pem", "--users", "u.toml"}, 2, "without --host;"},
		{[]string{"serve", "--demo", "--tls-cert", "c.pem"}, 2, "one of --tls-cert and --tls-key"},
		{[]string{"serve", "--demo", "--users", book}, 1, "no such file"},
	} {
		if _, errs, code := call(t, c.args...); code != c.code || !strings.Contains(errs, c.want) {
			t.Errorf("%v: found %d, %q; expected %d and %q", c.args, code, errs, c.code, c.want)
		}
	}
}
