package blending

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"flourcast/dataset/lot"
	"flourcast/dataset/sheet"
	"flourcast/dataset/trait"
	"flourcast/dataset/treatment"
	"flourcast/eval/direction/evidence"
	"flourcast/finding"
	"flourcast/forecast"
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

// flour is one row of the stock file that can be used.
type flour struct {
	name    string
	price   money.Amount
	stockT  *float64
	figures map[string]float64 // of the columns asked for
	dry     float64            // share of dry matter; 1 where the figures are as is
}

type stock struct {
	flours []flour
	// onDry are the columns whose figures are on a fixed basis: they mix by dry matter.
	onDry   map[string]bool
	columns []string // wanted, in order
}

// wanted are the columns that the limits, or the columns of a run to compare with, ask
// for.
func (q Request) wanted(s *sheet.Sheet) []string {
	var out []string
	for _, l := range q.Limits {
		out = append(out, l.Response)
	}
	if len(q.Run) == 0 && q.Shares == nil {
		return out
	}
	for i := range s.Columns { // all that can be mixed
		h, known := s.Header(i)
		if !known || !h.Trait.Numeric() || h.Trait.Role != trait.RoleFeature && !exactByMass[h.Trait.ID] && h.Trait.ID != fallingNumber {
			continue
		}
		if name := trait.Join(h.Trait.ID, h.Method); !slices.Contains(out, name) {
			out = append(out, name)
		}
	}
	return out
}

// read reads the stock file. Every row is accepted or refused with its reason.
func (q Request) read(res *Result) (*stock, error) {
	s, err := sheet.Open(q.Stock, q.Map)
	if err != nil {
		return nil, err
	}
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
	for _, name := range append([]string{"flour", "price"}, names...) {
		if cols[name] < 0 {
			return nil, &job.RequestError{Found: "no column " + name + " in " + q.Stock, Want: "flour, price, stock_t and every column that the limits name", Do: near(s, name)}
		}
	}
	for _, name := range []string{"stock_t", "currency", "moisture_pct", "amylose_pct", fallingNumber, "treatment", "wheat_class"} {
		cols[name] = s.Column(name)
	}
	r := reader{q: q, s: s, cols: cols, names: names, res: res, seen: map[string]bool{}}
	r.pasting = slices.ContainsFunc(names, isPasting) && (len(q.Limits) == 0 || slices.ContainsFunc(q.Limits, func(l forecast.Spec) bool { return isPasting(l.Response) }))
	out := &stock{onDry: map[string]bool{}, columns: names}
	for _, name := range names {
		out.onDry[name] = r.fixedBasis(name)
	}
	for row, bad := range s.Rows() {
		res.RowsRead++
		f, ok := r.flour(row, bad, out)
		if !ok {
			res.RowsRefused++
			continue
		}
		res.RowsAccepted++
		out.flours = append(out.flours, f)
	}
	if r.pasting && cols[fallingNumber] < 0 && cols["amylose_pct"] < 0 && cols["wheat_class"] < 0 {
		res.Findings.Add(finding.Finding{Code: "kinds-not-known", Severity: finding.Note, At: finding.Place{File: q.Stock}, Found: "no column tells a waxy or a sprouted flour", Want: "falling_number_s, amylose_pct or wheat_class", Do: "the paste of a waxy or sprouted flour does not mix by any rule: make sure there is none"})
	}
	if kinds := slices.Sorted(maps.Keys(r.treatments)); len(kinds) > 1 {
		res.Findings.Add(finding.Finding{Code: "treatments-differ", Severity: finding.Doubt, At: finding.Place{File: q.Stock}, Found: "flours of treatment " + strings.Join(kinds, ", "), Want: "one treatment", Do: "no rule was tried on blends of them; run the blend"})
	}
	if r.chlorinated {
		res.Findings.Add(finding.Finding{Code: "chlorinated-flour", Severity: finding.Doubt, At: finding.Place{File: q.Stock}, Found: treatment.Caution})
	}
	if len(out.flours) == 0 {
		return nil, &job.NothingUsableError{What: q.Stock + ": no flour can be used", Findings: res.Findings}
	}
	return out, nil
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
	res         *Result
	seen        map[string]bool
	pasting     bool
	treatments  map[string]bool
	chlorinated bool
}

// fixedBasis reports whether a column's figures are told to be on a moisture basis of
// their own, and all moistures can be known.
func (r *reader) fixedBasis(name string) bool {
	id, _ := trait.Split(name)
	if !exactByMass[id] || id == "moisture_pct" {
		return false
	}
	r.cols[basisOf(id)] = r.s.Column(basisOf(id))
	return r.cols[basisOf(id)] >= 0 && r.cols["moisture_pct"] >= 0
}

func basisOf(id string) string { return strings.TrimSuffix(id, "_pct") + "_basis" }

func (r *reader) refuse(row sheet.Row, column, code, found, want, do string) (flour, bool) {
	r.res.Findings.Add(finding.Finding{Code: code, Severity: finding.Refused, At: r.s.Place(row, r.col(column)), Found: found, Want: want, Do: do})
	return flour{}, false
}

func (r *reader) col(name string) int {
	if c, ok := r.cols[name]; ok {
		return c
	}
	return -1
}

// number reads a cell of any column, in the glossary's unit where it has one.
func (r *reader) number(row sheet.Row, name string) (float64, bool, *finding.Finding) {
	col := r.col(name)
	if _, known := r.s.Header(col); known {
		return r.s.Value(row, col)
	}
	return r.s.Number(row, col)
}

