package report

import (
	"fmt"
	"strings"

	"flourcast/dataset/treatment"
	"flourcast/report/phrase"
	"flourcast/study/card"
)

// ceilingWords says in a sentence what the measurement's own error allows; empty
// where nothing was measured twice.
func ceilingWords(c *card.Card) string {
	if c.NoiseCeiling == nil || c.ReplicateSE == nil {
		return ""
	}
	label, unit := phrase.AxisOf(c.Response)
	return fmt.Sprintf("The replicates' own error (standard error of a measured %s: %s) lets no model reach a Q² above %s; replicates of one batch or day understate that error, so the true limit lies lower.",
		label, strings.TrimSpace(trimmed(*c.ReplicateSE)+" "+unit), phrase.FixedText(*c.NoiseCeiling, 2))
}

// selectionWords says which rows a model was made from, beyond product and method;
// empty where no treatment is stated and none was left out by a condition.
func selectionWords(c *card.Card) string {
	var words []string
	switch {
	case c.TreatmentFactor != nil:
		var levels []string
		for _, l := range c.TreatmentFactor.Levels {
			levels = append(levels, l.Treatment)
		}
		words = append(words, fmt.Sprintf("flour treatment as a factor: %s against %s", strings.Join(levels, ", "), c.TreatmentFactor.Reference))
	case c.TreatmentUse == treatment.Pooled:
		words = append(words, "flours of several treatments pooled")
	case c.Treatment != "":
		words = append(words, "within flour treatment "+c.Treatment)
	}
	if w := c.Weighting; w != nil {
		words = append(words, fmt.Sprintf("%s (from %s to %s; they know as much as %s of one weight)", w.Rule, trimmed(w.Lowest), trimmed(w.Highest), phrase.Plural(int(w.Effective+0.5), "row")))
	}
	for _, w := range c.Where {
		words = append(words, w.String())
	}
	return strings.Join(words, ", ")
}
