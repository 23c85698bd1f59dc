package guard

import (
	"bytes"
	"context"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
)

const host = "127.0.0.1:4711"

// guarded is a handler behind a guard, and a session of it with its token.
func guarded(t *testing.T) (h http.Handler, session *http.Cookie, token string) {
	t.Helper()
	g, err := New(Options{Hosts: []string{host, "localhost:4711"}, Limit: 4096})
	if err != nil {
		t.Fatal(err)
	}
	h = g.Wrap(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		_, _ = io.WriteString(w, g.Token(r)+" "+r.FormValue("name"))
	}), nil)
	first := call(h, http.MethodGet, host, nil, nil, "")
	cookies := first.Result().Cookies()
	if len(cookies) != 1 {
		t.Fatalf("cookies of a first visit: found %d, expected 1", len(cookies))
	}
	return h, cookies[0], strings.TrimSpace(first.Body.String())
}

func call(h http.Handler, method, host string, session *http.Cookie, header map[string]string, body string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, "/", strings.NewReader(body))
	r.Host = host
	if body != "" {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	if session != nil {
		r.AddCookie(session)
	}
	for k, v := range header {
		r.Header.Set(k, v)
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

func TestGuard(t *testing.T) {
	h, session, token := guarded(t)
	form := url.Values{"token": {token}, "name": {"mill"}}.Encode()
	cases := []struct {
		name, method, host string
		session            *http.Cookie
		header             map[string]string
		body               string
		want               int
	}{
		{"reading", "GET", host, nil, nil, "", 200},
		{"reading under localhost", "GET", "localhost:4711", nil, nil, "", 200},
		{"reading under a name in capitals", "GET", "LocalHost:4711", nil, nil, "", 200},
		{"reading under a stranger's name", "GET", "mill.example:4711", nil, nil, "", 403},
		{"reading at another port", "GET", "127.0.0.1:4712", nil, nil, "", 403},
		{"a change with session and token", "POST", host, session, nil, form, 200},
		{"with the own origin", "POST", host, session, map[string]string{"Origin": "http://" + host, "Sec-Fetch-Site": "same-origin"}, form, 200},
		{"without a token", "POST", host, session, nil, "name=mill", 403},
		{"with a wrong token", "POST", host, session, nil, "token=" + strings.Repeat("0", 64), 403},
		{"without a session", "POST", host, nil, nil, form, 403},
		{"with the token of another session", "POST", host, &http.Cookie{Name: session.Name, Value: "other"}, nil, form, 403},
		{"from a foreign origin", "POST", host, session, map[string]string{"Origin": "http://mill.example"}, form, 403},
		{"from the own name without encryption taken for one with", "POST", host, session, map[string]string{"Origin": "https://" + host}, form, 403},
		{"from an origin without a name", "POST", host, session, map[string]string{"Origin": "null"}, form, 403},
		{"from a foreign page", "POST", host, session, map[string]string{"Sec-Fetch-Site": "cross-site"}, form, 403},
		{"a token in the address only", "POST", host, session, nil, "name=mill&x=" + token, 403},
		{"too large", "POST", host, session, nil, form + "&x=" + strings.Repeat("y", 5000), 413},
		{"another method", "DELETE", host, session, nil, form, 405},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			w := call(h, c.method, c.host, c.session, c.header, c.body)
			if w.Code != c.want {
				t.Errorf("status: found %d (%s), expected %d", w.Code, w.Body, c.want)
			}
			head := w.Result().Header
			for name, want := range map[string]string{"Content-Security-Policy": Policy, "X-Content-Type-Options": "nosniff", "X-Frame-Options": "DENY", "Cache-Control": "no-store", "Referrer-Policy": "same-origin", "Cross-Origin-Opener-Policy": "same-origin"} {
				if head.Get(name) != want {
					t.Errorf("header %s: found %q, expected %q", name, head.Get(name), want)
				}
			}
		})
	}
}

func TestCookie(t *testing.T) {
	_, session, _ := guarded(t)
	if session.SameSite != http.SameSiteStrictMode || !session.HttpOnly || session.Path != "/" || session.Secure || session.Name != Cookie || len(session.Value) != 64 {
		t.Errorf("session cookie: found %+v, expected SameSite=Strict, HttpOnly, of the whole server, 256 bits, for plain HTTP", session)
	}
	if _, again, _ := guarded(t); again.Value == session.Value {
		t.Error("two sessions have one name")
	}
}

func TestPolicyForbidsInline(t *testing.T) {
	if !strings.HasPrefix(Policy, "default-src 'self'") || strings.Contains(Policy, "unsafe") || strings.Contains(Policy, "*") || strings.Contains(Policy, "http") {
		t.Errorf("policy: found %q, expected default-src 'self' and nothing that widens it", Policy)
	}
}

