package lot

import (
	"cmp"
	"fmt"
	"strconv"
	"strings"

	"flourcast/dataset/sheet"
	"flourcast/dataset/trait"
	"flourcast/finding"
)

// entry is one row of a lots file.
type entry struct {
	lot, product string
	whose        string // own, supplier, third party
	typical      bool
	words        map[string]string
	figures      map[string]float64
	asIs         map[string]finding.Place // figures that wait for a moisture
	parents      []Parent
	at           finding.Place
}

func (e entry) claim() bool { return e.whose != own || e.typical }

const own = "own"

// reader knows which column of one sheet is what.
type reader struct {
	s       *sheet.Sheet
	column  map[string]int // of the columns below
	words   []word
	figures []int
	extra   []string
	noBasis map[string][]finding.Place
}

// word is a column of text or dates.
type word struct {
	name   string
	column int
}

// special are the columns of a lots file that are not simply copied, each by its
// names; the first counts in the reader.
var special = [][]string{{"lot"}, {"product"}, {"parent_lot", "parent"}, {"share"}, {"whose", "figures_by"}, {"scope", "figures_for"}}

// based are the traits, without unit, that are shares of flour and depend on
// its moisture. Protein and ash are never given without their basis.
var based = []string{"protein", "ash", "wet_gluten", "damaged_starch"}

func newReader(s *sheet.Sheet) *reader {
	r := &reader{s: s, column: map[string]int{}, noBasis: map[string][]finding.Place{}}
	taken := map[int]bool{}
	for _, names := range special {
		r.column[names[0]] = -1
		for _, name := range names {
			if k := s.Column(name); k >= 0 && r.column[names[0]] < 0 {
				r.column[names[0]], taken[k] = k, true
			}
		}
	}
	for k, c := range s.Columns {
		h, known := s.Header(k)
		switch {
		case taken[k]:
		case known && h.Trait.Numeric():
			r.figures = append(r.figures, k)
		case known:
			r.words = append(r.words, word{h.Trait.ID, k})
		case s.Column(c.Name) == k:
			r.words = append(r.words, word{c.Name, k})
			r.extra = append(r.extra, c.Name)
		}
	}
	return r
}

func (r *reader) text(row sheet.Row, id string) string {
	s, _ := r.s.Text(row, r.column[id])
	return s
}

func (r *reader) read(row sheet.Row, fl *finding.List) (entry, *finding.Finding) {
	e := entry{lot: r.text(row, "lot"), product: r.text(row, "product"), words: map[string]string{}, figures: map[string]float64{}, asIs: map[string]finding.Place{}, at: r.s.Place(row, -1)}
	if e.lot == "" {
		return e, &finding.Finding{Code: "lot-missing", Severity: finding.Refused, At: e.at, Found: "no lot", Want: "a lot in every row", Do: "fill the lot in"}
	}
	switch whose := strings.ToLower(r.text(row, "whose")); whose {
	case "", own, "ours", "own result":
		e.whose = own
	case "supplier", "third party":
		e.whose = whose
	default:
		e.whose = "third party"
		fl.Add(finding.Finding{Code: "whose-unknown", Severity: finding.Doubt, At: r.s.Place(row, r.column["whose"]), Found: whose, Want: "own, supplier or third party", Do: "say whose figures they are; they are kept as somebody's claim"})
	}
	switch scope := strings.ToLower(r.text(row, "scope")); scope {
	case "", "this lot":
	case "typical":
		e.typical = true
	default:
		e.typical = true
		fl.Add(finding.Finding{Code: "scope-unknown", Severity: finding.Doubt, At: r.s.Place(row, r.column["scope"]), Found: scope, Want: "this lot or typical", Do: "say what the figures stand for; they are kept as typical ones"})
	}
	for _, w := range r.words {
		if s, ok := r.word(row, w, fl); ok {
			e.words[w.name] = s
		}
	}
	for _, k := range r.figures {
		r.figure(row, k, &e, fl)
	}
	r.rebase(row, &e, fl)
	e.parents = r.parents(row, fl)
	return e, nil
}

// word reads a text. A date is brought to the form 2006-01-02; a number in one of
// the laboratory's own columns to the form that every table can read.
func (r *reader) word(row sheet.Row, w word, fl *finding.List) (string, bool) {
	s, ok := r.s.Text(row, w.column)
	h, known := r.s.Header(w.column)
	switch {
	case !ok:
		return "", false
	case !known:
		if v, isNumber, _ := r.s.Number(row, w.column); isNumber && strings.ContainsAny(s, ",' ") {
			return strconv.FormatFloat(v, 'g', -1, 64), true
		}
	case h.Trait.Dimension == trait.Date:
		t, ok, bad := r.s.Date(row, w.column)
		if bad != nil {
			bad.Severity, bad.Do = finding.Doubt, "kept as written; "+bad.Do
			fl.Add(*bad)
		}
		if ok {
			return t.Format("2006-01-02"), true
		}
	}
	return s, true
}

