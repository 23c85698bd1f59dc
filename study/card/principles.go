package card

import (
	"fmt"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/eval/direction"
)

// Item is one thing that a standard of reporting asks of a model, and what this
// model file has to say to it. Given is false where it has nothing.
type Item struct {
	Standard string `json:"standard"` // OECD 2004 | TRIPOD 2015
	Item     string `json:"item"`
	Asks     string `json:"asks"`
	Says     string `json:"says"`
	Given    bool   `json:"given"`
}

// Standards of Items.
const (
	// OECD are the principles for validating quantitative structure–activity models
	// (OECD 2004), a flour taken as the structure and the texture as the activity.
	OECD = "OECD 2004"
	// TRIPOD is the statement on reporting prediction models (Collins, Reitsma,
	// Altman, Moons 2015, Ann Intern Med 162:55, from memory), a lot taken as the
	// patient and the measured response as the outcome.
	TRIPOD = "TRIPOD 2015"
)

// Items are the five principles and the items of TRIPOD that a fitted model can
// answer from its own file; what only people know is said to be missing, never
// guessed.
func (c *Card) Items() []Item {
	var out []Item
	add := func(standard, item, asks, says string) {
		given := says != ""
		if !given {
			says = "not in the model file: say it beside"
		}
		out = append(out, Item{standard, item, asks, strings.NewReplacer(" -", " −", "(-", "(−").Replace(says), given})
	}
	add(OECD, "1", "a defined endpoint", c.endpoint())
	add(OECD, "2", "an unambiguous algorithm", c.algorithm())
	add(OECD, "3", "a defined domain of applicability", c.applicability())
	add(OECD, "4", "measures of fit, robustness and predictivity", c.performance())
	add(OECD, "5", "a mechanistic interpretation, if possible", c.mechanism())
	add(TRIPOD, "4", "source of data, and dates", fmt.Sprintf("%s, %d rows, SHA-256 %.12s…; fitted %s", c.Source.File, c.Source.Rows, c.Source.SHA256, c.Made.Format("2006-01-02"))+c.cropYears())
	add(TRIPOD, "5", "participants: which lots, where", c.participants())
	add(TRIPOD, "6a", "outcome, how and when measured", c.endpoint())
	add(TRIPOD, "6b", "blinding of the outcome to the predictors", "")
	add(TRIPOD, "7", "predictors, how and when measured", "columns "+strings.Join(c.Features, ", ")+byMethod(c.Method))
	add(TRIPOD, "8", "how the number of lots was arrived at", "")
	add(TRIPOD, "9", "missing data", fmt.Sprintf("complete cases only: %d rows of %d used; nothing is filled in", len(c.Training), c.Source.Rows))
	add(TRIPOD, "10", "model building and internal validation", c.algorithm()+"; "+c.validation())
	add(TRIPOD, "13", "flow of lots, and their characteristics", fmt.Sprintf("%d rows in the table, %d rows of %d lots used; their figures are in the model file", c.Source.Rows, len(c.Training), c.lots()))
	add(TRIPOD, "15", "the full model", fmt.Sprintf("intercept and %d coefficients in original units, in the model file and in the report", len(c.Coefficients)))
	add(TRIPOD, "16", "performance with intervals", c.performance())
	add(TRIPOD, "18", "limitations", c.limitations())
	add(TRIPOD, "19, 20", "interpretation, and use", c.Verdict.Sentence)
	add(TRIPOD, "21", "availability", "the model file holds the training rows, the model, every figure of the report and its own SHA-256")
	add(TRIPOD, "22", "funding", "")
	return out
}

func (c *Card) endpoint() string {
	t, ok := trait.Lookup(c.Response)
	if !ok {
		return "the column " + c.Response + ", which is not in the glossary: say what it is and how it was measured"
	}
	unit := ""
	if t.Unit != "" {
		unit = ", " + t.Unit
	}
	says := fmt.Sprintf("%s%s (%s): %s [%s]", t.Label, unit, c.ResponseKind, t.Definition, t.Source)
	if c.Product != "" {
		says += "; product " + c.Product
	}
	return says
}

func byMethod(method string) string {
	if method == "" {
		return "; pasting by several methods, or not stated"
	}
	return "; pasting by " + method
}

