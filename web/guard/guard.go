// Package guard keeps strangers out of pages that are meant for a few.
//
//  1. Wrap answers only requests whose Host is one of the server's own names, so that
//     a foreign page cannot reach it under a name of its own.
//  2. Every answer carries the headers that forbid scripts, styles and requests from
//     elsewhere, and being framed, guessed at or kept by others.
//  3. A browser gets a cookie with a random id that it sends to nobody else. Whatever may
//     change something has to be a POST that carries the id's token besides.
//  4. Who is let in is asked before a body is read, by whoever calls Wrap.
//  5. Bodies have a largest size. Files of a form that do not stay in memory are
//     removed when the answer was given.
//
// It knows no page, user or password. Where nobody is asked for one, whoever can start a
// program on the machine is taken for the user who started the server.
package guard

import (
	"cmp"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
)

// Policy is the content security policy of every answer: all from this server, no
// inline script, no inline style, no frame.
const Policy = "default-src 'self'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; font-src 'none'; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"

const (
	// Cookie is the usual name of the cookie.
	Cookie = "flourcast_session"
	// TokenField is the form field that carries the token.
	TokenField = "token"
	inMemory   = 8 << 20 // bytes of a form's files; the rest goes to temporary files
	idSize     = 32      // bytes
)

// hsts tells browsers to come by TLS only for a month, on all ports of the host's name.
const hsts = "max-age=2592000"

// Options say how a server is reached.
type Options struct {
	Hosts []string // as browsers send them: "127.0.0.1:8080"; small letters
	Limit int64    // bytes of a body
	// TLS: cookies are Secure and of this host alone (prefix __Host-), and a form comes
	// from an https page.
	TLS bool
	// OnlyTLS: browsers are told to remember that the names are reached by TLS only.
	OnlyTLS bool
	// Linked: a link on a foreign page, such as in a mail, finds the session (SameSite=Lax).
	// Else it does not (Strict). No foreign page can send a form either way.
	Linked bool
	Cookie string // its name; empty: Cookie
}

// Ask answers a request that is not let in and returns false, or returns the request
// with what it found out about it. It must not read the body, but may put a lower limit
// on it.
type Ask func(w http.ResponseWriter, r *http.Request) (*http.Request, bool)

// Guard checks requests. Make one with New.
type Guard struct {
	o      Options
	scheme string
	key    []byte
}

// New makes a guard. Tokens end with the guard.
func New(o Options) (*Guard, error) {
	o.Hosts, o.Cookie = slices.Clone(o.Hosts), cmp.Or(o.Cookie, Cookie)
	g := &Guard{o: o, scheme: "http", key: make([]byte, 32)}
	if o.TLS {
		g.scheme, g.o.Cookie = "https", "__Host-"+o.Cookie
	}
	if _, err := rand.Read(g.key); err != nil {
		return nil, fmt.Errorf("guard: no random numbers: %w", err)
	}
	return g, nil
}

// Wrap puts the guard before h. ask, which may be nil, comes after what can be told from
// the head of a request, and before its body is read.
func (g *Guard) Wrap(h http.Handler, ask Ask) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		g.headers(w.Header())
		if !slices.Contains(g.o.Hosts, strings.ToLower(r.Host)) {
			http.Error(w, "This page does not go by that name: ask for it under the address that 'flourcast serve' printed.", http.StatusForbidden)
			return
		}
		switch r.Method {
		case http.MethodGet, http.MethodHead:
			r = g.welcome(w, r)
		case http.MethodPost:
			r.Body = http.MaxBytesReader(w, r.Body, g.o.Limit)
			if !g.fromHere(r) {
				http.Error(w, again, http.StatusForbidden)
				return
			}
		default:
			w.Header().Set("Allow", "GET, HEAD, POST")
			http.Error(w, "Only GET, HEAD and POST are known here.", http.StatusMethodNotAllowed)
			return
		}
		if ask != nil {
			var in bool
			if r, in = ask(w, r); !in {
				return
			}
		}
		if r.Method == http.MethodPost {
			status, why := g.admit(r)
			if r.MultipartForm != nil {
				defer func() { _ = r.MultipartForm.RemoveAll() }() // the system's own cleaning takes what is left
			}
			if why != "" {
				http.Error(w, why, status)
				return
			}
		}
		h.ServeHTTP(w, r)
	})
}