// flour reads one row.
func (r *reader) flour(row sheet.Row, bad *finding.Finding, st *stock) (flour, bool) {
	if bad != nil {
		r.res.Findings.Add(*bad)
		return flour{}, false
	}
	f := flour{figures: map[string]float64{}, dry: 1}
	var ok bool
	if f.name, ok = r.s.Text(row, r.col("flour")); !ok {
		return r.refuse(row, "flour", "flour-missing", "no flour", "the name of the flour", "enter it")
	}
	f.name = strings.Clone(f.name)
	if r.seen[f.name] {
		return r.refuse(row, "flour", "flour-twice", f.name+" for the second time", "one row for each flour", "keep one of the rows, or name the deliveries apart")
	}
	r.seen[f.name] = true
	text, ok := r.s.Text(row, r.col("price"))
	if !ok {
		return r.refuse(row, "price", "price-missing", "no price of "+f.name, "a price per tonne", "enter it, or leave the flour out")
	}
	price, err := money.Parse(text, r.s.Decimal)
	if err != nil || price.Sign() < 0 {
		return r.refuse(row, "price", "price-not-read", fmt.Sprintf("%q", text), "a decimal number of 0 or more, without a currency", "mend it; a currency has a column of its own")
	}
	f.price = price
	if text, ok := r.s.Text(row, r.col("currency")); ok {
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
		return flour{}, false
	case ok && v <= 0:
		return r.refuse(row, "stock_t", "no-stock", fmt.Sprintf("%v t of %s", v, f.name), "a stock above 0", "the flour cannot be used")
	case ok:
		f.stockT = &v
	case r.col("stock_t") >= 0:
		return r.refuse(row, "stock_t", "stock-missing", "no stock of "+f.name, "tonnes in stock", "enter it, or leave the column out where stock does not matter")
	}
	moisture, wet, bad := r.number(row, "moisture_pct")
	if bad != nil {
		r.res.Findings.Add(*bad)
		return flour{}, false
	}
	for _, name := range r.names {
		v, ok, bad := r.number(row, name)
		if bad != nil {
			r.res.Findings.Add(*bad)
			return flour{}, false
		}
		if !ok {
			return r.refuse(row, name, "figure-missing", "no "+name+" of "+f.name, "a figure, since the limits ask for it", "measure it, or leave the flour out")
		}
		if st.onDry[name] {
			id, _ := trait.Split(name)
			basis, _ := r.s.Text(row, r.col(basisOf(id)))
			pct, known := lot.Moisture(basis, moisture, wet)
			if !known || !wet || moisture >= 100 {
				return r.refuse(row, basisOf(id), "basis-not-known", fmt.Sprintf("basis %q of %s, moisture %v", basis, name, moisture), "dry, as is, or a moisture such as 14 %, and the flour's own moisture", "tell both, or leave the basis out for all flours")
			}
			v, f.dry = lot.Rebase(v, pct, tableMoisture), 1-moisture/100
		}
		f.figures[name] = v
	}
	return f, r.mixes(row, f)
}

// tableMoisture is that of lot.TableBasis, %.
const tableMoisture = 14

// mixes refuses, or flags where it is allowed, what does not mix in a paste, and notes
// treatments.
func (r *reader) mixes(row sheet.Row, f flour) bool {
	if text, ok := r.s.Text(row, r.col("treatment")); ok {
		if r.treatments == nil {
			r.treatments = map[string]bool{}
		}
		r.treatments[strings.Clone(text)] = true
		r.chlorinated = r.chlorinated || treatment.Parse(text).Kind == treatment.Chlorinated
	}
	if !r.pasting {
		return true
	}
	below := r.q.SproutBelowS
	if below == 0 {
		below = evidence.FallingLow
	}
	kept := true
	say := func(kind, column, found, want string) {
		x := finding.Finding{Code: kind + "-not-additive", Severity: finding.Refused, At: r.s.Place(row, r.col(column)), Found: found, Want: want,
			Do: "the flour is left out; --allow " + kind + " uses it all the same"}
		if slices.Contains(r.q.Allow, kind) {
			x.Severity, x.Do = finding.Doubt, "it is used as allowed: trust no figure of the paste before the blend was run"
		} else {
			kept = false
		}
		r.res.Findings.Add(x)
	}
	if fn, ok, _ := r.number(row, fallingNumber); ok && fn < below {
		say(Sprouted, fallingNumber, fmt.Sprintf("falling number %.0f s of %s: its amylase acts on the starch of every flour in the blend", fn, f.name), fmt.Sprintf("%.0f s or more, for a paste that mixes by a rule", below))
	}
	amylose, known, _ := r.number(row, "amylose_pct")
	class, _ := r.s.Text(row, r.col("wheat_class"))
	if known && amylose < waxyAmylosePct || isWaxy(class) || isWaxy(f.name) {
		say(Waxy, "flour", f.name+" is waxy: blended with others it gives two peaks, and no mean of theirs", "flours that are not waxy")
	}
	return kept
}

// isWaxy reads "waxy wheat"; "partially waxy" and "non-waxy" are not.
func isWaxy(text string) bool {
	text = strings.ToLower(text)
	if !strings.Contains(text, "waxy") {
		return false
	}
	for _, not := range []string{"partial", "partly", "non", "not", "half", "semi"} {
		if strings.Contains(text, not) {
			return false
		}
	}
	return true
}