// figure reads one figure; a share outside 0…100 % or a negative mass is left out.
func (r *reader) figure(row sheet.Row, k int, e *entry, fl *finding.List) {
	v, ok, bad := r.s.Value(row, k)
	if bad != nil {
		bad.Severity, bad.Do = finding.Doubt, "the figure is left out; "+bad.Do
		fl.Add(*bad)
	}
	if !ok {
		return
	}
	h, _ := r.s.Header(k)
	t := h.Trait
	if v < 0 || t.Unit == "%" && v > 100 && t.Base != "water_absorption" && !strings.HasPrefix(t.Base, "src_") {
		text, _ := r.s.Text(row, k)
		fl.Add(finding.Finding{Code: "figure-impossible", Severity: finding.Doubt, At: r.s.Place(row, k), Found: text, Want: "a figure that " + t.Label + " can have", Do: "the figure is left out; mend it"})
		return
	}
	e.figures[t.ID] = v
}

// rebase brings protein, ash and their like to TableBasis, and protein to the
// wheat factor, as far as the row tells how.
func (r *reader) rebase(row sheet.Row, e *entry, fl *finding.List) {
	moisture, moistureKnown := e.figures["moisture_pct"]
	for n, base := range based {
		id := base + "_pct"
		v, ok := e.figures[id]
		if !ok {
			delete(e.words, base+"_basis")
			continue
		}
		k := r.s.Column(id)
		h, _ := r.s.Header(k)
		basis := plainBasis(cmp.Or(e.words[base+"_basis"], h.Basis))
		if basis == "" {
			if n < 2 {
				e.words[base+"_basis"] = "not stated"
				r.noBasis[id] = append(r.noBasis[id], r.s.Place(row, k))
			}
			continue
		}
		from, ok := Moisture(basis, moisture, moistureKnown)
		if !ok && basis != AsIs {
			fl.Add(finding.Finding{Code: "basis-unknown", Severity: finding.Doubt, At: r.s.Place(row, k), Found: fmt.Sprintf("basis %q", basis),
				Want: "as is, dry, or a moisture such as 14 %", Do: "the figure stays as written; mend the basis"})
		}
		if !ok {
			e.words[base+"_basis"] = basis
			if basis == AsIs {
				e.asIs[id] = r.s.Place(row, k)
			}
			continue
		}
		e.figures[id] = v
		if from != tableMoisture {
			e.figures[id] = Rebase(v, from, tableMoisture)
		}
		e.words[base+"_basis"] = TableBasis
	}
	if f, ok := e.figures["nitrogen_factor"]; ok && f != wheatFactor && f > 0 {
		if v, ok := e.figures["protein_pct"]; ok {
			e.figures["protein_pct"] = v * wheatFactor / f
			fl.Add(finding.Finding{Code: "nitrogen-factor", Severity: finding.Note, At: r.s.Place(row, r.s.Column("nitrogen_factor")), Found: fmt.Sprintf("protein by factor %g, brought to %g", f, wheatFactor)})
		}
	}
}

// baseless tells once per column how many figures have no basis.
func (r *reader) baseless(fl *finding.List) {
	for _, base := range based {
		if at := r.noBasis[base+"_pct"]; len(at) > 0 {
			fl.Add(finding.Finding{Code: "basis-missing", Severity: finding.Doubt, At: at[0], Found: fmt.Sprintf("%d figures without a basis; they stay as written", len(at)),
				Want: "as is, dry, or a moisture such as 14 %", Do: "state it in a column " + base + "_basis"})
		}
	}
}

// parents reads lots such as "S-1" or "S-1 + S-2" with shares "60 + 40" (percent
// or parts of 1).
func (r *reader) parents(row sheet.Row, fl *finding.List) []Parent {
	split := func(s string) []string {
		return strings.FieldsFunc(s, func(c rune) bool { return c == '+' || c == ';' || c == '|' })
	}
	var out []Parent
	for _, p := range split(r.text(row, "parent_lot")) {
		if p = strings.TrimSpace(p); p != "" {
			out = append(out, Parent{Lot: p})
		}
	}
	shares := split(r.text(row, "share"))
	if len(shares) == 0 || len(out) == 0 {
		return out
	}
	sum := 0.0
	good := len(shares) == len(out)
	for i := range out {
		if !good {
			break
		}
		s, pct := strings.CutSuffix(strings.TrimSpace(shares[i]), "%")
		v, err := strconv.ParseFloat(strings.Replace(strings.TrimSpace(s), ",", ".", 1), 64)
		good = err == nil && v >= 0 && v <= 100
		if pct || v > 1 {
			v /= 100
		}
		out[i].Share = v
		sum += v
	}
	if !good || sum > 1.001 {
		fl.Add(finding.Finding{Code: "share-not-read", Severity: finding.Doubt, At: r.s.Place(row, r.column["share"]), Found: r.text(row, "share"), Want: "one share a parent, together at most 100 %", Do: "the parents count, the shares do not; mend them"})
		for i := range out {
			out[i].Share = 0
		}
	}
	return out
}
