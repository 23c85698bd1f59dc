package trait

import (
	"cmp"
	"slices"
	"strings"
)

// unknown is the error for a name that is not in the glossary. The name is
// compared with and without what may be its unit.
func unknown(written, text string) *UnknownError {
	b := glossary()
	var near []string
	for i := len(text); i > 0 && near == nil; i-- {
		if i < len(text) && !strings.ContainsRune(" _,/", rune(text[i])) {
			continue
		}
		for _, name := range Near(text[:i], b.aliases) {
			found := b.names[plain(name)]
			if at, ok := b.byID[name]; ok {
				found = []naming{{trait: at}}
			}
			for _, n := range found {
				if id := b.traits[n.trait].ID; len(near) < 3 && !slices.Contains(near, id) {
					near = append(near, id)
				}
			}
		}
	}
	return &UnknownError{written, near}
}

// Near returns the names that lie close to what was written, nearest first,
// equally near ones in the order given; three at most. Near is by edit distance
// (insert, delete, replace, swap of neighbours) without regard to case and
// punctuation: at most one in four letters, 3 in all. It proposes; it never
// decides.
func Near(written string, names []string) []string {
	type hit struct {
		name string
		d    int
	}
	want := []rune(plain(written))
	limit := min(max(len(want)/4, 1), 3)
	if len(want) < 3 {
		limit = 0
	}
	var hits []hit
	for _, name := range names {
		have := []rune(plain(name))
		if len(have)-len(want) > limit || len(want)-len(have) > limit {
			continue
		}
		if d := distance(want, have); d <= limit {
			hits = append(hits, hit{name, d})
		}
	}
	slices.SortStableFunc(hits, func(a, b hit) int { return cmp.Compare(a.d, b.d) })
	var out []string
	for _, h := range hits {
		if len(out) < 3 && !slices.Contains(out, h.name) {
			out = append(out, h.name)
		}
	}
	return out
}

// distance is the edit distance with swaps of neighbours counted once (optimal
// string alignment).
func distance(a, b []rune) int {
	prev2, prev, cur := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range prev {
		prev[j] = j
	}
	for i := 1; i <= len(a); i++ {
		cur[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			cur[j] = min(prev[j]+1, cur[j-1]+1, prev[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				cur[j] = min(cur[j], prev2[j-2]+1)
			}
		}
		prev2, prev, cur = prev, cur, prev2
	}
	return prev[len(b)]
}
