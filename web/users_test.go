package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"flourcast/study/bookkeeping"
	"flourcast/web/gate"
	"flourcast/web/guard"
	"flourcast/web/people"
	"flourcast/web/session"
)

// One user of each role, and the cost of their hashes, which tests keep low.
var (
	team  = map[string]people.Role{"Rita Reader": people.Reader, "Tom": people.Technician, "Sven": people.Scientist}
	light = people.Cost{MemoryKiB: 64, Passes: 1, Lanes: 1}
)

func passwordOf(name string) string { return "battery horse of " + name + " 7" }

// roll is a file of the team.
func roll(t testing.TB) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "users.toml")
	for name, role := range team {
		err := people.Edit(path, true, func(r *people.Roll) error { return r.Add(name, role, passwordOf(name), light) })
		if err != nil {
			t.Fatal(err)
		}
	}
	return path
}

// hand is a clock that a test turns.
type hand struct {
	mu  sync.Mutex
	now time.Time
}

func (h *hand) clock() time.Time { h.mu.Lock(); defer h.mu.Unlock(); return h.now }

func (h *hand) on(d time.Duration) { h.mu.Lock(); defer h.mu.Unlock(); h.now = h.now.Add(d) }

// shared is a bench over an empty book that the team may sign in to, on loopback.
func shared(t testing.TB) (b browser, users string, clock *hand) {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "book")
	if _, err := bookkeeping.Init(context.Background(), dir); err != nil {
		t.Fatal(err)
	}
	o := offered(dir)
	clock = &hand{now: env().Clock()}
	o.Env.Clock, o.Contact = clock.clock, "Ada (ext. 12)"
	users = roll(t)
	return served(t, Reach{Address: "127.0.0.1:0", Users: users}, o), users, clock
}

// fresh is another browser at the same bench, which follows no redirect.
func (b browser) fresh() browser {
	jar, _ := cookiejar.New(nil)
	return browser{&http.Client{Jar: jar, Transport: b.Transport, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}, b.t, b.base}
}

