package main

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// typed runs a command line with a standard input.
func typed(t *testing.T, input string, args ...string) (stdout, stderr string, code int) {
	t.Helper()
	var out, errs bytes.Buffer
	code = run(context.Background(), args, strings.NewReader(input), &out, &errs)
	return out.String(), errs.String(), code
}

// TestUser: users are added, listed, changed and removed; the file is its owner's.
func TestUser(t *testing.T) {
	users := filepath.Join(t.TempDir(), "users.toml")
	for _, c := range []struct {
		input, args string
		code        int
		want        string // on stdout, or what is said of the fault
	}{
		{"correct horse battery\n", "add anna --role technician", 0, "technician, may sign in; " + users + " has mode 0600"},
		{"correct horse battery\r\nanother line\n", "add Ben --role reader", 0, "reader, may sign in"},
		{"correct horse battery", "add ANNA --role reader", 2, "which anna has already"},
		{"", "add eve --role owner", 2, "reader, technician or scientist"},
		{"", "add eve", 2, "reader, technician or scientist"},
		{"", "add eve --role reader", 2, "no password on standard input"},
		{"too short\n", "add eve --role reader", 2, "15 to 200 characters"},
		{strings.Repeat("x", 9000), "add eve --role reader", 2, "15 to 200 characters"},
		{"", "add --role reader -- -x", 2, "the name \"-x\""},
		{"", "list", 0, "anna"},
		{"", "role Ben --role scientist", 0, "scientist, from now on"},
		{"", "role eve --role reader", 2, "one of anna, Ben"},
		{"four other words here\n", "password ben", 0, "scientist, password set"},
		{"four other words here\n", "password eve", 2, "one of anna, Ben"},
		{"", "remove anna", 0, "may not sign in any more"},
		{"", "remove anna", 2, "one of Ben"},
	} {
		verb, rest, _ := strings.Cut(c.args, " ")
		out, errs, code := typed(t, c.input, append([]string{"user", verb, "--users", users}, strings.Fields(rest)...)...)
		if code != c.code || !strings.Contains(out+errs, c.want) {
			t.Errorf("user %s: found %d, %s%s; expected %d and %q", c.args, code, out, errs, c.code, c.want)
		}
		if info, err := os.Stat(users); err != nil || info.Mode().Perm() != 0o600 {
			t.Fatalf("the file: found %v, %v; expected mode 0600", info, err)
		}
	}
	var listed struct {
		Schema, File string
		Users        []struct {
			Name, Role string
			Older      *bool `json:"older_hash"`
		}
	}
	callJSON(t, &listed, "user", "list", "--users", users)
	if listed.Schema != "flourcast.users/1" || listed.File != users || len(listed.Users) != 1 || listed.Users[0].Name != "Ben" || listed.Users[0].Role != "scientist" || listed.Users[0].Older == nil || *listed.Users[0].Older {
		t.Errorf("found %+v", listed)
	}
	for _, words := range []string{"list", "add x --role reader", "remove Ben"} {
		if _, errs, code := typed(t, "", append([]string{"user"}, strings.Fields(words)...)...); code != 2 || !strings.Contains(errs, "--users FILE") {
			t.Errorf("user %s without a file: found %d, %s", words, code, errs)
		}
	}
	if _, errs, code := typed(t, "", "user", "list", "--users", users+"x"); code != 1 || !strings.Contains(errs, "no such file") {
		t.Errorf("no file: found %d, %s", code, errs)
	}
	if err := os.WriteFile(users, []byte("[[user]]\nname = \"anna\"\nrole = \"owner\"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, words := range []string{"user list --users " + users, "serve --demo --users " + users} {
		if _, errs, code := typed(t, "", strings.Fields(words)...); code != 1 || !strings.Contains(errs, users+", line 3, role: found role \"owner\"") {
			t.Errorf("%s of a broken file: found %d, %s", words, code, errs)
		}
	}
}

// TestServeUsers: 'flourcast serve --users' lets in who signs in, and says so.
func TestServeUsers(t *testing.T) {
	users, book := filepath.Join(t.TempDir(), "users.toml"), filepath.Join(t.TempDir(), "book")
	if _, errs, code := call(t, "init", book); code != 0 {
		t.Fatal(errs)
	}
	if _, errs, code := typed(t, "correct horse battery\n", "user", "add", "anna", "--role", "reader", "--users", users); code != 0 {
		t.Fatal(errs)
	}
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	out, in := io.Pipe()
	ended := make(chan int)
	var said bytes.Buffer
	go func() {
		ended <- run(ctx, []string{"serve", "--book", book, "--users", users, "--contact", "Ada", "--json"}, nil, in, &said)
		in.Close()
	}()
	var at struct{ Schema, Address string }
	if err := json.NewDecoder(out).Decode(&at); err != nil || at.Schema != "flourcast.serve/1" {
		t.Fatalf("found %+v, %v", at, err)
	}
	go func() { _, _ = io.Copy(io.Discard, out) }()
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	client := &http.Client{Jar: jar}
	page := func(r *http.Response, err error) (string, string) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close()
		body, err := io.ReadAll(r.Body)
		if err != nil {
			t.Fatal(err)
		}
		return r.Request.URL.Path, string(body)
	}
	path, body := page(client.Get(at.Address + "lots"))
	token := regexp.MustCompile(`name="token" value="([0-9a-f]+)"`).FindStringSubmatch(body)
	if path != "/login" || token == nil || !strings.Contains(body, "Ask Ada") {
		t.Fatalf("found %s, expected the sign-in", path)
	}
	path, body = page(client.PostForm(at.Address+"login", url.Values{"token": {token[1]}, "name": {"anna"}, "password": {"correct horse battery"}, "next": {"/lots"}}))
	if path != "/lots" || !strings.Contains(body, "Signed in: <b>anna</b>, reader") {
		t.Errorf("found %s", path)
	}
	stop()
	if code := <-ended; code != 0 {
		t.Errorf("exit code: found %d", code)
	}
	if log := said.String(); !strings.Contains(log, "signed in") || !strings.Contains(log, "name=anna") || strings.Contains(log, "horse") {
		t.Errorf("the log: found %s", log)
	}
}
