// Package lot reads what a laboratory knows of its lots before it measures.
//
//  1. Lots.Read reads a lots file row by row. Own figures of this lot, claims
//     of others and typical figures are kept apart; protein, ash and their like
//     are brought to 14 % moisture where basis and moisture are told, even later.
//  2. Lots answers by lot: words, figures, claims, products.
//  3. Families names the lots that share a parent; Names proposes the lot that a
//     misspelt one may be meant as.
//
// It refuses a row without a lot and a lot entered twice. A figure that cannot be
// read or cannot be is left out with a doubt; nothing is guessed. It knows no runs
// and no results.
package lot

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"flourcast/dataset/sheet"
	"flourcast/dataset/trait"
	"flourcast/finding"
)

// Lot is one lot as the lots files tell it.
type Lot struct {
	ID       string
	Products []string           // what it is meant for, in order of appearance; may be empty
	Words    map[string]string  // crop_year, supplier, … and columns of the laboratory's own, by name
	Figures  map[string]float64 // own figures of this lot, by trait id, on the table's basis
	Claims   map[string]float64 // what a supplier or third party says, or what is typical
	Parents  []Parent
	At       finding.Place // its first row

	typical map[string]bool          // claims that are typical figures only
	asIs    map[string]finding.Place // own figures on the basis "as is" that wait for a moisture
}

// Parent is a lot that this one was made from. Share is the part of this lot
// that came from it, 0 to 1; 0 when it is not stated.
type Parent struct {
	Lot   string
	Share float64
}

// Lots are all lots, in order of first appearance.
type Lots struct {
	order   []string
	byID    map[string]*Lot
	entered map[string]finding.Place // lot, product, whose, scope
	extra   []string                 // columns of the laboratory's own, in order of appearance
}

// IDs names the lots, in order of first appearance.
func (l *Lots) IDs() []string { return slices.Clone(l.order) }

// Get is one lot. Callers must not write to it.
func (l *Lots) Get(id string) (*Lot, bool) {
	lot, ok := l.byID[id]
	return lot, ok
}

// Extra names the columns that the glossary does not know, in order of appearance.
func (l *Lots) Extra() []string { return slices.Clone(l.extra) }

// NewRegister is a register without lots.
func NewRegister() *Lots {
	return &Lots{byID: map[string]*Lot{}, entered: map[string]finding.Place{}}
}

// Read enters the rows of one file. Each row is accepted or refused; a lot may
// have several rows: one a product, one for each party whose figures it tells,
// and further ones that only add a parent.
func (l *Lots) Read(s *sheet.Sheet) (read, refused int, fl finding.List) {
	r := newReader(s)
	for row, bad := range s.Rows() {
		read++
		var e entry
		if bad == nil {
			e, bad = r.read(row, &fl)
		}
		if bad == nil {
			bad = l.enter(e, &fl)
		}
		if bad != nil {
			refused++
			fl.Add(*bad)
		}
	}
	r.baseless(&fl)
	for _, name := range r.extra {
		if !slices.Contains(l.extra, name) {
			l.extra = append(l.extra, name)
		}
	}
	return read, refused, fl
}

// enter puts a row into the register, or says why it is refused.
func (l *Lots) enter(e entry, fl *finding.List) *finding.Finding {
	lot, known := l.byID[e.lot]
	key := strings.Join([]string{e.lot, e.product, e.whose, fmt.Sprint(e.typical)}, "\x00")
	at, twice := l.entered[key]
	if twice && !addsParent(lot, e) {
		return &finding.Finding{Code: "lot-twice", Severity: finding.Refused, At: e.at, Found: fmt.Sprintf("lot %s again, first entered at %s", e.lot, at),
			Want: "one row a lot, product and party", Do: "take one of the rows out, or mend the lot"}
	}
	if !known {
		lot = &Lot{ID: e.lot, Words: map[string]string{}, Figures: map[string]float64{}, Claims: map[string]float64{}, At: e.at, typical: map[string]bool{}, asIs: map[string]finding.Place{}}
		l.byID[e.lot] = lot
		l.order = append(l.order, e.lot)
	}
	if !twice {
		l.entered[key] = e.at
	}
	if e.product != "" && !slices.Contains(lot.Products, e.product) {
		lot.Products = append(lot.Products, e.product)
	}
	for _, p := range e.parents {
		if !slices.ContainsFunc(lot.Parents, func(o Parent) bool { return o.Lot == p.Lot }) {
			lot.Parents = append(lot.Parents, p)
		}
	}
	var differ []string
	if e.claim() {
		for id, v := range e.figures {
			_, has := lot.Claims[id]
			if t, _ := trait.Lookup(id); t.Dimension == trait.Price { // a price is no result
				differ = append(differ, merge(lot.Figures, map[string]float64{id: v})...)
			} else if !has || lot.typical[id] && !e.typical {
				lot.Claims[id], lot.typical[id] = v, e.typical
			}
		}
		for _, base := range based { // a claim's basis tells nothing about an own figure
			delete(e.words, base+"_basis")
		}
	}
	differ = append(differ, merge(lot.Words, e.words)...)
	if !e.claim() {
		for id, at := range e.asIs {
			if _, has := lot.Figures[id]; !has {
				lot.asIs[id] = at
			}
		}
		differ = append(differ, merge(lot.Figures, e.figures)...)
		lot.rebaseLate()
	}
	if len(differ) > 0 {
		fl.Add(finding.Finding{Code: "lot-differs", Severity: finding.Doubt, At: e.at, Found: fmt.Sprintf("lot %s with other %s than at %s", e.lot, strings.Join(differ, ", "), lot.At),
			Want: "the same words and figures in all rows of a lot", Do: "the first ones stand; mend the rows, or give the lots different names"})
	}
	return nil
}

