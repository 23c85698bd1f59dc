package demo

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"time"

	"flourcast/dataset/method"
	"flourcast/dataset/trait"
	"flourcast/demo/dialect"
	"flourcast/demo/grain"
	"flourcast/demo/season"
)

// invented stands in every file, as remark or header.
const invented = "invented"

func remark(text string) string { return strings.TrimSuffix(invented+"; "+text, "; ") }

// records collects the files as they are written.
type records struct {
	p     *plan
	mill  Mill
	files []dialect.File
}

// files writes the plan's records. Paths in the Mill begin with raw/.
func (p *plan) files() (Mill, []dialect.File, error) {
	r := &records{p: p, mill: Mill{Wanted: wanted(), Truth: p.truth}}
	for _, write := range []func() error{r.lots, r.runs, r.curves, r.pasting, r.control, r.texture, r.bakes, r.bites, r.heights, r.production, r.fresh, r.season, r.readme} {
		if err := write(); err != nil {
			return Mill{}, nil, err
		}
	}
	return r.mill, r.files, nil
}

// keep files a sheet and lists it with its kind.
func (r *records) keep(kind *[]string, f dialect.File, err error) error {
	if err != nil {
		return err
	}
	r.files = append(r.files, f)
	*kind = append(*kind, "raw/"+f.Name)
	return nil
}

func (r *records) keepSheet(kind *[]string, s *dialect.Sheet) error {
	f, err := s.File()
	return r.keep(kind, f, err)
}

// fault notes a fault; an empty column is the whole row.
func (r *records) fault(file string, line int, column, what string) {
	r.mill.Truth.Faults = append(r.mill.Truth.Faults, Fault{"raw/" + file, line, column, what})
}

// spoil replaces a cell of the first row that names the lot.
func (r *records) spoil(s *dialect.Sheet, lot, column, cell, what string) {
	i := slices.IndexFunc(s.Rows, func(row []string) bool { return row[s.Column("lot")] == lot })
	s.Rows[i][s.Column(column)] = cell
	r.fault(s.Name, s.Line(i), column, what)
}

var lotHeader = []string{"lot", "product", "crop_year", "supplier", "wheat_class", "protein_pct", "protein_basis", "nitrogen_factor", "ash_pct", "ash_basis",
	"moisture_pct", "falling_number_s", "damaged_starch_pct", "milled_on", "treatment", "price", "currency", "figures_by", "figures_for", "parent_lot", "share", "remarks"}

// lotRow is a lot as its own laboratory measured it.
func (r *records) lotRow(l lot) []string {
	g := rng(r.p.seed, "lot figures", l.name)
	f := l.flour
	class := "soft white, invented"
	if l.product == plainBite {
		class = "semi-hard, invented"
	}
	moisture, share := dialect.Plain.Number(f.Moisture+0.05*g.NormFloat64(), 1), ""
	if l.name == r.p.truth.LateMoisture {
		moisture = ""
	}
	if l.name == r.p.truth.Blend {
		share = "60 + 40"
	}
	protein, basis := f.Protein+0.08*g.NormFloat64(), "14 %"
	if l.product == layerCake { // the cake side of the house reports on dry matter
		protein, basis = protein/0.86, "dry"
	}
	return []string{l.name, l.product, l.cropYear, l.supplier, class, dialect.Plain.Number(protein, 1), basis, "5.7", dialect.Plain.Number(f.Ash+0.008*g.NormFloat64(), 2), "14 %",
		moisture, dialect.Plain.Number(f.FallingNumber()*(1+0.025*g.NormFloat64()), 0), dialect.Plain.Number(f.Damaged+0.15*g.NormFloat64(), 1), l.milled.Format(time.DateOnly), l.treatment,
		dialect.Plain.Number(410+12*g.NormFloat64(), 0), "invented crowns a tonne", "own", "this lot", l.parents, share, remark(l.remark)}
}

