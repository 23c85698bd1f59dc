package trait

import (
	_ "embed"
	"encoding/csv"
	"strconv"
	"strings"
	"sync"
)

//go:embed glossary.csv
var glossaryCSV string

// book is the parsed glossary.
type book struct {
	traits  []Trait
	byID    map[string]int
	names   map[string][]naming // by plain name; several when the name alone does not decide
	aliases []string            // every id and name as written, in glossary order, for proposals
}

// naming is what a plain name may stand for. flipped: the figure has the
// opposite sign of the trait's definition.
type naming struct {
	trait   int
	flipped bool
}

// glossary is glossary.csv, parsed once. The file is part of the program, so a
// fault in it is a programming fault and panics.
var glossary = sync.OnceValue(func() *book {
	b := &book{byID: map[string]int{}, names: map[string][]naming{}}
	for _, rec := range records(glossaryCSV, 11) {
		decimals, err := strconv.Atoi(rec[5])
		if err != nil {
			panic("trait: glossary.csv: decimals of " + rec[0])
		}
		t := Trait{ID: rec[0], Base: rec[1], Label: rec[2], Unit: rec[3], Dimension: rec[4], Decimals: decimals,
			Role: Role(rec[6]), Family: rec[7], Definition: rec[9], Source: rec[10]}
		if t.Role == RoleResponse {
			t.Kind = "instrumental"
			if t.Dimension == Score {
				t.Kind = "preference"
			}
		}
		if _, dup := b.byID[t.ID]; dup {
			panic("trait: glossary.csv: " + t.ID + " stands twice")
		}
		i := len(b.traits)
		b.byID[t.ID] = i
		b.traits = append(b.traits, t)
		b.aliases = append(b.aliases, t.ID)
		for _, name := range append([]string{t.Base, t.Label}, strings.Split(rec[8], "|")...) {
			b.add(name, i)
		}
	}
	return b
})

// records reads a CSV of the program's own, without its header.
func records(text string, fields int) [][]string {
	r := csv.NewReader(strings.NewReader(text))
	r.Comment, r.FieldsPerRecord = '#', fields
	all, err := r.ReadAll()
	if err != nil {
		panic("trait: " + err.Error())
	}
	return all[1:]
}

// add registers one name of trait i. A name that starts with "~" is the
// trait with its sign turned.
func (b *book) add(name string, i int) {
	name, flipped := strings.CutPrefix(strings.TrimSpace(name), "~")
	key := plain(name)
	if key == "" {
		return
	}
	n := naming{i, flipped}
	for _, known := range b.names[key] {
		if known == n {
			return
		}
	}
	b.names[key] = append(b.names[key], n)
	b.aliases = append(b.aliases, name)
}

// plain is a name in lower case with single spaces for all punctuation:
// "Peak_Viscosity." and "peak viscosity" are the same name.
func plain(name string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(name), func(r rune) bool {
		return strings.ContainsRune(" \t\u00a0_-–−/.,:;#'\"()[]", r)
	}), " ")
}
