// Package pmml writes a model as PMML 4.4, the Predictive Model Markup Language of
// the Data Mining Group (dmg.org).
//
//  1. The verdict stands on top: as a comment, in the header and as extensions. A model
//     that is not fit for use is marked as not scorable, which the standard has for it.
//  2. The dictionary has every feature with its unit and the values beyond which a lot
//     is outside whatever its other figures; such a value, or a missing one, gives no
//     forecast.
//  3. RegressionModel has the equation in original units; for a model of logarithms
//     normalizationMethod is exp, with the logarithm of the smearing factor in the
//     intercept.
//  4. Output has the forecast, where the lot stands in the domain (T², Q, inside, edge
//     or outside) and, by normal theory, standard error and interval.
//  5. ModelVerification has made-up lots near the average one with their forecasts, for
//     readers that check themselves.
//
// PMML has no order statistics, so that a jackknife+ or CV+ interval cannot be written.
// The package computes nothing but what the figures of takeaway.Scorer look like as
// expressions, and refuses a model whose figures are not finite.
package pmml

import (
	"bytes"
	"fmt"
	"math"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/report/phrase"
	"flourcast/study/takeaway"
)

// Namespace of PMML 4.4.
const Namespace = "http://www.dmg.org/PMML-4_4"

// Names of the fields of Output.
const (
	Forecast  = "forecast"
	T2        = "domain_T2"
	Q         = "domain_Q"
	Domain    = "domain"
	Error     = "forecast_standard_error"
	Low, High = "forecast_low", "forecast_high"
)

// FigureError says that a figure of the model cannot be written.
type FigureError struct{ What string }

func (e *FigureError) Error() string {
	return "pmml: found " + e.What + " that is not finite, expected a number; fit the model again"
}

// Write is the model as a PMML document, the same bytes for the same Result. The
// error is a *FigureError.
func Write(r *takeaway.Result) ([]byte, error) {
	if err := finite(r.Scorer); err != nil {
		return nil, err
	}
	var b bytes.Buffer
	b.WriteString("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n")
	b.WriteString("<!--\n")
	for _, line := range onTop(r) {
		b.WriteString("  " + commented(line) + "\n")
	}
	b.WriteString("-->\n")
	el("PMML", with("xmlns", Namespace, "version", "4.4"), header(r), dictionary(r), regression(r)).write(&b, 0)
	return b.Bytes(), nil
}

// commented is a text as it may stand in a comment of XML.
func commented(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0xFFFD {
			return ' '
		}
		return r
	}, strings.ReplaceAll(s, "--", "– –"))
}

// onTop is what has to be read first.
func onTop(r *takeaway.Result) []string {
	var out []string
	if r.Notice != "" {
		out = append(out, r.Notice)
	}
	out = append(out, phrase.Verdict(r.Standing, r.Sentence))
	for _, o := range r.Overrides {
		out = append(out, "Overridden: "+o)
	}
	return append(out, r.Cautions...)
}

func header(r *takeaway.Result) *element {
	h := el("Header", with("description", fmt.Sprintf("VERDICT: %s. Forecasts %s", strings.ToUpper(r.Standing), subject(r)), "modelVersion", r.ModelSHA256))
	for _, x := range [][2]string{{"verdict", r.Standing}, {"grade", r.Grade}, {"notice", r.Notice}, {"product", r.Product}, {"pasting method", r.Method}, {"treatment", r.Treatment},
		{"calibration lots", fmt.Sprint(r.Lots)}, {"level of the interval", number(r.Level)}, {"model file SHA-256", r.ModelSHA256}} {
		if x[1] != "" {
			h.add(el("Extension", with("extender", "flourcast", "name", x[0], "value", x[1])))
		}
	}
	h.add(el("Application", with("name", "flourcast", "version", r.ExportedBy)))
	for _, line := range onTop(r) {
		h.add(&element{name: "Annotation", text: line})
	}
	h.add(&element{name: "Timestamp", text: r.Made.UTC().Format("2006-01-02T15:04:05Z")})
	return h
}

