package demo

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"
	"time"

	"flourcast/demo/grain"
	"flourcast/work"
)

// grists are the mill's products and what they are milled from.
var grists = map[string]grain.Grist{
	softBite:  {LowAmylose: 0.50, Spread: 0.50, Own: 1, Protein: 9.0},
	plainBite: {LowAmylose: 0.10, Spread: 0.01, Own: 0.15, Protein: 10.6},
	layerCake: {LowAmylose: 0.35, Spread: 0.35, Own: 1, Protein: 7.6},
}

var years = []int{2023, 2024, 2025}

// newYear is the harvest of the lots to forecast.
const newYear = 2026

const (
	lotsAYear, lotsAWeek = 80, 4
	controlLot           = "CONTROL-1"
	failedWeek           = 33 // the first lot of the week whose Monday failed, in 2024
	failedOff            = 0.86
)

// lot is one lot and what the laboratory knows of it, beside its hidden flour.
type lot struct {
	name, product, cropYear, supplier string
	treatment, parents, remark        string
	year, number                      int
	milled                            time.Time
	flour                             grain.Flour
	noodles, cakes                    bool
}

// run is one pasting test.
type run struct {
	id, lot, method      string
	replicate, year      int
	at                   time.Time
	kind, status, reason string
	late, noFlour        bool    // its moisture comes later; nothing was weighed in
	stoppedS             float64 // stopped at this time, when > 0
	off                  float64 // the instrument's error as a factor
	flour                grain.Flour
	curve                grain.Curve
}

// plan is everything the mill did: lots, then runs.
type plan struct {
	seed  uint64
	lots  []lot
	runs  []run
	fresh []lot
	truth Truth
}

// rng is the stream of one lot, run or batch: independent of every other's.
func rng(seed uint64, labels ...string) *rand.Rand {
	return work.Rand(seed, append([]string{"demo"}, labels...)...)
}

// draw plans the mill.
func draw(seed uint64) *plan {
	p := &plan{seed: seed, truth: Truth{
		Flours: map[string]grain.Flour{}, MainProduct: softBite, NarrowProduct: plainBite,
		ProteinResponse: "firmness_N", ShiftResponse: "springiness", ShiftYear: shiftYear,
		Retested: "N23-026", Blend: "N24-061", Parents: []string{"N24-057", "N24-058"},
		MisRuns: []string{"N25-051", "N24-066"}, UnknownLot: "N25-099", LateMoisture: "N25-017",
	}}
	for _, y := range years {
		for n := 1; n <= lotsAYear; n++ {
			p.noodleLot(y, n)
		}
	}
	for _, y := range years {
		for n := 1; n <= 8; n += 2 {
			p.cakePair(y, n)
		}
	}
	p.newLots()
	for _, l := range p.lots {
		p.truth.Flours[l.name] = l.flour
		if l.noodles {
			p.truth.NoodleLots = append(p.truth.NoodleLots, l.name)
		}
		if l.cakes {
			p.truth.CakeLots = append(p.truth.CakeLots, l.name)
		}
	}
	for _, l := range p.lots {
		if l.cakes {
			p.cakeRuns(l)
		} else {
			p.noodleRuns(l)
		}
	}
	p.controlRuns()
	return p
}

