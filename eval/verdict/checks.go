package verdict

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/eval/direction"
	"gonum.org/v1/gonum/stat/distuv"
)

// Names of the checks, in the order of a verdict.
const (
	CheckLots       = "enough lots"
	CheckMean       = "better than the mean"
	CheckDirections = "directions"
	CheckCovered    = "a rule covers this response"
	CheckProtein    = "adds beyond protein"
	CheckYears      = "holds across crop years"
	CheckCoverage   = "coverage"
	CheckReference  = "not better than its reference"
	CheckOneLot     = "no lot decides"
	CheckData       = "data"
)

// answer makes a check; figures that are not finite are left out of it.
func answer(name, outcome string, figure, threshold *float64, detail, cure string) Check {
	keep := func(p *float64) *float64 {
		if p == nil || math.IsNaN(*p) || math.IsInf(*p, 0) {
			return nil
		}
		v := *p
		return &v
	}
	return Check{name, outcome, keep(figure), keep(threshold), detail, cure}
}

func number(v float64) *float64 { return &v }

func count(v int) *float64 { return number(float64(v)) }

func (j judge) enoughLots() Check {
	detail := fmt.Sprintf("the model rests on %d lots", j.Lots)
	cure := fmt.Sprintf("measure more lots: %d are enough for this check", j.t.LotsPass)
	switch {
	case j.Lots < j.t.LotsFail:
		return answer(CheckLots, Fail, count(j.Lots), count(j.t.LotsFail), detail+fmt.Sprintf(", and fewer than %d show nothing reliable", j.t.LotsFail), cure)
	case j.Lots < j.t.LotsPass:
		return answer(CheckLots, Caution, count(j.Lots), count(j.t.LotsPass), detail+fmt.Sprintf(", fewer than %d", j.t.LotsPass), cure)
	}
	return answer(CheckLots, Pass, count(j.Lots), count(j.t.LotsPass), detail, "")
}

// betterThanMean passes when Q² is above its threshold and the permutation p is
// small. Q² alone is not enough: worthless models of small sets show Q² > 0 often.
func (j judge) betterThanMean() Check {
	cure := "add lots that differ more, look for a lot or a reading that is wrong, or measure another feature"
	switch {
	case j.Q2 == nil:
		return answer(CheckMean, Caution, nil, &j.t.Q2, "the model was not cross-validated", "fit it with cross-validation by lot")
	case !(*j.Q2 > j.t.Q2):
		return answer(CheckMean, Fail, j.Q2, &j.t.Q2, fmt.Sprintf("on lots that it had not seen it forecasts no better than their average (Q² %s)", short(*j.Q2)), cure)
	case j.PermutationP == nil:
		return answer(CheckMean, Caution, j.Q2, &j.t.Q2, fmt.Sprintf("it forecasts better than the average (Q² %s), but was not tested against chance", short(*j.Q2)),
			"fit with a permutation test, such as 999 permutations")
	case !(*j.PermutationP <= j.t.PermutationP):
		return answer(CheckMean, Fail, j.PermutationP, &j.t.PermutationP, fmt.Sprintf("chance alone does as well (Q² %s, permutation p %s)", short(*j.Q2), pValue(*j.PermutationP)), cure)
	}
	return answer(CheckMean, Pass, j.Q2, &j.t.Q2, fmt.Sprintf("on lots that it had not seen it forecasts better than their average (Q² %s, permutation p %s)", short(*j.Q2), pValue(*j.PermutationP)), "")
}

