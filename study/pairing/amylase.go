package pairing

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"flourcast/dataset/trait"
	"flourcast/finding"
	"flourcast/forecast/pairs"
	"flourcast/study/job"
)

// Names of columns that the comparison reads.
const (
	peak          = "peak_mPas"
	fallingNumber = "falling_number_s"
)

// AmylasePairs is the index of every lot that was tested with and without the
// inhibitor, the highest first. Bases say where the repeatability of the two columns
// comes from.
type AmylasePairs struct {
	Water          string     `json:"water"` // columns
	Inhibited      string     `json:"inhibited"`
	WaterBasis     string     `json:"water_basis"`
	InhibitedBasis string     `json:"inhibited_basis"`
	Threshold      float64    `json:"threshold"`
	Lots           []LotIndex `json:"lots"`
	Unpaired       []string   `json:"low_falling_number_unpaired"`
}

// LotIndex is one lot. Governed says whether amylase governs its water run.
type LotIndex struct {
	Lot            string       `json:"lot"`
	Water          pairs.Figure `json:"water"`
	WaterN         int          `json:"water_n"`
	Inhibited      pairs.Figure `json:"inhibited"`
	InhibitedN     int          `json:"inhibited_n"`
	Index          pairs.Index  `json:"index"`
	Governed       pairs.Answer `json:"governed"`
	FallingNumberS *float64     `json:"falling_number_s"`
}

func (p *paired) amylase() error {
	water, inhibited, err := p.solvents()
	if err != nil {
		return err
	}
	_, column := p.methods(peak)
	a := &AmylasePairs{Water: column[water], Inhibited: column[inhibited], Threshold: pairs.AmylaseThreshold, Lots: []LotIndex{}, Unpaired: []string{}}
	if p.q.Threshold != nil {
		a.Threshold = *p.q.Threshold
	}
	if !(a.Threshold > 0 && a.Threshold < 1) {
		return &job.RequestError{Found: fmt.Sprintf("threshold %g", a.Threshold), Want: "an index between 0 and 1"}
	}
	errors := p.peakErrors(a)
	seen := map[string]bool{}
	for row := range p.t.Len() {
		lot := p.t.Lot(row)
		if seen[lot] {
			continue
		}
		falling, hasFalling := p.t.Number(fallingNumber, row)
		w, hasWater := p.t.Number(a.Water, row)
		i, hasInhibited := p.t.Number(a.Inhibited, row)
		if !hasWater || !hasInhibited {
			if hasWater && hasFalling && falling < pairs.LowFallingNumber && !slices.Contains(a.Unpaired, lot) {
				a.Unpaired = append(a.Unpaired, lot)
			}
			continue
		}
		seen[lot] = true
		l := LotIndex{Lot: lot, WaterN: p.results(a.Water, row), InhibitedN: p.results(a.Inhibited, row)}
		l.Water, l.Inhibited = errors[0].figure(w, l.WaterN), errors[1].figure(i, l.InhibitedN)
		if hasFalling {
			l.FallingNumberS = &falling
		}
		if l.Index, err = pairs.AmylaseIndex(l.Water, l.Inhibited, p.q.Level); err != nil {
			p.add("pair-not-compared", finding.Refused, a.Inhibited, "lot "+lot+": "+err.Error(), "", "")
			continue
		}
		l.Governed = l.Index.Answer(a.Threshold)
		a.Lots = append(a.Lots, l)
	}
	if len(a.Lots) == 0 {
		return &job.NothingUsableError{What: fmt.Sprintf("no lot has both %s and %s", a.Water, a.Inhibited), Findings: p.out.Findings}
	}
	a.Unpaired = slices.DeleteFunc(a.Unpaired, func(lot string) bool { return seen[lot] })
	slices.SortStableFunc(a.Lots, func(x, y LotIndex) int { return cmp.Compare(y.Index.Value, x.Index.Value) })
	p.out.Amylase = a
	p.out.Cautions = append(p.out.Cautions, p.method(inhibited).Cautions()...)
	p.amylaseFindings(a)
	return nil
}

