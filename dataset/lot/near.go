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

// Near proposes at most three names that a written one may be meant as: the
// same when letter case, separators, lookalikes (O and 0, I and 1) and leading
// zeros are ignored, or one letter away. A differing digit is no slip: L-0012
// and L-0013 are two lots. Nearest first, then in the order given. Nothing is
// ever taken by itself.
func Near(written string, names []string) []string {
	var same, close []string
	want := bare(written)
	for _, name := range names {
		if name == written || name == "" {
			continue
		}
		have := bare(name)
		switch {
		case have == want, lookalikes.Replace(have) == lookalikes.Replace(want), unpadded(name) == unpadded(written):
			same = append(same, name)
		case len(want) >= 4 && oneLetter(want, have):
			close = append(close, name)
		}
	}
	out := slices.Concat(same, close)
	return out[:min(3, len(out))]
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
