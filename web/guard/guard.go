// Package guard keeps strangers out of a page that is meant for one machine.
//
//  1. Wrap answers only requests whose Host is one of the server's own names, so that
//     a foreign page cannot reach it under a name of its own.
//  2. Every answer carries the headers that forbid scripts, styles and requests from
//     elsewhere, and being framed, guessed at or kept by others.
//  3. A browser gets a session cookie that it sends to nobody else. Whatever may
//     change something has to be a POST that carries the session's token besides.
//  4. Bodies have a largest size. Files of a form that do not stay in memory are
//     removed when the answer was given.
//
// It knows no page. It asks nobody for a password: whoever can log in to the machine
// as the user who started the server is that user.
package guard

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
)

// Policy is the content security policy of every answer: all from this server, no
// inline script, no inline style, no frame.
const Policy = "default-src 'self'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; font-src 'none'; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"

const (
	cookie = "flourcast_session"
	// TokenField is the form field that carries the token.
	TokenField = "token"
	inMemory   = 8 << 20 // bytes of a form's files; the rest goes to temporary files
)

// Guard checks requests. Make one with New.
type Guard struct {
	hosts []string
	key   []byte
	limit int64
}

// New makes a guard for a server that is reached under hosts ("127.0.0.1:8080") and
// takes bodies of at most limit bytes. Sessions end with the guard.
func New(hosts []string, limit int64) (*Guard, error) {
	key := make([]byte, 32)
	if _, err := rand.Read(key); err != nil {
		return nil, fmt.Errorf("guard: no random numbers: %w", err)
	}
	return &Guard{hosts: slices.Clone(hosts), key: key, limit: limit}, nil
}

// Wrap puts the guard before h.
func (g *Guard) Wrap(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		headers(w.Header())
		if !slices.Contains(g.hosts, r.Host) {
			http.Error(w, "This page is for this machine only: ask for it under the address that 'flourcast serve' printed.", http.StatusForbidden)
			return
		}
		switch r.Method {
		case http.MethodGet, http.MethodHead:
			r = g.welcome(w, r)
		case http.MethodPost:
			r.Body = http.MaxBytesReader(w, r.Body, g.limit)
			status, why := g.admit(r)
			if r.MultipartForm != nil {
				defer func() { _ = r.MultipartForm.RemoveAll() }() // the system's own cleaning takes what is left
			}
			if why != "" {
				http.Error(w, why, status)
				return
			}
		default:
			w.Header().Set("Allow", "GET, HEAD, POST")
			http.Error(w, "Only GET, HEAD and POST are known here.", http.StatusMethodNotAllowed)
			return
		}
		h.ServeHTTP(w, r)
	})
}

func headers(h http.Header) {
	h.Set("Content-Security-Policy", Policy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("X-Frame-Options", "DENY")
	h.Set("Referrer-Policy", "same-origin")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Permissions-Policy", "camera=(), geolocation=(), microphone=()")
	h.Set("Cache-Control", "no-store")
}

// welcome gives a browser without a session one.
func (g *Guard) welcome(w http.ResponseWriter, r *http.Request) *http.Request {
	if session(r) != "" {
		return r
	}
	id := rand.Text()
	c := &http.Cookie{Name: cookie, Value: id, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode}
	http.SetCookie(w, c)
	r.AddCookie(c)
	return r
}

// admit says why a POST is refused, or "".
func (g *Guard) admit(r *http.Request) (status int, why string) {
	const again = "This form is not from a page of this server, or the server was started anew since: load the page again, then send it."
	if session(r) == "" || !g.own(r.Header.Get("Origin")) {
		return http.StatusForbidden, again
	}
	if site := r.Header.Get("Sec-Fetch-Site"); site != "" && site != "same-origin" {
		return http.StatusForbidden, again
	}
	err := r.ParseForm()
	if err == nil {
		err = r.ParseMultipartForm(inMemory)
	}
	if err != nil && !errors.Is(err, http.ErrNotMultipart) {
		var large *http.MaxBytesError
		if errors.As(err, &large) {
			return http.StatusRequestEntityTooLarge, fmt.Sprintf("The files are larger than %d MB together: send them one after another, or use 'flourcast add'.", large.Limit>>20)
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
	return err == nil && slices.Contains(g.hosts, u.Host)
}

func session(r *http.Request) string {
	c, err := r.Cookie(cookie)
	if err != nil {
		return ""
	}
	return c.Value
}

// Token is what a form of the request's session has to carry in TokenField: an
// HMAC-SHA256 of the session under the guard's key.
func (g *Guard) Token(r *http.Request) string {
	mac := hmac.New(sha256.New, g.key)
	mac.Write([]byte(session(r)))
	return hex.EncodeToString(mac.Sum(nil))
}