// directions weighs the answers that apply. It also returns the overrides that
// were needed.
func (j judge) directions() (Check, []Override) {
	var confirmed, contradicted, context, minority, needProtein []direction.Answer
	var used []Override
	established, applying := 0, 0
	for _, a := range j.Directions {
		if !a.Applies {
			continue
		}
		applying++
		is := a.Rule.Standing == direction.Established
		if is {
			established++
		}
		switch {
		case is && a.Outcome == direction.Confirmed:
			confirmed = append(confirmed, a)
			if p := a.GivenProtein; p != nil && !sameSide(a.Rule.Sign, p.Low, p.High) {
				needProtein = append(needProtein, a)
			}
		case is && a.Outcome == direction.Contradicted:
			at := slices.IndexFunc(j.Overrides, func(o Override) bool { return o.Rule == a.Rule.ID && strings.TrimSpace(o.Reason) != "" })
			if at < 0 {
				contradicted = append(contradicted, a)
			} else if !slices.Contains(used, j.Overrides[at]) {
				used = append(used, j.Overrides[at])
			}
		case a.AgainstMajority:
			minority = append(minority, a)
		case a.Rule.Standing == direction.Contextual && a.Outcome == direction.Contradicted && a.Rule.Sign != direction.None:
			context = append(context, a)
		}
	}
	n, want := count(len(confirmed)), count(j.t.EstablishedConfirmed)
	overridden := ""
	for _, o := range used {
		overridden += fmt.Sprintf("; %s is contradicted and overridden: %s", o.Rule, o.Reason)
	}
	say := func(outcome, detail, cure string) (Check, []Override) {
		return answer(CheckDirections, outcome, n, want, detail+overridden, cure), used
	}
	switch {
	case applying == 0:
		return answer(CheckDirections, NotAssessed, nil, nil, "no rule applies to this product, solvent and response", "state product and method, or add the laboratory's own rules with their source"), nil
	case len(contradicted) > 0:
		return say(Fail, "the lots contradict what is established: "+told(contradicted),
			"check signs, units and pairing of lots; if the lots are right, record why they differ")
	case len(confirmed) < j.t.EstablishedConfirmed:
		if established == 0 {
			return say(Caution, "no established rule applies to this response; those that do are contested or hold in their context only", "look at each rule's answer; add the laboratory's own rules with their source")
		}
		return say(Caution, fmt.Sprintf("of the established rules that apply, %d of %d are confirmed", len(confirmed), established), "see each rule's reason: more lots, a wider range, or a known solvent")
	case len(needProtein) > 0:
		return say(Caution, "confirmed, but not with protein held constant: "+told(needProtein), "add lots in which viscosity and protein do not go together")
	case len(minority) > 0:
		return say(Caution, "the lots side with the minority on a contested rule: "+told(minority), "read the sources of both sides and see whose conditions are yours")
	case len(context) > 0:
		return say(Caution, "the lots contradict a rule that holds in its context: "+told(context), "see whether the rule's conditions are yours")
	}
	return say(Pass, "as established: "+told(confirmed), "")
}

// told says what answers are about, each direction once with the rules that have it, and
// with the methods where the answers are of several.
func told(answers []direction.Answer) string {
	methods := map[string]bool{}
	for _, a := range answers {
		_, m := trait.Split(a.Feature)
		methods[m] = true
	}
	var order []string
	rules := map[string][]string{}
	for _, a := range answers {
		what, rule := moves(a.Rule), a.Rule.ID
		if _, m := trait.Split(a.Feature); m != "" && len(methods) > 1 {
			rule += " by " + m
		}
		if rules[what] == nil {
			order = append(order, what)
		}
		rules[what] = append(rules[what], rule)
	}
	for i, what := range order {
		order[i] = what + " (" + strings.Join(rules[what], ", ") + ")"
	}
	return strings.Join(order, "; ")
}

// sameSide reports that an interval lies on the side of zero that a rule expects.
func sameSide(sign string, low, high float64) bool {
	switch sign {
	case direction.Rises:
		return low > 0
	case direction.Falls:
		return high < 0
	}
	return true
}

func (j judge) covered() Check {
	applying := 0
	for _, a := range j.Directions {
		if a.Applies {
			applying++
		}
	}
	if applying == 0 {
		return answer(CheckCovered, Caution, count(0), count(1), "no published direction covers "+label(j.Response)+" of this product and method",
			"state product and method, or add the laboratory's own rules with their source")
	}
	return answer(CheckCovered, Pass, count(applying), count(1), fmt.Sprintf("%d rules apply", applying), "")
}