// ask sends a request with an ordinary form.
func (b browser) ask(method, path string, form url.Values, head ...string) (*http.Response, string) {
	b.t.Helper()
	r, err := http.NewRequest(method, b.base+path, strings.NewReader(form.Encode()))
	if err != nil {
		b.t.Fatal(err)
	}
	if form != nil {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	for i := 0; i < len(head); i += 2 {
		r.Header.Set(head[i], head[i+1])
	}
	answer, err := b.Do(r)
	if err != nil {
		b.t.Fatal(err)
	}
	_, body, _ := read(b.t, answer)
	return answer, body
}

// formToken is the token of the sign-in form.
func (b browser) formToken() string {
	b.t.Helper()
	_, body := b.ask("GET", "/login", nil)
	m := tokenField.FindStringSubmatch(body)
	if m == nil {
		b.t.Fatal("no token on /login")
	}
	return m[1]
}

// sign tries to sign in.
func (b browser) sign(name, password, next string) (*http.Response, string) {
	b.t.Helper()
	return b.ask("POST", "/login", url.Values{"token": {b.formToken()}, "name": {name}, "password": {password}, "next": {next}})
}

// as is a browser in which somebody of the team is signed in.
func (b browser) as(name string) browser {
	b.t.Helper()
	b = b.fresh()
	if r, body := b.sign(name, passwordOf(name), ""); r.StatusCode != http.StatusSeeOther {
		b.t.Fatalf("signing %s in: found %d: %s", name, r.StatusCode, body)
	}
	return b
}

// id is the value of the browser's cookie.
func (b browser) id() string {
	at, _ := url.Parse(b.base)
	for _, c := range b.Jar.Cookies(at) {
		if strings.Contains(c.Name, guard.Cookie) {
			return c.Value
		}
	}
	return ""
}

// TestEveryRouteHasARole: a route that is registered is in the table or open, the table
// has no other, and no change is a reader's.
func TestEveryRouteHasARole(t *testing.T) {
	registered := map[string]bool{"GET /static/": true}
	for _, p := range append(Pages(), new(gate.Gate).Pages()...) {
		for route := range p.Routes {
			registered[route] = true
		}
	}
	open := map[string]bool{}
	for _, route := range gate.Open {
		open[route] = true
		if !registered[route] {
			t.Errorf("%s is open, and is no route", route)
		}
	}
	for route := range registered {
		least, listed := Least[route]
		switch {
		case listed == open[route]:
			t.Errorf("%s: in web.Least %v, open to all %v: put it into web.Least (roles.go) with the role that it needs", route, listed, open[route])
		case listed && !people.Scientist.May(least):
			t.Errorf("%s: found role %q", route, least)
		case listed && !strings.HasPrefix(route, "GET ") && people.Reader.May(least):
			t.Errorf("%s: a reader may change something", route)
		}
	}
	for route := range Least {
		if !registered[route] {
			t.Errorf("%s is in web.Least, and is no route", route)
		}
	}
}

var placeholder = regexp.MustCompile(`\{[a-z]+\}`)

// TestRolesOnRoutes: every route, asked for by nobody and by each role. A POST of a role
// that reaches gets as far as its missing token.
func TestRolesOnRoutes(t *testing.T) {
	b, _, _ := shared(t)
	askers := map[string]browser{"": b.fresh()}
	askers[""].ask("GET", "/login", nil) // a cookie, as every browser has
	for name := range team {
		askers[name] = b.as(name)
	}
	for route, least := range Least {
		method, path, _ := strings.Cut(route, " ")
		path = placeholder.ReplaceAllString(strings.TrimSuffix(path, "{$}"), "x")
		methods := []string{method}
		if method == "GET" {
			methods = []string{"GET", "HEAD"}
		}
		for _, method := range methods {
			for name, asker := range askers {
				var form url.Values
				if method == "POST" {
					form = url.Values{"name": {"x"}}
				}
				r, body := asker.ask(method, path, form)
				reaches := team[name].May(least)
				switch {
				case name == "" && method != "POST":
					if r.StatusCode != 303 || !strings.HasPrefix(r.Header.Get("Location"), "/login") {
						t.Errorf("%s %s by nobody: found %d to %q, expected the sign-in", method, path, r.StatusCode, r.Header.Get("Location"))
					}
				case name == "":
					if r.StatusCode != 403 || !strings.Contains(body, "not signed in") {
						t.Errorf("%s %s by nobody: found %d, expected 403 and why", method, path, r.StatusCode)
					}
				case !reaches:
					if r.StatusCode != 403 || method != "HEAD" && (!strings.Contains(body, "needs the role "+string(least)) || !strings.Contains(body, "ask Ada (ext. 12)")) {
						t.Errorf("%s %s by %s: found %d, expected 403, the role and whom to ask", method, path, name, r.StatusCode)
					}
				case method == "POST":
					if r.StatusCode != 403 || !strings.Contains(body, "not from a page of this server") {
						t.Errorf("%s %s by %s without a token: found %d, expected 403", method, path, name, r.StatusCode)
					}
				case r.StatusCode == 403 || r.StatusCode == 303 || r.StatusCode >= 500:
					t.Errorf("%s %s by %s: found %d, expected the page", method, path, name, r.StatusCode)
				}
				if r.Header.Get("Content-Security-Policy") != guard.Policy {
					t.Errorf("%s %s by %q: no policy", method, path, name)
				}
			}
		}
	}
	for path, code := range map[string]int{"/nowhere": 404, "/static/bench.css": 200} {
		if r, _ := askers["Rita Reader"].ask("GET", path, nil); r.StatusCode != code {
			t.Errorf("%s: found %d, expected %d", path, r.StatusCode, code)
		}
	}
	if r, _ := askers[""].ask("GET", "/nowhere", nil); r.StatusCode != 303 {
		t.Errorf("nobody is told which pages there are not: found %d", r.StatusCode)
	}
	if r, _ := askers[""].ask("GET", "/lots/x/curves", nil, "Sec-Fetch-Mode", "cors"); r.StatusCode != 401 {
		t.Errorf("a script without a session: found %d, expected 401", r.StatusCode)
	}
	r, err := http.NewRequest("GET", b.base+"/login", nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Host = "mill.example"
	if r, err := b.Do(r); err != nil || r.StatusCode != 403 {
		t.Errorf("under another name: found %v, %v; expected 403", r.StatusCode, err)
	}
}

// TestPagesOfARole: the bar has the pages that a role may see, and who is signed in;
// nobody is told the name of the book.
func TestPagesOfARole(t *testing.T) {
	b, _, _ := shared(t)
	_, body := b.fresh().ask("GET", "/login", nil)
	for _, no := range []string{"<nav", "Signed in", `<span>` + "Invented", "/lots"} {
		if strings.Contains(body, no) {
			t.Errorf("sign-in: %q is on the page", no)
		}
	}
	for _, want := range []string{"<h1>Sign in</h1>", "Ask Ada (ext. 12)", `autocomplete="current-password"`, `name="token"`} {
		if !strings.Contains(body, want) {
			t.Errorf("sign-in: %q is not on the page", want)
		}
	}
	for name, role := range team {
		_, body := b.as(name).ask("GET", "/lots", nil)
		if !strings.Contains(body, "Signed in: <b>"+name+"</b>, "+string(role)) || !strings.Contains(body, `action="/logout"`) {
			t.Errorf("%s: the bar does not say who is signed in", name)
		}
		for path, least := range map[string]people.Role{"/add": people.Technician, "/forecast": people.Technician, "/suit": people.Reader} {
			if got := strings.Contains(body, `<li><a href="`+path+`"`); got != role.May(least) {
				t.Errorf("%s: %s in the bar: found %v", name, path, got)
			}
		}
	}
}

// TestSignIn: a new id that only the answer has, the way back, and nothing that tells an
// unknown name from a wrong password.
func TestSignIn(t *testing.T) {
	b, _, _ := shared(t)
	one := b.fresh()
	before := one.formToken()
	old := one.id()
	r, _ := one.ask("POST", "/login", url.Values{"token": {before}, "name": {"  rita READER "}, "password": {passwordOf("Rita Reader")}, "next": {"/lots?search=N2"}})
	if r.StatusCode != 303 || r.Header.Get("Location") != "/lots?search=N2" {
		t.Fatalf("found %d to %q", r.StatusCode, r.Header.Get("Location"))
	}
	c := r.Cookies()[0]
	if c.Value == old || len(c.Value) != 64 || !c.HttpOnly || c.Secure || c.SameSite != http.SameSiteLaxMode || c.Path != "/" || c.MaxAge != 0 || !c.Expires.IsZero() {
		t.Errorf("cookie: found %+v, expected a new id of 256 bits, HttpOnly, SameSite=Lax, gone with the browser, not Secure on plain loopback", c)
	}
	if r, _ := b.fresh().ask("GET", "/", nil, "Cookie", c.Name+"="+old); r.StatusCode != 303 {
		t.Errorf("the id from before the sign-in: found %d, expected nobody", r.StatusCode)
	}
	if r, _ := b.fresh().ask("GET", "/", nil, "Cookie", c.Name+"="+c.Value); r.StatusCode != 200 {
		t.Errorf("the id: found %d", r.StatusCode)
	}
	if r, _ := one.ask("POST", "/logout", url.Values{"token": {before}}); r.StatusCode != 403 {
		t.Errorf("the token from before the sign-in: found %d, expected 403", r.StatusCode)
	}

	two := b.fresh()
	_, wrong := two.sign("Rita Reader", "battery horse of nobody", "/lots")
	r, unknown := two.sign("Rita Rider", "battery horse of nobody", "/lots")
	if r.StatusCode != 403 || strings.ReplaceAll(unknown, "Rider", "Reader") != wrong || !strings.Contains(wrong, "do not go together") || !strings.Contains(wrong, `name="next" value="/lots"`) {
		t.Errorf("unknown: found %d and\n%s\nwrong password:\n%s", r.StatusCode, unknown, wrong)
	}
	if strings.Contains(wrong, "battery") {
		t.Error("the password is on the page")
	}
	if r, _ := two.ask("GET", "/", nil); r.StatusCode != 303 {
		t.Errorf("after two failures: found %d", r.StatusCode)
	}
	form := url.Values{"name": {"Tom"}, "password": {passwordOf("Tom")}}
	if r, _ := two.ask("POST", "/login", form); r.StatusCode != 403 || two.id() == "" {
		t.Errorf("without the form's token: found %d, expected 403", r.StatusCode)
	}
	form.Set("token", two.formToken())
	if r, _ := two.ask("POST", "/login", form, "Origin", "http://mill.example"); r.StatusCode != 403 {
		t.Errorf("from a foreign page: found %d, expected 403", r.StatusCode)
	}
	form.Set("password", strings.Repeat("x", 20<<10))
	if r, _ := two.ask("POST", "/login", form); r.StatusCode != 413 {
		t.Errorf("a form of 20 kB: found %d, expected 413", r.StatusCode)
	}
	for _, next := range []string{"//mill.example/", "https://mill.example/", "/\\mill.example", "javascript:alert(1)", "/login", "/logout", ""} {
		if r, _ := b.fresh().sign("Tom", passwordOf("Tom"), next); r.StatusCode != 303 || r.Header.Get("Location") != "/" {
			t.Errorf("back to %q: found %d to %q, expected the first page", next, r.StatusCode, r.Header.Get("Location"))
		}
	}
}

// TestSignOut: the session is over on the server, not in the browser only.
func TestSignOut(t *testing.T) {
	b, _, _ := shared(t)
	one := b.as("Tom")
	_, body := one.ask("GET", "/", nil)
	token := tokenField.FindStringSubmatch(body)[1]
	at, err := url.Parse(b.base)
	if err != nil {
		t.Fatal(err)
	}
	before := one.Jar.Cookies(at)[0].String()
	if r, _ := b.fresh().ask("GET", "/", nil, "Cookie", before); r.StatusCode != 200 {
		t.Fatalf("the cookie in another browser: found %d", r.StatusCode)
	}
	if r, _ := one.ask("GET", "/logout", nil); r.StatusCode != 405 {
		t.Errorf("GET /logout: found %d, expected 405: reading changes nothing", r.StatusCode)
	}
	if r, _ := one.ask("POST", "/logout", url.Values{}); r.StatusCode != 403 {
		t.Errorf("without the token: found %d, expected 403", r.StatusCode)
	}
	r, _ := one.ask("POST", "/logout", url.Values{"token": {token}})
	if r.StatusCode != 303 || r.Header.Get("Location") != "/login" || one.Jar.Cookies(at)[0].String() == before {
		t.Errorf("found %d to %q, expected the sign-in and another id", r.StatusCode, r.Header.Get("Location"))
	}
	for _, r := range []*http.Response{first(one.ask("GET", "/", nil)), first(b.fresh().ask("GET", "/", nil, "Cookie", before))} {
		if r.StatusCode != 303 {
			t.Errorf("afterwards: found %d, expected nobody", r.StatusCode)
		}
	}
}

func first(r *http.Response, _ string) *http.Response { return r }

// TestSessionEnds: when it was idle for long, and some time after it began.
func TestSessionEnds(t *testing.T) {
	b, _, clock := shared(t)
	one := b.as("Tom")
	token := tokenField.FindStringSubmatch(second(one.ask("GET", "/add", nil)))[1]
	for range int(session.Longest/session.Idle)*2 - 1 {
		clock.on(session.Idle / 2)
		if r, _ := one.ask("GET", "/jobs", nil); r.StatusCode != 200 {
			t.Fatalf("in use: found %d", r.StatusCode)
		}
	}
	clock.on(session.Idle / 2)
	if r, body := one.ask("POST", "/add", url.Values{"token": {token}}); r.StatusCode != 403 || !strings.Contains(body, "not any more") {
		t.Errorf("a form after %v: found %d", session.Longest, r.StatusCode)
	}
	two := b.as("Tom")
	clock.on(session.Idle)
	if r, _ := two.ask("GET", "/lots?search=a", nil); r.StatusCode != 303 || r.Header.Get("Location") != "/login?next=%2Flots%3Fsearch%3Da" {
		t.Errorf("idle: found %d to %q", r.StatusCode, r.Header.Get("Location"))
	}
}

func second(_ *http.Response, body string) string { return body }

// TestGuessing: after some failures a name has to wait, known or not, with the right
// password too; others do not, until the address has to.
func TestGuessing(t *testing.T) {
	b, _, clock := shared(t)
	one := b.fresh()
	for _, name := range []string{"Sven", "Nobody"} {
		for i := range 8 {
			if r, _ := one.sign(name, fmt.Sprint("guess number ", i), ""); r.StatusCode != 403 {
				t.Fatalf("%s, guess %d: found %d", name, i+1, r.StatusCode)
			}
		}
		r, body := one.sign(name, passwordOf(name), "")
		if r.StatusCode != 429 || r.Header.Get("Retry-After") != "60" || !strings.Contains(body, "Try again in 60 seconds.") {
			t.Errorf("%s: found %d after %q s, expected 429 and a wait of 60", name, r.StatusCode, r.Header.Get("Retry-After"))
		}
	}
	if r, _ := one.sign("Tom", passwordOf("Tom"), ""); r.StatusCode != 303 {
		t.Errorf("somebody else: found %d", r.StatusCode)
	}
	codes := map[int]int{}
	for i := range 20 {
		r, _ := one.sign(fmt.Sprint("name ", i), "guess", "")
		codes[r.StatusCode]++
	}
	if codes[403] == 0 || codes[429] == 0 || len(codes) != 2 {
		t.Errorf("one address under many names: found %v, expected an end", codes)
	}
	clock.on(2 * time.Minute)
	if r, _ := one.sign("Sven", passwordOf("Sven"), ""); r.StatusCode != 303 {
		t.Errorf("after the wait: found %d", r.StatusCode)
	}
}

// TestUsersChange: what the file says counts from the next request on.
func TestUsersChange(t *testing.T) {
	b, users, _ := shared(t)
	edit := func(f func(*people.Roll) error) {
		t.Helper()
		if err := people.Edit(users, false, f); err != nil {
			t.Fatal(err)
		}
	}
	see := func(what string, b browser, path string, code int) {
		t.Helper()
		if r, _ := b.ask("GET", path, nil); r.StatusCode != code {
			t.Errorf("%s: found %d, expected %d", what, r.StatusCode, code)
		}
	}
	rita, tom, sven := b.as("Rita Reader"), b.as("Tom"), b.as("Sven")
	see("a reader", rita, "/add", 403)
	edit(func(r *people.Roll) error { return r.SetRole("Rita Reader", people.Technician) })
	see("with another role", rita, "/add", 200)
	edit(func(r *people.Roll) error { return r.SetPassword("Tom", "another phrase of Tom", light) })
	see("with another password", tom, "/lots", 303)
	edit(func(r *people.Roll) error { return r.Remove("Sven") })
	see("removed", sven, "/lots", 303)
	edit(func(r *people.Roll) error { return r.Add("Sven", people.Reader, passwordOf("Sven"), light) })
	see("removed, and there anew", sven, "/lots", 303)

	whole, err := os.ReadFile(users)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(users, append(whole, "[[user]\n"...), 0o600); err != nil {
		t.Fatal(err)
	}
	see("a broken file", rita, "/lots", 503)
	if r, body := b.fresh().sign("Rita Reader", passwordOf("Rita Reader"), ""); r.StatusCode != 503 || !strings.Contains(body, "Ada") || strings.Contains(body, users) {
		t.Errorf("signing in meanwhile: found %d, expected 503 and whom to tell", r.StatusCode)
	}
	if err := os.WriteFile(users, whole, 0o600); err != nil {
		t.Fatal(err)
	}
	see("mended", rita, "/lots", 200)
}

// TestWhoDidIt: what is written down is written under the name of who is signed in,
// whatever the form says.
func TestWhoDidIt(t *testing.T) {
	at, dir := copied(t)
	b := served(t, Reach{Address: "127.0.0.1:0", Users: roll(t)}, offered(at)).as("Tom")
	b.CheckRedirect = nil
	curve := filepath.Join(t.TempDir(), "friday.csv")
	lift(t, filepath.Join(dir, "raw", "new", "curves.csv"), curve, "N26-001", "N27-970")
	fields := map[string]string{"token": b.token(), "operator": "Somebody Else"}
	code, body, to := b.send("/add", fields, map[string][]string{"files": {curve}})
	if code != 200 || !strings.Contains(body, "under your name, Tom") || strings.Contains(body, `name="operator"`) {
		t.Errorf("looking: found %d, expected the page to say whose name", code)
	}
	_, _, work := b.send(to.Path+"/confirm", fields, nil)
	if code, _ := b.outcome(work); code != 200 {
		t.Fatalf("storing: found %d", code)
	}
	if _, body, _ := b.get("/lots/N27-970"); !strings.Contains(body, ">Tom<") || strings.Contains(body, "Somebody Else") {
		t.Error("the lot's trail does not say Tom")
	}
	row := b.model()
	r, _ := b.fresh().ask("GET", "/", nil)
	if r.StatusCode != 303 {
		t.Fatalf("found %d", r.StatusCode)
	}
	_, _, work = b.send("/forecast/book", map[string]string{"token": fields["token"], "operator": "Somebody Else", "model": row, "lots": "N27-970", "record": "yes"}, nil)
	if code, _ := b.outcome(work); code != 200 {
		t.Fatalf("forecasting: found %d", code)
	}
	if _, body, _ := b.get("/trail?lot=N27-970"); strings.Contains(body, "Somebody Else") || strings.Count(body, ">Tom<") < 2 {
		t.Error("the trail of the forecast does not say Tom")
	}
}

// TestManyAtOnce: signing in, reading and changes of the file beside each other, for the
// race detector.
func TestManyAtOnce(t *testing.T) {
	b, users, _ := shared(t)
	var all sync.WaitGroup
	for name := range team {
		for range 3 {
			all.Go(func() {
				b := b.as(name)
				for range 5 {
					if r, _ := b.ask("GET", "/jobs", nil); r.StatusCode != 200 {
						t.Errorf("%s: found %d", name, r.StatusCode)
					}
				}
			})
		}
	}
	all.Go(func() {
		for i := range 5 {
			if err := people.Edit(users, false, func(r *people.Roll) error {
				return r.Add(fmt.Sprint("New ", i), people.Reader, passwordOf("anybody"), light)
			}); err != nil {
				t.Error(err)
			}
		}
	})
	all.Wait()
}

// TestNoUsers: without users nobody is asked, and the sign-in is not there.
func TestNoUsers(t *testing.T) {
	b := bench(t, filepath.Join(t.TempDir(), "none"))
	for path, code := range map[string]int{"/login": 404, "/add": 200} {
		got, body, _ := b.get(path)
		if got != code || strings.Contains(body, "Signed in") {
			t.Errorf("%s: found %d, expected %d and nobody signed in", path, got, code)
		}
	}
	if _, err := (Reach{Address: "127.0.0.1:0", Users: filepath.Join(t.TempDir(), "none.toml")}).Open(env().Clock); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a file of users that is not there: found %v", err)
	}
}
