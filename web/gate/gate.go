// Package gate lets users into a bench that others can reach, each as far as their role.
//
//  1. Pages are the sign-in form and the sign-out, for the list that the server mounts.
//  2. Ask is put between a request's head and its body: it finds who is signed in, and
//     answers whoever is not, or whose role does not reach for the route.
//  3. Sign goes around the pages: what is written down is written under the name of who
//     is signed in, whatever the form says.
//
// The file of users is looked at on each request, so that a role that changes, a
// password that is set anew and a user who is removed count from then on. While it cannot
// be read nobody is let in. A route that has no role in the table is closed to all.
package gate

import (
	"context"
	"embed"
	"errors"
	"html/template"
	"log/slog"
	"net/http"
	"net/netip"
	"strconv"
	"time"

	"flourcast/report"
	"flourcast/web/desk"
	"flourcast/web/frame"
	"flourcast/web/guard"
	"flourcast/web/people"
	"flourcast/web/session"
)

var (
	//go:embed *.html
	sources embed.FS

	forms = template.Must(template.ParseFS(sources, "*.html"))
)

// Open are the routes that need no user.
var Open = []string{"GET /static/", "GET /login", "POST /login", "POST /logout"}

// How many sign-ins may fail, by name and by address. The name's limit is slower, for
// guessing goes on from many addresses; it also is how long somebody can keep the owner
// of the name out by guessing. NIST SP 800-63B-4, section 3.2.2, allows at most 100 in a
// row; the figures are common practice, no source.
const (
	nameBurst, nameEvery       = 8, time.Minute
	addressBurst, addressEvery = 30, 10 * time.Second

	together = 2                // hashes at a time: each takes 64 MiB
	queueing = 10 * time.Second // how long a sign-in waits for its turn

	formLimit = 16 << 10 // bytes of the sign-in form
)

// Options say whom to let in.
type Options struct {
	Users   *people.Source
	Contact string // whom to ask for another role or password; empty: that the bench's keeper is asked
	Clock   func() time.Time
	Log     *slog.Logger
}

// Gate lets users in. Make one with New.
type Gate struct {
	o         Options
	guard     *guard.Guard
	desk      *desk.Desk
	mux       *http.ServeMux
	sessions  *session.Table
	names     *session.Throttle
	addresses *session.Throttle
	turns     chan struct{}
}

// New makes a gate before the pages of a mux. The desk's Least says which role each
// route needs.
func New(g *guard.Guard, d *desk.Desk, mux *http.ServeMux, o Options) *Gate {
	if o.Contact == "" {
		o.Contact = "whoever keeps this bench"
	}
	return &Gate{o: o, guard: g, desk: d, mux: mux, sessions: session.NewTable(o.Clock), turns: make(chan struct{}, together),
		names: session.NewThrottle(o.Clock, nameBurst, nameEvery), addresses: session.NewThrottle(o.Clock, addressBurst, addressEvery)}
}

// Ask is a guard.Ask.
func (g *Gate) Ask(w http.ResponseWriter, r *http.Request) (*http.Request, bool) {
	_, route := g.mux.Handler(r)
	for _, open := range Open {
		if route == open {
			if r.Method == http.MethodPost {
				r.Body = http.MaxBytesReader(w, r.Body, formLimit)
			}
			return r, true
		}
	}
	roll, err := g.o.Users.Roll()
	if err != nil {
		g.broken(w, r, err)
		return r, false
	}
	u, ok := g.who(roll, r)
	if !ok {
		g.stranger(w, r)
		return r, false
	}
	r = r.WithContext(people.With(r.Context(), u))
	if route == "" {
		return r, true // no such page, or no such method: the mux says so
	}
	if !g.desk.May(r, route) {
		g.short(w, r, u, g.desk.Least[route])
		return r, false
	}
	return r, true
}

// who is the user of the request's session, as the file has them now.
func (g *Gate) who(roll *people.Roll, r *http.Request) (people.User, bool) {
	id := g.guard.ID(r)
	s, ok := g.sessions.Use(id)
	if !ok {
		return people.User{}, false
	}
	u, ok := roll.Find(s.Name)
	if !ok || u.Mark() != s.Mark {
		g.sessions.End(id) // removed, or the password is another since
		return people.User{}, false
	}
	return u, true
}

