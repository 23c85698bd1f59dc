package gate

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"flourcast/web/people"

	"pgregory.net/rapid"
)

func TestInside(t *testing.T) {
	for next, want := range map[string]string{
		"/": "/", "/lots": "/lots", "/lots/N25-001?with=N25-002": "/lots/N25-001?with=N25-002", "/lots/A%2FB": "/lots/A%2FB", "/relate/peak_mPas@noodle-water?response=hardness_N": "/relate/peak_mPas@noodle-water?response=hardness_N",
		"": "/", "lots": "/", "//mill.example": "/", "///mill.example": "/", `/\mill.example`: "/", `\\mill.example`: "/", "/%5cmill.example": "/", "https://mill.example/lots": "/", "https:/lots": "/", "javascript:alert(1)": "/",
		"/\t/mill.example": "/", " /lots": "/", "/lots#x": "/lots", "/login": "/", "/login?next=/login": "/", "/logout": "/", "//user@mill.example": "/", "/lots\r\nSet-Cookie: a=b": "/", "/" + strings.Repeat("x", longestNext): "/",
	} {
		if got := inside(next); got != want {
			t.Errorf("%q: found %q, expected %q", next, got, want)
		}
	}
}

// TestInsideStays: whatever comes, a browser that follows it stays on the server, and
// asking again changes nothing.
func TestInsideStays(t *testing.T) {
	base, err := url.Parse("https://bench.example:8443/login")
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		next := rapid.OneOf(rapid.String(), rapid.StringMatching(`[/\\]{0,3}[a-z@:%5cC2fF.?#]{0,20}`)).Draw(t, "next")
		got := inside(next)
		to, err := base.Parse(got)
		if err != nil || to.Host != base.Host || to.Scheme != base.Scheme || !strings.HasPrefix(got, "/") || strings.HasPrefix(got, "//") || strings.ContainsAny(got, "\\\r\n\t") {
			t.Errorf("%q leads to %q (%v)", next, got, err)
		}
		if again := inside(got); again != got {
			t.Errorf("%q: found %q, then %q", next, got, again)
		}
	})
}

func TestAddress(t *testing.T) {
	for remote, want := range map[string]string{
		"192.0.2.7:51000": "192.0.2.7", "[::ffff:192.0.2.7]:51000": "192.0.2.7", "[2001:db8:1:2:3:4:5:6]:51000": "2001:db8:1:2::/64", "[2001:db8:1:2::9%eth0]:4": "2001:db8:1:2::/64", "pipe": "pipe",
	} {
		if got := address(remote); got != want {
			t.Errorf("%s: found %s, expected %s", remote, got, want)
		}
	}
}

func TestSpoken(t *testing.T) {
	for wait, want := range map[time.Duration]string{time.Millisecond: "a second", 1500 * time.Millisecond: "2 seconds", time.Minute: "60 seconds", 61 * time.Second: "2 minutes"} {
		if got := spoken(wait); got != want {
			t.Errorf("%v: found %s, expected %s", wait, got, want)
		}
	}
}

// TestSign: the field is the name of who is signed in, in forms of both kinds; without
// users it is what was typed.
func TestSign(t *testing.T) {
	ordinary := "application/x-www-form-urlencoded"
	several := "--x\r\nContent-Disposition: form-data; name=\"operator\"\r\n\r\nEve\r\n--x--\r\n"
	for _, c := range []struct{ kind, body, user, want string }{
		{ordinary, "operator=Eve", "Tom", "Tom"}, {ordinary, "operator=Eve&operator=Eva", "Tom", "Tom"}, {ordinary, "", "Tom", "Tom"}, {ordinary, "operator=Eve", "", "Eve"},
		{"multipart/form-data; boundary=x", several, "Tom", "Tom"}, {"multipart/form-data; boundary=x", several, "", "Eve"},
	} {
		r := httptest.NewRequest("POST", "/add?operator=Ada", strings.NewReader(c.body))
		r.Header.Set("Content-Type", c.kind)
		if err := r.ParseMultipartForm(1000); err != nil && err != http.ErrNotMultipart {
			t.Fatal(err)
		}
		if c.user != "" {
			r = r.WithContext(people.With(r.Context(), people.User{Name: c.user, Role: people.Technician}))
		}
		Sign(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
			if got := r.PostFormValue("operator"); got != c.want {
				t.Errorf("%s %q by %q: found %q, expected %q", c.kind, c.body, c.user, got, c.want)
			}
			if got := r.FormValue("operator"); c.user != "" && (got != c.want || len(r.Form["operator"]) != 1) {
				t.Errorf("%s %q by %q, any value: found %q", c.kind, c.body, c.user, r.Form["operator"])
			}
			if c.user != "" && r.MultipartForm != nil && strings.Join(r.MultipartForm.Value["operator"], "") != c.want {
				t.Errorf("%s: found %q", c.kind, r.MultipartForm.Value)
			}
		})).ServeHTTP(httptest.NewRecorder(), r)
	}
}
