package tradepages

import (
	"cmp"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"slices"
	"strconv"
	"strings"

	"flourcast/dataset/trait"
	"flourcast/forecast"
	"flourcast/report/onepage"
	"flourcast/report/phrase"
	"flourcast/report/wording"
	"flourcast/study"
	"flourcast/study/book"
	"flourcast/study/enduse"
	"flourcast/study/stock"
	"flourcast/study/suitability"
	"flourcast/web/desk"
)

// every stands for all products that have a model or a window.
const every = "all"

// suitLines is how many lines of limits, and of windows, the form has.
const suitLines = 3

// windowLine is one limit of a window.
type windowLine struct {
	N                 int
	Products, Columns []named
	Low, High         string
}

// suitView is what the form is filled with. Query is its question as an address. More
// says that a field of the folded part is filled.
type suitView struct {
	Asked, Open, More, Production               bool
	Lots, Customer, Destination, Against, Paper string
	References, Query, InEnglish                string
	Products, Papers, Methods, Catalogues       []named
	Customers                                   []string
	Limits                                      []limitLine
	Windows                                     []windowLine
	wrong                                       string
}

// Bad reports whether a field of the request is to be mended.
func (v suitView) Bad(field string) bool { return v.wrong == field }

// suitNames are the fields of the form, as they stand in an address.
func suitNames() []string {
	names := []string{"lots", "product", "customer", "destination", "against", "paper", "production", "method", "references", "words"}
	for i := range suitLines {
		n := strconv.Itoa(i + 1)
		for _, field := range []string{"column", "low", "high", "wproduct", "wcolumn", "wlow", "whigh"} {
			names = append(names, field+n)
		}
	}
	return names
}

// backTo reads the address of a question that a form carries along: its fields, and no
// others.
func backTo(text string) url.Values {
	all, _ := url.ParseQuery(text) // what cannot be read is not carried along
	out := url.Values{}
	for _, name := range suitNames() {
		if v := strings.TrimSpace(all.Get(name)); v != "" {
			out.Set(name, v)
		}
	}
	return out
}

// suitForm fills the form with what the address asks for.
func suitForm(d *desk.Desk, r *http.Request) (v suitView, err error) {
	field := func(name string) string { return strings.TrimSpace(r.FormValue(name)) }
	v = suitView{Lots: field("lots"), Customer: field("customer"), Destination: field("destination"), Against: field("against"), Paper: cmp.Or(field("paper"), onepage.A4.Name), References: field("references"), Production: field("production") != ""}
	v.Asked = len(desk.Names(v.Lots)) > 0
	v.Query = backTo(r.Form.Encode()).Encode()
	for _, p := range []onepage.Paper{onepage.A4, onepage.Letter} {
		v.Papers = append(v.Papers, named{p.Name, p.Name, strings.EqualFold(p.Name, v.Paper)})
	}
	if err := v.models(d, r, field); err != nil {
		return v, err
	}
	err = d.Book(r.Context(), func(b *book.Book) error {
		specs, err := b.Specs(r.Context())
		for _, s := range specs {
			if !slices.Contains(v.Customers, s.What.Customer) {
				v.Customers = append(v.Customers, s.What.Customer)
			}
		}
		return err
	})
	if err != nil {
		return v, err
	}
	if v.Methods, err = pastingMethods(d, r, field("method")); err != nil {
		return v, err
	}
	v.windows(field)
	if words, name, err := catalogue(d, field("words")); err == nil && words != wording.English() {
		v.Catalogues = []named{{field("words"), name, true}}
		if missing := len(words.Missing()); missing > 0 {
			v.InEnglish = fmt.Sprintf("%s leaves %s to English.", name, phrase.Plural(missing, "sentence"))
		}
	}
	v.More = v.Production || v.References != "" || len(v.Catalogues) > 0 || slices.ContainsFunc(suitNames(), func(name string) bool {
		return strings.ContainsAny(name, "123") && field(name) != ""
	})
	return v, nil
}

// models lists the products and, for limits, the responses that have a model.
func (v *suitView) models(d *desk.Desk, r *http.Request, field func(string) string) error {
	all, err := d.Models(r.Context())
	if err != nil {
		return err
	}
	var responses []named
	for _, m := range all {
		id := m.Card.Product
		if id == "" {
			continue
		}
		v.Products = appendNamed(v.Products, named{id, phrase.Product(id), id == field("product")})
		t, _ := trait.Lookup(m.Card.Response)
		responses = appendNamed(responses, named{ID: id + ":" + m.Card.Response, Label: cmp.Or(withUnit(t), m.Card.Response) + ": " + phrase.Product(id)})
	}
	v.Products = append(v.Products, named{every, "all that have a model or a window", field("product") == every})
	for i := range suitLines {
		n := strconv.Itoa(i + 1)
		l := limitLine{N: i + 1, Low: field("low" + n), High: field("high" + n), Columns: slices.Clone(responses)}
		for k := range l.Columns {
			l.Columns[k].Chosen = l.Columns[k].ID == field("column"+n)
		}
		v.Limits = append(v.Limits, l)
	}
	return nil
}