func subject(r *takeaway.Result) string {
	s := phrase.Label(r.Response)
	if r.Product != "" {
		s += " of " + phrase.Product(r.Product)
	}
	return s
}

// named is a label with its unit.
func named(label, unit string) string {
	if unit == "" {
		return label
	}
	return label + ", " + unit
}

func responseUnit(r *takeaway.Result) string {
	t, _ := trait.Lookup(r.Response)
	return t.Unit
}

func dictionary(r *takeaway.Result) *element {
	d := el("DataDictionary", with("numberOfFields", fmt.Sprint(len(r.Scorer.Features)+1)))
	for j, f := range r.Scorer.Features {
		b := r.Scorer.Domain.Bounds[j]
		d.add(el("DataField", with("name", f.Name, "displayName", named(f.Label, f.Unit), "optype", "continuous", "dataType", "double"),
			el("Extension", with("extender", "flourcast", "name", "calibrated range", "value", number(b.Calibrated[0])+" to "+number(b.Calibrated[1]))),
			el("Interval", with("closure", "closedClosed", "leftMargin", number(b.Outer[0]), "rightMargin", number(b.Outer[1])))))
	}
	d.add(el("DataField", with("name", r.Response, "displayName", named(phrase.Label(r.Response), responseUnit(r)), "optype", "continuous", "dataType", "double")))
	return d
}

func regression(r *takeaway.Result) *element {
	s := r.Scorer
	attributes := with("modelName", r.Response, "functionName", "regression", "algorithmName", r.Kind)
	intercept := s.Intercept
	if s.Log {
		attributes = append(attributes, "normalizationMethod", "exp")
		intercept += math.Log(s.Smearing)
	}
	if r.NotFit() {
		attributes = append(attributes, "isScorable", "false")
	}
	table := el("RegressionTable", with("intercept", number(intercept)))
	schema := el("MiningSchema", nil)
	for _, f := range s.Features {
		schema.add(el("MiningField", with("name", f.Name, "usageType", "active", "invalidValueTreatment", "returnInvalid", "missingValueTreatment", "returnInvalid")))
		table.add(el("NumericPredictor", with("name", f.Name, "exponent", "1", "coefficient", number(f.Coefficient))))
	}
	schema.add(el("MiningField", with("name", r.Response, "usageType", "target")))
	return el("RegressionModel", attributes, schema, output(r), placed(s), table, verification(r))
}

// verification has the lots made up for checking.
func verification(r *takeaway.Result) *element {
	s := r.Scorer
	fields := el("VerificationFields", nil)
	for j, f := range s.Features {
		fields.add(el("VerificationField", with("field", f.Name, "column", fmt.Sprint("x", j+1))))
	}
	fields.add(el("VerificationField", with("field", Forecast, "column", "forecast", "precision", "1e-9", "zeroThreshold", "1e-12")))
	rows := el("InlineTable", nil)
	for _, c := range s.Checks {
		row := el("row", nil)
		for j, v := range c.X {
			row.add(&element{name: fmt.Sprint("x", j+1), text: number(v)})
		}
		row.add(&element{name: "forecast", text: number(c.Forecast)})
		rows.add(row)
	}
	return el("ModelVerification", with("recordCount", fmt.Sprint(len(s.Checks)), "fieldCount", fmt.Sprint(len(s.Features)+1)), fields, rows)
}

func finite(s takeaway.Scorer) error {
	check := func(what string, figures ...float64) error {
		for _, v := range figures {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return &FigureError{what}
			}
		}
		return nil
	}
	if err := check("an intercept or smearing factor", s.Intercept, s.Smearing); err != nil {
		return err
	}
	for j, f := range s.Features {
		b := s.Domain.Bounds[j]
		if err := check("a figure of "+f.Name, f.Coefficient, s.Domain.Mean[j], s.Domain.SD[j], b.Outer[0], b.Outer[1], b.Edge[0], b.Edge[1]); err != nil {
			return err
		}
	}
	for _, c := range s.Checks {
		if err := check("a forecast", c.Forecast); err != nil {
			return err
		}
	}
	return nil
}
