package result

import (
	"fmt"
	"strings"

	"flourcast/dataset/baking"
	"flourcast/dataset/protocol"
	"flourcast/dataset/replicate"
	"flourcast/finding"
)

// Pooling says how results are pooled: over all protocols if that is meant. The
// Protocols and BakeMethods are the laboratory's own, beside the built-in ones.
type Pooling struct {
	Kind         string // "texture" or "bake", for findings
	AllProtocols bool
	Protocols    []protocol.Protocol
	BakeMethods  []baking.Method
}

// Pool summarises accepted results by lot and product, and adds the summaries to
// into. Within a product the protocol with the most results counts; others are set
// aside with a doubt that names the rules in which they differ, unless pooling over
// protocols is meant. Two names for one set of rules are one protocol; a name
// whose rules are not known is a protocol of its own.
func Pool(results []Result, p Pooling, into map[[2]string][]replicate.Set) (fl finding.List) {
	same := p.same(results)
	by := func(r Result) [2]string { return [2]string{r.Product, same[r.Protocol]} }
	protocols := replicate.Group(results, func(r Result) ([2]string, bool) { return by(r), r.Accepted() })
	main := map[string]string{}
	for _, k := range protocols.Keys {
		if best, ok := main[k[0]]; !ok || len(protocols.Of[k]) > len(protocols.Of[[2]string{k[0], best}]) {
			main[k[0]] = k[1]
		}
	}
	for _, k := range protocols.Keys {
		if best := main[k[0]]; k[1] != best && !p.AllProtocols {
			found := fmt.Sprintf("%s by protocol %q are not pooled with the %d by %q, and left out", what(len(protocols.Of[k]), p.Kind), k[1], len(protocols.Of[[2]string{k[0], best}]), best)
			fl.Add(replicate.Differs("protocol", found+p.rules(k[1], best), protocols.Of[k][0].At))
		}
	}
	g := replicate.Group(results, func(r Result) ([2]string, bool) {
		return [2]string{r.Lot, r.Product}, r.Accepted() && (p.AllProtocols || same[r.Protocol] == main[r.Product])
	})
	for _, key := range g.Keys {
		var records []map[string]float64
		for _, r := range g.Of[key] {
			records = append(records, r.Values)
		}
		set := replicate.Summarise(records)
		if f := set.Disagreement(fmt.Sprintf("%s of lot %s", p.Kind, key[0]), g.Of[key][0].At); f != nil {
			fl.Add(*f)
		}
		into[key] = append(into[key], set)
	}
	return fl
}

// same maps each protocol's name to the first one with the same rules.
func (p Pooling) same(results []Result) map[string]string {
	out := map[string]string{}
	var firsts []string
	for _, r := range results {
		if _, done := out[r.Protocol]; done {
			continue
		}
		out[r.Protocol] = r.Protocol
		if _, known := p.differ(r.Protocol, r.Protocol); !known {
			continue
		}
		for _, first := range firsts {
			if rules, _ := p.differ(first, r.Protocol); len(rules) == 0 {
				out[r.Protocol] = first
			}
		}
		firsts = append(firsts, r.Protocol)
	}
	return out
}

// differ names the rules in which two protocols of texture, or two bake methods,
// differ; known is false where the rules of one are not known.
func (p Pooling) differ(a, b string) (rules []string, known bool) {
	if p.Kind == "bake" {
		one, ok := baking.Find(p.BakeMethods, a)
		other, too := baking.Find(p.BakeMethods, b)
		return one.Differs(other), ok && too
	}
	one, other := protocol.Find(p.Protocols, a), protocol.Find(p.Protocols, b)
	return one.Differs(other), one.Known() && other.Known()
}

// rules tells in which rules two protocols differ, if both are known.
func (p Pooling) rules(a, b string) string {
	rules, known := p.differ(a, b)
	if !known {
		return ""
	}
	return ": they differ in " + strings.Join(rules, ", ")
}
