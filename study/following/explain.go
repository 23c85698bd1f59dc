package following

import (
	"fmt"
	"strings"

	"flourcast/eval/domain"
	"flourcast/forecast/follow"
)

// explain says why the status is what it is, and which lots to add.
func (r *Result) explain(j follow.Judgement, at []int, charted int) {
	side := map[string]string{"above": "measured above forecast", "below": "measured below forecast"}
	say := func(format string, args ...any) { r.Why = append(r.Why, fmt.Sprintf(format, args...)) }
	switch r.Status {
	case follow.TooFew:
		say("%d charted lots; five are needed before anything is said", charted)
	case follow.InControl:
		say("the moving average of %d lots' errors keeps within its limits", charted)
	}
	for _, s := range r.Signals {
		if r.Status == follow.Recalibrate && !s.Confirmed {
			continue
		}
		switch {
		case s.Confirmed:
			say("the moving average left its limits at lot %s (%s), began anew, and left them again to the same side at lot %s: confirmed", s.Lot, side[s.Side], s.ConfirmedBy)
		case s.Passed:
			say("the moving average left its limits at lot %s (%s); 20 lots went by without a second signal, so it has passed", s.Lot, side[s.Side])
		case r.Status == follow.Watch:
			say("the moving average left its limits at lot %s (%s); a second signal within 20 lots would confirm it", s.Lot, side[s.Side])
		}
		if s.Confirmed {
			break
		}
	}
	if len(r.Lots) > follow.Horizon() && r.Status != follow.InControl {
		say("%d lots were followed: limits that call out one good model in ten within %d lots call out more within that many", len(r.Lots), follow.Horizon())
	}
	r.toAdd(j, at)
}

// toAdd names the lots that a new calibration should have: those since the drift
// began; and in any case measured lots that the model was not calibrated for.
func (r *Result) toAdd(j follow.Judgement, at []int) {
	since := len(r.Lots)
	if j.Since >= 0 {
		since = at[j.Since]
	}
	for i, l := range r.Lots {
		if i >= since || l.Domain == domain.Outside || l.Domain == domain.Edge {
			r.Add = append(r.Add, l.Lot.Lot)
		}
	}
	switch {
	case j.Since >= 0:
		r.Why = append(r.Why, fmt.Sprintf("errors have stood to one side since lot %s: see first whether instrument, method, cooking or harvest changed then, and whether those measurements can be repeated", r.Lots[since].Lot.Lot))
	case len(r.Add) > 0:
		r.Why = append(r.Why, fmt.Sprintf("measured lots at the edge or outside of what was calibrated (%s) would widen it", some(r.Add)))
	}
}

func some(lots []string) string {
	const most = 6
	if len(lots) > most {
		return strings.Join(lots[:most], ", ") + fmt.Sprintf(" and %d more", len(lots)-most)
	}
	return strings.Join(lots, ", ")
}