func appendNamed(list []named, n named) []named {
	if slices.ContainsFunc(list, func(have named) bool { return have.ID == n.ID }) {
		return list
	}
	return append(list, n)
}

// windows lists what a window can be of: all products, and the flour's own figures.
func (v *suitView) windows(field func(string) string) {
	for i := range suitLines {
		n := strconv.Itoa(i + 1)
		l := windowLine{N: i + 1, Low: field("wlow" + n), High: field("whigh" + n)}
		for _, p := range trait.Products() {
			l.Products = append(l.Products, named{p.ID, p.Label, p.ID == field("wproduct"+n)})
		}
		for _, t := range trait.All() {
			if t.Family == "pasting" || stock.Exact(t.ID) || t.ID == stock.FallingNumber {
				l.Columns = append(l.Columns, named{t.ID, withUnit(t), t.ID == field("wcolumn"+n)})
			}
		}
		v.Windows = append(v.Windows, l)
	}
}

// suitRequest reads the question.
func suitRequest(d *desk.Desk, r *http.Request) (q suitability.Request, words *wording.Catalogue, err error) {
	field := func(name string) string { return strings.TrimSpace(r.FormValue(name)) }
	q = suitability.Request{Dir: d.Dir, Lots: desk.Names(field("lots")), Customer: field("customer"), Destination: field("destination"), Against: field("against"), Production: field("production") != "",
		Limits: map[string][]forecast.Spec{}}
	if references := desk.Names(field("references")); len(references) > 0 {
		q.References = references
	}
	switch product := field("product"); product {
	case "":
	case every:
		q.All = true
	default:
		q.Products = []string{product}
	}
	for i := range suitLines {
		n := strconv.Itoa(i + 1)
		product, s, ok, err := oneLimit("limits", n, field("column"+n), field("low"+n), field("high"+n))
		if err != nil {
			return q, nil, err
		}
		if ok {
			q.Limits[product] = append(q.Limits[product], s)
		}
		column := field("wcolumn" + n)
		if product := field("wproduct" + n); product != "" || column != "" {
			column = product + ":" + column
		}
		product, s, ok, err = oneLimit("window", n, column, field("wlow"+n), field("whigh"+n))
		if err != nil {
			return q, nil, err
		}
		if !ok {
			continue
		}
		at := slices.IndexFunc(q.Windows, func(w enduse.Window) bool { return w.Product == product })
		if at < 0 {
			at = len(q.Windows)
			q.Windows = append(q.Windows, enduse.Window{Product: product, Method: field("method")})
		}
		q.Windows[at].Limits = append(q.Windows[at].Limits, s)
	}
	words, _, err = catalogue(d, field("words"))
	return q, words, err
}

// oneLimit reads a line of limits of "product:column"; ok is false for an empty one.
func oneLimit(field, line, column, low, high string) (product string, s forecast.Spec, ok bool, err error) {
	if column == "" && low == "" && high == "" {
		return "", s, false, nil
	}
	product, id, _ := strings.Cut(column, ":")
	s, err = forecast.ParseSpec(id + "=" + decimal(low) + ".." + decimal(high))
	if err != nil || product == "" {
		return "", s, false, &study.RequestError{Field: field, Found: fmt.Sprintf("line %s: %q from %q to %q", line, strings.Trim(column, ":"), low, high), Want: "a product and a figure with a lower limit, an upper one, or both, the lower one first, as plain numbers"}
	}
	return product, s, true, nil
}

// catalogue is the wording that was sent under an ID, with the name of its file; English
// for none.
func catalogue(d *desk.Desk, id string) (words *wording.Catalogue, name string, err error) {
	if id == "" {
		return wording.English(), "English", nil
	}
	given, ok := d.Gave(id)
	paths := given.Paths["catalogue"]
	if !ok || len(paths) == 0 {
		return nil, "", &study.RequestError{Field: "words", Found: "a catalogue that is not here, or an empty one", Want: "one sent since the server was started", Do: "send it again"}
	}
	name = given.Names("catalogue")
	data, err := os.ReadFile(paths[0])
	if err != nil {
		return nil, "", err
	}
	words, err = wording.Parse(name, data, phrase.Names())
	var bad *wording.Error
	if errors.As(err, &bad) {
		return nil, "", &study.RequestError{Field: "words", Found: "a catalogue that cannot be used: " + bad.Error(), Want: "a catalogue as the worked example of DEVELOPERS.md has it"}
	}
	if err != nil {
		return nil, "", err
	}
	return words, name + " (" + words.Language() + ")", nil
}
