package dataset

import (
	"fmt"
	"slices"

	"flourcast/dataset/replicate"
	"flourcast/dataset/run"
)

// poolReadings summarises readings of one kind by lot and product. Within a
// product the protocol with the most readings counts; others are set aside with
// a doubt, unless pooling over protocols is meant.
func (j *joiner) poolReadings(kind string, readings []reading, into map[[2]string][]replicate.Set) {
	accepted := func(r reading) bool { return r.fate == run.Accepted }
	protocols := replicate.Group(readings, func(r reading) ([2]string, bool) { return [2]string{r.product, r.protocol}, accepted(r) })
	main := map[string]string{}
	for _, k := range protocols.Keys {
		if best, ok := main[k[0]]; !ok || len(protocols.Of[k]) > len(protocols.Of[[2]string{k[0], best}]) {
			main[k[0]] = k[1]
		}
	}
	pool := slices.Contains(j.opt.Pool, "protocol")
	for _, k := range protocols.Keys {
		if best := main[k[0]]; k[1] != best && !pool {
			j.add(replicate.Differs("protocol", fmt.Sprintf("%d %s readings by protocol %q are not pooled with the %d by %q, and left out", len(protocols.Of[k]), kind, k[1], len(protocols.Of[[2]string{k[0], best}]), best),
				protocols.Of[k][0].at))
		}
	}
	g := replicate.Group(readings, func(r reading) ([2]string, bool) {
		return [2]string{r.lot, r.product}, accepted(r) && (pool || r.protocol == main[r.product])
	})
	for _, key := range g.Keys {
		var records []map[string]float64
		for _, r := range g.Of[key] {
			records = append(records, r.values)
		}
		set := replicate.Summarise(records)
		if f := set.Disagreement(fmt.Sprintf("%s of lot %s", kind, key[0]), g.Of[key][0].at); f != nil {
			j.add(*f)
		}
		into[key] = append(into[key], set)
	}
}