func (g *Guard) headers(h http.Header) {
	if g.o.OnlyTLS {
		h.Set("Strict-Transport-Security", hsts)
	}
	h.Set("Content-Security-Policy", Policy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("X-Frame-Options", "DENY")
	h.Set("Referrer-Policy", "same-origin")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Permissions-Policy", "camera=(), geolocation=(), microphone=()")
	h.Set("Cache-Control", "no-store")
}

// welcome gives a browser without an id one.
func (g *Guard) welcome(w http.ResponseWriter, r *http.Request) *http.Request {
	if g.ID(r) != "" {
		return r
	}
	c := g.cookie()
	http.SetCookie(w, c)
	r.AddCookie(c)
	return r
}

// cookie carries a new id: 256 random bits.
func (g *Guard) cookie() *http.Cookie {
	id := make([]byte, idSize)
	_, _ = rand.Read(id) // never fails, by its documentation
	c := &http.Cookie{Name: g.o.Cookie, Value: hex.EncodeToString(id), Path: "/", HttpOnly: true, Secure: g.o.TLS, SameSite: http.SameSiteStrictMode}
	if g.o.Linked {
		c.SameSite = http.SameSiteLaxMode
	}
	return c
}

// Renew gives the browser a new id, so that nobody who knew the old one has the new, and
// returns it.
func (g *Guard) Renew(w http.ResponseWriter) string {
	c := g.cookie()
	http.SetCookie(w, c)
	return c.Value
}

const again = "This form is not from a page of this server, or the server was started anew since: load the page again, then send it."

// fromHere reports whether the head of a POST is that of a form on a page of this server.
func (g *Guard) fromHere(r *http.Request) bool {
	site := r.Header.Get("Sec-Fetch-Site")
	return g.ID(r) != "" && g.own(r.Header.Get("Origin")) && (site == "" || site == "same-origin")
}

// admit reads a POST's form and says why it is refused, or "".
func (g *Guard) admit(r *http.Request) (status int, why string) {
	err := r.ParseForm()
	if err == nil {
		err = r.ParseMultipartForm(inMemory)
	}
	if err != nil && !errors.Is(err, http.ErrNotMultipart) {
		var large *http.MaxBytesError
		if errors.As(err, &large) {
			return http.StatusRequestEntityTooLarge, fmt.Sprintf("The files are larger than %.3g MB together: send them one after another, or use 'flourcast add'.", float64(large.Limit)/(1<<20))
		}
		return http.StatusBadRequest, "The form could not be read: " + err.Error()
	}
	if !hmac.Equal([]byte(r.PostFormValue(TokenField)), []byte(g.Token(r))) {
		return http.StatusForbidden, again
	}
	return 0, ""
}

// own reports whether an Origin header, if there is one, names this server.
func (g *Guard) own(origin string) bool {
	if origin == "" {
		return true
	}
	u, err := url.Parse(origin)
	return err == nil && u.Scheme == g.scheme && slices.Contains(g.o.Hosts, strings.ToLower(u.Host))
}

// ID is the id in the request's cookie, or "". Whoever knows it is taken for that browser.
func (g *Guard) ID(r *http.Request) string {
	c, err := r.Cookie(g.o.Cookie)
	if err != nil {
		return ""
	}
	return c.Value
}

// Token is what a form on a page for the request's browser has to carry in TokenField:
// an HMAC-SHA256 of the id under the guard's key.
func (g *Guard) Token(r *http.Request) string {
	mac := hmac.New(sha256.New, g.key)
	mac.Write([]byte(g.ID(r)))
	return hex.EncodeToString(mac.Sum(nil))
}
