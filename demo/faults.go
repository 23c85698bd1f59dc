package demo

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"flourcast/demo/dialect"
	"flourcast/demo/season"
)

// spoilTexture puts a harvest's slips into its texture file.
func (r *records) spoilTexture(s *dialect.Sheet, year int) {
	first := func(lot string) int {
		return slices.IndexFunc(s.Rows, func(row []string) bool { return row[0] == lot })
	}
	repeat := func(lot, as, what string) {
		row := slices.Clone(s.Rows[first(lot)])
		row[0] = as
		s.Rows = append(s.Rows, row)
		r.fault(s.Name, s.Line(len(s.Rows)-1), "lot", what)
	}
	switch year {
	case 2023:
		r.spoil(s, "N23-021", s.Header[6], "too soft", "a text in a number")
	case 2024:
		repeat("N24-009", "N24-009", "a replicate entered twice")
		repeat("N24-005", "N24-O05", "a near-miss of lot N24-005 (letter O for a zero): it waits, the name is proposed and not guessed")
	case 2025:
		r.spoil(s, "N25-009", s.Header[6], "-3,1", "a force below zero")
	}
}

// curves writes the curves by method, and by harvest for the noodles in water.
func (r *records) curves() error {
	var files []*dialect.Curves
	for _, y := range years {
		viscosity := map[bool]string{true: "viscosity (cP)", false: "viscosity_mPas"}[y == 2023]
		files = append(files, dialect.NewCurves(fmt.Sprintf("curves/noodle-water-%d.csv", y), dialect.Plain, false, viscosity))
	}
	other := map[string]*dialect.Curves{
		noodleInhibited: dialect.NewCurves("curves/noodle-inhibited.tsv", dialect.Tabs, true, "viscosity_mPas"),
		cakeWater:       dialect.NewCurves("curves/cake-water.csv", dialect.Continent, false, "viscosity_mPas"),
		cakeSucrose:     dialect.NewCurves("curves/cake-sucrose50.csv", dialect.Continent, false, "viscosity_mPas"),
	}
	files = append(files, other[noodleInhibited], other[cakeWater], other[cakeSucrose])
	for _, x := range r.p.runs {
		if !r.p.recorded(x) || x.year == newYear {
			continue
		}
		c := other[x.method]
		if c == nil {
			c = files[slices.Index(years, x.year)]
		}
		first := x.write(c)
		r.spoilCurve(c, x, first)
	}
	last := r.p.runs[len(r.p.runs)-1]
	newest := files[len(years)-1]
	last.id, last.lot, last.replicate = "R9001", r.p.truth.UnknownLot, 1
	first := last.write(newest)
	r.fault(newest.Name, first, "lot", "a curve of a lot that nobody has entered: it waits")
	for _, c := range files {
		if err := r.keep(&r.mill.Curves, c.File(), nil); err != nil {
			return err
		}
	}
	return nil
}

// write puts the run's curve into a file and returns the line of its first point.
func (x run) write(c *dialect.Curves) int {
	return c.Add([]string{x.id, x.lot, x.method, strconv.Itoa(x.replicate)}, x.curve.TimeS, x.curve.TemperatureC, x.curve.ViscosityMPas)
}

// spoilCurve puts slips into two second replicates.
func (r *records) spoilCurve(c *dialect.Curves, x run, first int) {
	if x.method != noodleWater || x.replicate != 2 {
		return
	}
	switch x.lot {
	case "N23-045":
		c.Rewrite(func(lines []string) { lines[60], lines[61] = lines[61], lines[60] })
		r.fault(c.Name, first+61, "time_s", "time runs backwards: the run is refused, its duplicate stays")
	case "N24-045":
		c.Rewrite(func(lines []string) { lines[80] = lines[80][:strings.LastIndexByte(lines[80], ',')+1] + "over" })
		r.fault(c.Name, first+80, "viscosity_mPas", "a text in a number: the point is refused")
	}
}

