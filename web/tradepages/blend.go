package tradepages

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"flourcast/dataset/sheet"
	"flourcast/dataset/trait"
	"flourcast/forecast"
	reportblending "flourcast/report/blending"
	"flourcast/study"
	"flourcast/study/blending"
	"flourcast/study/bookstock"
	"flourcast/study/stock"
	"flourcast/web/desk"
	"flourcast/web/frame"
)

var blendPage = desk.Page{Path: "/blend", Title: "blend", Fields: blendFields, Routes: map[string]desk.Handler{
	"GET /blend":        blend,
	"POST /blend":       blendSent,
	"GET /trade/{name}": static,
}}

// blendFields are the labels of the form by the names of the request's fields.
var blendFields = desk.Fields{"flours": "Lots of the lab book", "book": "Lots of the lab book", "limits": "Limits of the blend", "mixing": "Pasting figures mix", "method": "Pasting method", "blends": "Own blends",
	"confidence": "Keep each pasting limit with this probability", "max-flours": "Flours at most", "min-share": "Least share of one", "tonnes": "Tonnes wanted", "ratio": "Every ratio of two flours", "allow": "Use, and flag"}

// limitLines is how many properties the form can limit.
const limitLines = 4

// limitLine is one line of limits; Columns are what can be limited.
type limitLine struct {
	N         int
	Columns   []named
	Low, High string
}

// blendView is what the form is filled with. Offered is the name of the stock file that
// is taken where none is sent, empty for none; Sent are files that were sent before, by
// the name Given.
type blendView struct {
	Asked, Open, OfferedBlends, Waxy, Sprouted bool
	Given, Sent, Offered                       string
	Flours, Confidence, MaxFlours, MinShare    string
	Tonnes, Ratio                              string
	Limits                                     []limitLine
	Mixings, Methods                           []named
	wrong                                      string
}

// Bad reports whether a field of the request is to be mended.
func (v blendView) Bad(field string) bool { return v.wrong == field }

// blendSent keeps the files of the form and sends the browser to the address of its
// question, which can be kept, sent on and gone back to.
func blendSent(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	q := url.Values{}
	for name, values := range r.PostForm {
		if name != "token" && len(values) > 0 && strings.TrimSpace(values[0]) != "" {
			q.Set(name, strings.TrimSpace(values[0]))
		}
	}
	q.Set("asked", "yes")
	if r.MultipartForm != nil && slices.ContainsFunc([]string{"stock", "blends"}, func(field string) bool {
		files := r.MultipartForm.File[field]
		return len(files) > 0 && files[0].Size > 0
	}) {
		given, err := d.Take(r, "stock", "blends")
		if err != nil {
			return err
		}
		q.Set("given", given.ID)
	}
	http.Redirect(w, r, "/blend?"+q.Encode(), http.StatusSeeOther)
	return nil
}

// blend shows the form and, once it was asked, the answer. Nothing is stored.
func blend(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	page := frame.Page{Title: "Blend", Lead: "Which flours of a stock meet limits at least cost, what binds, and what relaxing it would save.", Here: "/blend"}
	v, err := blendForm(d, r)
	if err != nil {
		return err
	}
	var answer []frame.Part
	var fault error
	if v.Asked {
		var res *blending.Result
		if res, fault = blendAnswer(d, r); fault == nil {
			doc := reportblending.Document(res)
			page.Title, page.Lead = doc.Title, doc.Subtitle
			answer = append(answer, frame.Of(doc))
		}
	}
	v.Open, v.wrong = !v.Asked || fault != nil, desk.Wrong(fault)
	form, err := d.Fill(r, forms, "blend", v)
	if err != nil {
		return err
	}
	page.Parts = append([]frame.Part{form}, answer...)
	if fault != nil {
		return showFault(d, w, r, page, fault)
	}
	if len(answer) > 0 {
		script, err := d.Fill(r, forms, "ratio", nil)
		if err != nil {
			return err
		}
		page.Parts = append(page.Parts, script)
	}
	return d.Show(w, r, page)
}

