package record

import (
	"context"

	"flourcast/dataset/sheet"
	"flourcast/finding"
	"flourcast/work"
)

// forceCurve is a texture test: force over time, or over the travel of the probe.
var forceCurve = curveKind{main: "force_N", other: "distance_mm", timeless: true,
	series: func(p *Points) (main, other *[]float64) { return &p.ForceN, &p.DistanceMM },
	label: func(r *Run, s *sheet.Sheet, row sheet.Row) {
		text := func(id string) string { v, _ := s.Text(row, s.Column(id)); return v }
		r.Method, r.Product, r.Protocol, r.Batch, r.TestedAt = "", text("product"), text("protocol"), text("batch"), text("tested_at")
	},
	figures: measured}

// measured are the columns of results and of the measures beside them.
func measured(s *sheet.Sheet) (columns []int) {
	for k := range s.Columns {
		if h, ok := s.Header(k); ok && h.Trait.Numeric() && (h.Trait.Family == "texture" || h.Trait.Family == "bake") {
			columns = append(columns, k)
		}
	}
	return columns
}

// EachForces reads texture files that hold force curves, in long form or one
// record a file, as EachCurves does pasting curves. Options.Method does not count.
func EachForces(ctx context.Context, paths []string, opt Options, take func(i int, runs []Run) error) (Counts, finding.List, error) {
	return eachFile(ctx, paths, "reading force curves", opt, func(s *sheet.Sheet, opt Options) contents { return readCurves(s, opt, forceCurve) }, take)
}

// SplitForces parts texture files into those with force curves and those with
// readings. A file that cannot be read as rows is with the readings, whose reader
// says why. The error is of ctx.
func SplitForces(ctx context.Context, paths []string, m *sheet.Map, cores int) (forces, readings []string, err error) {
	has := make([]bool, len(paths))
	err = work.Each(ctx, len(paths), cores, func(i int) error {
		s, err := sheet.Open(paths[i], m)
		has[i] = err == nil && len(forceCurve.missing([3]int{s.Column("time_s"), s.Column("force_N"), s.Column("distance_mm")})) == 0
		return nil
	})
	for i, path := range paths {
		if has[i] {
			forces = append(forces, path)
		} else {
			readings = append(readings, path)
		}
	}
	return forces, readings, err
}