func (j judge) beyondProtein() Check {
	g := j.Protein
	if g == nil {
		return answer(CheckProtein, NotAssessed, nil, nil, "protein is not known for the lots", "add protein_pct to the lots")
	}
	detail := fmt.Sprintf("beyond protein alone the model gains %s in Q² (%s to %s)", short(g.Value), short(g.Low), short(g.High))
	if g.Low > j.t.ProteinGain {
		return answer(CheckProtein, Pass, &g.Value, &j.t.ProteinGain, detail, "")
	}
	return answer(CheckProtein, Caution, &g.Value, &j.t.ProteinGain, detail+", which may be nothing", "add lots in which viscosity and protein do not go together; protein alone may serve as well")
}

func (j judge) acrossYears() Check {
	few := j.CropYears < j.t.CropYears
	tooFew := fmt.Sprintf("only %d crop years have %d lots or more, so a new harvest is untried", j.CropYears, j.t.LotsPerYear)
	switch j.CropYears {
	case 0:
		tooFew = fmt.Sprintf("no crop year with %d lots or more is known, so a new harvest is untried", j.t.LotsPerYear)
	case 1:
		tooFew = fmt.Sprintf("only one crop year has %d lots or more, so a new harvest is untried", j.t.LotsPerYear)
	}
	cure := fmt.Sprintf("add crop_year, and lots until %d crop years have %d each", j.t.CropYears, j.t.LotsPerYear)
	if j.Years == nil {
		if few {
			return answer(CheckYears, Caution, count(j.CropYears), count(j.t.CropYears), tooFew, cure)
		}
		return answer(CheckYears, NotAssessed, nil, nil, "the model was not tried on crop years left out", "fit again with the crop years in the table")
	}
	detail := fmt.Sprintf("on crop years left out Q² is %s", short(j.Years.Q2))
	if j.Years.Worst != "" {
		detail += ", worst in " + j.Years.Worst
		if j.Years.WorstQ2 != nil {
			detail += fmt.Sprintf(" (%s)", short(*j.Years.WorstQ2))
		}
	}
	switch {
	case !(j.Years.Q2 > j.t.YearsQ2):
		return answer(CheckYears, Fail, &j.Years.Q2, &j.t.YearsQ2, detail+": it does not carry over to another harvest", "add lots of each harvest, and fit anew when a harvest comes in")
	case few:
		return answer(CheckYears, Caution, count(j.CropYears), count(j.t.CropYears), tooFew+" ("+detail+")", cure)
	}
	return answer(CheckYears, Pass, &j.Years.Q2, &j.t.YearsQ2, detail, "")
}

// coverage tests, one-sided binomial, whether fewer left-out lots lie inside
// their interval than its level promises, over all years, and in the worst year
// (its p times the number of years). One year alone is a caution at most: its lots
// share that year's fate, so its p is too small. Too many inside is never a fault.
func (j judge) coverage() Check {
	c := j.Coverage
	if c == nil || c.N < 1 || !(c.Level > 0 && c.Level < 1) {
		return answer(CheckCoverage, NotAssessed, nil, nil, "intervals were not tried on crop years left out", "add lots of two crop years or more")
	}
	share := float64(c.Inside) / float64(c.N)
	p := distuv.Binomial{N: float64(c.N), P: c.Level}.CDF(float64(c.Inside))
	detail := fmt.Sprintf("%d of %d lots of left-out crop years lay inside their %s %% interval", c.Inside, c.N, stated(100*c.Level))
	cure := "take the intervals as too narrow for a new harvest; add its first lots and fit anew"
	switch {
	case p < j.t.CoverageFailP:
		return answer(CheckCoverage, Fail, &share, &c.Level, detail+fmt.Sprintf(", far fewer than promised (p %s)", pValue(p)), cure)
	case p < j.t.CoverageCautionP:
		return answer(CheckCoverage, Caution, &share, &c.Level, detail+fmt.Sprintf(", fewer than promised (p %s)", pValue(p)), cure)
	}
	if worst, p := worstCovered(c); p < j.t.CoverageCautionP {
		share = float64(worst.Inside) / float64(worst.N)
		return answer(CheckCoverage, Caution, &share, &c.Level, detail+fmt.Sprintf(", but of %s only %d of %d (p %s, for the worst of %d years)", worst.Name, worst.Inside, worst.N, pValue(p), len(c.Years)), cure)
	}
	return answer(CheckCoverage, Pass, &share, &c.Level, detail, "")
}

