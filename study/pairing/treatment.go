package pairing

import (
	"fmt"
	"slices"

	"flourcast/dataset/method"
	"flourcast/dataset/trait"
	"flourcast/dataset/treatment"
	"flourcast/finding"
	"flourcast/forecast/pairs"
	"flourcast/study/job"
)

// TreatmentPairs is untreated flours beside their treated twins. Groups are by kind
// of treatment.
type TreatmentPairs struct {
	Pairs  []Twins   `json:"pairs"`
	Groups []Treated `json:"groups"`
	Source string    `json:"source"` // of the expectations
	Alike  float64   `json:"alike_within_repeatability_sds"`
}

// Twins is one pair.
type Twins struct {
	Untreated string         `json:"untreated"`
	Treated   string         `json:"treated"`
	Kind      treatment.Kind `json:"kind"`
	Words     string         `json:"words"` // of the treatment, as written
}

// Treated is the figures of one kind of treatment, in the order of the curve.
type Treated struct {
	Kind    treatment.Kind `json:"kind"`
	Figures []Compared     `json:"figures"`
}

// Compared is one figure by one method over all pairs of a kind that have it.
type Compared struct {
	Column        string               `json:"column"`
	Feature       string               `json:"feature"`
	Method        string               `json:"method"`
	Solvent       trait.Solvent        `json:"solvent"`
	Repeatability *pairs.Repeatability `json:"repeatability"`
	Basis         string               `json:"basis"`
	Pairs         []PairSeparation     `json:"pairs"`
	Together      pairs.Separation     `json:"together"`
	Expectation   *pairs.Expectation   `json:"expectation"`
	Answer        pairs.Answer         `json:"answer,omitempty"`
}

// PairSeparation is the separation of one pair.
type PairSeparation struct {
	Untreated  string           `json:"untreated"`
	Treated    string           `json:"treated"`
	From       float64          `json:"from"`
	To         float64          `json:"to"`
	Separation pairs.Separation `json:"separation"`
}

// compared are the figures of a pair: how it begins, rises, peaks and ends.
var compared = []string{"initial_mPas", "pasting_temp_C", "rise_rate_mPas_per_s", "peak_time_s", "peak_mPas", "final_mPas"}

func (p *paired) treatment() error {
	twins, err := p.twins()
	if err != nil {
		return err
	}
	t := &TreatmentPairs{Pairs: twins, Groups: []Treated{}, Source: pairs.Source, Alike: pairs.Alike}
	rows := map[string]int{}
	for row := range p.t.Len() {
		if _, known := rows[p.t.Lot(row)]; !known {
			rows[p.t.Lot(row)] = row
		}
	}
	var kinds []treatment.Kind
	for _, w := range twins {
		if !slices.Contains(kinds, w.Kind) {
			kinds = append(kinds, w.Kind)
		}
	}
	figures := 0
	for _, kind := range kinds {
		g := Treated{Kind: kind, Figures: []Compared{}}
		for _, feature := range compared {
			ids, column := p.methods(feature)
			for _, m := range ids {
				if c, ok := p.compare(kind, twins, rows, feature, m, column[m]); ok {
					g.Figures = append(g.Figures, c)
					figures++
				}
			}
		}
		t.Groups = append(t.Groups, g)
	}
	if figures == 0 {
		return &job.NothingUsableError{What: "no pair has a figure of the curve on both sides", Findings: p.out.Findings}
	}
	p.out.Treatment = t
	p.treatmentCautions(t, kinds)
	return nil
}

func (p *paired) treatmentCautions(t *TreatmentPairs, kinds []treatment.Kind) {
	said := map[string]bool{}
	unknown := map[string]bool{}
	for _, g := range t.Groups {
		for _, c := range g.Figures {
			for _, caution := range p.method(c.Method).Cautions() {
				if !said[caution.Topic] {
					said[caution.Topic] = true
					p.out.Cautions = append(p.out.Cautions, caution)
				}
			}
			if c.Repeatability == nil && !unknown[c.Method] {
				unknown[c.Method] = true
				p.add("repeatability-unknown", finding.Doubt, c.Column, fmt.Sprintf("no lot was tested twice by %s: differences have no unit to be held against", c.Method), "duplicates",
					fmt.Sprintf("test some lots twice, or state it with --repeatability %s=SD", c.Column))
			}
		}
	}
	if slices.Contains(kinds, treatment.Chlorinated) {
		p.out.Cautions = append(p.out.Cautions, method.Caution{Topic: "Chlorinated flour", Text: treatment.Caution})
	}
}

