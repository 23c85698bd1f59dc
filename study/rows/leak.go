package rows

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/eval/fold"
	"flourcast/finding"
	"flourcast/stat/correlation"
)

const (
	// copies: two lots are one flour under two names when they differ by less than
	// 0.4/n standard deviations, root mean square over the features. Among lots of
	// two independent figures one pair in twenty-five sets comes so near by chance.
	copiesNearer = 0.4
	// splitShare is the share of rows in copied lots from which a validation by lot
	// no longer means what it says.
	splitShare = 0.1
	// leastTraits is how many of the flour's own figures can tell lots apart.
	leastTraits = 3
	// sameAsResponse is the |r| at which a feature is the response in other words.
	sameAsResponse = 1 - 1e-9
	// leastForSame is from how many rows such an r says anything.
	leastForSame = 5
)

// Leaks are what would make a validation say more than it knows. An empty string:
// nothing of the kind.
type Leaks struct {
	Split    string // why folds by lot do not separate flours
	Feature  string // which feature is the response in other words
	Findings finding.List
}

// Leaks looks for lots that are one flour under two names (replicates that were
// named as lots, and so stand in training and test at once) and for features made
// from the response. What is found is a doubt.
func (u Used) Leaks() Leaks {
	var l Leaks
	if pairs, share := u.copiedLots(); len(pairs) > 0 {
		l.Findings.Add(finding.Finding{Code: "lots-alike", Severity: finding.Doubt, Found: fmt.Sprintf("%d pairs of lots with the same features: %s", len(pairs), someOf(pairs)),
			Want: "lots that differ, rows of one lot under one name", Do: "give replicates their lot's name (--group names the column), or name the lots' common parent"})
		if share >= splitShare {
			l.Split = fmt.Sprintf("%.0f %% of the rows are of lots that have the features of another lot", 100*share)
		}
	}
	var same []string
	for j, name := range u.Matrix.Features() {
		if r, ok := correlation.Pearson(u.Matrix.Column(j), u.Matrix.Y(), nil); ok && math.Abs(r) >= sameAsResponse && u.Matrix.N() >= leastForSame {
			same = append(same, name)
		}
	}
	if len(same) > 0 {
		l.Feature = strings.Join(same, ", ") + " is the response in other words"
		l.Findings.Add(finding.Finding{Code: "feature-is-response", Severity: finding.Doubt, At: finding.Place{Column: same[0]}, Found: l.Feature, Want: "features that are known before the response", Do: "take it out"})
	}
	return l
}

// copiedLots are pairs of separate lots (no common parent) with the same features,
// and the share of rows that stand in one. Only figures of the flour are looked
// at: the settings of a designed trial recur by design.
func (u Used) copiedLots() (pairs []string, share float64) {
	var columns [][]float64
	for j, name := range u.Matrix.Features() {
		d, ok := trait.Lookup(name)
		x := u.Matrix.Column(j)
		if sd := correlation.SD(x); ok && (d.Role == trait.RoleFeature || d.Role == trait.RoleComposition) && sd > 0 {
			for i := range x {
				x[i] /= sd
			}
			columns = append(columns, x)
		}
	}
	if len(columns) < leastTraits {
		return nil, 0
	}
	units, _ := fold.Units(u.Matrix)
	n := u.Matrix.N()
	limit := math.Pow(copiesNearer/float64(n), 2) * float64(len(columns))
	in := make([]bool, n)
	for a := range n {
		for b := a + 1; b < n; b++ {
			if units[a] == units[b] || !alike(columns, a, b, limit) {
				continue
			}
			in[a], in[b] = true, true
			if pair := u.Matrix.Lots()[a] + " and " + u.Matrix.Lots()[b]; !slices.Contains(pairs, pair) {
				pairs = append(pairs, pair)
			}
		}
	}
	for _, is := range in {
		if is {
			share += 1 / float64(n)
		}
	}
	return pairs, share
}

func alike(columns [][]float64, a, b int, limit float64) bool {
	d2 := 0.0
	for _, x := range columns {
		d := x[a] - x[b]
		if d2 += d * d; d2 > limit {
			return false
		}
	}
	return true
}

func someOf(names []string) string {
	const shown = 4
	if len(names) <= shown {
		return strings.Join(names, ", ")
	}
	return strings.Join(names[:shown], ", ") + ", …"
}