func TestFilesOfAForm(t *testing.T) {
	h, session, token := guarded(t)
	send := func(token string, size int) int {
		var b bytes.Buffer
		m := multipart.NewWriter(&b)
		_ = m.WriteField("token", token)
		f, _ := m.CreateFormFile("files", "a.csv")
		_, _ = f.Write(bytes.Repeat([]byte("x"), size))
		m.Close()
		return call(h, "POST", host, session, map[string]string{"Content-Type": m.FormDataContentType()}, b.String()).Code
	}
	for _, c := range []struct {
		token      string
		size, want int
	}{{token, 100, 200}, {"", 100, 403}, {token, 8000, 413}} {
		if got := send(c.token, c.size); got != c.want {
			t.Errorf("a file of %d bytes, token %q: found %d, expected %d", c.size, c.token, got, c.want)
		}
	}
	if got := call(h, "POST", host, session, map[string]string{"Content-Type": "multipart/form-data; boundary=x"}, "--x\r\nbroken").Code; got != 400 {
		t.Errorf("a broken form: found %d, expected 400", got)
	}
}

// TestTLS: behind TLS the cookie is Secure and of this host alone, forms come from https,
// and browsers are told to remember it; a link from elsewhere finds the session.
func TestTLS(t *testing.T) {
	for _, only := range []bool{true, false} {
		g, err := New(Options{Hosts: []string{"bench.example"}, Limit: 4096, TLS: true, OnlyTLS: only, Linked: true, Cookie: "flourcast_8443"})
		if err != nil {
			t.Fatal(err)
		}
		h := g.Wrap(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { _, _ = io.WriteString(w, g.Token(r)) }), nil)
		first := call(h, "GET", "bench.example", nil, nil, "")
		if got := first.Header().Get("Strict-Transport-Security"); (got == hsts) != only || !only && got != "" {
			t.Errorf("HSTS, wanted %v: found %q", only, got)
		}
		c := first.Result().Cookies()[0]
		if c.Name != "__Host-flourcast_8443" || !c.Secure || !c.HttpOnly || c.SameSite != http.SameSiteLaxMode || c.Path != "/" || c.Domain != "" {
			t.Errorf("cookie: found %+v, expected __Host-, Secure, HttpOnly, SameSite=Lax, of the whole host", c)
		}
		for origin, want := range map[string]int{"https://bench.example": 200, "http://bench.example": 403} {
			if got := call(h, "POST", "bench.example", c, map[string]string{"Origin": origin}, "token="+first.Body.String()).Code; got != want {
				t.Errorf("a form from %s: found %d, expected %d", origin, got, want)
			}
		}
	}
}

// TestAskBeforeTheBody: who is not let in has none of a body read; what ask found out
// goes on to the handler; a body has the limit that ask sets.
func TestAskBeforeTheBody(t *testing.T) {
	type found struct{}
	g, err := New(Options{Hosts: []string{host}, Limit: 4096})
	if err != nil {
		t.Fatal(err)
	}
	h := g.Wrap(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		_, _ = io.WriteString(w, g.Token(r))
		if r.Context().Value(found{}) != "anna" {
			t.Error("what ask found out is lost")
		}
	}), func(w http.ResponseWriter, r *http.Request) (*http.Request, bool) {
		if r.Header.Get("X-Out") != "" {
			w.WriteHeader(http.StatusTeapot)
			return r, false
		}
		r.Body = http.MaxBytesReader(w, r.Body, 100)
		return r.WithContext(context.WithValue(r.Context(), found{}, "anna")), true
	})
	first := call(h, "GET", host, nil, nil, "")
	c, token := first.Result().Cookies()[0], first.Body.String()
	body := &counted{Reader: strings.NewReader("token=" + token)}
	r := httptest.NewRequest("POST", "/", body)
	r.Host = host
	r.AddCookie(c)
	r.Header.Set("X-Out", "yes")
	w := httptest.NewRecorder()
	if h.ServeHTTP(w, r); w.Code != http.StatusTeapot || body.n != 0 {
		t.Errorf("not let in: found %d and %d bytes read, expected 418 and none", w.Code, body.n)
	}
	for size, want := range map[int]int{0: 200, 100: 413} {
		if got := call(h, "POST", host, c, nil, "token="+token+"&x="+strings.Repeat("y", size)).Code; got != want {
			t.Errorf("%d bytes more: found %d, expected %d", size, got, want)
		}
	}
}

type counted struct {
	io.Reader
	n int
}

func (c *counted) Read(p []byte) (int, error) {
	n, err := c.Reader.Read(p)
	c.n += n
	return n, err
}

// TestRenew: a new id has another token, and the old one's is none of it.
func TestRenew(t *testing.T) {
	g, err := New(Options{Hosts: []string{host}, Limit: 4096})
	if err != nil {
		t.Fatal(err)
	}
	w := httptest.NewRecorder()
	id := g.Renew(w)
	c := w.Result().Cookies()[0]
	r := httptest.NewRequest("GET", "/", nil)
	before := g.Token(r)
	r.AddCookie(c)
	if g.ID(r) != id || c.Value != id || len(id) != 64 || g.Token(r) == before {
		t.Errorf("found %q in the cookie and %q", g.ID(r), id)
	}
}
