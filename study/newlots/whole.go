package newlots

import (
	"cmp"

	"flourcast/dataset"
	"flourcast/dataset/method"
	"flourcast/dataset/pasting/trace"
	"flourcast/dataset/pasting/whole"
	"flourcast/dataset/run"
	"flourcast/dataset/trait"
	"flourcast/study/card"
)

// curveColumns are a model's features that are places of a whole curve.
func curveColumns(c *card.Card) []string {
	var out []string
	for _, f := range c.Features {
		if whole.IsColumn(f) {
			out = append(out, f)
		}
	}
	return out
}

// withCurves lets lots answer for the places of a whole curve that a model asks for: the
// mean of the lot's runs, laid on the model's grid as its own lots were. Runs of
// another method than the model's are left alone; where a model does not say its method,
// a lot's runs must all be of one.
func withCurves(lots []Lot, runs []dataset.Run, c *card.Card, methods []method.Method) {
	names := curveColumns(c)
	plan, ok := whole.Named(names)
	if !ok || len(names) == 0 {
		return
	}
	_, own := trait.Split(names[0])
	own = cmp.Or(own, c.Method)
	laid, by, mixed := map[string][]whole.Row{}, map[string]string{}, map[string]bool{}
	for _, r := range runs {
		if !r.Pooled || r.Curve == nil || own != "" && r.Method != own {
			continue
		}
		if len(laid[r.Lot]) > 0 && by[r.Lot] != r.Method {
			mixed[r.Lot] = true
		}
		tr, _ := trace.Read(*r.Curve, run.Method(methods, r.Method))
		laid[r.Lot], by[r.Lot] = append(laid[r.Lot], plan.Lay(tr)), r.Method
	}
	at := map[string]int{}
	for k, name := range names {
		at[name] = k
	}
	for i := range lots {
		rows := laid[lots[i].Name]
		if len(rows) == 0 || mixed[lots[i].Name] {
			continue
		}
		mean, figure := whole.Mean(rows), lots[i].Figure
		lots[i].Figure = func(column string) (float64, bool) {
			if k, is := at[column]; is {
				return mean.Values[k], mean.Present[k]
			}
			return figure(column)
		}
	}
}
