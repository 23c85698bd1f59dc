package desk

import (
	"net/http"

	"flourcast/web/frame"
	"flourcast/web/people"
)

// May reports whether who asks may use a route ("POST /add").
func (d *Desk) May(r *http.Request, pattern string) bool {
	if d.Least == nil {
		return true
	}
	u, _ := people.From(r.Context())
	return u.Role.May(d.Least[pattern])
}

// by is who signed in, or "".
func by(r *http.Request) string {
	u, _ := people.From(r.Context())
	return u.Name
}

// bar is the bar for who asks: the pages that they may see, and who they are. Who has
// not signed in is not told what is open here.
func (d *Desk) bar(r *http.Request) frame.Bar {
	bar := d.Bar
	if d.Least == nil {
		return bar
	}
	bar.Entries = nil
	u, ok := people.From(r.Context())
	if !ok {
		bar.Book = ""
		return bar
	}
	for _, e := range d.Bar.Entries {
		if d.May(r, "GET "+e.Path) || e.Path == "/" && d.May(r, "GET /{$}") {
			bar.Entries = append(bar.Entries, e)
		}
	}
	bar.Signed = &frame.Signed{Name: u.Name, Role: string(u.Role), Token: d.Guard.Token(r)}
	return bar
}
