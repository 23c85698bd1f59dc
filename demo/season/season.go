// Package season writes what an invented mill's laboratory did after its model was
// made: a season of lots whose forecasts were kept and of which noodles were made
// later, and lots run on a second instrument beside the first.
//
//  1. Lots writes the season's lots, their curves and, later, their noodles. Half
//     way through the kitchen begins to boil longer: its noodles are softer than any
//     flour test can know.
//  2. Stock writes flours in stock with prices, blends that the laboratory made of them,
//     and the run of one more blend.
//  3. Pairs writes the features of lots that both instruments ran in duplicate. The
//     second has another geometry: it reads lower, and by another share for each
//     flour, so that the two correlate and do not agree.
//
// Everything is invented and says so. The same seed gives the same bytes.
package season

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"time"

	"flourcast/dataset/method"
	"flourcast/demo/dialect"
	"flourcast/demo/grain"
	"flourcast/work"
)

// Mill is what the season needs to know of the mill: how a flour grows, the product
// and suppliers, the method of its runs.
type Mill struct {
	Seed      uint64
	Grow      func(r *rand.Rand, supplier string) grain.Flour
	Product   string
	Suppliers []string
	Method    string
	Year      int
}

const (
	lots     = 32
	Changed  = 16   // lots after which the kitchen boils longer …
	Softer   = 0.84 // … and forces are this share of what they were
	pairs    = 36
	invented = "invented"
)

func (m Mill) rng(labels ...string) *rand.Rand {
	return work.Rand(m.Seed, append([]string{"demo", "season"}, labels...)...)
}

// Lots gives lots.csv, curves.csv and texture.csv below folder. Every sixth lot has a
// supplier's certificate, and those of the second supplier claim too much protein.
func (m Mill) Lots(folder string) ([]dialect.File, error) {
	by, ok := method.Lookup(m.Method)
	if !ok {
		return nil, fmt.Errorf("season: no built-in method %s", m.Method)
	}
	list := &dialect.Sheet{Name: folder + "lots.csv", Dialect: dialect.Plain, Header: []string{"lot", "product", "crop_year", "supplier", "protein_pct", "protein_basis", "moisture_pct", "falling_number_s", "milled_on", "treatment", "figures_by", "figures_for", "remarks"}}
	texture := &dialect.Sheet{Name: folder + "texture.csv", Dialect: dialect.Plain, Header: []string{"lot", "date", "batch", "operator", "protocol", "replicate", "hardness (N)", "springiness", "cohesiveness", "firmness (N)", "remarks"}}
	curves := dialect.NewCurves(folder+"curves.csv", dialect.Plain, false, "viscosity_mPas")
	number := dialect.Plain.Number
	for i := range lots {
		name, supplier := fmt.Sprintf("N%02d-%03d", m.Year%100, 101+i), m.Suppliers[min(i%3/2, len(m.Suppliers)-1)]
		r := m.rng("lot", name)
		f := m.Grow(r, supplier)
		milled := time.Date(m.Year, time.October, 5, 0, 0, 0, 0, time.UTC).AddDate(0, 0, 2*i)
		protein := f.Protein + 0.08*r.NormFloat64()
		list.Rows = append(list.Rows, []string{name, m.Product, strconv.Itoa(m.Year), supplier, number(protein, 1), "14 %", number(f.Moisture+0.05*r.NormFloat64(), 1), number(f.FallingNumber()*(1+0.025*r.NormFloat64()), 0), milled.Format(time.DateOnly), "none", "own", "this lot", invented})
		if i%3 == 2 || i%6 == 0 {
			claimed := protein + 0.12*r.NormFloat64()
			if supplier != m.Suppliers[0] {
				claimed += 0.35
			}
			list.Rows = append(list.Rows, []string{name, "", "", "", number(claimed, 1), "14 %", "", "", "", "", "supplier", "this lot", invented})
		}
		c := grain.PastingRun(m.rng("run", name), f, by, 1)
		curves.Add([]string{"S" + name, name, m.Method, "1"}, c.TimeS, c.TemperatureC, c.ViscosityMPas)
		cook := m.rng("noodles", name)
		dough := grain.Dough(cook, grain.CookNoodle(f))
		for b := range 3 {
			batch := grain.Batch(cook, dough)
			if i >= Changed {
				batch.Hardness, batch.Firmness = batch.Hardness*Softer, batch.Firmness*Softer
			}
			for k := range 3 {
				n := grain.Strand(cook, batch)
				texture.Rows = append(texture.Rows, []string{name, milled.AddDate(0, 0, 30+b).Format(time.DateOnly), strconv.Itoa(b + 1), "op-4", "two-bite 70 % and blade", strconv.Itoa(3*b + k + 1),
					number(n.Hardness, 3), number(n.Springiness, 3), number(n.Cohesiveness, 3), number(n.Firmness, 3), invented})
			}
		}
	}
	a, err := list.File()
	if err != nil {
		return nil, err
	}
	b, err := texture.File()
	return []dialect.File{a, curves.File(), b}, err
}

// Pairs gives a sheet of pasting features by lot, instrument and replicate.
func (m Mill) Pairs(name string) (dialect.File, error) {
	by, ok := method.Lookup(m.Method)
	if !ok {
		return dialect.File{}, fmt.Errorf("season: no built-in method %s", m.Method)
	}
	s := &dialect.Sheet{Name: name, Dialect: dialect.Plain, Header: []string{"lot", "instrument", "method", "replicate", "pasting_temp_C", "peak_mPas", "trough_mPas", "breakdown_mPas", "final_mPas", "setback_trough_mPas", "peak_time_s", "remarks"}}
	number := dialect.Plain.Number
	for i := range pairs {
		lot := fmt.Sprintf("P%02d-%03d", m.Year%100, i+1)
		r := m.rng("pair", lot)
		f := m.Grow(r, m.Suppliers[i%len(m.Suppliers)])
		own := 0.87 * math.Exp(0.012*r.NormFloat64()) // the second geometry's share, for this flour
		thin := 0.94 + 0.010*r.NormFloat64()          // it shears harder: more breaks down
		for _, instrument := range []string{"V1", "V2"} {
			for k := range 2 {
				off := 1.0
				if instrument == "V2" {
					off = own * math.Exp(0.006*r.NormFloat64())
				}
				v := grain.PastingRun(m.rng("paired run", lot, instrument, strconv.Itoa(k)), f, by, off).Read()
				if instrument == "V2" {
					v.Trough, v.Final = v.Trough*thin, v.Final*thin
					v.PeakTimeS += 4
					v.PastingC += 0.4
				}
				s.Rows = append(s.Rows, []string{lot, instrument, m.Method, strconv.Itoa(k + 1), number(v.PastingC, 1), number(v.Peak, 0), number(v.Trough, 0), number(math.Round(v.Peak)-math.Round(v.Trough), 0), number(v.Final, 0), number(math.Round(v.Final)-math.Round(v.Trough), 0), number(v.PeakTimeS, 0), invented})
			}
		}
	}
	return s.File()
}
