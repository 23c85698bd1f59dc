package dataset

import (
	"cmp"
	"slices"
	"strings"

	"flourcast/dataset/record"
	"flourcast/dataset/result"
	"flourcast/dataset/run"
)

// listUnpaired lists the lots without pasting figures, results or both, and
// those that no lots file has.
func (j *joiner) listUnpaired() {
	has := map[string][]string{}
	note := func(lot, what string) {
		if !slices.Contains(has[lot], what) {
			has[lot] = append(has[lot], what)
		}
	}
	why := map[string][]string{} // runs of a lot do not count
	for i := range j.runs {
		r := &j.runs[i]
		reason := string(r.Fate)
		switch {
		case r.Pooled:
			note(r.Lot, "pasting")
			continue
		case r.Kind == record.Control:
			continue
		case r.Fate == run.Accepted:
			if reason = "set aside as a retest"; r.Status == "void" {
				reason = "void"
			}
		}
		if !slices.Contains(why[r.Lot], reason) {
			why[r.Lot] = append(why[r.Lot], reason)
		}
	}
	var results []string
	for _, k := range []struct {
		name     string
		files    []string
		readings []result.Result
	}{{"texture", j.f.Texture, j.texture}, {"bakes", j.f.Bakes, j.bakes}} {
		if len(k.files) > 0 {
			results = append(results, k.name)
		}
		for i := range k.readings {
			if k.readings[i].Accepted() {
				note(k.readings[i].Lot, k.name)
			}
		}
	}
	for _, id := range j.order {
		u := Unpaired{Lot: id, Has: cmp.Or(strings.Join(has[id], ", "), "nothing measured")}
		var lacks, reasons []string
		if !slices.Contains(has[id], "pasting") {
			lacks = append(lacks, "pasting")
			reasons = append(reasons, "no run of it was read")
			if len(why[id]) > 0 {
				reasons[0] = "its runs do not count: " + strings.Join(why[id], ", ")
			}
		}
		if !slices.Contains(has[id], "texture") && !slices.Contains(has[id], "bakes") {
			lacks = append(lacks, cmp.Or(strings.Join(results, " or "), "results"))
			reasons = append(reasons, "no result of it was accepted")
		}
		if u.Lacks, u.Reason = strings.Join(lacks, " and "), strings.Join(reasons, "; "); len(lacks) > 0 {
			j.out.Unpaired = append(j.out.Unpaired, u)
		}
	}
	for _, id := range j.strangers {
		j.out.Unpaired = append(j.out.Unpaired, Unpaired{Lot: id, Has: strings.Join(j.unknown[id].kinds, ", "), Lacks: "lots",
			Reason: "no lots file has this lot: " + run.Meant(j.unknown[id].near, "its rows wait")})
	}
}
