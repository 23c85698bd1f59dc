package dataset

import (
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/column"
	"flourcast/dataset/lot"
	"flourcast/dataset/replicate"
	"flourcast/dataset/result"
	"flourcast/dataset/run"
	"flourcast/dataset/table"
	"flourcast/dataset/trait"
	"flourcast/finding"
)

// buildTable makes the table: a row for each lot and product with any
// measurement, in the order of the lots files. Columns, those without any cell
// left out: lot, product, method (if there is one), words of the lots files,
// protocol; then figures of the lots files (others' as NAME_claimed), the
// laboratory's own columns, pasting features along the curve (NAME@method if
// there are several methods), results. Each measured one, NAME, is a mean, with
// NAME_n, NAME_sd, NAME_se.
func (j *joiner) buildTable() error {
	j.assignProducts(j.texture)
	j.assignProducts(j.bakes)
	pasting := run.Pool(j.runs, j.opt.Pool)
	j.add(pasting.Findings...)
	methods := pasting.Methods
	results := map[[2]string][]replicate.Set{}
	slopes, fl := result.Correct(j.texture, j.opt.ThicknessMM)
	j.out.Thickness = slopes
	j.add(fl...)
	j.shiftDays()
	pooling := result.Pooling{Kind: "texture", AllProtocols: slices.Contains(j.opt.Pool, "protocol"), Protocols: j.f.Protocols, BakeMethods: j.f.BakeMethods}
	j.add(result.Pool(j.texture, pooling, results)...)
	pooling.Kind = "bake"
	j.add(result.Pool(j.bakes, pooling, results)...)
	all := slices.Concat(j.texture, j.bakes)
	rows := j.rows(all, pasting, results)
	protocols := replicate.Group(all, func(r result.Result) ([2]string, bool) { return [2]string{r.Lot, r.Product}, r.Accepted() })
	families := j.lots.Families()

	b := &builder{n: len(rows), texts: map[string][]string{}, figures: map[string]*figures{}}
	for i, key := range rows {
		b.text("lot", i, key[0])
		b.text("product", i, key[1])
		b.text("family", i, families[key[0]])
		b.text("protocol", i, strings.Join(replicate.Distinct(protocols.Of[key], func(r result.Result) string { return r.Protocol }), " + "))
		if l, ok := j.lots.Get(key[0]); ok {
			b.lot(i, l)
		}
		if ran, what, ok := j.ran(key[0], key[1]); ok {
			b.text("ran", i, ran)
			b.text("trouble", i, what)
		}
		for _, m := range methods {
			set, ok := pasting.By[[2]string{key[0], m}]
			if !ok {
				continue
			}
			suffix := m
			if len(methods) == 1 {
				suffix = ""
				b.text("method", i, m)
			}
			b.set(i, set, suffix)
		}
		for _, set := range results[key] {
			b.set(i, set, "")
		}
	}
	var err error
	j.out.Table, err = table.New("lot", b.columns(methods, j.lots.Extra())...)
	return err
}

// assignProducts gives readings that state no product the one their lot is
// meant for. Where a lot is meant for several, the first counts, with a doubt.
func (j *joiner) assignProducts(readings []result.Result) {
	stated := map[string][]string{}
	for _, r := range readings {
		if r.Product != "" && !slices.Contains(stated[r.Lot], r.Product) {
			stated[r.Lot] = append(stated[r.Lot], r.Product)
		}
	}
	reported := map[string]bool{}
	for i := range readings {
		r := &readings[i]
		choices := stated[r.Lot]
		if l, ok := j.lots.Get(r.Lot); ok && len(l.Products) > 0 {
			choices = l.Products
		}
		if r.Product != "" || len(choices) == 0 {
			continue
		}
		r.Product = choices[0]
		if len(choices) > 1 && !reported[r.Lot] {
			reported[r.Lot] = true
			j.add(finding.Finding{Code: "product-not-stated", Severity: finding.Doubt, At: r.At, Found: fmt.Sprintf("results of lot %s without a product, taken as %s", r.Lot, choices[0]),
				Want: "one of " + strings.Join(choices, ", "), Do: "state the product in the file"})
		}
	}
}