// addsParent reports whether a further row of a lot does nothing but name
// another parent.
func addsParent(lot *Lot, e entry) bool {
	fresh := slices.ContainsFunc(e.parents, func(p Parent) bool {
		return !slices.ContainsFunc(lot.Parents, func(o Parent) bool { return o.Lot == p.Lot })
	})
	return fresh && len(merge(maps.Clone(lot.Words), e.words)) == 0 && (e.claim() || len(merge(maps.Clone(lot.Figures), e.figures)) == 0)
}

// merge puts what is new into have and returns the sorted names of what differs.
// Remarks may differ.
func merge[V comparable](have, more map[string]V) []string {
	var differ []string
	for _, k := range slices.Sorted(maps.Keys(more)) {
		if v, ok := have[k]; !ok {
			have[k] = more[k]
		} else if v != more[k] && k != "remarks" {
			differ = append(differ, k)
		}
	}
	return differ
}

// rebaseLate brings figures "as is" to the table's basis once the moisture is
// known: it may come in a later row or file.
func (lot *Lot) rebaseLate() {
	moisture, ok := lot.Figures["moisture_pct"]
	if !ok || moisture >= 100 {
		return
	}
	for id := range lot.asIs {
		lot.Figures[id] = Rebase(lot.Figures[id], moisture, tableMoisture)
		lot.Words[strings.TrimSuffix(id, "_pct")+"_basis"] = TableBasis
	}
	clear(lot.asIs)
}

// tolerance is how far a claim for this lot may lie from the laboratory's own
// figure: the larger of the two parts (from memory: about twice the between-
// laboratory standard deviation of the methods).
var tolerance = map[string]float64{"protein_pct": 0.5, "moisture_pct": 0.5, "ash_pct": 0.05}

// relativeTolerance is for every other figure.
const relativeTolerance = 0.10

// Check tells, when all files are read, which own figures "as is" have no moisture
// to convert them by, and which claims for this lot differ from the laboratory's
// own figure. Typical figures are not compared.
func (l *Lots) Check() (fl finding.List) {
	for _, id := range l.order {
		lot := l.byID[id]
		for _, t := range slices.Sorted(maps.Keys(lot.asIs)) {
			fl.Add(finding.Finding{Code: "basis-not-converted", Severity: finding.Doubt, At: lot.asIs[t], Found: fmt.Sprintf("lot %s: a figure as is, and no moisture", id),
				Want: "the moisture of the lot", Do: "the figure stays as written; add the moisture"})
		}
		for _, t := range slices.Sorted(maps.Keys(lot.Claims)) {
			v, has := lot.Figures[t]
			allowed, ok := tolerance[t]
			if !ok {
				allowed = relativeTolerance * math.Abs(v)
			}
			d, known := trait.Lookup(t)
			compared := has && known && !lot.typical[t] && (d.Role == trait.RoleComposition || t == "moisture_pct")
			if !compared || math.Abs(lot.Claims[t]-v) <= allowed {
				continue
			}
			fl.Add(finding.Finding{Code: "claim-differs", Severity: finding.Doubt, At: finding.Place{File: lot.At.File, Row: lot.At.Row, Column: t},
				Found: fmt.Sprintf("lot %s: own %s, claimed %s", id, trait.Format(t, v), trait.Format(t, lot.Claims[t])), Want: "a claim within " + trait.Format(t, allowed) + " of one's own figure",
				Do: "one's own figure is used; ask for the certificate, or test again"})
		}
	}
	return fl
}
