package lot

import (
	"regexp"
	"slices"
	"strings"
	"unicode"
)

// lookalikes are characters that people and scanners mistake for one another.
var lookalikes = strings.NewReplacer("o", "0", "i", "1", "l", "1", "s", "5", "b", "8", "z", "2")

var leadingZeros = regexp.MustCompile(`(^|[^0-9])0+([0-9])`)

// Names are names that a misspelt one may be meant as.
type Names struct {
	names, bare []string
	alike       map[string][]int // folded in one of three ways: names
}

// NewNames prepares names for proposals; it keeps their order.
func NewNames(names []string) *Names {
	n := &Names{names: names, alike: map[string][]int{}}
	for i, name := range names {
		n.bare = append(n.bare, bare(name))
		for _, key := range folds(name) {
			n.alike[key] = append(n.alike[key], i)
		}
	}
	return n
}

// Near proposes at most three names that a written one may be meant as: the
// same when letter case, separators, lookalikes (O and 0, I and 1) and leading
// zeros are ignored, or one letter away. A differing digit is no slip: L-0012
// and L-0013 are two lots. Nearest first, then in the order given. Nothing is
// ever taken by itself.
func (n *Names) Near(written string) []string {
	want := bare(written)
	if want == "" {
		return nil
	}
	var found []int
	for _, key := range folds(written) {
		found = append(found, n.alike[key]...)
	}
	slices.Sort(found)
	if len(want) >= 4 {
		for i, have := range n.bare {
			if oneLetter(want, have) {
				found = append(found, i)
			}
		}
	}
	var out []string
	for _, i := range found {
		if name := n.names[i]; name != written && !slices.Contains(out, name) && len(out) < 3 {
			out = append(out, name)
		}
	}
	return out
}

// folds are the ways in which two names may be the same.
func folds(s string) []string {
	b := bare(s)
	return []string{b, "lookalikes " + lookalikes.Replace(b), "unpadded " + unpadded(s)}
}

// bare keeps letters and digits, in lower case.
func bare(s string) string {
	return strings.Map(func(r rune) rune {
		if !unicode.IsLetter(r) && !unicode.IsDigit(r) {
			return -1
		}
		return unicode.ToLower(r)
	}, s)
}

// unpadded is bare without the zeros before numbers: L-12 and L-0012 are one.
func unpadded(s string) string { return bare(leadingZeros.ReplaceAllString(s, "$1$2")) }

// oneLetter reports whether one letter put in, taken out, replaced or swapped
// with its neighbour turns a into b.
func oneLetter(a, b string) bool {
	if len(a) > len(b) {
		a, b = b, a
	}
	i := 0
	for i < len(a) && a[i] == b[i] {
		i++
	}
	letter := func(s string, i int) bool { return i < len(s) && !('0' <= s[i] && s[i] <= '9') }
	switch {
	case !letter(b, i):
		return false
	case len(b) == len(a)+1:
		return a[i:] == b[i+1:]
	case len(b) != len(a) || !letter(a, i):
		return false
	}
	return a[i+1:] == b[i+1:] || letter(a, i+1) && i+1 < len(b) && a[i] == b[i+1] && a[i+1] == b[i] && a[i+2:] == b[i+2:]
}