// Sign puts the name of who is signed in into the field "operator" of every form.
func Sign(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if u, ok := people.From(r.Context()); ok && r.Method == http.MethodPost {
			r.Form.Set(operatorField, u.Name) // parsed by the guard
			r.PostForm.Set(operatorField, u.Name)
			if r.MultipartForm != nil {
				r.MultipartForm.Value[operatorField] = []string{u.Name}
			}
		}
		h.ServeHTTP(w, r)
	})
}

const operatorField = "operator"

// stranger answers who is not signed in: a page leads to the sign-in and from there
// back, anything else is refused.
func (g *Gate) stranger(w http.ResponseWriter, r *http.Request) {
	mode := r.Header.Get("Sec-Fetch-Mode")
	switch {
	case r.Method == http.MethodPost:
		g.show(w, r, http.StatusForbidden, "Not signed in", report.Callout{Kind: report.Caution, Title: "Nothing was changed.", Text: "You are not signed in, or not any more. Sign in, then fill in the form again."}, link{"/login", "Sign in"})
	case mode != "" && mode != "navigate":
		http.Error(w, "Not signed in.", http.StatusUnauthorized)
	default:
		http.Redirect(w, r, loginAddress(r.URL), http.StatusSeeOther)
	}
}

// short answers a user whose role does not reach.
func (g *Gate) short(w http.ResponseWriter, r *http.Request, u people.User, least people.Role) {
	text := "You are signed in as " + u.Name + ", " + string(u.Role) + ". This needs the role " + string(least) + ": ask " + g.o.Contact + "."
	if least == "" {
		text = "This page is open to no role. That is a fault of the program: tell " + g.o.Contact + "."
		g.o.Log.Error("a route has no role", "path", r.URL.Path)
	}
	title := "Nothing was changed."
	if r.Method != http.MethodPost {
		title = "Your role does not reach."
	}
	g.show(w, r, http.StatusForbidden, "Not with your role", report.Callout{Kind: report.Caution, Title: title, Text: text}, link{"/", "To the first page"})
}

// broken answers everybody while the file of users cannot be read.
func (g *Gate) broken(w http.ResponseWriter, r *http.Request, err error) {
	g.o.Log.Error("the file of users cannot be read, so nobody is let in", "err", err)
	w.Header().Set("Retry-After", "60")
	g.show(w, r, http.StatusServiceUnavailable, "Nobody can be let in", report.Callout{Kind: report.Caution, Title: "The file of users cannot be read.", Text: "Tell " + g.o.Contact + ": what is wrong stands where 'flourcast serve' runs."})
}

type link struct{ Path, Text string }

// show sends a page of one callout and links.
func (g *Gate) show(w http.ResponseWriter, r *http.Request, code int, title string, c report.Callout, links ...link) {
	r.URL.RawQuery = "" // an answer has no table
	doc := report.Document{Sections: []report.Section{{Heading: "Why", Blocks: []report.Block{c}}}}
	parts := []frame.Part{frame.Of(doc)}
	further, err := g.desk.Fill(r, forms, "links", links)
	if err == nil {
		if len(links) > 0 {
			parts = append(parts, further)
		}
		err = g.desk.Show(w, r, frame.Page{Title: title, Code: code, Parts: parts})
	}
	if err != nil {
		http.Error(w, "The answer could not be shown: "+err.Error(), http.StatusInternalServerError)
	}
}

// address is the part of a remote address that one party has to itself: an IPv4 address,
// the first 64 bits of an IPv6 one.
func address(remote string) string {
	at, err := netip.ParseAddrPort(remote)
	if err != nil {
		return remote
	}
	ip := at.Addr().Unmap().WithZone("")
	if ip.Is6() {
		if p, err := ip.Prefix(64); err == nil {
			return p.String()
		}
	}
	return ip.String()
}

// turn waits until a password may be hashed. done gives the turn back.
func (g *Gate) turn(ctx context.Context) (done func(), err error) {
	ctx, cancel := context.WithTimeout(ctx, queueing)
	defer cancel()
	select {
	case g.turns <- struct{}{}:
		return func() { <-g.turns }, nil
	case <-ctx.Done():
		return nil, errors.New("too many sign-ins at a time")
	}
}

// spoken is a wait in words.
func spoken(wait time.Duration) string {
	switch {
	case wait <= time.Second:
		return "a second"
	case wait <= time.Minute:
		return strconv.Itoa(int((wait+time.Second-1)/time.Second)) + " seconds"
	}
	return strconv.Itoa(int((wait+time.Minute-1)/time.Minute)) + " minutes"
}