// worstCovered is the year whose lots lie inside least probably, with its p times
// the number of years; p is 1 without years.
func worstCovered(c *Coverage) (worst CoveredYear, p float64) {
	p = 1
	for _, y := range c.Years {
		if y.N < 1 {
			continue
		}
		one := distuv.Binomial{N: float64(y.N), P: c.Level}.CDF(float64(y.Inside))
		if all := one * float64(len(c.Years)); all < p {
			worst, p = y, all
		}
	}
	return worst, p
}

// reference suspects a leak when the model's error is smaller than the error of
// the response itself: (RMSECV/s_ref)² below the 1 % point of F(n, df).
func (j judge) reference() Check {
	r := j.Reference
	if r == nil || !(r.SE > 0) || !(r.DF > 0) || j.Lots < 1 {
		return answer(CheckReference, NotAssessed, nil, nil, "the error of the response itself is not known", "measure the response in replicate on some lots")
	}
	ratio := math.Pow(r.RMSECV/r.SE, 2)
	limit := distuv.F{D1: float64(j.Lots), D2: r.DF}.Quantile(j.t.ReferenceP)
	detail := fmt.Sprintf("the error of forecasts is %s times that of a measured lot mean; as a ratio of variances %s", short(r.RMSECV/r.SE), short(ratio))
	if ratio < limit {
		return answer(CheckReference, Fail, &ratio, &limit, detail+", which is better than the measurement allows: the answer has leaked into the features or folds",
			"look for a feature that was made from the response, and for lots that are in the table twice")
	}
	return answer(CheckReference, Pass, &ratio, &limit, detail, "")
}

func (j judge) oneLot() Check {
	switch o := j.OneLot; {
	case o == nil:
		return answer(CheckOneLot, NotAssessed, nil, nil, "the verdict was not tried without each lot", "")
	case o.Lot != "":
		detail := "lot " + o.Lot + " decides"
		if o.Changes != "" {
			detail += ": without it " + o.Changes
		}
		return answer(CheckOneLot, Caution, nil, nil, detail, "look at this lot's readings, and add lots like it")
	}
	return answer(CheckOneLot, Pass, nil, nil, "no lot changes the verdict when it is left out", "")
}

func (j judge) data() Check {
	d := j.Data
	if d == nil {
		return answer(CheckData, NotAssessed, nil, nil, "the findings on the data are not known", "")
	}
	add := func(s string) string {
		if d.Detail != "" {
			s += ": " + d.Detail
		}
		return s
	}
	switch {
	case d.Split:
		return answer(CheckData, Fail, nil, nil, add("replicates of one lot stood in training and test at once"), "split by lot")
	case d.Leak:
		return answer(CheckData, Fail, nil, nil, add("the answer has leaked into the features"), "take the feature out that was made from the response")
	case d.Doubts == 1:
		return answer(CheckData, Caution, count(1), count(0), add("one finding on the data is a doubt"), "settle it, or read it and decide")
	case d.Doubts > 1:
		return answer(CheckData, Caution, count(d.Doubts), count(0), add(fmt.Sprintf("%d findings on the data are doubts", d.Doubts)), "settle them, or read them and decide")
	}
	return answer(CheckData, Pass, count(0), count(0), "no finding on the data is a doubt", "")
}

func pValue(p float64) string {
	if p < 0.001 {
		return "below 0.001"
	}
	return fmt.Sprintf("%.3f", p)
}