// rows lists the lots and products of the table: the products that have results
// or, without any, those that the lot is meant for.
func (j *joiner) rows(readings []result.Result, pasting run.Pooled, results map[[2]string][]replicate.Set) (out [][2]string) {
	products := map[string][]string{}
	for _, r := range readings {
		if results[[2]string{r.Lot, r.Product}] != nil && !slices.Contains(products[r.Lot], r.Product) {
			products[r.Lot] = append(products[r.Lot], r.Product)
		}
	}
	for _, id := range j.order {
		of := products[id]
		tested := func(m string) bool { _, ok := pasting.By[[2]string{id, m}]; return ok }
		if len(of) == 0 && slices.ContainsFunc(pasting.Methods, tested) {
			of = []string{""}
			if l, ok := j.lots.Get(id); ok && len(l.Products) > 0 {
				of = l.Products
			}
		}
		for _, p := range of {
			out = append(out, [2]string{id, p})
		}
	}
	return out
}

// builder fills cells by column name and puts the columns in order at the end.
type builder struct {
	n       int
	texts   map[string][]string
	figures map[string]*figures
}

// figures is a column of numbers in the making.
type figures struct {
	values  []float64
	present []bool
}

func (b *builder) text(column string, row int, s string) {
	if b.texts[column] == nil {
		b.texts[column] = make([]string, b.n)
	}
	b.texts[column][row] = s
}

func (b *builder) number(column string, row int, v float64) {
	c := b.figures[column]
	if c == nil {
		c = &figures{make([]float64, b.n), make([]bool, b.n)}
		b.figures[column] = c
	}
	c.values[row], c.present[row] = v, true
}

// set writes summaries under NAME, NAME_n, NAME_sd, NAME_se.
func (b *builder) set(row int, set replicate.Set, method string) {
	for _, s := range set {
		name := trait.Join(s.ID, method)
		b.number(name, row, s.Mean)
		b.number(name+"_n", row, float64(s.N))
		if s.Repeated {
			b.number(name+"_sd", row, s.SD)
			b.number(name+"_se", row, s.SE)
		}
	}
}

// lot writes words, figures and claims of one lot. Protein is by the wheat factor
// already, so a factor that was stated would mislead.
func (b *builder) lot(row int, l *lot.Lot) {
	for name, s := range l.Words {
		if name != "family" {
			b.text(name, row, s)
		}
	}
	for id, v := range l.Figures {
		if id != "nitrogen_factor" {
			b.number(id, row, v)
		}
	}
	for id, v := range l.Claims {
		b.number(id+column.Claimed, row, v)
	}
}

// columns puts the columns in order.
func (b *builder) columns(methods, extra []string) (out []column.Column) {
	taken := map[string]bool{}
	add := func(names ...string) {
		for _, name := range names {
			var c column.Column
			if s, ok := b.texts[name]; ok {
				c = column.Guess(name, s)
			} else if f, ok := b.figures[name]; ok {
				c = column.Numbers(name, f.values, f.present)
			} else if c = column.Text(name, make([]string, b.n)); name != "lot" {
				continue
			}
			if !taken[name] && (name == "lot" || !c.Empty()) {
				taken[name] = true
				out = append(out, c)
			}
		}
	}
	measured := func(name string) { add(name, name+"_n", name+"_sd", name+"_se") }
	all := trait.All()
	add("lot", "product", "method", "crop_year", "supplier")
	for _, t := range all {
		if !t.Numeric() {
			add(t.ID)
		}
	}
	for _, t := range all {
		if t.Numeric() && t.Role != trait.RoleFeature && !ofResult(t) {
			add(t.ID, t.ID+column.Claimed)
		}
	}
	add(extra...)
	if len(methods) <= 1 {
		methods = []string{""}
	}
	for _, m := range methods {
		for _, t := range all {
			if t.Role == trait.RoleFeature {
				measured(trait.Join(t.ID, m))
			}
		}
	}
	for _, t := range all {
		if ofResult(t) {
			measured(t.ID)
		}
	}
	return out
}

// ofResult reports whether a figure comes with texture or bake results: a response,
// or the thickness and the like beside it.
func ofResult(t trait.Trait) bool {
	return t.Role == trait.RoleResponse || t.Numeric() && (t.Family == "texture" || t.Family == "bake")
}
