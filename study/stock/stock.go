// Package stock reads flours in stock, with their prices, for a question that needs some
// of their figures.
//
//  1. A row is a flour: flour (or lot), price per tonne, stock_t, currency, figures.
//  2. A row without what the question needs is refused by name; prices are decimals of
//     one currency.
//  3. Protein, ash and their like on a stated basis are brought to 14 % moisture.
//  4. A column that the file does not have is taken from what else is Known of the
//     flours, such as a lab book; one that it has is the file's alone.
//  5. Where pastes are to be mixed, waxy and sprouted flours are refused, or flagged where
//     they are allowed; flours of several treatments are doubted.
//
// Accepted and refused rows are the rows read. It mixes nothing.
package stock

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"flourcast/dataset/lot"
	"flourcast/dataset/sheet"
	"flourcast/dataset/trait"
	"flourcast/dataset/treatment"
	"flourcast/finding"
	"flourcast/forecast/money"
	"flourcast/study/job"
)

// Kinds of flour whose pastes do not mix with others'.
const (
	Waxy     = "waxy"
	Sprouted = "sprouted"
)

// waxyAmylosePct is the share of amylose in starch below which a flour counts as waxy
// when no word says it. From memory: waxy wheats have some 1 to 3 %, others 20 and more.
const waxyAmylosePct = 5

// Request: the file, and the columns that the question needs. All takes besides every
// pasting figure and every figure that mixes exactly. Paste says that pastes are to be
// mixed: then SproutBelowS, s (0: evidence.FallingLow), and Allow count. Known is what is
// known of the flours beside the file; nil: nothing.
type Request struct {
	Path         string
	Map          *sheet.Map
	Columns      []string
	All          bool
	Paste        bool
	SproutBelowS float64
	Allow        []string // Waxy, Sprouted
	Known        *Known
}

// Flour is one row that can be used. Figures are by column; DryMatter is the share of dry
// matter, 1 where no column is on a basis of its own.
type Flour struct {
	Name      string
	Price     money.Amount
	StockT    *float64
	Figures   map[string]float64
	DryMatter float64
}

// File is what was read. Columns are those of every Flour's Figures, in order; OnDry are
// those on a fixed basis, which mix by dry matter.
type File struct {
	Flours                  []Flour
	Columns                 []string
	OnDry                   map[string]bool
	Currency                string
	Rows, Accepted, Refused int
	Findings                finding.List
}

// Figure is a flour's figure of one of the Columns; ok is false without.
func (f *File) Figure(flour, column string) (v float64, ok bool) {
	for _, x := range f.Flours {
		if x.Name == flour {
			v, ok = x.Figures[column]
		}
	}
	return v, ok
}

// FallingNumber mixes through the liquefaction number.
const FallingNumber = "falling_number_s"

// exactByMass are shares of the flour's mass: the blend's is exactly the mean.
var exactByMass = map[string]bool{"protein_pct": true, "moisture_pct": true, "ash_pct": true, "damaged_starch_pct": true}

// Exact reports whether a column is a share of the flour's mass.
func Exact(column string) bool {
	id, _ := trait.Split(column)
	return exactByMass[id]
}

// IsPasting reports whether a column is a figure of the pasting curve.
func IsPasting(column string) bool {
	id, _ := trait.Split(column)
	t, ok := trait.Lookup(id)
	return ok && t.Role == trait.RoleFeature
}

// wanted are the columns that are needed.
func (q Request) wanted(s *sheet.Sheet) []string {
	out := slices.Clone(q.Columns)
	if !q.All {
		return out
	}
	for i := range s.Columns {
		h, known := s.Header(i)
		if !known || !h.Trait.Numeric() || h.Trait.Role != trait.RoleFeature && !exactByMass[h.Trait.ID] && h.Trait.ID != FallingNumber {
			continue
		}
		if name := trait.Join(h.Trait.ID, h.Method); !slices.Contains(out, name) {
			out = append(out, name)
		}
	}
	return out
}