// noodleLot draws lot n of a harvest. Of the 80, 20 are of the narrow product;
// 16 lots of the main product and 4 of the narrow one are made into noodles.
func (p *plan) noodleLot(year, n int) {
	l := lot{
		name: fmt.Sprintf("N%02d-%03d", year%100, n), year: year, number: n,
		product: softBite, cropYear: strconv.Itoa(year), supplier: north,
		treatment: "none", milled: testDay(year, n).AddDate(0, 0, -9),
		noodles: n%4 == 1 && n%20 != 13,
	}
	if n%4 == 0 {
		l.product, l.noodles = plainBite, n%20 == 0
	}
	if n%3 == 2 {
		l.supplier = south
	}
	r := rng(p.seed, "lot", l.name)
	l.flour = grown(r, l.product, l.supplier, year)
	if year == 2024 && slices.Contains([]int{21, 22, 41, 43, 62}, n) {
		l.flour.Amylase = 1.8 + 0.4*r.Float64()
		if !l.noodles {
			l.flour.Amylase += 0.8 // the worst were not made into noodles
		}
		l.remark = "rain before harvest"
		p.truth.Sprouted = append(p.truth.Sprouted, l.name)
	}
	switch l.name {
	case p.truth.Blend:
		l.parents = p.truth.Parents[0] + " + " + p.truth.Parents[1]
		l.remark = "silo blend"
		l.supplier = north
		l.flour = grain.Blend(p.lots[len(p.lots)-4].flour, p.lots[len(p.lots)-3].flour, 0.6)
	case "N25-004":
		l.cropYear, l.remark = "2024/2025", "harvests mixed in the silo"
	}
	p.lots = append(p.lots, l)
}

// grown is a flour as the harvest and the supplier left it.
func grown(r *rand.Rand, product, supplier string, year int) grain.Flour {
	g := grists[product]
	f := grain.Draw(r, g)
	if supplier == south {
		f.Protein += 0.15 * g.Own
		f.Amylase *= 1.04
	}
	switch year {
	case 2024: // a damp harvest
		f.Amylase *= 1.08
	case shiftYear: // a hot one: granules swell a little more, gluten springs back less
		f.Swelling += 0.45 * g.Own
		f.Gluten -= 0.32
	}
	return f
}

// cakePair is one cake flour as it is, and heat-treated.
func (p *plan) cakePair(year, n int) {
	base := lot{
		name: fmt.Sprintf("C%02d-%03d", year%100, n), year: year, number: n, product: layerCake, cropYear: strconv.Itoa(year), supplier: []string{north, south}[n/2%2],
		treatment: "none", milled: testDay(year, 8*n), cakes: true,
	}
	base.flour = grown(rng(p.seed, "lot", base.name), layerCake, base.supplier, year)
	treated := base
	treated.name, treated.treatment, treated.parents = fmt.Sprintf("C%02d-%03d", year%100, n+1), "heat", base.name
	treated.remark = base.name + " after dry heat treatment"
	treated.flour.Heated = true
	treated.flour.Moisture -= 5.5
	p.lots = append(p.lots, base, treated)
}

// newLots have come in after the last harvest that was modelled.
func (p *plan) newLots() {
	for i, g := range []struct {
		low, protein, amylase float64
		remark                string
	}{
		{0.90, 8.7, 1.0, "a soft one"},
		{0.08, 9.7, 1.0, "a hard one"},
		{0.45, 9.1, 1.1, "in between"},
		{2.20, 8.9, 1.0, "nearly waxy wheat: outside of anything seen before"},
		{0.80, 8.8, 1.0, "the run was stopped before the paste had cooled"},
		{0.60, 9.0, 4.5, "badly sprouted"},
	} {
		l := lot{name: fmt.Sprintf("N26-%03d", i+1), year: newYear, number: i + 1, product: softBite, cropYear: strconv.Itoa(newYear), supplier: north, treatment: "none",
			milled: testDay(newYear, 1), remark: g.remark}
		l.flour = grown(rng(p.seed, "lot", l.name), softBite, north, newYear)
		l.flour.Protein, l.flour.Amylase = g.protein, g.amylase
		l.flour.Wheat(g.low)
		p.fresh = append(p.fresh, l)
		r := run{method: noodleWater, at: testDay(newYear, 1)}
		if i == 4 {
			r.stoppedS = 400
		}
		p.add(l, r)
	}
}

// testDay is the Monday on which lot n of a harvest is tested.
func testDay(year, n int) time.Time {
	d := time.Date(year, time.September, 1, 9, 0, 0, 0, time.UTC)
	for d.Weekday() != time.Monday {
		d = d.AddDate(0, 0, 1)
	}
	return d.AddDate(0, 0, 7*((n-1)/lotsAWeek))
}

