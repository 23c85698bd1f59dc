package document

import (
	"bytes"
	"regexp"
	"strings"
	"testing"
)

// TestFragment: the sections without a page around them, links where they were given,
// nothing that a strict policy forbids; the table of each CSV link is found again.
func TestFragment(t *testing.T) {
	d := sample()
	var b bytes.Buffer
	var ids []string
	err := Fragment(&b, d, Links{
		CSV: func(id string) string { ids = append(ids, id); return "/csv/" + id },
		Row: func(_, first string) string { return "/row/" + first },
	})
	if err != nil {
		t.Fatal(err)
	}
	got := b.String()
	if m := regexp.MustCompile(`(?i)<html|<style|<script|\sstyle=|\son\w+=`).FindString(got); m != "" {
		t.Errorf("found %q, expected sections only", m)
	}
	if len(ids) == 0 || !strings.Contains(got, `href="/csv/`+ids[0]+`"`) || !strings.Contains(got, `<a href="/row/`) {
		t.Errorf("links: none for %v", ids)
	}
	for _, id := range ids {
		if TableOf(d, id) == nil {
			t.Errorf("table %s is not found again", id)
		}
	}
	also := Document{Sections: []Section{{Heading: "All", Blocks: []Block{&Table{ID: "models", Columns: []Column{{Heading: "row"}, {Heading: "kind"}, {Heading: "response"}}, Rows: [][]Cell{{Words("7"), Words("ols"), Words("hardness")}}}}}}}
	b.Reset()
	if err := Fragment(&b, also, Links{Row: func(_, first string) string { return "/row/" + first }, Also: map[string][]string{"models": {"response"}}}); err != nil {
		t.Fatal(err)
	}
	if got := b.String(); strings.Count(got, `<a href="/row/7">`) != 2 || !strings.Contains(got, `<a href="/row/7">hardness</a>`) {
		t.Errorf("links of further columns: found %s", got)
	}
	if TableOf(d, "none") != nil {
		t.Error("a table that is not there was found")
	}
	var whole bytes.Buffer
	if err := HTML(&whole, d); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(whole.String(), `class="csv"`) {
		t.Error("the self-contained page has a link to elsewhere")
	}
}