// Read reads the file. Errors: *job.RequestError for a column that is not there,
// *job.NothingUsableError, those of the file.
func Read(q Request) (*File, error) {
	s, err := sheet.Open(q.Path, q.Map)
	if err != nil {
		return nil, err
	}
	res := &File{OnDry: map[string]bool{}, Findings: finding.List{}}
	res.Findings = append(res.Findings, s.Findings()...)
	for _, f := range s.HeaderFindings() {
		if f.Severity != finding.Note && f.At.Column != "flour" {
			res.Findings.Add(f)
		}
	}
	cols := map[string]int{"flour": nameColumn(s), "price": s.Column("price")}
	names := q.wanted(s)
	for _, name := range names {
		cols[name] = s.Column(name)
	}
	known := q.Known.of(s, cols["flour"])
	names = known.more(names, q.All)
	for _, name := range append([]string{"flour", "price"}, names...) {
		if cols[name] < 0 && !known.has(name) {
			field := ""
			if slices.Contains(q.Columns, name) {
				field = "limits"
			}
			return nil, &job.RequestError{Field: field, Found: "no column " + name + " in " + q.Path, Want: "flour, price, stock_t and every column that the limits name", Do: near(s, name)}
		}
	}
	for _, name := range []string{"stock_t", "currency", "moisture_pct", "amylose_pct", FallingNumber, "treatment", "wheat_class"} {
		cols[name] = s.Column(name)
	}
	r := reader{q: q, s: s, cols: cols, names: names, res: res, seen: map[string]bool{}, known: known}
	q.Paste = q.Paste && slices.ContainsFunc(names, IsPasting)
	r.q = q
	res.Columns = names
	for _, name := range names {
		res.OnDry[name] = r.fixedBasis(name)
	}
	for row, bad := range s.Rows() {
		res.Rows++
		f, ok := r.flour(row, bad)
		if !ok {
			res.Refused++
			continue
		}
		res.Accepted++
		res.Flours = append(res.Flours, f)
	}
	if q.Paste && !slices.ContainsFunc([]string{FallingNumber, "amylose_pct", "wheat_class"}, func(name string) bool { return cols[name] >= 0 || known.has(name) }) {
		res.Findings.Add(finding.Finding{Code: "kinds-not-known", Severity: finding.Note, At: finding.Place{File: q.Path}, Found: "no column tells a waxy or a sprouted flour", Want: "falling_number_s, amylose_pct or wheat_class", Do: "the paste of a waxy or sprouted flour does not mix by any rule: make sure there is none"})
	}
	if kinds := slices.Sorted(maps.Keys(r.treatments)); len(kinds) > 1 {
		res.Findings.Add(finding.Finding{Code: "treatments-differ", Severity: finding.Doubt, At: finding.Place{File: q.Path}, Found: "flours of treatment " + strings.Join(kinds, ", "), Want: "one treatment", Do: "no rule was tried on blends of them; run the blend"})
	}
	if r.chlorinated {
		res.Findings.Add(finding.Finding{Code: "chlorinated-flour", Severity: finding.Doubt, At: finding.Place{File: q.Path}, Found: treatment.Caution})
	}
	if len(res.Flours) == 0 {
		return nil, &job.NothingUsableError{What: q.Path + ": no flour can be used", Findings: res.Findings}
	}
	return res, nil
}

// nameColumn is the column "flour", which the glossary would take for a mass weighed in,
// else that of the lot.
func nameColumn(s *sheet.Sheet) int {
	if k := slices.IndexFunc(s.Columns, func(c sheet.Column) bool { return strings.EqualFold(strings.TrimSpace(c.Name), "flour") }); k >= 0 {
		return k
	}
	return s.Column("lot")
}

func near(s *sheet.Sheet, name string) string {
	var have []string
	for _, c := range s.Columns {
		have = append(have, c.Name)
	}
	if close := trait.Near(name, have); len(close) > 0 {
		return "did you mean " + strings.Join(close, " or ") + "?"
	}
	return "the file has " + strings.Join(have, ", ")
}

type reader struct {
	q           Request
	s           *sheet.Sheet
	cols        map[string]int
	names       []string
	res         *File
	seen        map[string]bool
	treatments  map[string]bool
	chlorinated bool
	known       *knownOf
	flourName   string // of the row that is read
}

// fixedBasis reports whether a column's figures are told to be on a moisture basis of
// their own, and all moistures can be known.
func (r *reader) fixedBasis(name string) bool {
	id, _ := trait.Split(name)
	if !exactByMass[id] || id == "moisture_pct" {
		return false
	}
	if r.col(name) < 0 {
		return r.col("moisture_pct") >= 0 || r.known.all("moisture_pct") // a lab book's are on a fixed basis
	}
	r.cols[basisOf(id)] = r.s.Column(basisOf(id))
	return r.cols[basisOf(id)] >= 0 && r.cols["moisture_pct"] >= 0
}

func basisOf(id string) string { return strings.TrimSuffix(id, "_pct") + "_basis" }

func (r *reader) refuse(row sheet.Row, column, code, found, want, do string) (Flour, bool) {
	r.res.Findings.Add(finding.Finding{Code: code, Severity: finding.Refused, At: r.s.Place(row, r.col(column)), Found: found, Want: want, Do: do})
	return Flour{}, false
}

func (r *reader) col(name string) int {
	if c, ok := r.cols[name]; ok {
		return c
	}
	return -1
}

