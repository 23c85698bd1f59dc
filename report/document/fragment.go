package document

import (
	"bytes"
	"fmt"
	"io"
	"slices"
)

// Links are the addresses that a document leads to within a larger page. CSV gives
// that of a table by the id that it has on the page, Row that of what a row is about, by the table's ID and
// the text of the row's first cell. Also names, by a table's ID, the headings of further
// columns whose cells lead there too. A nil function or an empty address: no link.
type Links struct {
	CSV  func(table string) string
	Row  func(table, first string) string
	Also map[string][]string
}

// into puts the links into a table's view.
func (l Links) into(v *tableView) {
	if l.CSV != nil {
		v.CSV = l.CSV(v.ID)
	}
	for i := range v.Rows {
		if l.Row != nil && len(v.Rows[i]) > 0 {
			to := l.Row(v.Table.ID, v.Rows[i][0].Text)
			v.Rows[i][0].Link = to
			for c := range v.Rows[i] {
				if slices.Contains(l.Also[v.Table.ID], v.Table.Columns[c].Heading) {
					v.Rows[i][c].Link = to
				}
			}
		}
	}
}

// Fragment writes the document without title, notice, style and head, to stand in a
// page of somebody else's: particulars, then sections under headings of level 2. It
// has no style attribute and no script. Errors: those of HTML.
func Fragment(w io.Writer, d Document, links Links) error {
	if err := check(d); err != nil {
		return err
	}
	v := pageView{Document: d}
	var err error
	if v.Chapters, err = chaptersOf(d, links); err != nil {
		return err
	}
	var b bytes.Buffer
	if err := page.ExecuteTemplate(&b, "fragment", v); err != nil {
		return fmt.Errorf("document: filling the fragment: %w", err)
	}
	_, err = b.WriteTo(w)
	return err
}

// TableOf is the table that Fragment gives the id, nil without one.
func TableOf(d Document, id string) *Table {
	chapters, err := chaptersOf(d, Links{})
	if err != nil {
		return nil
	}
	for _, c := range chapters {
		for _, s := range c.Sections {
			for _, b := range s.Blocks {
				if b.Table != nil && b.Table.ID == id {
					return b.Table.Table
				}
			}
		}
	}
	return nil
}