// solvents finds the two methods whose peaks are compared.
func (p *paired) solvents() (water, inhibited string, err error) {
	ids, _ := p.methods(peak)
	find := func(named, flag string, solvent trait.Solvent) (string, error) {
		if named != "" {
			if !slices.Contains(ids, named) {
				return "", &job.RequestError{Found: "no column " + trait.Join(peak, named), Want: "a method that the table has peaks by: " + some(ids, 8)}
			}
			return named, nil
		}
		of := slices.DeleteFunc(slices.Clone(ids), func(id string) bool { return p.solvent(id) != solvent })
		if len(of) != 1 {
			return "", &job.RequestError{Found: fmt.Sprintf("%d methods in %s with peaks (%s)", len(of), solvent, some(ids, 8)), Want: "one", Do: "name it with --" + flag + " METHOD; join the runs of both methods into one table first"}
		}
		return of[0], nil
	}
	if inhibited, err = find(p.q.Inhibited, "inhibited", trait.Inhibitor); err != nil {
		return "", "", err
	}
	if p.q.Water == "" { // the twin in water: the method that differs in the solvent only
		for _, id := range ids {
			if m, o := p.method(id), p.method(inhibited); m.Solvent == trait.Water && m.SolidsG == o.SolidsG && m.SolidsBasis == o.SolidsBasis && m.TestRPM == o.TestRPM && m.DurationS() == o.DurationS() && m.SolidsG > 0 {
				p.q.Water = id
				break
			}
		}
	}
	water, err = find(p.q.Water, "water", trait.Water)
	return water, inhibited, err
}

// spread is the error of one result: absolute or as a share of the mean.
type spread struct {
	r        *pairs.Repeatability
	relative bool
}

func (s spread) figure(mean float64, n int) pairs.Figure {
	f := pairs.Figure{Mean: mean}
	if s.r == nil {
		return f
	}
	se := s.r.SD / math.Sqrt(float64(n))
	if s.relative {
		se *= mean
	}
	f.SE, f.DF = &se, s.r.DF
	return f
}

// peakErrors finds the error of the two peaks: stated, or pooled over lots as a
// share of the peak, for peaks repeat by about the same share high and low. What one
// column has no replicates for is carried over from the other, with a doubt.
func (p *paired) peakErrors(a *AmylasePairs) (out [2]spread) {
	columns, bases := [2]string{a.Water, a.Inhibited}, [2]*string{&a.WaterBasis, &a.InhibitedBasis}
	for k, c := range columns {
		if _, is := p.q.Repeatability[c]; is {
			out[k].r, *bases[k] = p.repeatability(c, false)
			continue
		}
		out[k].relative = true
		out[k].r, *bases[k] = p.repeatability(c, true)
	}
	for k := range out {
		other := out[1-k]
		switch {
		case out[k].r != nil:
		case other.r != nil && other.relative && *bases[1-k] != carried:
			out[k], *bases[k] = other, carried
			p.add("repeatability-carried-over", finding.Doubt, columns[k], "no lot was tested twice: the share by which peaks of the other method repeat is taken for it", "duplicates",
				fmt.Sprintf("test some lots twice, or state it with --repeatability %s=SD", columns[k]))
		default:
			*bases[k] = "not known"
			p.add("repeatability-unknown", finding.Doubt, columns[k], "no lot was tested twice: no index has an interval", "duplicates", fmt.Sprintf("test some lots twice, or state it with --repeatability %s=SD", columns[k]))
		}
	}
	return out
}

const carried = "carried over from the other method"

// amylaseFindings says what follows from the indices.
func (p *paired) amylaseFindings(a *AmylasePairs) {
	var governed, lowFalling, reversed []string
	for _, l := range a.Lots {
		low := l.FallingNumberS != nil && *l.FallingNumberS < pairs.LowFallingNumber
		switch {
		case l.Governed == pairs.Confirmed:
			governed = append(governed, l.Lot)
		case low && l.Governed == pairs.Contradicted:
			lowFalling = append(lowFalling, l.Lot)
		}
		if l.Index.High != nil && *l.Index.High < 0 {
			reversed = append(reversed, l.Lot)
		}
	}
	if len(governed) > 0 {
		p.add("amylase-governs", finding.Doubt, a.Water, fmt.Sprintf("in the water runs of %d lots amylase governs the peak: %s", len(governed), some(governed, 8)),
			"water runs that tell of the starch", "take their inhibited runs for what the starch is like; leave their water runs out of a model, or let it have sound and sprouted lots knowingly")
	}
	if len(lowFalling) > 0 {
		p.add("falling-number-not-amylase", finding.Note, fallingNumber, fmt.Sprintf("%d lots of a low falling number are hardly thinned by amylase: %s", len(lowFalling), some(lowFalling, 8)), "", "look at their starch (partial waxy) and protein instead")
	}
	if len(a.Unpaired) > 0 {
		p.add("falling-number-unpaired", finding.Doubt, fallingNumber, fmt.Sprintf("%d lots of a low falling number were tested in water only: %s", len(a.Unpaired), some(a.Unpaired, 8)),
			"the inhibited twin of the run", "test them with the inhibitor before their peak is blamed on amylase")
	}
	if len(reversed) > 0 {
		p.add("inhibited-lower", finding.Doubt, a.Inhibited, fmt.Sprintf("the inhibited peak of %d lots lies below that in water: %s", len(reversed), some(reversed, 8)), "an inhibited peak that is not lower",
			"look at weigh-in, moisture and the inhibitor (chloride weakens silver nitrate) and repeat the pair")
	}
}