// number reads a cell of any column, in the glossary's unit where it has one; what the
// file has no column for is what is known besides.
func (r *reader) number(row sheet.Row, name string) (float64, bool, *finding.Finding) {
	col := r.col(name)
	if col < 0 {
		v, ok := r.known.figure(r.flourName, name)
		return v, ok, nil
	}
	if _, known := r.s.Header(col); known {
		return r.s.Value(row, col)
	}
	return r.s.Number(row, col)
}

// word reads a cell of text, or what is known besides.
func (r *reader) word(row sheet.Row, name string) (string, bool) {
	if col := r.col(name); col >= 0 {
		return r.s.Text(row, col)
	}
	return r.known.word(r.flourName, name)
}

// flour reads one row.
func (r *reader) flour(row sheet.Row, bad *finding.Finding) (Flour, bool) {
	if bad != nil {
		r.res.Findings.Add(*bad)
		return Flour{}, false
	}
	f := Flour{Figures: map[string]float64{}, DryMatter: 1}
	var ok bool
	if f.Name, ok = r.s.Text(row, r.col("flour")); !ok {
		return r.refuse(row, "flour", "flour-missing", "no flour", "the name of the flour", "enter it")
	}
	f.Name = strings.Clone(f.Name)
	r.flourName = f.Name
	if r.seen[f.Name] {
		return r.refuse(row, "flour", "flour-twice", f.Name+" for the second time", "one row for each flour", "keep one of the rows, or name the deliveries apart")
	}
	r.seen[f.Name] = true
	text, ok := r.word(row, "price")
	if !ok {
		return r.refuse(row, "price", "price-missing", "no price of "+f.Name, "a price per tonne", "enter it, or leave the flour out")
	}
	price, err := money.Parse(text, r.s.Decimal)
	if err != nil || price.Sign() < 0 {
		return r.refuse(row, "price", "price-not-read", fmt.Sprintf("%q", text), "a decimal number of 0 or more, without a currency", "mend it; a currency has a column of its own")
	}
	f.Price = price
	if text, ok := r.word(row, "currency"); ok {
		c, perTonne := money.Currency(text)
		if !perTonne {
			return r.refuse(row, "currency", "not-per-tonne", text, "a price per tonne", "convert the price: nothing is converted here")
		}
		if r.res.Currency == "" {
			r.res.Currency = strings.Clone(c)
		} else if r.res.Currency != c {
			return r.refuse(row, "currency", "currency-differs", c, r.res.Currency+", as above", "state all prices in one currency: nothing is converted")
		}
	}
	v, ok, bad := r.number(row, "stock_t")
	switch {
	case bad != nil:
		r.res.Findings.Add(*bad)
		return Flour{}, false
	case ok && v <= 0:
		return r.refuse(row, "stock_t", "no-stock", fmt.Sprintf("%v t of %s", v, f.Name), "a stock above 0", "the flour cannot be used")
	case ok:
		f.StockT = &v
	case r.col("stock_t") >= 0:
		return r.refuse(row, "stock_t", "stock-missing", "no stock of "+f.Name, "tonnes in stock", "enter it, or leave the column out where stock does not matter")
	}
	moisture, wet, bad := r.number(row, "moisture_pct")
	if bad != nil {
		r.res.Findings.Add(*bad)
		return Flour{}, false
	}
	for _, name := range r.names {
		v, ok, bad := r.number(row, name)
		if bad != nil {
			r.res.Findings.Add(*bad)
			return Flour{}, false
		}
		if !ok {
			return r.refuse(row, name, "figure-missing", "no "+name+" of "+f.Name, "a figure, since the limits ask for it", "measure it, or leave the flour out")
		}
		switch {
		case r.res.OnDry[name] && r.col(name) < 0:
			if !wet || moisture >= 100 {
				return r.refuse(row, "moisture_pct", "moisture-not-known", "no moisture of "+f.Name, "the flour's own moisture: its "+name+" is at 14 %", "measure it")
			}
			f.DryMatter = 1 - moisture/100
		case r.res.OnDry[name]:
			id, _ := trait.Split(name)
			basis, _ := r.s.Text(row, r.col(basisOf(id)))
			pct, known := lot.Moisture(basis, moisture, wet)
			if !known || !wet || moisture >= 100 {
				return r.refuse(row, basisOf(id), "basis-not-known", fmt.Sprintf("basis %q of %s, moisture %v", basis, name, moisture), "dry, as is, or a moisture such as 14 %, and the flour's own moisture", "tell both, or leave the basis out for all flours")
			}
			v, f.DryMatter = lot.Rebase(v, pct, tableMoisture), 1-moisture/100
		}
		f.Figures[name] = v
	}
	return f, r.mixes(row, f)
}

// tableMoisture is that of lot.TableBasis, %.
const tableMoisture = 14
