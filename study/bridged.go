package study

import (
	"fmt"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/forecast"
	"flourcast/forecast/bridge"
	"flourcast/study/bridging"
	"flourcast/study/card"
)

// BridgeUsed names the bridge that forecasts went over.
type BridgeUsed struct {
	From     string  `json:"from"`
	To       string  `json:"to"`
	SHA256   string  `json:"sha256"`
	Widening float64 `json:"widening"` // of the interval, in the middle of the paired range
}

// bridgeFor checks that a bridge serves the model.
func bridgeFor(b *bridge.Bridge, c *card.Card, model string) (*BridgeUsed, error) {
	if b == nil {
		return nil, nil
	}
	if c.Transform != "" {
		return nil, &RequestError{Found: "a bridge to a model of the response's " + c.Transform, Want: "a model of the response itself", Do: "fit without --transform"}
	}
	s, err := bridging.Against(b, c, model)
	if err != nil {
		return nil, err
	}
	if len(s.Missing) > 0 {
		return nil, &RequestError{Found: "a bridge without " + strings.Join(s.Missing, ", "), Want: "every pasting feature of the model, by its method", Do: "make the bridge with --model"}
	}
	if !s.Serves {
		return nil, &RequestError{Found: fmt.Sprintf("a bridge that widens the interval %.2f times", s.Widening), Want: fmt.Sprintf("%.2f times at most", s.Most), Do: "run the lots on the model's own instrument, or pair more lots, with replicates"}
	}
	return &BridgeUsed{From: b.From, To: b.To, SHA256: b.SHA256, Widening: s.Widening}, nil
}

// over takes a lot's pasting features over the bridge. Outside of the paired range the
// lot is held.
func over(b *bridge.Bridge, in *forecast.Input) {
	from, slopes := map[string]float64{}, map[string]float64{}
	var outside []string
	for j, name := range in.Model.Features {
		v, ok := in.Features[name]
		if !ok || !b.Has(name) {
			continue
		}
		to, off := b.At(name, v)
		if off {
			outside = append(outside, trait.Label(name)+" "+trait.Format(name, v))
		}
		if s, ok := in.Replicates[name]; ok {
			slope := b.Slope(name)
			s.Mean, s.SD, s.SE = to, s.SD*slope, s.SE*slope
			in.Replicates[name] = s
		}
		from[name], slopes[name], in.Features[name] = v, in.Model.Coefficients[j], to
	}
	if len(outside) > 0 {
		in.Problems = append(in.Problems, fmt.Sprintf("outside of what was paired for the bridge from %s to %s: %s; run the lot on %s", b.From, b.To, strings.Join(outside, ", "), b.To))
	}
	in.Bridged = b.Variance(slopes, from)
}
