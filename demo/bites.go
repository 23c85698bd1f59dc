package demo

import (
	"strconv"

	"flourcast/demo/dialect"
	"flourcast/demo/grain"
)

// Lots of which force curves and cake heights are kept, beside their readings in the
// texture and bakes files: for a look, not for the join, which would count them twice.
var (
	bittenLots   = []string{"N25-001", "N25-005"}
	measuredLots = []string{"C25-001", "C25-002"}
)

const (
	bittenStrands  = 3
	slippedStrand  = 3 // of the last lot: it left the probe before the second bite
	panMM          = 203.2
	measuredPanned = 3
)

// bites writes the force curves of a few strands.
func (r *records) bites() error {
	s := &dialect.Sheet{Name: "strands-two-bite.csv", Dialect: dialect.Plain, Header: []string{"lot", "replicate", "protocol", "time_s", "force_N", "distance_mm", "remarks"}}
	for _, name := range bittenLots {
		l := r.lotOf(name)
		g := rng(r.p.seed, "bites", name)
		batch := grain.Batch(g, grain.Dough(g, grain.CookNoodle(l.flour)))
		for k := 1; k <= bittenStrands; k++ {
			slips := k == slippedStrand && name == bittenLots[len(bittenLots)-1]
			b := grain.TwoBites(g, grain.Strand(g, batch), slips)
			note := invented
			if slips {
				note = remark("the strand fell off")
			}
			for i := range b.TimeS {
				s.Rows = append(s.Rows, []string{name, strconv.Itoa(k), "noodle-two-bite", s.Number(b.TimeS[i], 2), s.Number(b.ForceN[i], 4), s.Number(b.DistanceMM[i], 2), note})
			}
		}
	}
	return r.keepSheet(&r.mill.Strands, s)
}

// heights writes the heights of a few cakes along their centre cut.
func (r *records) heights() error {
	s := &dialect.Sheet{Name: "cake-heights.csv", Dialect: dialect.Plain, Header: []string{"lot", "replicate", "treatment", "protocol", "A_mm", "B_mm", "C_mm", "D_mm", "E_mm", "mass_g", "seed_volume_mL", "remarks"}}
	for _, name := range measuredLots {
		l := r.lotOf(name)
		g := rng(r.p.seed, "heights", name)
		c := grain.BakeCake(l.flour)
		for k := 1; k <= measuredPanned; k++ {
			pan := grain.Pan(g, c)
			row := []string{name, strconv.Itoa(k), l.treatment, "layer-203"}
			for _, h := range grain.Heights(g, pan, panMM) {
				row = append(row, s.Number(h, 1))
			}
			s.Rows = append(s.Rows, append(row, s.Number(385+2*g.NormFloat64(), 1), s.Number(pan.Volume, 0), invented))
		}
	}
	return r.keepSheet(&r.mill.Heights, s)
}

func (r *records) lotOf(name string) lot {
	for _, l := range r.p.lots {
		if l.name == name {
			return l
		}
	}
	panic("demo: no lot " + name)
}