func (c *Card) algorithm() string {
	says := c.Kind
	if name, ok := map[string]string{"pls": "PLS", "ols": "least squares", "ridge": "ridge regression", "mean": "the mean of the lots"}[c.Kind]; ok {
		says = name
	}
	switch {
	case c.Components == 1:
		says += ", 1 component"
	case c.Components > 1:
		says += fmt.Sprintf(", %d components", c.Components)
	case c.Lambda != nil:
		says += fmt.Sprintf(", penalty %.4g", *c.Lambda)
	}
	if c.Scaling == "none" {
		says += ", features centred"
	} else {
		says += ", features centred and scaled to SD 1"
	}
	return says + fmt.Sprintf("; flourcast %s; the same seed and table give the same bits", c.Program)
}

func (c *Card) validation() string {
	says := c.CV.Scheme + ", lots never split"
	if c.CV.Nested {
		says += ", components or penalty chosen anew inside every training part"
	}
	return says
}

func (c *Card) applicability() string {
	if c.Domain == nil {
		return ""
	}
	return fmt.Sprintf("inside, edge or outside of %d calibration lots by leverage, Hotelling's T², Q residual and each feature's range; a lot outside is held, whatever its forecast%s", c.lots(), byMethod(c.Method))
}

func (c *Card) performance() string {
	response, _ := trait.Lookup(c.Response)
	says := fmt.Sprintf("Q² %.2f and RMSECV %s on lots not seen", c.CV.Q2, strings.TrimSpace(fmt.Sprintf("%.3g %s", c.CV.RMSECV, response.Unit)))
	if c.Permutation != nil {
		says += fmt.Sprintf("; permutation p %.3f", c.Permutation.P)
	}
	if c.Years != nil {
		says += fmt.Sprintf("; crop years left out: Q² %.2f, %d of %d lots inside their %.0f %% interval", c.Years.Q2, c.Years.Inside, c.Years.Lots, 100*c.Years.Level)
	}
	if c.Protein != nil {
		says += fmt.Sprintf("; beyond protein %.2f in Q² (%.2f to %.2f)", c.Protein.Gain, c.Protein.Low, c.Protein.High)
	}
	return says + "; coefficients with jackknife intervals. No lot outside this table was forecast and measured"
}

func (c *Card) mechanism() string {
	count := map[string][]string{}
	for _, a := range c.Directions {
		if a.Applies {
			count[a.Outcome] = append(count[a.Outcome], a.Rule.ID)
		}
	}
	var parts []string
	for _, outcome := range []string{direction.Confirmed, direction.Contradicted, direction.CannotTell} {
		if ids := count[outcome]; len(ids) > 0 {
			parts = append(parts, outcome+": "+strings.Join(ids, ", "))
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return "published directions put to these lots; " + strings.Join(parts, "; ") + ". Single coefficients are not read as directions"
}

func (c *Card) limitations() string {
	var parts []string
	for _, k := range c.Verdict.Checks {
		if k.Outcome == "caution" || k.Outcome == "fail" || k.Outcome == "not assessed" {
			parts = append(parts, k.Name+": "+k.Detail)
		}
	}
	if len(parts) == 0 {
		return "no check was a caution; a model of one laboratory's lots and method holds for those"
	}
	return strings.Join(parts, "; ")
}

func (c *Card) lots() int {
	seen := map[string]bool{}
	for _, r := range c.Training {
		seen[r.Lot] = true
	}
	return len(seen)
}

// cropYears are the years of the training lots, in their order.
func (c *Card) cropYears() string {
	var years []string
	seen := map[string]bool{"": true}
	for _, r := range c.Training {
		if !seen[r.CropYear] {
			seen[r.CropYear] = true
			years = append(years, r.CropYear)
		}
	}
	if len(years) == 0 {
		return "; crop years not stated"
	}
	return "; crop years " + strings.Join(years, ", ")
}

func (c *Card) participants() string {
	says := fmt.Sprintf("%d lots", c.lots())
	if c.Product != "" {
		says += " of flour for " + c.Product
	}
	if c.Treatment != "" {
		says += ", treatment " + c.Treatment
	}
	if c.TreatmentFactor != nil {
		says += ", treatment a factor (" + strings.Join(c.TreatmentFactor.Names(), ", ") + ")"
	}
	return says + "; suppliers, places and how lots came to be tested are the laboratory's to say"
}
