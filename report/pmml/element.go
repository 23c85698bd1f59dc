package pmml

import (
	"bytes"
	"encoding/xml"
	"strconv"
	"strings"
)

// element is one XML element: attributes in the order in which they are written, and
// either text or children.
type element struct {
	name       string
	attributes []string // name, value, name, value …; an empty value is left out
	text       string
	children   []*element
}

// el makes an element without text.
func el(name string, attributes []string, children ...*element) *element {
	return &element{name: name, attributes: attributes, children: children}
}

// with are the attributes of an element: name, value, name, value …
func with(attributes ...string) []string { return attributes }

func (e *element) add(children ...*element) { e.children = append(e.children, children...) }

func (e *element) write(b *bytes.Buffer, depth int) {
	indent := strings.Repeat(" ", depth)
	b.WriteString(indent + "<" + e.name)
	for i := 0; i+1 < len(e.attributes); i += 2 {
		if e.attributes[i+1] != "" {
			b.WriteString(" " + e.attributes[i] + `="` + escaped(e.attributes[i+1]) + `"`)
		}
	}
	switch {
	case len(e.children) > 0:
		b.WriteString(">\n")
		for _, c := range e.children {
			c.write(b, depth+1)
		}
		b.WriteString(indent + "</" + e.name + ">\n")
	case e.text != "":
		b.WriteString(">" + escaped(e.text) + "</" + e.name + ">\n")
	default:
		b.WriteString("/>\n")
	}
}

func escaped(s string) string {
	var b bytes.Buffer
	if err := xml.EscapeText(&b, []byte(s)); err != nil {
		panic("pmml: writing to memory: " + err.Error())
	}
	return b.String()
}

// number writes a figure so that it is read back to the same bits.
func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// The expressions of the standard that are used here.

func constant(v float64) *element {
	return &element{name: "Constant", attributes: with("dataType", "double"), text: number(v)}
}

func word(s string) *element {
	return &element{name: "Constant", attributes: with("dataType", "string"), text: s}
}

func field(name string) *element { return el("FieldRef", with("field", name)) }

func apply(function string, arguments ...*element) *element {
	return el("Apply", with("function", function), arguments...)
}

// total is the sum of terms, nested by twos: not all readers take a sum of many.
func total(terms []*element) *element {
	switch n := len(terms); n {
	case 0:
		return constant(0)
	case 1:
		return terms[0]
	default:
		return apply("+", total(terms[:n/2]), total(terms[n/2:]))
	}
}

func square(e, again *element) *element { return apply("*", e, again) }

// either is a or-chain of two or more conditions, nested by twos.
func either(conditions []*element) *element {
	if n := len(conditions); n > 1 {
		return apply("or", either(conditions[:n/2]), either(conditions[n/2:]))
	}
	return conditions[0]
}