// readme tells what is what, and what is wrong on purpose.
func (r *records) readme() error {
	t := r.mill.Truth
	var b strings.Builder
	say := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	list := func(lots []string) string { return strings.Join(lots, ", ") }
	say("%s: INVENTED DATA", strings.ToUpper(Name))
	say("")
	say("The mill, its suppliers, lots, runs and results are invented. Curves and textures were worked out by a small physical model")
	say("from invented flours (seed %d). They show what the program does; they are evidence of nothing.", r.p.seed)
	say("Raw flour and paste are not food; hot paste burns; silver nitrate (noodle-inhibited) is toxic, an oxidiser, stains, and its waste is")
	say("collected: follow the safety data sheet and local rules. Chlorinated flour is banned in some countries; this mill heats its flour.")
	say("")
	say("FILES")
	for _, k := range []struct {
		what  string
		files []string
	}{{"lots", r.mill.Lots}, {"runs", r.mill.Runs}, {"curves", r.mill.Curves}, {"feature values without curves", r.mill.Pasting},
		{"control flour, and what was done to the instrument", append(slices.Clone(r.mill.Controls), r.mill.Events...)}, {"noodle texture", r.mill.Texture}, {"cakes", r.mill.Bakes},
		{"force curves of a few strands, for flourcast texture", r.mill.Strands}, {"heights of a few cakes, for flourcast cake", r.mill.Heights},
		{"how lots ran on the noodle line, for a window without a model", r.mill.Production},
		{"new lots to forecast, " + r.mill.New.Spec, []string{r.mill.New.Lots, r.mill.New.Curves}},
		{"the season after: lots, curves, and the noodles made a month later", []string{r.mill.Season.Lots, r.mill.Season.Curves, r.mill.Season.Texture}}, {"lots on two instruments", []string{r.mill.Season.Pairs}},
		{"flours in stock with invented prices (one sprouted, one waxy), blends made of them, and the run of one more", []string{r.mill.Season.Stock, r.mill.Season.Blends, r.mill.Season.BlendRun}}} {
		say("  %s: %s", k.what, strings.ReplaceAll(list(k.files), "raw/", ""))
	}
	say("")
	say("WHAT HAPPENED IN THE LABORATORY")
	say("  %s: lots sprouted before harvest, of low falling number. In water their peak is low and the noodle soft;", list(t.Sprouted))
	say("    with the amylase inhibited the peak is there.")
	say("  %s: the control flour was out of line. Runs of lots %s are void and were repeated.", t.FailedDay, list(t.FailedLots))
	say("  %s: first run void (paddle not seated), retest with its reason.", t.Retested)
	say("  %s: the moisture came later, in lots-late.csv.", t.LateMoisture)
	say("  %s: a silo blend of %s. Its family stays in one fold.", t.Blend, list(t.Parents))
	say("  %s: the supplier's certificate says protein %.1f %%, one's own test %.1f %%.", t.WrongClaim.Lot, t.WrongClaim.Claimed, t.WrongClaim.Own)
	say("  %s: first run stopped before a peak. %s: first run without flour.", t.MisRuns[0], t.MisRuns[1])
	say("  %s is the control flour of every test day; it is nobody's lot.", controlLot)
	say("  %s: curves lost, feature values kept.", list(t.OldRecords))
	say("  Harvest %d: hot. Its gluten springs back less, so the old model of %s fails on it.", t.ShiftYear, t.ShiftResponse)
	say("  %s, strand %d: it fell off the probe before the second bite.", bittenLots[len(bittenLots)-1], slippedStrand)
	say("  Season %d: after lot N%02d-%03d the kitchen boiled its noodles longer, and every force is %.0f %% lower. No flour test knows of it.", newYear, newYear%100, 100+season.Changed, 100*(1-season.Softer))
	say("  On the noodle line dough of sprouted and weakly swelling flours was sticky, sheets of low protein tore, and now and then the")
	say("    trouble was not the flour's.")
	say("  Instrument V2 has another geometry than V1: it reads lower, by another share for each flour.")
	say("  Cake lots come in pairs, as they are and heat-treated: look within a treatment before calling a difference the flour's.")
	say("")
	say("FAULTS PUT IN ON PURPOSE (file, line, column: what)")
	for _, f := range t.Faults {
		say("  %s, %d, %s: %s", strings.TrimPrefix(f.File, "raw/"), f.Row, cmp.Or(f.Column, "whole row"), f.What)
	}
	r.files = append(r.files, dialect.File{Name: "README.txt", Data: []byte(b.String())})
	r.mill.Readme = "raw/README.txt"
	return nil
}
