package pmml

import (
	"fmt"

	"flourcast/eval/domain"
	"flourcast/report/phrase"
	"flourcast/study/takeaway"
)

// Names of the fields derived on the way; no feature is called so.
func scaled(f takeaway.Feature) string { return "scaled(" + f.Name + ")" }
func rest(f takeaway.Feature) string   { return "rest(" + f.Name + ")" }
func score(a int) string               { return fmt.Sprintf("score(%d)", a+1) }
func leverage() string                 { return "leverage" }

func derived(name string, expression *element) *element {
	return el("DerivedField", with("name", name, "optype", "continuous", "dataType", "double"), expression)
}

// placed derives what the domain asks of a lot: scaled features, scores on its
// components, what those leave, T², Q, and the leverage.
func placed(s takeaway.Scorer) *element {
	d := s.Domain
	out := el("LocalTransformations", nil)
	for j, f := range s.Features {
		z := constant(0) // all calibration lots had one value
		if d.SD[j] > 0 {
			z = apply("/", apply("-", field(f.Name), constant(d.Mean[j])), constant(d.SD[j]))
		}
		out.add(derived(scaled(f), z))
	}
	var t2 []*element
	for a, axis := range d.Loadings {
		var terms []*element
		for j, f := range s.Features {
			terms = append(terms, apply("*", constant(axis[j]), field(scaled(f))))
		}
		out.add(derived(score(a), total(terms)))
		t2 = append(t2, apply("/", square(field(score(a)), field(score(a))), constant(d.Variances[a])))
	}
	var q []*element
	for j, f := range s.Features {
		var explained []*element
		for a, axis := range d.Loadings {
			explained = append(explained, apply("*", constant(axis[j]), field(score(a))))
		}
		out.add(derived(rest(f), apply("-", field(scaled(f)), total(explained))))
		q = append(q, square(field(rest(f)), field(rest(f))))
	}
	out.add(derived("T2", total(t2)), derived("Q", total(q)))
	if s.Spread != nil {
		out.add(derived(leverage(), leverageOf(s)))
	}
	return out
}

// leverageOf is the fit's own leverage where it has one, else the domain's.
func leverageOf(s takeaway.Scorer) *element {
	n := float64(s.Domain.Lots)
	if s.Spread.Root == nil {
		return apply("+", constant(1/n), apply("/", field("T2"), constant(n-1)))
	}
	terms := []*element{constant(s.Spread.Base)}
	for k := range s.Spread.Root[0] {
		sum := func() *element {
			var parts []*element
			for j, f := range s.Features {
				parts = append(parts, apply("*", constant(s.Spread.Root[j][k]), apply("-", field(f.Name), constant(s.Spread.Centre[j]))))
			}
			return total(parts)
		}
		terms = append(terms, apply("pow", sum(), constant(2)))
	}
	return total(terms)
}

// output has the forecast and what is known of it.
func output(r *takeaway.Result) *element {
	s := r.Scorer
	figure := func(name, label, feature string, expression ...*element) *element {
		return el("OutputField", with("name", name, "displayName", label, "optype", "continuous", "dataType", "double", "feature", feature), expression...)
	}
	value := named(phrase.Label(r.Response), responseUnit(r))
	out := el("Output", nil,
		figure(Forecast, value, "predictedValue"),
		figure(T2, "Hotelling's T² of the lot", "transformedValue", field("T2")),
		figure(Q, "Q residual of the lot", "transformedValue", field("Q")),
		el("OutputField", with("name", Domain, "displayName", "where the lot stands: inside, edge or outside; outside means hold", "optype", "categorical", "dataType", "string", "feature", "transformedValue"), where(s)))
	if s.Spread == nil {
		return out
	}
	half := func() *element { return apply("*", constant(s.Spread.T), field(Error)) }
	level := fmt.Sprintf("%.3g %% by normal theory", 100*r.Level)
	out.add(figure(Error, "standard error of the forecast", "transformedValue", apply("sqrt", apply("*", constant(s.Spread.MSECV), apply("+", constant(1), field(leverage()))))),
		figure(Low, value+", from ("+level+")", "transformedValue", apply("-", field(Forecast), half())),
		figure(High, value+", to ("+level+")", "transformedValue", apply("+", field(Forecast), half())))
	return out
}

// where says inside, edge or outside. A feature beyond its outer bounds is invalid and
// never comes here.
func where(s takeaway.Scorer) *element {
	d := s.Domain
	above := func(name string, limit float64) *element { return apply("greaterThan", field(name), constant(limit)) }
	edge := []*element{above("T2", d.T2.Edge), above("Q", d.Q.Edge)}
	for j, f := range s.Features {
		b := d.Bounds[j].Edge
		edge = append(edge, apply("lessThan", field(f.Name), constant(b[0])), apply("greaterThan", field(f.Name), constant(b[1])))
	}
	outside := either([]*element{above("T2", d.T2.Outer), above("Q", d.Q.Outer)})
	return apply("if", outside, word(domain.Outside), apply("if", either(edge), word(domain.Edge), word(domain.Inside)))
}
