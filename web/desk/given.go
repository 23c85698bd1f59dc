package desk

import (
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// Given is files that a browser sent: a folder of their own, and their paths in it.
type Given struct {
	ID, Dir string
	Paths   map[string][]string // by form field
}

// Names are the files' names, for people.
func (g Given) Names(field string) string {
	var names []string
	for _, p := range g.Paths[field] {
		names = append(names, filepath.Base(p))
	}
	return strings.Join(names, ", ")
}

// keepGiven is how many sendings are kept for a confirmation.
const keepGiven = 20

// Take writes the files of a form's fields into a folder of the server's own, under
// names of letters, digits and a few signs made of theirs. The oldest sendings go.
func (d *Desk) Take(r *http.Request, fields ...string) (Given, error) {
	dir, err := os.MkdirTemp(d.Scratch, "given-")
	if err != nil {
		return Given{}, err
	}
	g := Given{ID: strings.TrimPrefix(filepath.Base(dir), "given-"), Dir: dir, Paths: map[string][]string{}}
	if r.MultipartForm != nil {
		for _, field := range fields {
			if g.Paths[field], err = save(dir, field, r.MultipartForm.File[field]); err != nil {
				_ = os.RemoveAll(dir) // the first fault is the one to tell
				return Given{}, err
			}
		}
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.given == nil {
		d.given = map[string]Given{}
	}
	d.given[g.ID], d.order = g, append(d.order, g.ID)
	for len(d.order) > keepGiven {
		if err := os.RemoveAll(d.given[d.order[0]].Dir); err != nil {
			d.Log.Warn("files that were sent could not be removed", "err", err)
		}
		delete(d.given, d.order[0])
		d.order = d.order[1:]
	}
	return g, nil
}

// Gave is a sending by its ID.
func (d *Desk) Gave(id string) (Given, bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	g, ok := d.given[id]
	return g, ok
}

// Names reads lots parted by commas.
func Names(text string) []string {
	var out []string
	for _, name := range strings.Split(text, ",") {
		if name = strings.TrimSpace(name); name != "" && !slices.Contains(out, name) {
			out = append(out, name)
		}
	}
	return out
}
