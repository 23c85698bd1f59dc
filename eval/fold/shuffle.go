package fold

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"flourcast/work"
)

// Crop years keep their lots when at least leastYears years have at least
// yearLots lots. With fewer than leastArrangements ways to rearrange, no p below
// 0.05 can come out.
const yearLots, leastYears, leastArrangements = 5, 2, 20

// TooFewArrangementsError says that the lots can hardly be shuffled.
type TooFewArrangementsError struct {
	Arrangements float64
	Units        int
}

func (e *TooFewArrangementsError) Error() string {
	return fmt.Sprintf("fold: permutation: found %.0f ways to rearrange %d lots, expected at least %d; measure more lots, equally often each", e.Arrangements, e.Units, leastArrangements)
}

// Shuffle rearranges whole units (see Units) among those with as many rows, and
// within crop years when at least 2 years have 5 lots.
type Shuffle struct {
	rows    [][]int // of each unit, in order
	classes [][]int // units that may change places
	n       int
	// Within names the grouping inside which units change places, or is empty.
	Within string
}

// NewShuffle looks at how the units of m can change places. It returns a
// *TooFewArrangementsError when there are fewer than 20 ways.
func NewShuffle(m Rows) (*Shuffle, error) {
	names, _ := Units(m)
	unit, units := index(names)
	s := &Shuffle{rows: make([][]int, units), n: len(m.Lots())}
	for i, u := range unit {
		s.rows[u] = append(s.rows[u], i)
	}
	years := byYear(m)
	if years != nil {
		s.Within = "crop_year"
	}
	class := make([]string, units)
	for u, rows := range s.rows {
		class[u] = strconv.Itoa(len(rows))
		if years != nil {
			var of []string
			for _, i := range rows {
				of = append(of, years[i])
			}
			slices.Sort(of)
			class[u] += "\x00" + strings.Join(slices.Compact(of), "\x00")
		}
	}
	of, n := index(class)
	s.classes = make([][]int, n)
	for u, c := range of {
		s.classes[c] = append(s.classes[c], u)
	}
	ways := 0.0
	for _, c := range s.classes {
		g, _ := math.Lgamma(float64(len(c) + 1))
		ways += g
	}
	if ways = math.Exp(min(ways, 700)); ways < leastArrangements-0.5 {
		return nil, &TooFewArrangementsError{math.Round(ways), units}
	}
	return s, nil
}

// byYear is the crop year of each row when shuffling is to stay within years.
func byYear(m Rows) []string {
	years, ok := m.Grouping("crop_year")
	if !ok {
		return nil
	}
	year, n := index(years)
	lots := make([]map[string]bool, n)
	for i, y := range year {
		if years[i] == "" {
			continue
		}
		if lots[y] == nil {
			lots[y] = map[string]bool{}
		}
		lots[y][m.Lots()[i]] = true
	}
	enough := 0
	for _, l := range lots {
		if len(l) >= yearLots {
			enough++
		}
	}
	if enough < leastYears {
		return nil
	}
	return years
}

// Order is shuffle q: row i gets the response of row order[i].
func (s *Shuffle) Order(seed uint64, q int) []int {
	random := work.Rand(seed, "permutation", strconv.Itoa(q))
	out := make([]int, s.n)
	for _, c := range s.classes {
		for k, from := range random.Perm(len(c)) {
			for t, i := range s.rows[c[k]] {
				out[i] = s.rows[c[from]][t]
			}
		}
	}
	return out
}
