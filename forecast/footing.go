package forecast

import (
	"flourcast/eval/domain"
	"flourcast/eval/verdict"
)

// What a forecast is good for beside others: Decided, the probability may be compared;
// Doubted, something speaks against it; Unknown, there is none.
const (
	Decided = "decided"
	Doubted = "doubted"
	Unknown = "unknown"
)

// Footing tells a lot that is held only because its probability is neither high nor low
// (Decided) from one that is held for a doubt: a model of this standing, the domain, a
// run. Without a specification every forecast is Unknown.
func (f Forecast) Footing(standing string, rule Rule) string {
	switch {
	case f.Probability == nil:
		return Unknown
	case standing == verdict.NotFitForUse || f.Domain == domain.Outside:
		return Doubted
	case f.Decision == Hold && rule.Decide(*f.Probability) != Hold:
		return Doubted
	}
	return Decided
}
