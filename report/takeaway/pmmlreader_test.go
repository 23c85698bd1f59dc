package takeaway_test

import (
	"encoding/xml"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// node is an element of a PMML document as this reader sees it: it knows the standard,
// and nothing of how the document was written.
type node struct {
	XMLName xml.Name
	Attrs   []xml.Attr `xml:",any,attr"`
	Text    string     `xml:",chardata"`
	Nodes   []node     `xml:",any"`
}

func (n *node) attr(name string) string {
	for _, a := range n.Attrs {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

func (n *node) all(name string) []*node {
	var out []*node
	for i := range n.Nodes {
		if n.Nodes[i].XMLName.Local == name {
			out = append(out, &n.Nodes[i])
		}
	}
	return out
}

func (n *node) one(name string) *node {
	if found := n.all(name); len(found) > 0 {
		return found[0]
	}
	return &node{}
}

// expression is the first child that is one.
func (n *node) expression() *node {
	for i := range n.Nodes {
		switch n.Nodes[i].XMLName.Local {
		case "Apply", "Constant", "FieldRef":
			return &n.Nodes[i]
		}
	}
	return nil
}

var (
	errInvalid     = errors.New("invalid result")
	errNotScorable = errors.New("the model is not scorable")
)

// pmmlReader evaluates RegressionModel by the standard: invalid and missing values,
// transformations, normalisation, output.
type pmmlReader struct{ dictionary, model *node }

func readPMML(data []byte) (*pmmlReader, error) {
	var root node
	if err := xml.Unmarshal(data, &root); err != nil {
		return nil, err
	}
	if root.XMLName.Space != "http://www.dmg.org/PMML-4_4" || root.attr("version") != "4.4" {
		return nil, fmt.Errorf("%s %s is no PMML 4.4", root.XMLName.Space, root.attr("version"))
	}
	return &pmmlReader{root.one("DataDictionary"), root.one("RegressionModel")}, nil
}

// evaluate gives every field of Output; force scores a model that is marked as not
// scorable all the same.
func (p *pmmlReader) evaluate(lot map[string]float64, force bool) (map[string]any, error) {
	if p.model.attr("isScorable") == "false" && !force {
		return nil, errNotScorable
	}
	values := map[string]any{}
	for _, f := range p.model.one("MiningSchema").all("MiningField") {
		if f.attr("usageType") == "target" {
			continue
		}
		v, ok := lot[f.attr("name")]
		if valid := ok && p.valid(f.attr("name"), v); !valid {
			treatment := f.attr("invalidValueTreatment")
			if !ok {
				treatment = f.attr("missingValueTreatment")
			}
			if treatment != "returnInvalid" {
				return nil, fmt.Errorf("%s: treatment %q", f.attr("name"), treatment)
			}
			return nil, errInvalid
		}
		values[f.attr("name")] = v
	}
	for _, d := range p.model.one("LocalTransformations").all("DerivedField") {
		v, err := value(d.expression(), values)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", d.attr("name"), err)
		}
		values[d.attr("name")] = v
	}
	table := p.model.one("RegressionTable")
	y := float(table.attr("intercept"))
	for _, n := range table.all("NumericPredictor") {
		y += float(n.attr("coefficient")) * math.Pow(values[n.attr("name")].(float64), float(n.attr("exponent")))
	}
	switch p.model.attr("normalizationMethod") {
	case "", "none":
	case "exp":
		y = math.Exp(y)
	default:
		return nil, errors.New("normalisation not known")
	}
	out := map[string]any{}
	for _, o := range p.model.one("Output").all("OutputField") {
		var v any = y
		if o.attr("feature") != "predictedValue" {
			var err error
			if v, err = value(o.expression(), values); err != nil {
				return nil, fmt.Errorf("%s: %w", o.attr("name"), err)
			}
		}
		out[o.attr("name")], values[o.attr("name")] = v, v
	}
	return out, nil
}

// valid reports whether a value is within an interval of its field.
func (p *pmmlReader) valid(name string, v float64) bool {
	for _, f := range p.dictionary.all("DataField") {
		if f.attr("name") != name {
			continue
		}
		intervals := f.all("Interval")
		for _, i := range intervals {
			if v >= float(i.attr("leftMargin")) && v <= float(i.attr("rightMargin")) {
				return true
			}
		}
		return len(intervals) == 0
	}
	return false
}

func float(s string) float64 {
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	if err != nil {
		return math.NaN()
	}
	return v
}

// value evaluates an expression.
func value(e *node, fields map[string]any) (any, error) {
	switch e.XMLName.Local {
	case "Constant":
		if e.attr("dataType") == "string" {
			return e.Text, nil
		}
		return float(e.Text), nil
	case "FieldRef":
		v, ok := fields[e.attr("field")]
		if !ok {
			return nil, fmt.Errorf("no field %s", e.attr("field"))
		}
		return v, nil
	}
	var a []any
	for i := range e.Nodes {
		v, err := value(&e.Nodes[i], fields)
		if err != nil {
			return nil, err
		}
		a = append(a, v)
	}
	num := func(i int) float64 { return a[i].(float64) }
	switch f := e.attr("function"); f {
	case "+":
		return num(0) + num(1), nil
	case "-":
		return num(0) - num(1), nil
	case "*":
		return num(0) * num(1), nil
	case "/":
		return num(0) / num(1), nil
	case "pow":
		return math.Pow(num(0), num(1)), nil
	case "sqrt":
		return math.Sqrt(num(0)), nil
	case "greaterThan":
		return num(0) > num(1), nil
	case "lessThan":
		return num(0) < num(1), nil
	case "or":
		return a[0].(bool) || a[1].(bool), nil
	case "if":
		if a[0].(bool) {
			return a[1], nil
		}
		return a[2], nil
	default:
		return nil, fmt.Errorf("function %q not known", f)
	}
}
