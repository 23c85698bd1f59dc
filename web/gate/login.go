package gate

import (
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"flourcast/web/desk"
	"flourcast/web/frame"
)

// Pages are the sign-in and the sign-out. They have no place in the bar.
func (g *Gate) Pages() []desk.Page {
	return []desk.Page{{Path: "/login", Routes: map[string]desk.Handler{
		"GET /login": func(_ *desk.Desk, w http.ResponseWriter, r *http.Request) error {
			return g.form(w, r, loginView{Next: r.FormValue("next")})
		},
		"POST /login":  func(_ *desk.Desk, w http.ResponseWriter, r *http.Request) error { return g.login(w, r) },
		"POST /logout": func(_ *desk.Desk, w http.ResponseWriter, r *http.Request) error { return g.logout(w, r) },
	}}}
}

// loginView is what the sign-in form is filled with. Fault is why it is shown again.
type loginView struct {
	Name, Next, Fault, Contact string
	code                       int
}

func (g *Gate) form(w http.ResponseWriter, r *http.Request, v loginView) error {
	v.Contact = g.o.Contact
	if v.Next = inside(v.Next); v.Next == "/" {
		v.Next = ""
	}
	part, err := g.desk.Fill(r, forms, "login", v)
	if err != nil {
		return err
	}
	return g.desk.Show(w, r, frame.Page{Title: "Sign in", Code: v.code, Parts: []frame.Part{part}})
}

// login checks name and password. A name that nobody has gets the answer of a wrong
// password after the same work, and counts the same.
func (g *Gate) login(w http.ResponseWriter, r *http.Request) error {
	name, password, from := r.PostFormValue("name"), r.PostFormValue("password"), address(r.RemoteAddr)
	v := loginView{Name: name, Next: r.PostFormValue("next")}
	roll, err := g.o.Users.Roll()
	if err != nil {
		g.broken(w, r, err)
		return nil
	}
	// The address comes first, so that who guesses from one is stopped before they keep
	// the owner of the name out.
	key := strings.ToLower(strings.TrimSpace(name))
	if u, ok := roll.Find(name); ok {
		key = u.Name
	}
	wait := g.addresses.Try(from)
	if wait == 0 {
		wait = g.names.Try(key)
	}
	if wait > 0 {
		g.o.Log.Warn("too many sign-ins", "address", from)
		return g.later(w, r, v, http.StatusTooManyRequests, wait, "Too many sign-ins failed under this name or from this address.")
	}
	done, err := g.turn(r.Context())
	if err != nil {
		g.addresses.Return(from)
		g.names.Return(key)
		return g.later(w, r, v, http.StatusServiceUnavailable, queueing, "Too many sign in at a time.")
	}
	u, ok := roll.Check(name, password)
	done()
	if !ok {
		if _, known := roll.Find(name); !known {
			name = "(unknown)" // it may be a password in the wrong field
		}
		g.o.Log.Warn("a sign-in failed", "name", name, "address", from)
		v.Fault, v.code = "This name and this password do not go together.", http.StatusForbidden
		return g.form(w, r, v)
	}
	g.addresses.Return(from)
	g.names.Return(key)
	g.sessions.End(g.guard.ID(r))
	g.sessions.Start(g.guard.Renew(w), u.Name, u.Mark())
	g.o.Log.Info("signed in", "name", u.Name, "role", string(u.Role), "address", from)
	http.Redirect(w, r, inside(v.Next), http.StatusSeeOther)
	return nil
}

func (g *Gate) later(w http.ResponseWriter, r *http.Request, v loginView, code int, wait time.Duration, why string) error {
	w.Header().Set("Retry-After", strconv.Itoa(int((wait+time.Second-1)/time.Second)))
	v.Fault, v.code = why+" Try again in "+spoken(wait)+".", code
	return g.form(w, r, v)
}

// logout ends the session and leaves nothing of it in the browser.
func (g *Gate) logout(w http.ResponseWriter, r *http.Request) error {
	g.sessions.End(g.guard.ID(r))
	g.guard.Renew(w)
	http.Redirect(w, r, "/login", http.StatusSeeOther)
	return nil
}

// loginAddress is the sign-in that leads back to a page.
func loginAddress(to *url.URL) string {
	next := inside(to.RequestURI())
	if next == "/" {
		return "/login"
	}
	return "/login?" + url.Values{"next": {next}}.Encode()
}

// longestNext is how long the way back may be.
const longestNext = 2000

// inside is the way back to a page of this server; for all that could lead elsewhere it
// is the first page.
func inside(next string) string {
	if len(next) > longestNext || strings.ContainsFunc(next, func(c rune) bool { return c < ' ' || c == '\\' || c == 0x7f }) {
		return "/"
	}
	u, err := url.Parse(next)
	if err != nil || u.Scheme != "" || u.Opaque != "" || u.Host != "" || u.User != nil || !strings.HasPrefix(u.Path, "/") || strings.HasPrefix(u.Path, "//") || strings.ContainsAny(u.Path, "\\") {
		return "/"
	}
	if u.Path == "/login" || u.Path == "/logout" {
		return "/"
	}
	return (&url.URL{Path: u.Path, RawPath: u.RawPath, RawQuery: u.RawQuery}).String()
}
