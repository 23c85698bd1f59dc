package run

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"flourcast/dataset/method"
	"flourcast/dataset/record"
	"flourcast/dataset/replicate"
	"flourcast/finding"
)

// Pooled is what the runs of lots come to. By is the summaries by lot and
// method; Methods are in order of appearance.
type Pooled struct {
	By       map[[2]string]replicate.Set
	Methods  []string
	Findings finding.List
}

// Pool summarises the accepted runs by lot and method, and marks those that
// count. meant names fields ("instrument", "water", "solids") over which pooling
// is meant: without, runs that differ in one are doubted, within a lot and among
// the lots that share a column.
func Pool(runs []Run, meant []string) Pooled {
	p := pooler{Pooled: Pooled{By: map[[2]string]replicate.Set{}}, meant: meant}
	lots := replicate.Group(pointers(runs), func(r *Run) ([2]string, bool) {
		return [2]string{r.Lot, r.Method}, r.Fate == Accepted && r.Kind != record.Control
	})
	for _, key := range lots.Keys {
		chosen := p.choose(lots.Of[key])
		if len(chosen) == 0 {
			continue
		}
		p.compare(chosen)
		var records []map[string]float64
		for _, r := range chosen {
			r.Pooled = true
			values := map[string]float64{}
			for _, v := range r.Features.Values() {
				values[v.ID] = v.Value
			}
			records = append(records, values)
		}
		set := replicate.Summarise(records)
		if f := set.Disagreement(fmt.Sprintf("lot %s by %s", key[0], key[1]), chosen[0].At); f != nil {
			p.Findings.Add(*f)
		}
		p.By[key] = set
	}
	methods := replicate.Group(pointers(runs), func(r *Run) ([2]string, bool) { return [2]string{r.Method}, r.Pooled })
	for _, key := range methods.Keys {
		p.Methods = append(p.Methods, key[0])
		for _, f := range shared {
			if values := replicate.Distinct(methods.Of[key], f.of); len(values) > 1 {
				p.differs(f.name, fmt.Sprintf("lots run by %s with %s share the columns", key[0], strings.Join(values, " and ")), finding.Place{})
			}
		}
	}
	return p.Pooled
}

func pointers(runs []Run) []*Run {
	out := make([]*Run, len(runs))
	for i := range runs {
		out[i] = &runs[i]
	}
	return out
}

type pooler struct {
	Pooled
	meant []string
}

func (p *pooler) differs(field, found string, at finding.Place) {
	if !slices.Contains(p.meant, field) {
		p.Findings.Add(replicate.Differs(field, found, at))
	}
}

// choose picks the runs that count for a lot: first runs and duplicates. A
// retest or re-sample counts only where no first run does and a reason is given;
// what is set aside is named.
func (p *pooler) choose(runs []*Run) []*Run {
	var firsts, repeats []*Run
	reason := false
	for _, r := range runs {
		repeat := r.Kind == record.Retest || r.Kind == record.ReSample
		reason = reason || r.Reason != "" && (repeat || r.Status == "void")
		switch {
		case r.Status == "void":
		case repeat:
			repeats = append(repeats, r)
		default:
			firsts = append(firsts, r)
		}
	}
	if len(repeats) == 0 {
		return firsts
	}
	f := finding.Finding{Severity: finding.Doubt, At: repeats[0].At, Found: fmt.Sprintf("%d %s of lot %s by %s", len(repeats), repeats[0].Kind, repeats[0].Lot, repeats[0].Method)}
	chosen := firsts
	switch {
	case len(firsts) > 0:
		f.Code, f.Found, f.Want = "retest-not-pooled", f.Found+", not pooled: the first run stands", "one or the other"
		f.Do = "void the first run with its reason if the repeat is to count"
	case !reason:
		f.Code, f.Found, f.Want = "retest-without-reason", f.Found+", not used: no first run counts and no reason is given", "why it was repeated"
		f.Do = "write the reason down"
	default:
		f.Code, f.Severity, f.Found = "retest-used", finding.Note, f.Found+", used in place of the first run"
		chosen = repeats
	}
	p.Findings.Add(f)
	return chosen
}

// shared are the fields that pooled runs should share.
var shared = []struct {
	name string
	of   func(*Run) string
}{{"instrument", func(r *Run) string { return r.Instrument }}, {"water", func(r *Run) string { return r.Water }}}

// compare doubts runs of one lot that are pooled but differ.
func (p *pooler) compare(runs []*Run) {
	what := fmt.Sprintf("runs of lot %s by %s with ", runs[0].Lot, runs[0].Method)
	for _, f := range shared {
		if values := replicate.Distinct(runs, f.of); len(values) > 1 {
			p.differs(f.name, what+strings.Join(values, " and "), runs[0].At)
		}
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, r := range runs {
		if r.SolidsG != nil {
			low, high = min(low, *r.SolidsG), max(high, *r.SolidsG)
		}
	}
	if high > low*(1+method.DefaultToleranceSolidsPct/100) {
		p.differs("solids", fmt.Sprintf("%s%.3f to %.3f g of solids", what, low, high), runs[0].At)
	}
}
