package record

import (
	"slices"
	"strings"

	"flourcast/dataset/sheet"
	"flourcast/finding"
)

// How a lot ran, as Note.Ran and tables say it.
const (
	Well    = "well"
	Trouble = "trouble"
)

// words that production notes use for either.
var (
	wellWords    = []string{Well, "ran well", "yes", "y", "true", "1", "ok", "good"}
	troubleWords = []string{Trouble, "no", "n", "false", "0", "bad", "poor", "problem"}
)

// RanWords says which words RanAs knows.
func RanWords() string {
	return strings.Join(wellWords, ", ") + "; or " + strings.Join(troubleWords, ", ")
}

// RanAs reads how a lot ran: Well or Trouble, in any of their words, whatever the
// case. ok is false for another word.
func RanAs(word string) (ran string, ok bool) {
	word = strings.ToLower(strings.TrimSpace(word))
	switch {
	case slices.Contains(wellWords, word):
		return Well, true
	case slices.Contains(troubleWords, word):
		return Trouble, true
	}
	return "", false
}

// Note is one row of a production file: how a lot ran, and what the trouble was.
type Note struct {
	Lot, Product string
	Ran          string // Well or Trouble
	What         string
	At           finding.Place
}

// ReadNotes reads production files, one note a row. A row without a lot, or without
// a word that RanAs knows, is refused. Counts hold only the rows refused here. The
// error is of a file that is not there.
func ReadNotes(paths []string, m *sheet.Map) (out []Note, c Counts, fl finding.List, err error) {
	for _, path := range paths {
		s, ok, err := Open(path, m, &fl)
		if err != nil {
			return nil, Counts{}, nil, err
		}
		if !ok {
			continue
		}
		for row, bad := range s.Rows() {
			var n Note
			if bad == nil {
				n, bad = readNote(s, row)
			}
			if bad != nil {
				fl.Add(*bad)
				c = c.Plus(Counts{Read: 1, Refused: 1})
				continue
			}
			out = append(out, n)
		}
	}
	return out, c, fl, nil
}

func readNote(s *sheet.Sheet, row sheet.Row) (Note, *finding.Finding) {
	text := func(id string) string { v, _ := s.Text(row, s.Column(id)); return v }
	n := Note{Lot: text("lot"), Product: text("product"), What: text("trouble"), At: s.Place(row, -1)}
	if n.Lot == "" {
		return n, noLot(n.At)
	}
	word := text("ran")
	var ok bool
	if n.Ran, ok = RanAs(word); !ok {
		found := "\"" + word + "\" under ran"
		if word == "" {
			found = "nothing under ran"
		}
		return n, &finding.Finding{Code: "note-not-read", Severity: finding.Refused, At: s.Place(row, s.Column("ran")), Found: found, Want: RanWords(), Do: "say how the lot ran in one of these words"}
	}
	return n, nil
}
