// Package replicate summarises repeated tests of one lot.
//
//  1. Of gives mean, number, SD and SE of one figure; Summarise does so for
//     records with many figures.
//  2. Set.Disagreement doubts replicates that differ too much to be averaged
//     without a look at them.
//  3. Group keeps tests by lot; Distinct and Differs find and tell what pooled tests do not share:
//     instrument, water, solids, protocol.
//
// It leaves no replicate out and weighs none: all count alike, pieces of one
// batch too. It knows nothing of files or tables.
package replicate

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/finding"
)

// Summary is what replicates come to: Mean of N. With two or more, Repeated is
// set, SD is their standard deviation (n − 1) and SE = SD/√n.
type Summary struct {
	N        int
	Mean     float64
	Repeated bool
	SD, SE   float64
}

// Of summarises figures. It panics without any: a figure that is absent has no
// summary.
func Of(values []float64) Summary {
	if len(values) == 0 {
		panic("replicate: Of no values")
	}
	s := Summary{N: len(values), Repeated: len(values) > 1}
	n := float64(s.N)
	for _, v := range values {
		s.Mean += v / n
	}
	if !s.Repeated {
		s.Mean = values[0]
		return s
	}
	squares := 0.0
	for _, v := range values {
		squares += (v - s.Mean) * (v - s.Mean)
	}
	s.SD = math.Sqrt(squares / (n - 1))
	s.SE = s.SD / math.Sqrt(n)
	return s
}

// Read takes a summary from figures by column: the mean under its name, number and
// SD under NAME_n and NAME_sd as a table has them. Without them it counts as one
// test. ok is false where there is no mean.
func Read(figure func(column string) (float64, bool), name string) (s Summary, ok bool) {
	if s.Mean, ok = figure(name); !ok {
		return Summary{}, false
	}
	s.N = 1
	if n, has := figure(name + "_n"); has && n >= 1 && n == math.Trunc(n) {
		s.N = int(n)
	}
	if sd, has := figure(name + "_sd"); has && s.N > 1 && sd >= 0 {
		s.Repeated, s.SD, s.SE = true, sd, sd/math.Sqrt(float64(s.N))
	}
	return s, true
}

// Pooled is how well single tests repeat over many lots: SD within lots on DF
// degrees of freedom. Share is the mean of 1/n over the lots, so that the mean of
// a lot has on average the variance SD²·Share by repeating alone.
type Pooled struct {
	SD    float64 `json:"sd"`
	DF    int     `json:"df"`
	Share float64 `json:"share"`
}

// Pool pools lots' replicates: SD² = Σ(n − 1)·s² / Σ(n − 1). ok is false where no
// lot was repeated.
func Pool(lots []Summary) (p Pooled, ok bool) {
	squares := 0.0
	for _, l := range lots {
		p.Share += 1 / float64(l.N) / float64(len(lots))
		if l.Repeated {
			p.DF += l.N - 1
			squares += float64(l.N-1) * l.SD * l.SD
		}
	}
	if p.DF == 0 {
		return Pooled{}, false
	}
	p.SD = math.Sqrt(squares / float64(p.DF))
	return p, true
}

// Set is the summaries of several figures, in the order of the glossary.
type Set []Figure

// Figure is the summary of one trait.
type Figure struct {
	ID string
	Summary
}

// Of is the summary of a trait; ok is false where the set has none.
func (set Set) Of(id string) (s Summary, ok bool) {
	for _, f := range set {
		if f.ID == id {
			return f.Summary, true
		}
	}
	return Summary{}, false
}

// Summarise summarises records of figures by trait id. A record without a figure
// does not count for it; figures that the glossary does not have are left out.
func Summarise(records []map[string]float64) Set {
	var set Set
	for t := range trait.Each() {
		var values []float64
		for _, r := range records {
			if v, ok := r[t.ID]; ok {
				values = append(values, v)
			}
		}
		if len(values) > 0 {
			set = append(set, Figure{t.ID, Of(values)})
		}
	}
	return slices.Clip(set)
}

// limits are the coefficients of variation from which replicates are doubted
// (from memory: duplicate pasting curves agree within 1–3 %, pieces of one batch
// of noodles within 8–15 %, cakes within 5 %).
var limits = map[string]float64{"pasting": 0.10, "texture": 0.50, "bake": 0.25}

// incomparable are traits whose spread says nothing in proportion to their mean:
// differences and figures around zero.
var incomparable = []string{"breakdown_mPas", "setback_trough_mPas", "setback_peak_mPas", "pasting_temp_C", "peak_temp_C", "symmetry_index_mm", "uniformity_index_mm", "adhesiveness_Ns"}

// Disagreement tells which figures' replicates disagree; what names the tests.
// It returns nil if none do.
func (set Set) Disagreement(what string, at finding.Place) *finding.Finding {
	var off []string
	for _, s := range set {
		t, _ := trait.Lookup(s.ID)
		limit := limits[t.Family]
		if limit == 0 || !s.Repeated || s.Mean <= 0 || s.SD <= limit*s.Mean || slices.Contains(incomparable, s.ID) {
			continue
		}
		off = append(off, fmt.Sprintf("%s (mean %s, SD %s of %d)", t.Label, trait.Format(s.ID, s.Mean), trait.Format(s.ID, s.SD), s.N))
	}
	if len(off) == 0 {
		return nil
	}
	return &finding.Finding{Code: "replicates-disagree", Severity: finding.Doubt, At: at, Found: what + ": " + strings.Join(off, ", "), Want: "replicates that agree",
		Do: "look at the single tests; void the one that failed, with its reason, or test again"}
}

// Grouped keeps items by a key of two parts (lot and method, say); Keys are in
// order of appearance.
type Grouped[T any] struct {
	Keys [][2]string
	Of   map[[2]string][]T
}

// Group groups the items for which key says ok.
func Group[T any](items []T, key func(T) (k [2]string, ok bool)) Grouped[T] {
	g := Grouped[T]{Of: map[[2]string][]T{}}
	for _, x := range items {
		k, ok := key(x)
		if !ok {
			continue
		}
		if g.Of[k] == nil {
			g.Keys = append(g.Keys, k)
		}
		g.Of[k] = append(g.Of[k], x)
	}
	return g
}

// Distinct are the different texts that are there, in order of appearance.
func Distinct[T any](items []T, of func(T) string) []string {
	var out []string
	for _, x := range items {
		if s := of(x); s != "" && !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	return out
}

// Differs is the doubt that what is pooled differs in a field.
func Differs(field, found string, at finding.Place) finding.Finding {
	at.Column = field
	return finding.Finding{Code: "pooled-differs", Severity: finding.Doubt, At: at, Found: found, Want: "one " + field,
		Do: "split them, or state that pooling over " + field + " is meant"}
}
