package report

import (
	"fmt"
	"strings"

	"flourcast/dataset/treatment"
	"flourcast/study/card"
)

// ceilingWords says in a sentence what the measurement's own error allows; empty
// where nothing was measured twice.
func ceilingWords(c *card.Card) string {
	if c.NoiseCeiling == nil || c.ReplicateSE == nil {
		return ""
	}
	label, unit := axisOf(c.Response)
	return fmt.Sprintf("The replicates' own error (standard error of a measured %s: %s) lets no model reach a Q² above %s; replicates of one batch or day understate that error, so the true limit lies lower.",
		label, strings.TrimSpace(trimmed(*c.ReplicateSE)+" "+unit), fixedText(*c.NoiseCeiling, 2))
}

// selectionWords says which rows a model was made from, beyond product and method;
// empty where all were untreated and none was left out by a condition.
func selectionWords(c *card.Card) string {
	var words []string
	if c.Treatment != "" && c.Treatment != string(treatment.None) {
		words = append(words, "flour treatment "+c.Treatment)
	}
	for _, w := range c.Where {
		words = append(words, w.String())
	}
	return strings.Join(words, ", ")
}