// blendForm fills the form with what the address asks for.
func blendForm(d *desk.Desk, r *http.Request) (v blendView, err error) {
	field := func(name string) string { return strings.TrimSpace(r.FormValue(name)) }
	v = blendView{Asked: field("asked") != "", OfferedBlends: d.Offered.Blends != "", Waxy: field(stock.Waxy) != "", Sprouted: field(stock.Sprouted) != "", Given: field("given"),
		Flours: field("flours"), Confidence: field("confidence"), MaxFlours: field("max_flours"), MinShare: field("min_share"), Tonnes: field("tonnes"), Ratio: field("ratio")}
	if d.Offered.Stock != "" {
		v.Offered = filepath.Base(d.Offered.Stock)
	}
	if given, ok := d.Gave(v.Given); ok {
		v.Sent = strings.Join(slices.DeleteFunc([]string{given.Names("stock"), given.Names("blends")}, func(s string) bool { return s == "" }), ", ")
	} else {
		v.Given = ""
	}
	for i := range limitLines {
		n := strconv.Itoa(i + 1)
		l := limitLine{N: i + 1, Low: field("low" + n), High: field("high" + n)}
		for _, t := range trait.All() {
			if t.Family == "pasting" || stock.Exact(t.ID) || t.ID == stock.FallingNumber {
				l.Columns = append(l.Columns, named{t.ID, withUnit(t), t.ID == field("column"+n)})
			}
		}
		v.Limits = append(v.Limits, l)
	}
	mixing := cmp.Or(field("mixing"), blending.Linear)
	for _, m := range []named{{ID: blending.Linear, Label: "by share"}, {ID: blending.Log, Label: "by logarithm"}, {ID: blending.Measured, Label: "as own blends did"}} {
		m.Chosen = m.ID == mixing
		v.Mixings = append(v.Mixings, m)
	}
	v.Methods, err = pastingMethods(d, r, field("method"))
	return v, err
}

// withUnit is a trait's label with its unit, for a list.
func withUnit(t trait.Trait) string {
	if t.Unit == "" {
		return t.Label
	}
	return t.Label + ", " + t.Unit
}

// pastingMethods are those by which the lab book has figures.
func pastingMethods(d *desk.Desk, r *http.Request, chosen string) (out []named, err error) {
	t, err := d.Table(r.Context())
	var nothing *study.NothingUsableError
	if errors.As(err, &nothing) {
		return nil, nil // an empty book: a file will do
	}
	if err != nil {
		return nil, err
	}
	for _, c := range t.Columns() {
		_, by := trait.Split(c)
		if by != "" && !strings.Contains(by, "_") && !slices.ContainsFunc(out, func(n named) bool { return n.ID == by }) {
			out = append(out, named{by, by, by == chosen})
		}
	}
	return out, nil
}

// blendAnswer blends. Limits that conflict are an answer too.
func blendAnswer(d *desk.Desk, r *http.Request) (*blending.Result, error) {
	q, err := blendRequest(r)
	if err != nil {
		return nil, err
	}
	q.Book = d.Dir
	if err := blendFiles(d, r, &q); err != nil {
		return nil, err
	}
	return desk.Of(r.Context(), d, desk.Data, "blend "+r.URL.RawQuery, func(ctx context.Context) (*blending.Result, error) {
		res, err := blending.Blend(ctx, d.Env, q)
		var nothing *study.NothingUsableError
		if err != nil && (res == nil || !errors.As(err, &nothing)) {
			return nil, err
		}
		return res, nil
	})
}

