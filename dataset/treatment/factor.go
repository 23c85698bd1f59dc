package treatment

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
)

// Use says how a model takes the treatments of its flours.
type Use string

// A selection asks for one of them, or for none. Rows of one treatment are Within in
// any case; Pooled is what an assembly says of several that are meant to be pooled, or
// of one beside rows that state none, and "" of rows that state none.
const (
	Within   Use = "within" // one treatment; rows of several are refused
	AsFactor Use = "factor" // an indicator column for each treatment but the reference
	Pooled   Use = "pooled"
)

// leastOfLevel is how many lots a treatment needs to be a level of a factor, so that
// no fold is without it (ours).
const leastOfLevel = 3

// LevelsError says why treatments are no factor.
type LevelsError struct{ Found, Want string }

func (e *LevelsError) Error() string {
	return "treatment: found " + e.Found + ", expected " + e.Want
}

// Factor is treatment as a factor: Reference is the treatment without a column of
// its own (none, where there is one, else the first by name), Levels are the others.
type Factor struct {
	Reference string  `json:"reference"`
	Levels    []Level `json:"levels"`
}

// Level is a treatment and its indicator column: 1 on its rows, else 0.
type Level struct {
	Treatment string `json:"treatment"`
	Column    string `json:"column"`
}

// Indicator is the figure of an indicator column for a flour of a treatment, as
// written; ok is false where the column is none of the factor's, and where the
// treatment is not stated or not one of the factor's.
func (f *Factor) Indicator(name, written string) (v float64, ok bool) {
	kind := Kinds([]string{written})[0]
	at := slices.IndexFunc(f.Levels, func(l Level) bool { return l.Column == name })
	if at < 0 || !f.Knows(written) {
		return 0, false
	}
	if f.Levels[at].Treatment == kind {
		v = 1
	}
	return v, true
}

// Knows reports whether a written treatment is one of the factor's.
func (f *Factor) Knows(written string) bool {
	kind := Kinds([]string{written})[0]
	return kind == f.Reference || slices.ContainsFunc(f.Levels, func(l Level) bool { return l.Treatment == kind })
}

// Names are the treatments, the reference first.
func (f *Factor) Names() []string {
	names := []string{f.Reference}
	for _, l := range f.Levels {
		names = append(names, l.Treatment)
	}
	return names
}

// Columns are the indicator columns; none of a nil factor.
func (f *Factor) Columns() []string {
	if f == nil {
		return nil
	}
	var out []string
	for _, l := range f.Levels {
		out = append(out, l.Column)
	}
	return out
}

// NewFactor makes a factor of the rows' treatments, as written, and their lots. It
// returns a *LevelsError for fewer than two treatments, and for one of fewer than
// three lots. Every row must state its treatment: an empty text is a level like any
// other ("not stated"), which nobody can compare with.
func NewFactor(written, lots []string) (*Factor, error) {
	of := map[string]map[string]bool{}
	kinds := Kinds(written)
	for i, w := range written {
		kind := Kinds([]string{w})[0]
		if of[kind] == nil {
			of[kind] = map[string]bool{}
		}
		of[kind][lots[i]] = true
	}
	if len(kinds) < 2 {
		return nil, &LevelsError{"rows of " + strings.Join(append(kinds, "no other treatment"), " and "), "rows of at least two treatments for a factor; within one there is nothing to choose"}
	}
	for _, kind := range kinds {
		if n := len(of[kind]); n < leastOfLevel {
			return nil, &LevelsError{fmt.Sprintf("%d lots of %s", n, kind), fmt.Sprintf("at least %d lots of each treatment for a factor; leave the others out with --where", leastOfLevel)}
		}
	}
	slices.Sort(kinds)
	if at := slices.Index(kinds, string(None)); at > 0 {
		kinds = slices.Insert(slices.Delete(kinds, at, at+1), 0, string(None))
	}
	f := &Factor{Reference: kinds[0]}
	for _, kind := range kinds[1:] {
		f.Levels = append(f.Levels, Level{kind, "treatment_" + strings.Map(letter, kind)})
	}
	return f, nil
}

// letter is a letter or digit of a column's name, or what stands for another sign.
func letter(r rune) rune {
	if unicode.IsLetter(r) || unicode.IsDigit(r) {
		return unicode.ToLower(r)
	}
	return '_'
}