// lots writes the lots, what others say of them, and a moisture that came late.
func (r *records) lots() error {
	s := &dialect.Sheet{Name: "lots.csv", Dialect: dialect.Marked, Header: lotHeader}
	for _, l := range r.p.lots {
		s.Rows = append(s.Rows, r.lotRow(l))
	}
	row := func(lot string) []string {
		return s.Rows[slices.IndexFunc(s.Rows, func(row []string) bool { return row[0] == lot })]
	}
	r.spoil(s, "N24-012", "protein_pct", "about 10", "a text in a number: the figure is left out, the lot stays")
	r.spoil(s, "N24-018", "protein_basis", "", "protein without a basis")
	claim := func(lot, party, scope, protein, what string) {
		c := make([]string, len(lotHeader))
		c[0], c[s.Column("figures_by")], c[s.Column("figures_for")], c[s.Column("remarks")] = lot, party, scope, row(lot)[s.Column("remarks")]
		c[s.Column("protein_pct")], c[s.Column("protein_basis")] = protein, "14 %"
		s.Rows = append(s.Rows, c)
		r.fault(s.Name, s.Line(len(s.Rows)-1), "protein_pct", what)
	}
	ownProtein, err := strconv.ParseFloat(row("N23-046")[s.Column("protein_pct")], 64)
	if err != nil {
		return err
	}
	wrong := Claim{"N23-046", ownProtein + 1.8, ownProtein}
	r.mill.Truth.WrongClaim = wrong
	claim(wrong.Lot, "supplier", "this lot", dialect.Plain.Number(wrong.Claimed, 1), "a supplier's wrong protein: one's own figure stands")
	claim("N25-008", "supplier", "typical", "10.5", "a typical figure, kept apart from the lot's own")
	s.Rows = append(s.Rows, slices.Clone(row("N23-070")))
	r.fault(s.Name, s.Line(len(s.Rows)-1), "", "a lot entered twice")
	if err := r.keepSheet(&r.mill.Lots, s); err != nil {
		return err
	}
	late := r.p.truth.LateMoisture
	moisture := dialect.Plain.Number(r.p.truth.Flours[late].Moisture, 1)
	return r.keepSheet(&r.mill.Lots, &dialect.Sheet{Name: "lots-late.csv", Dialect: dialect.Plain, Header: []string{"lot", "moisture_pct", "remarks"}, Rows: [][]string{{late, moisture, invented}}})
}

// recorded is whether a run has a curve on file: old ones have none.
func (p *plan) recorded(r run) bool { return !slices.Contains(p.truth.OldRecords, r.lot) }

// runs writes the list of runs, with what was weighed in.
func (r *records) runs() error {
	s := &dialect.Sheet{Name: "runs.tsv", Dialect: dialect.Tabs, Header: []string{"run", "lot", "sample", "method", "replicate", "tested_at", "instrument", "operator",
		"flour_g", "solvent_g", "moisture_pct", "moisture_by", "water", "kind", "status", "reason", "remarks"}}
	for _, x := range r.p.runs {
		if !r.p.recorded(x) || x.year == newYear {
			continue
		}
		m, _ := method.Lookup(x.method)
		g := rng(r.p.seed, "weighing", x.id)
		moisture := x.flour.Moisture
		flour := m.SolidsG * 100 / (100 - moisture) * (1 + 0.0008*g.NormFloat64())
		solvent := m.TotalFillG - flour
		if m.Solvent == trait.Sucrose {
			solvent = 1.2297 * m.SolventML // g/mL at 20 °C of 50 % sucrose (handbook value)
		}
		cells := []string{x.id, x.lot, x.lot + "/a", x.method, strconv.Itoa(x.replicate), x.at.Format("2006-01-02 15:04"), "V1", "op-" + strconv.Itoa(1+len(x.id)*7%3),
			dialect.Plain.Number(flour, 3), dialect.Plain.Number(solvent, 2), dialect.Plain.Number(moisture, 1), "oven", "deionised", x.kind, x.status, x.reason, invented}
		if x.late {
			cells[s.Column("moisture_pct")], cells[s.Column("moisture_by")] = "", ""
		}
		s.Rows = append(s.Rows, cells)
	}
	return r.keepSheet(&r.mill.Runs, s)
}