// blendFiles puts the files that were sent, or those that are offered, into the request,
// under the names that people know.
func blendFiles(d *desk.Desk, r *http.Request, q *blending.Request) error {
	from := map[string]string{}
	take := func(field, path string) string {
		name := filepath.Base(path)
		if _, taken := from[name]; taken {
			name = field + " " + name
		}
		from[name] = path
		return name
	}
	id := r.FormValue("given")
	given, kept := d.Gave(id)
	if id != "" && !kept {
		return &study.RequestError{Found: "files that are no longer here", Want: "files sent since the server was started", Do: "send them again"}
	}
	for _, path := range given.Paths["stock"] {
		q.Stock = take("stock", path)
	}
	for _, path := range given.Paths["blends"] {
		q.Blends = take("blends", path)
	}
	if q.Stock == "" && len(q.Flours) == 0 {
		if d.Offered.Stock == "" {
			return &study.RequestError{Field: "flours", Found: "no lots, and no stock file or an empty one", Want: "lots of the lab book, or a file with a row for each flour: flour, price, stock_t and its figures"}
		}
		q.Stock = take("stock", d.Offered.Stock)
		if q.Blends == "" && d.Offered.Blends != "" && (q.Mixing == blending.Measured || q.Confidence != 0) {
			q.Blends = take("blends", d.Offered.Blends)
		}
	}
	q.Map = &sheet.Map{Source: func(name string) ([]byte, error) {
		path, ok := from[name]
		if !ok {
			return nil, fmt.Errorf("%s: %w", name, os.ErrNotExist)
		}
		return os.ReadFile(path)
	}}
	return nil
}

// blendRequest reads all but the files.
func blendRequest(r *http.Request) (q blending.Request, err error) {
	field := func(name string) string { return strings.TrimSpace(r.FormValue(name)) }
	q.Mixing, q.Method, q.Ratio, q.Flours = field("mixing"), field("method"), cmp.Or(field("ratio"), blending.RatioAuto), floursOf(field("flours"))
	if q.Limits, err = limitsOf(field, limitLines); err != nil {
		return q, err
	}
	for _, x := range []struct {
		name, field, want string
		to                *float64
	}{{"min_share", "min-share", "a least share such as 0.1", &q.MinShare}, {"tonnes", "tonnes", "tonnes, such as 40", &q.Tonnes}, {"confidence", "confidence", "a probability such as 0.95", &q.Confidence}} {
		text := field(x.name)
		if text == "" {
			continue
		}
		if *x.to, err = strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64); err != nil {
			return q, &study.RequestError{Field: x.field, Found: strconv.Quote(text), Want: x.want}
		}
	}
	if text := field("max_flours"); text != "" {
		if q.MaxFlours, err = strconv.Atoi(text); err != nil || q.MaxFlours < 1 {
			return q, &study.RequestError{Field: "max-flours", Found: strconv.Quote(text), Want: "a whole number, 1 or more"}
		}
	}
	for _, kind := range []string{stock.Waxy, stock.Sprouted} {
		if field(kind) != "" {
			q.Allow = append(q.Allow, kind)
		}
	}
	return q, nil
}

// floursOf reads lots, one a line: lot, price and tonnes, parted by tabs or semicolons, by
// commas with a blank or, failing these, by blanks. Empty lines are none.
func floursOf(text string) (out []bookstock.Flour) {
	for line := range strings.Lines(text) {
		line = strings.TrimSpace(line)
		if line == "" {
			continue
		}
		parts := strings.FieldsFunc(line, func(r rune) bool { return r == '\t' || r == ';' })
		if len(parts) == 1 {
			parts = strings.Split(line, ", ")
		}
		if len(parts) == 1 {
			parts = strings.Fields(line)
		}
		parts = append(parts, "", "")
		out = append(out, bookstock.Flour{Name: strings.TrimSpace(strings.TrimSuffix(parts[0], ",")), Price: strings.TrimSpace(parts[1]), StockT: strings.TrimSpace(parts[2])})
	}
	return out
}

// limitsOf reads so many lines of limits: column1, low1, high1 and so on.
func limitsOf(field func(string) string, lines int) (out []forecast.Spec, err error) {
	for i := range lines {
		n := strconv.Itoa(i + 1)
		column, low, high := field("column"+n), decimal(field("low"+n)), decimal(field("high"+n))
		if column == "" && low == "" && high == "" {
			continue
		}
		s, err := forecast.ParseSpec(column + "=" + low + ".." + high)
		if err != nil {
			return nil, &study.RequestError{Field: "limits", Found: fmt.Sprintf("line %s: %s from %q to %q", n, cmp.Or(column, "no property"), low, high), Want: "a property with a lower limit, an upper one, or both, the lower one first, as plain numbers"}
		}
		out = append(out, s)
	}
	return out, nil
}

// decimal takes a comma for a decimal mark.
func decimal(text string) string { return strings.Replace(text, ",", ".", 1) }
