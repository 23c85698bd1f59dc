package comparison

import (
	"slices"

	"gonum.org/v1/gonum/stat"

	"flourcast/dataset/trait"
	"flourcast/eval/direction"
	"flourcast/study/card"
)

// Where a figure lies against others.
const (
	Below  = "below"
	Within = "within"
	Above  = "above"
)

// What a feature says of the response.
const (
	PointsHigher = "higher"
	PointsLower  = "lower"
	PointsSame   = "same"
)

// Feature is one feature of the lot set against those of other lots, with what is
// published of it. Low and High are the 10th and 90th percentile of the figures of
// Compared lots (all of them below ten lots); Of is which lots they are: references, or
// those of the model. Sign and Standing are of the published direction, "" where there
// is none; Disagree where publications contradict each other. Own is what the
// laboratory's lots answer to it. Points is what the feature says of the response, set
// against Than: the present flour where there is one and the feature's repeatability is
// known, the compared lots otherwise.
type Feature struct {
	Feature  string   `json:"feature"`
	Value    float64  `json:"value"`
	Present  *float64 `json:"present"`
	Low      float64  `json:"low"`
	High     float64  `json:"high"`
	Compared int      `json:"compared"`
	Of       string   `json:"of"` // reference | model
	Position string   `json:"position"`
	Sign     string   `json:"sign"`
	Standing string   `json:"standing"`
	Disagree bool     `json:"disagree"`
	Own      string   `json:"own_lots"`
	Source   string   `json:"source"`
	Points   string   `json:"points"`
	Than     string   `json:"points_than"` // present flour | reference | model
}

// mostFeatures is how many features a sheet has room for.
const mostFeatures = 5

// Features are the model's features that have a name in the glossary, those with a
// published direction first, at most five. present is the customer's present flour, "" for none.
func (l *Lots) Features(lot, present string, c *card.Card, references []string) []Feature {
	out := []Feature{}
	for j, name := range c.Features {
		if _, known := trait.Lookup(name); !known {
			continue
		}
		v, ok := l.Figure(lot, name, c)
		if !ok {
			continue
		}
		f := Feature{Feature: name, Value: v, Of: Reference}
		if present != "" {
			if p, ok := l.Figure(present, name, c); ok {
				f.Present = &p
			}
		}
		var others []float64
		for _, r := range references {
			if x, ok := l.Figure(r, name, c); ok {
				others = append(others, x)
			}
		}
		if len(others) < 3 {
			f.Of, others = "model", nil
			for _, r := range c.Training {
				others = append(others, r.X[j])
			}
		}
		f.against(others)
		position := f.Position
		f.Than = f.Of
		if r, known := c.Repeat[name]; known && f.Present != nil {
			position, f.Than = beside(v-*f.Present, r.SD), Present
		}
		f.direction(c, position)
		out = append(out, f)
	}
	slices.SortStableFunc(out, func(a, b Feature) int { return rank(a) - rank(b) })
	return out[:min(len(out), mostFeatures)]
}

// rank puts established directions first, then other ones, then features without.
func rank(f Feature) int {
	return slices.Index([]string{direction.Established, direction.Contextual, direction.Contested, ""}, f.Standing)
}

// against places the value among other figures.
func (f *Feature) against(others []float64) {
	slices.Sort(others)
	f.Compared, f.Low, f.High, f.Position = len(others), others[0], others[len(others)-1], Within
	if len(others) >= 10 {
		f.Low, f.High = stat.Quantile(0.1, stat.Empirical, others, nil), stat.Quantile(0.9, stat.Empirical, others, nil)
	}
	switch {
	case f.Value < f.Low:
		f.Position = Below
	case f.Value > f.High:
		f.Position = Above
	}
}

// repeatFactor times the repeatability SD is what two single runs of one flour differ by
// in one of 20 cases (1.96·√2 = 2.77, the repeatability limit of ISO 5725-6): less is no
// difference.
const repeatFactor = 2.77

// beside places a difference from the present flour.
func beside(difference, repeatSD float64) string {
	switch {
	case difference > repeatFactor*repeatSD:
		return Above
	case difference < -repeatFactor*repeatSD:
		return Below
	}
	return Within
}

// direction finds what is published of the feature: the rule of the best standing that
// applies; where contested rules contradict each other, that they do. With the position
// of the lot it says where the feature points.
func (f *Feature) direction(c *card.Card, position string) {
	id, _ := trait.Split(f.Feature)
	var found []direction.Answer
	for _, a := range c.Directions {
		if of, _ := trait.Split(a.Feature); of == id && a.Applies {
			found = append(found, a)
		}
	}
	order := []string{direction.Established, direction.Contextual, direction.Contested}
	slices.SortStableFunc(found, func(a, b direction.Answer) int {
		return slices.Index(order, a.Rule.Standing) - slices.Index(order, b.Rule.Standing)
	})
	if len(found) == 0 {
		return
	}
	best := found[0]
	f.Sign, f.Standing, f.Own = best.Rule.Sign, best.Rule.Standing, best.Outcome
	for _, a := range found {
		f.Disagree = f.Disagree || a.Rule.Standing == best.Rule.Standing && a.Rule.Sign != best.Rule.Sign
	}
	// A rule of the laboratory's own may name what is the laboratory's business.
	for _, r := range direction.Builtin() {
		if r.ID == best.Rule.ID && r.Source == best.Rule.Source {
			f.Source = r.Source
		}
	}
	if f.Disagree {
		return
	}
	switch {
	case position == Within || f.Sign == direction.None:
		f.Points = PointsSame
	case f.Sign == direction.Rises && position == Above, f.Sign == direction.Falls && position == Below:
		f.Points = PointsHigher
	case f.Sign == direction.Rises, f.Sign == direction.Falls:
		f.Points = PointsLower
	}
}