// add plans a run of a lot. Its replicate is one more than the lot has by that
// method; what the caller leaves out is usual.
func (p *plan) add(l lot, r run) {
	r.replicate = 1
	for _, o := range p.runs {
		if o.lot == l.name && o.method == r.method {
			r.replicate++
		}
	}
	r.id, r.lot, r.year, r.flour = fmt.Sprintf("R%04d", len(p.runs)+1), l.name, l.year, l.flour
	r.at = r.at.Add(time.Duration(15*(len(p.runs)%24)) * time.Minute)
	r.kind, r.status = cmp.Or(r.kind, "first"), cmp.Or(r.status, "valid")
	r.off = cmp.Or(r.off, 1)
	p.runs = append(p.runs, r)
}

// noodleRuns tests a noodle lot: in water, every third lot and all noodle lots
// twice; noodle and sprouted lots with the inhibitor too, some of them twice.
func (p *plan) noodleRuns(l lot) {
	n, day := l.number, testDay(l.year, l.number)
	if l.year == 2023 && n <= 12 {
		p.truth.OldRecords = append(p.truth.OldRecords, l.name)
	}
	first := run{method: noodleWater, at: day}
	var then []run
	if l.noodles || n%3 == 0 {
		then = append(then, run{method: noodleWater, at: day, kind: "duplicate"})
	}
	switch {
	case day.Equal(testDay(2024, failedWeek)):
		first.off, first.status, first.reason = failedOff, "void", "control flour out of line"
		then = []run{{method: noodleWater, at: day.AddDate(0, 0, 2), kind: "retest", reason: "control flour out of line on " + day.Format(time.DateOnly)}}
		p.truth.FailedDay, p.truth.FailedLots = day.Format(time.DateOnly), append(p.truth.FailedLots, l.name)
	case l.name == p.truth.Retested:
		first.off, first.status, first.reason = 0.71, "void", "paddle not seated"
		then = []run{{method: noodleWater, at: day.AddDate(0, 0, 1), kind: "retest", reason: "paddle not seated in the first run"}}
	case l.name == p.truth.MisRuns[0]:
		first.stoppedS = 110
	case l.name == p.truth.MisRuns[1]:
		first.noFlour = true
	case l.name == p.truth.LateMoisture:
		first.late = true
	}
	if l.noodles || slices.Contains(p.truth.Sprouted, l.name) {
		then = append(then, run{method: noodleInhibited, at: day.AddDate(0, 0, 1)})
		if n%8 == 1 { // two in five of the noodle lots: what the repeatability of the method comes from
			then = append(then, run{method: noodleInhibited, at: day.AddDate(0, 0, 1), kind: "duplicate"})
		}
	}
	for _, r := range append([]run{first}, then...) {
		p.add(l, r)
	}
}

// cakeRuns tests a cake lot in water once and in sucrose twice.
func (p *plan) cakeRuns(l lot) {
	day := l.milled.AddDate(0, 0, 9)
	p.add(l, run{method: cakeWater, at: day})
	p.add(l, run{method: cakeSucrose, at: day})
	p.add(l, run{method: cakeSucrose, at: day, kind: "duplicate"})
}

// controlRuns test the control flour on every test day; it is nobody's lot.
func (p *plan) controlRuns() {
	control := lot{name: controlLot, flour: grown(rng(p.seed, "lot", controlLot), softBite, north, 2022)}
	for _, y := range years {
		control.year = y
		for n := 1; n <= lotsAYear; n += lotsAWeek {
			r := run{method: noodleWater, at: testDay(y, n).Add(-time.Hour), kind: "control"}
			if y == 2024 && n == failedWeek {
				r.off, r.reason = failedOff, "out of line: can holder loose"
			}
			p.add(control, r)
		}
	}
	p.truth.Flours[control.name] = control.flour
}
