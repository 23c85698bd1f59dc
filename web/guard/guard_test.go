package guard

import (
	"bytes"
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
	g, err := New([]string{host, "localhost:4711"}, 4096)
	if err != nil {
		t.Fatal(err)
	}
	h = g.Wrap(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		_, _ = io.WriteString(w, g.Token(r)+" "+r.FormValue("name"))
	}))
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
		{"reading under a stranger's name", "GET", "mill.example:4711", nil, nil, "", 403},
		{"reading at another port", "GET", "127.0.0.1:4712", nil, nil, "", 403},
		{"a change with session and token", "POST", host, session, nil, form, 200},
		{"with the own origin", "POST", host, session, map[string]string{"Origin": "http://" + host, "Sec-Fetch-Site": "same-origin"}, form, 200},
		{"without a token", "POST", host, session, nil, "name=mill", 403},
		{"with a wrong token", "POST", host, session, nil, "token=" + strings.Repeat("0", 64), 403},
		{"without a session", "POST", host, nil, nil, form, 403},
		{"with the token of another session", "POST", host, &http.Cookie{Name: session.Name, Value: "other"}, nil, form, 403},
		{"from a foreign origin", "POST", host, session, map[string]string{"Origin": "http://mill.example"}, form, 403},
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
	if session.SameSite != http.SameSiteStrictMode || !session.HttpOnly || session.Path != "/" || len(session.Value) < 20 {
		t.Errorf("session cookie: found %+v, expected SameSite=Strict, HttpOnly, of the whole server, at least 20 characters", session)
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