// control writes what the mill notes of its control flour and its instrument. The
// assigned figures are the mean of the batch's first runs.
func (r *records) control() error {
	const first = 10
	n, peak, trough, final := 0.0, 0.0, 0.0, 0.0
	for _, x := range r.p.runs {
		if x.lot == controlLot && n < first {
			v := x.curve.Read()
			n, peak, trough, final = n+1, peak+v.Peak, trough+v.Trough, final+v.Final
		}
	}
	mean := func(sum float64) string { return dialect.Plain.Number(sum/n, 0) }
	batch := &dialect.Sheet{Name: "controls.csv", Dialect: dialect.Plain, Header: []string{"lot", "method", "expires_on", "peak_mPas", "trough_mPas", "final_mPas", "remarks"},
		Rows: [][]string{{controlLot, noodleWater, "2026-06-30", mean(peak), mean(trough), mean(final), remark("mean of its first 10 runs")}}}
	if err := r.keepSheet(&r.mill.Controls, batch); err != nil {
		return err
	}
	events := &dialect.Sheet{Name: "events.csv", Dialect: dialect.Plain, Header: []string{"date", "instrument", "kind", "note"}, Rows: [][]string{
		{"2024-08-26", "V1", "service", remark("yearly service")},
		{"2024-10-29", "V1", "canister", remark("can holder tightened; the day before it was loose")},
		{"2025-08-25", "V1", "calibration", remark("temperature and speed")}}}
	return r.keepSheet(&r.mill.Events, events)
}

// pasting writes the old records, of which only feature values are left: those
// of the mill, and two lots of another laboratory that wrote a bare setback.
func (r *records) pasting() error {
	own := &dialect.Sheet{Name: "pasting-old.csv", Dialect: dialect.Plain, Header: []string{"lot", "method", "replicate", "pasting_temp_C", "peak_mPas", "trough_mPas", "breakdown_mPas", "final_mPas", "setback_trough_mPas", "peak_time_min", "remarks"}}
	other := &dialect.Sheet{Name: "pasting-other-laboratory.csv", Dialect: dialect.Plain, Header: []string{"lot", "method", "replicate", "peak (cP)", "trough (cP)", "final (cP)", "setback (cP)", "remarks"}}
	for _, x := range r.p.runs {
		if r.p.recorded(x) || x.method != noodleWater {
			continue
		}
		v := x.curve.Read()
		n := func(v float64) string { return dialect.Plain.Number(v, 0) }
		label := []string{x.lot, x.method, strconv.Itoa(x.replicate)}
		if x.lot == "N23-011" || x.lot == "N23-012" {
			other.Rows = append(other.Rows, append(label, n(v.Peak), n(v.Trough), n(v.Final), n(v.Final-v.Trough), remark("other laboratory")))
			continue
		}
		own.Rows = append(own.Rows, append(label, dialect.Plain.Number(v.PastingC, 1), n(v.Peak), n(v.Trough), n(v.Peak-v.Trough), n(v.Final), n(v.Final-v.Trough), dialect.Plain.Number(v.PeakTimeS/60, 2), remark("old record")))
	}
	i := slices.IndexFunc(own.Rows, func(row []string) bool { return row[0] == "N23-007" })
	wrong, err := strconv.Atoi(own.Rows[i][own.Column("breakdown_mPas")])
	if err != nil {
		return err
	}
	r.spoil(own, "N23-007", "breakdown_mPas", strconv.Itoa(wrong+180), "breakdown is not peak − trough")
	r.fault(other.Name, 1, "setback (cP)", "a setback of unknown convention")
	if err := r.keepSheet(&r.mill.Pasting, own); err != nil {
		return err
	}
	return r.keepSheet(&r.mill.Pasting, other)
}

const batches, strands = 3, 3

