// Package treatment reads how a flour was treated: none, chlorinated, bromated,
// heat-treated.
//
//  1. Parse reads what a laboratory writes ("chlorinated pH 4.7", "heat 120 °C",
//     "unbleached") into a kind, with the pH or dose where it is stated.
//  2. Kind.Same and Matches compare kinds whatever the wording.
//  3. Caution is what must be said wherever a chlorinated flour is touched.
//
// Treatment drives both the pasting curve and the cake, so flours of two kinds are
// two materials. The package guesses nothing: other words are kept as Other.
package treatment

import (
	"regexp"
	"strconv"
	"strings"
)

// Kind is what was done to a flour.
type Kind string

// Kinds of treatment. NotStated is the empty text, Other any words that this
// package does not know.
const (
	NotStated   Kind = ""
	None        Kind = "none"
	Chlorinated Kind = "chlorinated"
	Bromated    Kind = "bromated"
	Heat        Kind = "heat-treated"
	Other       Kind = "other"
)

// Caution is printed where a chlorinated flour is touched.
const Caution = "Chlorinated flour is banned in some countries, the European Union among them (from memory): check before it is made, sold or baked for anyone."

// Treatment is a treatment as written and as understood. PH is that of the treated
// flour, DoseMgPerKg chlorine by mass of flour; nil where not stated.
type Treatment struct {
	Written     string
	Kind        Kind
	PH          *float64
	DoseMgPerKg *float64
}

// Words of each kind, small letters; the longest first where one holds another.
var (
	untreated = []string{"none", "no", "untreated", "unbleached", "not treated", "unchlorinated", "non-chlorinated", "not chlorinated", "unbromated", "non-bromated", "not bromated", "native", "control"}
	chlorine  = []string{"chlorinated", "chlorination", "chlorine", "cl2", "chlor"}
	bromate   = []string{"bromated", "potassium bromate", "bromate", "kbro3"}
	heat      = []string{"heat-treated", "heat treated", "heat treatment", "heated", "heat", "dry heat", "hydrothermal"}
)

var (
	ph   = regexp.MustCompile(`(?i)\bph\s*[=:]?\s*(\d{1,2}(?:[.,]\d+)?)`)
	dose = regexp.MustCompile(`(?i)(\d{1,5}(?:[.,]\d+)?)\s*(mg/kg|ppm|g/kg)`)
)

// Parse reads a treatment. A pH outside 2 to 9 and a dose of more than 10 g/kg
// are taken for something else and left out.
func Parse(written string) Treatment {
	text := strings.ToLower(strings.Join(strings.Fields(written), " "))
	t := Treatment{Written: written, Kind: Other}
	switch {
	case text == "":
		return Treatment{Written: written}
	case starts(text, untreated):
		t.Kind = None
	case starts(text, chlorine):
		t.Kind = Chlorinated
	case starts(text, bromate):
		t.Kind = Bromated
	case starts(text, heat):
		t.Kind = Heat
	}
	if m := ph.FindStringSubmatch(text); m != nil {
		if v := number(m[1]); v >= 2 && v <= 9 {
			t.PH = &v
		}
	}
	if m := dose.FindStringSubmatch(text); m != nil {
		v := number(m[1])
		if m[2] == "g/kg" {
			v *= 1000
		}
		if v <= 10000 {
			t.DoseMgPerKg = &v
		}
	}
	return t
}

// starts reports whether the text is one of the words, or begins with one and
// goes on after it with something else than a letter.
func starts(text string, words []string) bool {
	for _, w := range words {
		rest, ok := strings.CutPrefix(text, w)
		if ok && (rest == "" || strings.ContainsRune(" ,;:(/=0123456789", rune(rest[0]))) {
			return true
		}
	}
	return false
}

func number(text string) float64 {
	v, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
	if err != nil {
		panic("treatment: " + err.Error()) // digits by the pattern
	}
	return v
}

// Matches reports whether two written treatments are the same: the same words, or
// the same known kind. Chlorinated to pH 4.6 and to pH 4.9 match: they differ by
// degree, which a model may take as a feature.
func Matches(a, b string) bool {
	x, y := Parse(a), Parse(b)
	if x.Kind == Other || y.Kind == Other {
		return strings.EqualFold(strings.TrimSpace(a), strings.TrimSpace(b))
	}
	return x.Kind == y.Kind
}

// Unstated is what Kinds calls an empty text.
const Unstated = "not stated"

// Kinds are the distinct kinds among written treatments, in order of appearance;
// words of kind Other stand for themselves, and "not stated" for an empty text.
func Kinds(written []string) []string {
	var out []string
	seen := map[string]bool{}
	for _, w := range written {
		t := Parse(w)
		name := string(t.Kind)
		switch t.Kind {
		case Other:
			name = strings.TrimSpace(w)
		case NotStated:
			name = Unstated
		}
		if !seen[name] {
			seen[name] = true
			out = append(out, name)
		}
	}
	return out
}
