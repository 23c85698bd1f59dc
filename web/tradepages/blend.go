package tradepages

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"flourcast/dataset/sheet"
	"flourcast/dataset/trait"
	"flourcast/forecast"
	reportblending "flourcast/report/blending"
	"flourcast/study"
	"flourcast/study/blending"
	"flourcast/study/stock"
	"flourcast/web/desk"
	"flourcast/web/frame"
)

var blendPage = desk.Page{Path: "/blend", Title: "blend", Routes: map[string]desk.Handler{
	"GET /blend":  blendForm,
	"POST /blend": blend,
}}

// limitLines is how many properties the form can limit.
const limitLines = 4

// blendView is what the form is filled with. Offered is the name of the stock file that
// is taken where none is sent, empty for none.
type blendView struct {
	Offered string
	Blends  bool // own blends are offered with it
	Lines   []int
	Columns []named // that can be limited
}

func blendForm(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	v := blendView{Blends: d.Offered.Blends != ""}
	if d.Offered.Stock != "" {
		v.Offered = filepath.Base(d.Offered.Stock)
	}
	for i := range limitLines {
		v.Lines = append(v.Lines, i+1)
	}
	for _, t := range trait.All() {
		if t.Family == "pasting" || stock.Exact(t.ID) || t.ID == stock.FallingNumber {
			v.Columns = append(v.Columns, named{ID: t.ID, Label: t.Label})
		}
	}
	form, err := d.Fill(r, forms, "blend", v)
	if err != nil {
		return err
	}
	return d.Show(w, r, frame.Page{Title: "Blend", Lead: "Which flours of a stock meet limits at least cost, what binds, and what relaxing it would save.", Here: "/blend", Parts: []frame.Part{form}})
}

// blend reads the form and its files, and blends beside the pages. Nothing is stored.
func blend(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	q, err := blendRequest(r)
	if err != nil {
		return err
	}
	given, err := d.Take(r, "stock", "blends")
	if err != nil {
		return err
	}
	from := map[string]string{} // paths by the names that people know
	take := func(field, offered string) string {
		path := offered
		for _, p := range given.Paths[field] {
			path = p
		}
		if path == "" {
			return ""
		}
		name := filepath.Base(path)
		if _, taken := from[name]; taken {
			name = field + " " + name
		}
		from[name] = path
		return name
	}
	if q.Stock = take("stock", d.Offered.Stock); q.Stock == "" {
		return &study.RequestError{Found: "no stock file, or an empty one", Want: "a file with a row for each flour: flour, price, stock_t and its figures"}
	}
	ownOnes := d.Offered.Blends
	if len(given.Paths["stock"]) > 0 || q.Mixing != blending.Measured && q.Confidence == 0 {
		ownOnes = "" // those that are offered are of the stock that is offered
	}
	q.Blends = take("blends", ownOnes)
	q.Map = &sheet.Map{Source: func(name string) ([]byte, error) {
		path, ok := from[name]
		if !ok {
			return nil, fmt.Errorf("%s: %w", name, os.ErrNotExist)
		}
		return os.ReadFile(path)
	}}
	return d.Work(w, r, "/blend", "Blending from "+q.Stock, func(ctx context.Context, env study.Env) (frame.Page, error) {
		res, err := blending.Blend(ctx, env, q)
		var nothing *study.NothingUsableError
		if err != nil && (res == nil || !errors.As(err, &nothing)) {
			return frame.Page{}, err // with a result the limits that conflict are worth showing
		}
		doc := reportblending.Document(res)
		return frame.Page{Title: doc.Title, Lead: doc.Subtitle, Parts: []frame.Part{frame.Of(doc)}}, nil
	})
}

// blendRequest reads all but the files.
func blendRequest(r *http.Request) (q blending.Request, err error) {
	field := func(name string) string { return strings.TrimSpace(r.PostFormValue(name)) }
	q.Mixing = field("mixing")
	for i := range limitLines {
		n := strconv.Itoa(i + 1)
		column, low, high := field("column"+n), field("low"+n), field("high"+n)
		if column == "" && low == "" && high == "" {
			continue
		}
		s, err := forecast.ParseSpec(column + "=" + low + ".." + high)
		if err != nil {
			return q, &study.RequestError{Found: fmt.Sprintf("limit %s: %s from %q to %q", n, column, low, high), Want: "a property with a lower limit, an upper one, or both", Do: err.Error()}
		}
		q.Limits = append(q.Limits, s)
	}
	for _, x := range []struct {
		name, want string
		to         *float64
	}{{"min_share", "a least share such as 0.1", &q.MinShare}, {"tonnes", "tonnes, such as 40", &q.Tonnes}, {"confidence", "a probability such as 0.95", &q.Confidence}} {
		text := field(x.name)
		if text == "" {
			continue
		}
		if *x.to, err = strconv.ParseFloat(text, 64); err != nil {
			return q, &study.RequestError{Found: strconv.Quote(text), Want: x.want}
		}
	}
	if text := field("max_flours"); text != "" {
		if q.MaxFlours, err = strconv.Atoi(text); err != nil || q.MaxFlours < 1 {
			return q, &study.RequestError{Found: "at most " + strconv.Quote(text) + " flours", Want: "1 or more"}
		}
	}
	for _, kind := range []string{stock.Waxy, stock.Sprouted} {
		if field(kind) != "" {
			q.Allow = append(q.Allow, kind)
		}
	}
	return q, nil
}