// texture writes noodles by harvest, each in the dialect of its year.
func (r *records) texture() error {
	for _, y := range years {
		s := &dialect.Sheet{Name: fmt.Sprintf("texture-%d.csv", y), Dialect: dialect.Plain}
		force, unit, pot := 1.0, "N", "pot at 98 °C"
		if y == 2023 {
			s.Dialect, force, unit = dialect.OldOffice, 1/9.80665e-3, "gf"
		}
		if y == 2025 {
			s.Dialect = dialect.Continent
		}
		decimals := map[string]int{"N": 3, "gf": 1}[unit]
		s.Header = []string{"lot", "date", "batch", "operator", "protocol", "replicate", "hardness (" + unit + ")", "springiness", "cohesiveness", "firmness (" + unit + ")", "remarks"}
		for _, l := range r.p.lots {
			if !l.noodles || l.year != y {
				continue
			}
			g := rng(r.p.seed, "noodles", l.name)
			dough := grain.Dough(g, grain.CookNoodle(l.flour))
			for b := range batches {
				batch := grain.Batch(g, dough)
				day := l.milled.AddDate(0, 0, 16+b).Format(time.DateOnly)
				for k := range strands {
					n := grain.Strand(g, batch)
					s.Rows = append(s.Rows, []string{l.name, day, strconv.Itoa(b + 1), "op-4", "two-bite 70 % and blade", strconv.Itoa(b*strands + k + 1),
						s.Number(n.Hardness*force, decimals), s.Number(n.Springiness, 3), s.Number(n.Cohesiveness, 3), s.Number(n.Firmness*force, decimals), remark(pot)})
				}
			}
		}
		r.spoilTexture(s, y)
		if err := r.keepSheet(&r.mill.Texture, s); err != nil {
			return err
		}
	}
	guest := &dialect.Sheet{Name: "texture-guest.csv", Dialect: dialect.Plain, Header: []string{"lot", "protocol", "replicate", "hardness (units)", "remarks"},
		Rows: [][]string{{"N24-001", "guest", "1", "812", invented}, {"N24-005", "guest", "1", "790", invented}}}
	r.fault(guest.Name, 1, "hardness (units)", "an unknown unit: no row of the file can be used")
	return r.keepSheet(&r.mill.Texture, guest)
}

// bakes writes three pans of every cake lot as a workbook.
func (r *records) bakes() error {
	s := &dialect.Sheet{Name: "bakes.xlsx", Header: []string{"lot", "date", "batch", "operator", "protocol", "replicate", "remarks", "volume", "symmetry_index"}}
	var figures [][]float64
	for _, l := range r.p.lots {
		if !l.cakes {
			continue
		}
		g := rng(r.p.seed, "cakes", l.name)
		c := grain.BakeCake(l.flour)
		for k := range 3 {
			pan := grain.Pan(g, c)
			s.Rows = append(s.Rows, []string{l.name, l.milled.AddDate(0, 0, 20).Format(time.DateOnly), "1", "op-5", "high-ratio layer", strconv.Itoa(k + 1), invented})
			figures = append(figures, []float64{pan.Volume, pan.Symmetry})
		}
	}
	f, err := s.Workbook(Name, []string{"", "", "", "", "", "", "", "mL", "mm"}, []int{0, 1}, figures)
	return r.keep(&r.mill.Bakes, f, err)
}

// fresh writes the new lots and their curves.
func (r *records) fresh() error {
	s := &dialect.Sheet{Name: "new/lots.csv", Dialect: dialect.Plain, Header: lotHeader}
	c := dialect.NewCurves("new/curves.csv", dialect.Plain, false, "viscosity_mPas")
	for _, l := range r.p.fresh {
		s.Rows = append(s.Rows, r.lotRow(l))
		for _, x := range r.p.runs {
			if x.lot == l.name {
				x.write(c)
			}
		}
	}
	f, err := s.File()
	if err != nil {
		return err
	}
	r.files = append(r.files, f, c.File())
	r.mill.New = New{"raw/" + f.Name, "raw/" + c.Name, "hardness_N=..3.9"}
	return nil
}

// season writes what came after the models: lots whose noodles were made later, and
// lots on two instruments.
func (r *records) season() error {
	m := season.Mill{Seed: r.p.seed, Product: softBite, Suppliers: []string{north, south}, Method: noodleWater, Year: newYear,
		Grow: func(g *rand.Rand, supplier string) grain.Flour { return grown(g, softBite, supplier, newYear) }}
	later, err := m.Lots("season/")
	if err != nil {
		return err
	}
	paired, err := m.Pairs("season/two-instruments.csv")
	if err != nil {
		return err
	}
	stock, err := m.Stock("season/")
	if err != nil {
		return err
	}
	r.files = append(append(append(r.files, later...), paired), stock...)
	r.mill.Season = Season{Lots: "raw/" + later[0].Name, Curves: "raw/" + later[1].Name, Texture: "raw/" + later[2].Name, Pairs: "raw/" + paired.Name,
		Stock: "raw/" + stock[0].Name, Blends: "raw/" + stock[1].Name, BlendRun: "raw/" + stock[2].Name}
	return nil
}