// compare compares one figure over the twins of a kind; ok is false when no pair
// has it.
func (p *paired) compare(kind treatment.Kind, twins []Twins, rows map[string]int, feature, id, column string) (Compared, bool) {
	c := Compared{Column: column, Feature: feature, Method: id, Solvent: p.solvent(id), Pairs: []PairSeparation{}}
	if c.Repeatability, c.Basis = p.repeatability(column, false); c.Repeatability != nil && !(c.Repeatability.SD > 0) {
		c.Repeatability = nil
	}
	if c.Repeatability == nil {
		c.Basis = "not known"
	}
	var all []pairs.Separation
	for _, w := range twins {
		a, hasA := p.t.Number(column, rows[w.Untreated])
		b, hasB := p.t.Number(column, rows[w.Treated])
		if w.Kind != kind || !hasA || !hasB {
			continue
		}
		s := pairs.Separate(a, p.results(column, rows[w.Untreated]), b, p.results(column, rows[w.Treated]), c.Repeatability, p.q.Level)
		c.Pairs, all = append(c.Pairs, PairSeparation{w.Untreated, w.Treated, a, b, s}), append(all, s)
	}
	if len(all) == 0 {
		return c, false
	}
	if c.Together, _ = pairs.Together(all, c.Repeatability, p.q.Level); len(all) == 1 {
		c.Together = all[0]
	}
	for _, e := range pairs.Expectations() {
		if e.Solvent == c.Solvent && e.Feature == feature {
			c.Expectation, c.Answer = &e, e.Holds(c.Together)
		}
	}
	return c, true
}

// twins are the pairs asked for, or every treated lot beside the one untreated lot
// of its family.
func (p *paired) twins() ([]Twins, error) {
	kind, words, of, family := map[string]treatment.Kind{}, map[string]string{}, map[string]string{}, map[string][]string{}
	var lots []string
	for row := range p.t.Len() {
		lot := p.t.Lot(row)
		if _, known := kind[lot]; known {
			continue
		}
		text, _ := p.t.Text("treatment", row)
		kind[lot], words[lot] = treatment.Parse(text).Kind, text
		lots = append(lots, lot)
		if f, ok := p.t.Text("family", row); ok {
			of[lot], family[f] = f, append(family[f], lot)
		}
	}
	var out []Twins
	if p.q.Pairs != nil {
		for _, w := range p.q.Pairs {
			for _, lot := range w {
				if _, known := kind[lot]; !known {
					return nil, &job.RequestError{Found: "lot " + lot + ", which the table does not have", Want: "lots of the table"}
				}
			}
			out = append(out, Twins{w[0], w[1], kind[w[1]], words[w[1]]})
		}
		return out, nil
	}
	if !p.t.Has("treatment") || !p.t.Has("family") {
		return nil, &job.RequestError{Found: "no columns treatment and family", Want: "a joined table whose lots name their treatment and the lot they come from", Do: "join a lots file with treatment and parent_lot, or name pairs with --pair UNTREATED=TREATED"}
	}
	for _, lot := range lots {
		if k := kind[lot]; k == treatment.NotStated || k == treatment.None {
			continue
		}
		var untreated []string
		if f, ok := of[lot]; ok {
			untreated = slices.DeleteFunc(slices.Clone(family[f]), func(m string) bool { return kind[m] != treatment.None })
		}
		if len(untreated) != 1 {
			p.add("twin-not-found", finding.Doubt, "family", fmt.Sprintf("%d untreated lots in the family of %s (%s)", len(untreated), lot, words[lot]), "one, of the same flour", "name the pair with --pair UNTREATED="+lot)
			continue
		}
		out = append(out, Twins{untreated[0], lot, kind[lot], words[lot]})
	}
	if len(out) == 0 {
		return nil, &job.NothingUsableError{What: "no treated lot has its untreated twin in the table", Findings: p.out.Findings}
	}
	return out, nil
}
